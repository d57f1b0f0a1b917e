"""The engine figure under draws: each name does what it says, and only that."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from distrib.answer.draws import (
    DRAW_ERROR_PERCENT,
    drawn_trapped,
)
from distrib.build.draws import Draws
from distrib.build.engine import solve_engine
from distrib.build.engine_setup import case_setup, drawn_setups
from distrib.build.points import operating_points
from distrib.case.change import with_changes
from distrib.case.read import read_case
from distrib.case.schema import Case
from distrib.results import FloatArray, deviation_percent
from distrib.studies.sampled import GivenDraws, given
from distrib.unsteady.layout import cell_counts
from distrib.unsteady.run import Options, run_many
from distrib.unsteady.setup import UnsteadySetup

CASES = Path(__file__).resolve().parents[2] / "cases"


@pytest.fixture(scope="module")
def case() -> Case:
    return read_case(CASES / "inline4_side.toml")


def deviation(trapped: FloatArray) -> FloatArray:
    return deviation_percent(trapped / trapped.sum(axis=-1, keepdims=True))


def moved(case: Case, **draws: float) -> UnsteadySetup:
    """Setup with some names drawn by so many standard deviations ("made_runner_3_diameter")."""
    names = {name.replace("_", "."): np.array([z]) for name, z in draws.items()}
    return drawn_setups(case, 6000.0, GivenDraws(samples=1, given=names))[0]


def both(case: Case, rpm: float, draws: Draws) -> tuple[FloatArray, FloatArray]:
    """Trapped air of the draws (S, N) and of the nominal design (N,), all from rest on one grid."""
    plain = case_setup(case, rpm).setup
    options = Options(cell_m=0.02)
    runs = run_many([plain, *drawn_setups(case, rpm, draws)], options, 2, traces=False,
                    counts=cell_counts(plain, options.cell_m))
    air = np.array([np.where(r.converged, r.trapped_air_kg, np.nan) for r in runs])
    return air[1:], air[0]


CHARGE = {"conditions.charge_pressure", "conditions.charge_temperature"}


def test_charge_draws_are_those_of_the_case_so_changed(case: Case) -> None:
    """One standard deviation of each: 2 % of pressure, 5 K."""
    drawn, nominal = both(case, 4500.0, given(tuple(sorted(CHARGE)), np.ones((1, 2))))
    now = case.conditions
    typed = solve_engine(case, rpm=[4500.0], charge_pressure_pa=1.02 * now.charge_pressure_pa,
                       charge_temperature_k=now.charge_temperature_k + 5.0,
                       options=Options(cell_m=0.02))
    assert typed.trapped_air_kg is not None
    # the nominal run goes on for a cycle, for its traces: by no more than it repeats to, 2e-4
    np.testing.assert_allclose(drawn[0], typed.trapped_air_kg[0], rtol=2e-4)
    assert np.abs(deviation(drawn[0]) - deviation(nominal)).max() > 0.02


def test_draws_change_what_they_name(case: Case) -> None:
    """A bore as made is its tolerance larger; a port passes 0.5 % more; friction is 10 % up."""
    plain = case_setup(case, 6000.0).setup
    ducts = {d.name: d for d in plain.ducts}
    wide = {d.name: d for d in moved(case, made_runner_3_diameter=1.0).ducts}
    runner = next(r for r in case.runners if r.cylinder == 3)
    made = 1.0 + case.uncertainty.tolerance_m / runner.diameter_m
    np.testing.assert_allclose(wide["runner 3"].area_m2, ducts["runner 3"].area_m2 * made**2)
    assert wide["runner 2"].area_m2.tobytes() == ducts["runner 2"].area_m2.tobytes()
    port = moved(case, made_port_2=1.0).cylinders
    np.testing.assert_allclose(port[1].intake_area_m2, 1.005 * plain.cylinders[1].intake_area_m2)
    assert port[0].intake_area_m2.tobytes() == plain.cylinders[0].intake_area_m2.tobytes()
    rough = moved(case, law_friction=1.0).ducts
    assert [d.friction for d in rough] == pytest.approx([1.1] * len(rough))
    assert [d.friction for d in plain.ducts] == [1.0] * len(plain.ducts)


def test_friction_factor_scales_the_loss_of_a_pipe(case: Case) -> None:
    """More friction in every wall costs air at full flow, and none gains some."""
    draws = given(("law.friction",), np.array([[-3.0], [0.0], [3.0]]))
    trapped, nominal = both(case, 6500.0, draws)
    total = trapped.sum(axis=-1)
    assert total[0] > total[1] > total[2]
    np.testing.assert_array_equal(trapped[1], nominal)


def test_wider_bore_of_all_runners_is_the_case_with_wider_runners(case: Case) -> None:
    """Two standard deviations on every bore against the case drawn so much wider, losses given so
    that they do not follow the bore. The end's bore grows by the same part."""
    case = with_changes(case, {"runners.entry_loss": 0.3, "runners.loss": 0.2})
    names = tuple(f"made.runner.{c}.diameter" for c in (1, 2, 3, 4))
    drawn, nominal = both(case, 6500.0, given(names, np.full((1, 4), 2.0)))
    bore, end = 1e3 * case.runners[0].diameter_m, 1e3 * case.runners[0].end_diameter_m
    made = 1.0 + 2e3 * case.uncertainty.tolerance_m / bore
    typed = {"runners.diameter": f"{bore * made:.9f} mm",
             "runners.end_diameter": f"{end * made:.9f} mm"}
    wider = solve_engine(with_changes(case, typed), rpm=[6500.0], options=Options(cell_m=0.02))
    change = drawn[0].sum() / nominal.sum() - 1.0
    assert wider.trapped_air_kg is not None
    whole = wider.trapped_air_kg[0].sum() / nominal.sum() - 1.0
    assert abs(change) > 1e-4
    assert change == pytest.approx(whole, abs=2e-4)


def test_what_draws_change_hardly_depends_on_the_grid(case: Case) -> None:
    """What a draw differs by from the nominal design, as draws are solved and as a nominal run
    is: never further apart than is stated."""
    speeds = (4500.0, 6500.0)
    fine = Options()
    points = operating_points(case, speeds, None, None)
    drawn, nominal = drawn_trapped(case, points, Draws(12, 1))
    coarse = deviation(drawn) - deviation(nominal)[:, None]
    for p, n in enumerate(speeds):
        plain, *others = (case_setup(case, n).setup, *drawn_setups(case, n, Draws(12, 1)))
        grid = cell_counts(plain, fine.cell_m)
        runs = run_many([plain, *others], fine, 2, traces=False, counts=grid)
        d = deviation(np.array([r.trapped_air_kg for r in runs]))
        assert np.abs(coarse[p] - (d[1:] - d[0])).max() < DRAW_ERROR_PERCENT
        assert (d[1:] - d[0]).std() > 0.1  # there is something to get wrong


def test_threads_change_no_bit(case: Case) -> None:
    points = operating_points(case, [5000.0], None, None)
    one, two = (drawn_trapped(case, points, Draws(3, 1), threads=n) for n in (1, 2))
    assert one[0].tobytes() == two[0].tobytes()
