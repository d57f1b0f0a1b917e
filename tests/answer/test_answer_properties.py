"""One figure drives every word: properties of answers over random figures."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from distrib.answer import answer, answers
from distrib.answer.model_error import ERROR_PER_MACH, model_error, runner_mach, with_error
from distrib.build.draws import Draws
from distrib.case.change import with_changes
from distrib.case.read import read_case

from .curves import Curves, stand_in

CASES = Path(__file__).resolve().parents[2] / "cases"
LEAN_SIDE = {"lean": 3, "watch": 2, "even": 1, "rich": 0}


@st.composite
def figures(draw):
    """Five cylinders, two resonances each, up to 10 %."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    return Curves(rng.uniform(2000.0, 8000.0, (5, 2)), rng.uniform(200.0, 900.0, (5, 2)),
                  rng.uniform(-10.0, 10.0, (5, 2)))


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(curves=figures())
def test_one_figure_drives_every_word(monkeypatch, curves):
    case = read_case(CASES / "inline5_side.toml")
    with monkeypatch.context() as patch:
        stand_in(patch, curves, curves)
        found = answer(case, draws=40)
    d, band = found.engine.deviation_percent, found.engine.band
    assert band is not None
    assert np.all(band.low_percent <= d) and np.all(d <= band.high_percent)
    assert np.all(band.spread_low_percent <= found.engine.spread_percent)
    assert np.all(found.engine.spread_percent <= band.spread_high_percent)
    np.testing.assert_allclose(d.sum(axis=1), 0.0, atol=1e-9)
    for p in range(d.shape[0]):
        gravest = max(LEAN_SIDE[str(v)] for v in found.verdict[p])
        leanest = int(found.engine.leanest_cylinder[p])
        at = found.engine.cylinders.tolist().index(leanest)
        assert LEAN_SIDE[str(found.verdict[p, at])] == gravest
    assert found.trims is not None
    trim, even = found.trims.trim_percent, found.trims.needed_percent
    known = np.isfinite(trim)
    assert np.all(trim[known] >= 0.0)
    assert np.all((trim[known] > 0.0) == (even[known] > 0.0))
    grave = [w for w in found.worst if w.verdict in ("lean", "watch")]
    if grave:
        assert found.headline in [w.point for w in grave]


def test_same_speeds_and_draws_for_all_designs(monkeypatch):
    rng = np.random.default_rng(3)
    curves = Curves(rng.uniform(3000, 7000, (5, 2)), rng.uniform(300, 900, (5, 2)),
                    rng.uniform(-4, 4, (5, 2)))
    stand_in(monkeypatch, curves, curves)
    side, center = (read_case(CASES / f"inline5_{k}.toml") for k in ("side", "center"))
    a, b = answers([side, center], draws=30)
    np.testing.assert_array_equal(a.rpm, b.rpm)
    same, again = answers([side, side], draws=30)
    np.testing.assert_array_equal(same.drawn_percent, again.drawn_percent)


def test_model_error_has_the_stated_size_and_keeps_the_mean():
    """4000 draws: the standard deviation of one cylinder within 5 %, that of the spread within
    10 %."""
    case = read_case(CASES / "inline5_side.toml")
    error = model_error(case)
    rpm = np.array([2500.0, 4000.0, 4300.0])
    sigma = np.array([error.sigma_percent(runner_mach(case, n)) for n in rpm])
    drawn = with_error(np.zeros((3, 4000, 5)), sigma, rpm, error, Draws(4000, 1))
    np.testing.assert_allclose(drawn.sum(axis=-1), 0.0, atol=1e-9)
    np.testing.assert_allclose(drawn.std(axis=1) / sigma[:, None], 1.0, rtol=0.05)
    big = with_error(np.tile([1000.0, -1000.0], (3, 4000, 1)), sigma, rpm, error, Draws(4000, 1))
    np.testing.assert_allclose(big[..., 0].std(axis=1), 1000.0 * error.spread_sigma, rtol=0.1)
    np.testing.assert_allclose(np.median(big[..., 0], axis=1), 1000.0, rtol=0.02)


def test_kinds_without_evidence_take_the_larger_error():
    case = read_case(CASES / "inline5_side.toml")
    ducted = with_changes(case, {"entry.kind": "ducted", "entry.at": "231 mm"})
    assert model_error(ducted).per_mach_percent == max(ERROR_PER_MACH.values())


def test_failed_draws_are_left_out_and_few_give_no_band(monkeypatch):
    from distrib.answer import run

    rng = np.random.default_rng(5)
    curves = Curves(rng.uniform(3000, 7000, (5, 2)), rng.uniform(300, 900, (5, 2)),
                    rng.uniform(-4, 4, (5, 2)))
    stand_in(monkeypatch, curves, curves)
    drawn = run.drawn_trapped

    def failing(case, points, draws, *more):
        out, nominal = drawn(case, points, draws, *more)
        out[0, :10] = np.nan
        out[1, :35] = np.nan
        return out, nominal

    monkeypatch.setattr(run, "drawn_trapped", failing)
    found = answer(read_case(CASES / "inline5_side.toml"), rpm=[4000.0, 5000.0], draws=40)
    band = found.engine.band
    assert band is not None and band.failed == 45
    assert np.isfinite(band.low_percent[0]).all() and np.isnan(band.low_percent[1]).all()
    assert set(found.verdict[1].tolist()) <= {"lean", "watch", "even", "rich"}
