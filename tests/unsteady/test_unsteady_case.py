"""The engine model of whole cases: symmetry, plots, failures."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from distrib.build.engine import engine_shares, grid_estimate, run_engine, solve_engine
from distrib.build.engine_setup import case_setup
from distrib.case.change import with_changes
from distrib.case.read import read_case
from distrib.case.template import starter
from distrib.errors import InputError
from distrib.report.engine_plots import (
    cycle_sheet,
    deviation_map,
    lines_against_rpm,
    speed_sheet,
)
from distrib.report.save import house_style, new_figure
from distrib.unsteady.grid import cell_for_accuracy, convergence
from distrib.unsteady.run import Options

CASES = Path(__file__).parents[2] / "cases"
COARSE = Options(cell_m=0.02)
AGREE = 0.5
"""Phased and wave agree within 0.5 % of share where inertia is negligible (issue)."""


@pytest.fixture(scope="module")
def side():
    return read_case(CASES / "inline4_side.toml")


@pytest.fixture(scope="module")
def run(side):
    return run_engine(side, rpm=[3500.0, 6000.0], options=COARSE)


def test_result_is_whole(side, run):
    shares = engine_shares(run)
    assert shares.model == "engine" and shares.converged.all() and shares.reason == ("", "")
    assert shares.share.shape == (2, 4)
    np.testing.assert_allclose(shares.share.sum(axis=1), 1.0, atol=1e-12)
    assert np.all(shares.mass_residual < 1e-10)
    for name in ("mach_peak", "droop_pa", "station_pressure_pa", "recovery", "back_flow_share"):
        assert shares.extra[name].shape == (2, 4)
    assert [p.plenum for p in shares.profiles] == ["main"]
    flow = shares.air_kg_s[0] / shares.trapped_air_kg[0]
    np.testing.assert_allclose(flow, 3500.0 / 120.0)


def test_center_entry_of_a_symmetric_engine_is_symmetric():
    """Firing order 1-3-4-2 is its own mirror, and so is the metal: 1 equals 4, 2 equals 3."""
    shares = solve_engine(read_case(CASES / "inline4_center.toml"), rpm=5500.0, options=COARSE)
    d = shares.deviation_percent[0]
    # both pairs draw half a cycle apart; equal to the repetition tolerance
    assert d[0] == pytest.approx(d[3], abs=0.05)
    assert d[1] == pytest.approx(d[2], abs=0.05)


def test_failed_point_says_why(side):
    shares = solve_engine(side, rpm=[3500.0], options=replace(COARSE, max_cycles=2))
    assert not shares.converged[0] and "did not repeat" in shares.reason[0]
    assert np.isnan(shares.share).all() and np.isnan(shares.spread_percent).all()


def test_impossible_conditions_are_refused(side):
    with pytest.raises(InputError, match="rpm"):
        solve_engine(side, rpm=-1.0)


def test_part_open_throttle_chokes_the_engine(side):
    wide = solve_engine(side, rpm=4500.0, options=COARSE)
    part = solve_engine(with_changes(side, {"entry.throttle.plate_angle": "25 deg"}), rpm=4500.0,
                      options=COARSE)
    assert part.converged.all(), part.reason
    assert part.air_kg_s.sum() < 0.8 * wide.air_kg_s.sum()
    assert any("throttle" in w for w in part.warnings)


def test_losses_come_from_the_graph(side):
    """A loss given in the case reaches the solver as given; nothing is computed twice."""
    given = with_changes(side, {"runners.loss": 1.7})
    setup = case_setup(given, 4000.0).setup
    runner = next(d for d in setup.ducts if d.name == "runner 2")
    assert sum(k for _, _, k in runner.losses) == pytest.approx(1.7)
    assert not runner.friction


def test_sheets_are_drawn(run):
    shares = engine_shares(run)
    for data in (speed_sheet(shares), cycle_sheet(run, 1)):
        assert data.startswith(b"\x89PNG") and len(data) > 20_000
    with pytest.raises(InputError, match="two speeds"):
        speed_sheet(engine_shares(replace(run, points={k: v[:1] for k, v in run.points.items()},
                                        setups=run.setups[:1], results=run.results[:1])))


def test_charts_show_gaps_and_the_leanest():
    rpm = np.array([4000.0, 2000.0, 3000.0])
    values = np.array([[1.0, -1.0], [-2.0, 2.0], [np.nan, np.nan]])
    with house_style():
        figure = new_figure(6.0, 4.0)
        left, right = figure.subplots(1, 2)
        lines_against_rpm(left, rpm, values, [1, 2], "deviation (%)", mark_largest=True)
        rings = [line.get_xydata()[0] for line in left.lines if line.get_markersize() == 11]
        np.testing.assert_allclose(sorted(map(tuple, rings)), [(2000.0, 2.0), (4000.0, 1.0)])
        deviation_map(right, rpm, values, [1, 2])
        assert [t.get_text() for t in right.texts] == ["-2.0", "+1.0", "+2.0", "-1.0"]
        hatched = [p for p in right.patches if p.get_hatch()]
        framed = [p.get_xy() for p in right.patches if not p.get_hatch()]
        assert len(hatched) == 2 and len(framed) == 2
        # columns in order of speed: 2000 rpm framed at cylinder 2, 4000 rpm at cylinder 1
        np.testing.assert_allclose(sorted(framed), [(-0.48, 0.52), (1.52, -0.48)])


def test_grid_estimate_covers_a_finer_grid(side):
    setup = case_setup(side, 5500.0).setup
    found = convergence(setup, COARSE)
    assert found.reason == ""
    fine = convergence(setup, replace(COARSE, cell_m=0.005))
    actual = np.abs(found.deviation_percent[1] - fine.deviation_percent[2])
    assert np.all(actual <= found.deviation_error_percent + 0.05)
    assert found.deviation_error_percent.max() < 1.0


@pytest.mark.parametrize("layout", ["v8", "flat-6"])
def test_starters_with_several_banks_and_plenums(layout, tmp_path):
    path = tmp_path / "case.toml"
    path.write_text(starter(layout, "side"), "utf-8")
    shares = solve_engine(read_case(path), rpm=4000.0, options=COARSE)
    assert shares.converged.all(), shares.reason
    assert shares.share.shape[1] == int(layout[-1])
    if layout == "flat-6":  # two equal plenums half a cycle apart, joined by a balance tube
        np.testing.assert_allclose(shares.share[0, :3], shares.share[0, 3:], atol=3e-4)


def test_accuracy_sets_the_grid(side):
    run = run_engine(side, rpm=4000.0, accuracy_percent=0.2)
    assert run.results[0].cell_m == pytest.approx(cell_for_accuracy(0.2))
    found = grid_estimate(side, rpm=4000.0, options=COARSE, threads=2)
    assert found.cell_m == 0.02 and found.reason == ""


def test_accuracy_chooses_the_cell():
    assert cell_for_accuracy(0.08) == pytest.approx(0.01)
    assert cell_for_accuracy(0.2) > cell_for_accuracy(0.05)
    for bad in (0.0, -1.0, 1e-4, 5.0):
        with pytest.raises(InputError, match="accuracy"):
            cell_for_accuracy(bad)
