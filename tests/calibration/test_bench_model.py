"""The bench fit on sheets made by the model: truth recovered, intervals honest, words right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm, qmc

from distrib.build.bench import solve_bench
from distrib.calibration.bench import ONE_AT_A_TIME, BenchSheet
from distrib.calibration.bench_fit import fit_bench
from distrib.calibration.bench_model import bench_forward, calibrated_changes
from distrib.calibration.fit import Parameter, fit_map
from distrib.calibration.residual_plot import residual_svg
from distrib.case.change import to_toml, with_changes
from distrib.case.read import read_text
from distrib.case.schema import Case
from distrib.engine.rig import mass_flux
from distrib.errors import InputError

from .made import (
    TOGETHER_PA,
    blank_sheet,
    demo_case,
    drawn_truth,
    made_forward,
    truth_of,
    with_areas,
)
from .together import Predict, run_together


def test_noise_free_truth_comes_back() -> None:
    forward = made_forward()
    truth = drawn_truth(forward, np.random.default_rng(2))
    full = with_areas(forward, forward.predict(truth[None])[0], 1e-8)
    found = fit_map(full.predict, full.observed, full.sigma, full.parameters)
    assert np.allclose(found.value, truth, rtol=1e-6, atol=1e-6)
    assert set(found.verdict) == {"determined"}


def test_batch_of_parameters_equals_single_ones() -> None:
    forward = made_forward()
    rng = np.random.default_rng(3)
    sets = np.array([drawn_truth(forward, rng) for _ in range(3)])
    together = forward.predict(sets)
    alone = np.concatenate([forward.predict(s[None]) for s in sets])
    # ln of areas of about 1e-3; the Newton tolerance of the network is the limit
    assert np.allclose(together, alone, rtol=0.0, atol=1e-9)


def test_calibrated_case_gives_the_fitted_flows() -> None:
    """The coefficients in the file and those in the fit are the same design."""
    forward = made_forward(jet=False)
    truth = drawn_truth(forward, np.random.default_rng(5))
    full = with_areas(forward, forward.predict(truth[None])[0], 1e-6)
    found = fit_map(full.predict, full.observed, full.sigma, full.parameters)
    case = with_changes(demo_case(), calibrated_changes(full, found))
    air = solve_bench(case, depression_pa=TOGETHER_PA).air_kg_s[0]
    area = np.exp(full.observed[4:])
    # six digits are written to the file
    assert np.allclose(air / air.mean(), area / area.mean(), rtol=1e-5)


def test_one_runner_at_a_time_leaves_the_header_out() -> None:
    forward = made_forward(together=False)
    assert [p.name for p in forward.parameters] == [f"runner.{c}.loss" for c in (1, 2, 3, 4)]
    sheet = blank_sheet(4, together=False)
    assert "cannot show header imbalance" in ONE_AT_A_TIME
    fitted = fit_bench(demo_case(), sheet)
    assert fitted.with_jet is None
    assert fitted.calibrated.plenums[0].regain is None
    assert fitted.calibrated.title.endswith("(calibrated)")


def test_regain_is_told_from_runner_losses() -> None:
    forward = made_forward(jet=False)
    truth = np.array([p.prior for p in forward.parameters])
    at = [p.name for p in forward.parameters].index("plenum.main.regain")
    truth[at] = 0.9
    full = with_areas(forward, forward.predict(truth[None])[0], 0.002)
    found = fit_map(full.predict, full.observed, full.sigma, full.parameters)
    assert found.low90[at] <= 0.9 <= found.high90[at]
    assert found.shrink[at] < 1.0


def jetted_sheet(case: Case, sigma: float, cylinders: int = 4) -> BenchSheet:
    """The blank sheet with the areas that the bench model gives for the case itself."""
    ambient = case.conditions.ambient_pressure_pa, case.conditions.ambient_temperature_k
    tests = []
    for test in blank_sheet(cylinders).tests:
        opened = None if test.configuration == "all-open" else (test.runner,)
        found = solve_bench(case, depression_pa=test.depression_pa, open_runners=opened)
        air = float(found.air_kg_s[0, test.runner - 1])
        tests.append(replace(test, relative_sigma=sigma,
                             effective_area_m2=air / mass_flux(*ambient, test.depression_pa)))
    return replace(blank_sheet(cylinders), tests=tuple(tests))


@pytest.mark.parametrize("strength", [0.55, 1.6])
def test_strength_of_the_jet_comes_back_through_the_file(strength: float) -> None:
    """A jet written into a case by hand is found in its flows, and stands in the calibrated case.

    The truth has one regain, as the fit has: the run law is no single regain at every split, and
    the jet would take up the difference. The file holds six digits."""
    truth_case = with_changes(bench_forward(demo_case(), blank_sheet(4), jet=False).case,
                              {"entry.1.jet": strength})
    fitted = fit_bench(demo_case(), jetted_sheet(truth_case, 1e-8))
    name = demo_case().entries[0].name
    assert fitted.fit.of(f"entry.{name}.jet") == pytest.approx(strength, abs=1e-6)
    jet = fitted.calibrated.entries[0].jet
    assert jet is not None and jet.value == pytest.approx(strength, rel=1e-6)
    assert any(f"the jet of entry {name}" in t and "holds it" in t for t in fitted.statements)
    written = read_text(to_toml(fitted.calibrated), "calibrated.toml")
    air = solve_bench(written, depression_pa=TOGETHER_PA).share[0]
    truth = solve_bench(truth_case, depression_pa=TOGETHER_PA).share[0]
    assert air == pytest.approx(truth, rel=1e-5)


def test_jet_that_coarse_rows_cannot_show_keeps_its_law() -> None:
    fitted = fit_bench(demo_case(), jetted_sheet(
        with_changes(demo_case(), {"entry.1.jet": 1.3}), 0.2))
    assert fitted.with_jet is not None
    assert fitted.with_jet.verdict[-1] != "determined"
    assert fitted.calibrated.entries[0].jet is None
    assert not any(p.name.endswith(".jet") for p in fitted.fit.parameters)
    assert any("the calibrated file holds it at 1" in t for t in fitted.statements)


def test_jet_that_is_certain_or_left_out_is_no_unknown() -> None:
    for changes in ({"entry.1.jet": {"value": 0.8, "sigma": 0.0}}, {"losses.jet": "none"}):
        forward = bench_forward(with_changes(demo_case(), changes), blank_sheet(4))
        assert not any(p.name.endswith(".jet") for p in forward.parameters)
    given = with_changes(demo_case(), {"entry.1.jet": {"value": 0.8, "sigma": 0.05}})
    last = bench_forward(given, blank_sheet(4)).parameters[-1]
    assert (last.prior, last.prior_sigma) == pytest.approx((0.8, 0.05))


def test_given_coefficients_are_priors_or_certain() -> None:
    case = with_changes(demo_case(), {
        "runner.2.loss": {"value": 0.4, "sigma": 0.0}, "runner.3.loss": {"value": 0.3},
        "plenum.1.regain": {"value": 0.8, "sigma": 0.2},
    })
    forward = bench_forward(case, blank_sheet(4), jet=False)
    found = {p.name: (p.prior, p.prior_sigma) for p in forward.parameters}
    assert "runner.2.loss" not in found
    assert found["runner.3.loss"] == pytest.approx((0.3, 0.1))
    assert found["plenum.main.regain"] == pytest.approx((0.8, 0.2))


def test_rows_with_others_open_only_are_refused() -> None:
    sheet = blank_sheet(4, together=False)
    tests = tuple(replace(t, configuration="one-open") for t in sheet.tests)
    with pytest.raises(InputError, match="only rows with the others open"):
        fit_bench(demo_case(), replace(sheet, tests=tests))


def test_residual_plot_names_every_observation() -> None:
    svg = residual_svg(["runner 1 alone", "runner <2>"], np.array([0.5, -6.0]), "Residuals")
    assert "runner 1 alone" in svg and "runner &lt;2&gt;" in svg and ">-6.0<" in svg


def test_fits_that_share_their_evaluations_are_fits_alone() -> None:
    """The cheap model stands for the network, whose batches are tested above."""
    rng = np.random.default_rng(6)
    slope, observed = rng.standard_normal((5, 2)), rng.standard_normal((9, 5))
    parameters = [Parameter("a", 1.0, 0.5, "log"), Parameter("b", 0.2, 2.0)]
    calls = []

    def model(sets: np.ndarray) -> np.ndarray:
        calls.append(len(sets))
        return np.sin(sets[:, :1] * slope[:, 0] + sets[:, 1:] * slope[:, 1])

    def one(i: int, predict: Predict) -> np.ndarray:
        return fit_map(predict, observed[i], np.full(5, 0.1), parameters).value

    alone = [one(i, model) for i in range(len(observed))]
    asked_alone = len(calls)
    assert np.array_equal(run_together(model, len(observed), one), alone)
    assert len(calls) - asked_alone < asked_alone / 3


def test_a_fit_that_fails_stops_no_other() -> None:
    def one(i: int, predict: Predict) -> float:
        if i == 1:
            raise ValueError("the second")
        return float(predict(np.full((1, 1), float(i)))[0, 0])

    with pytest.raises(ValueError, match="the second"):
        run_together(lambda sets: sets, 4, one)


def test_ninety_percent_interval_covers() -> None:
    """1 % noise, 200 seeded repetitions, truth drawn from the priors: 85 to 95 % hits each.

    Truths and noise form one Latin hypercube, so that each of them follows its distribution
    evenly. With independent draws the rate of one parameter is uncertain by 2 % and one of seven
    left the range at some seeds (0.83 at seed 8, though 0.89 in 400 repetitions at seed 9; the
    exact linear Gaussian theory gave 0.87 on the draws of seed 8).
    """
    forward = made_forward()
    count, tests = len(forward.parameters), len(forward.tests)
    cube = qmc.LatinHypercube(d=count + tests, rng=np.random.default_rng(8)).random(200)
    steps = norm.ppf(cube)
    truths = np.array([truth_of(forward, row) for row in steps[:, :count]])
    clean = forward.predict(truths)

    def one(i: int, predict: Predict) -> np.ndarray:
        noisy = with_areas(forward, clean[i] + 0.01 * steps[i, count:], 0.01)
        found = fit_map(predict, noisy.observed, noisy.sigma, noisy.parameters, tolerance=1e-5)
        return (found.low90 <= truths[i]) & (found.high90 >= truths[i])

    hits = np.array(run_together(forward.predict, len(truths), one))
    rates = hits.mean(axis=0)
    assert np.all((rates >= 0.85) & (rates <= 0.95)), dict(
        zip([p.name for p in forward.parameters], rates, strict=True))
