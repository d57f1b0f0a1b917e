"""Two engine models taken together: nothing that either says is lost."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from distrib.build.band import band_of
from distrib.build.engine import solve_engine
from distrib.build.engine_draws import engine_band
from distrib.build.phased import solve_phased
from distrib.build.together import spanned
from distrib.case.read import read_case
from distrib.results import Band, FloatArray, Shares, deviation_percent, spread_percent

CASES = Path(__file__).resolve().parents[2] / "cases"
LEAN = 3.0
RNG = np.random.default_rng(4)


def result(deviation: list[float], sigma: float | None, like: Shares) -> Shares:
    """A result at one point with these deviations and a band of this scatter, if any."""
    d = np.array([deviation])
    share = (1.0 + d / 100.0) / d.shape[1]
    band = None
    if sigma is not None:
        drawn = d[:, None, :] + sigma * RNG.normal(size=(1, 400, d.shape[1]))
        band = band_of(d, drawn, d, LEAN, 1)
    return replace(like, share=share, deviation_percent=deviation_percent(share), band=band,
                   spread_percent=spread_percent(share))


@pytest.fixture(scope="module")
def like() -> Shares:
    return solve_phased(read_case(CASES / "inline4_side.toml"), rpm=[3000.0])


def edges(band: Band | None) -> tuple[FloatArray, FloatArray]:
    assert band is not None
    return band.low_percent, band.high_percent


def test_bands_of_both_models_are_spanned(like: Shares) -> None:
    first = result([0.1, -0.1, 0.2, -0.2], 0.05, like)
    second = result([2.0, -2.0, 2.9, -2.9], 0.4, like)
    both = spanned(first, second, LEAN)
    assert both.band is not None and first.band is not None and second.band is not None
    for mine in (first.band, second.band):
        assert (both.band.low_percent <= mine.low_percent).all()
        assert (both.band.high_percent >= mine.high_percent).all()
        assert (both.band.chance_lean >= mine.chance_lean).all()
        assert both.band.spread_low_percent <= mine.spread_low_percent
        assert both.band.spread_high_percent >= mine.spread_high_percent
    # 0.1 below the limit with a scatter of 0.4: Phi(-0.25) = 0.40 of the draws of cylinder 3
    assert both.band.chance_lean[0, 2] == pytest.approx(0.40, abs=0.08)
    np.testing.assert_array_equal(both.deviation_percent, first.deviation_percent)
    np.testing.assert_array_equal(both.extra["other_deviation_percent"], second.deviation_percent)


def test_a_model_without_band_borrows_that_of_the_other(like: Shares) -> None:
    first = result([0.0, 0.0, 0.0, 0.0], 0.1, like)
    second = result([4.0, -4.0, 1.0, -1.0], None, like)
    both = spanned(first, second, LEAN)
    low, high = edges(both.band)
    own_low, own_high = edges(first.band)
    np.testing.assert_allclose(high[0, 0], 4.0 + own_high[0, 0])
    np.testing.assert_allclose(low[0, 1], -4.0 + own_low[0, 1])
    assert both.band is not None and both.band.chance_lean[0, 0] > 0.99


def test_too_few_draws_borrow_and_no_solution_leaves_the_first_alone(like: Shares) -> None:
    first = result([0.0, 0.0, 0.0, 0.0], 0.1, like)
    second = result([4.0, -4.0, 1.0, -1.0], None, like)
    none = np.full((1, 30, 4), np.nan)
    empty = replace(second, band=band_of(second.deviation_percent, none, none[:, 0], LEAN, 1))
    borrowed, plain = spanned(first, empty, LEAN), spanned(first, second, LEAN)
    np.testing.assert_array_equal(edges(borrowed.band), edges(plain.band))
    failed = replace(second, deviation_percent=np.full((1, 4), np.nan),
                     spread_percent=np.array([np.nan]))
    np.testing.assert_array_equal(edges(spanned(first, failed, LEAN).band), edges(first.band))


def test_engine_band_stands_about_the_nominal_figure() -> None:
    """Its draws are those of the case's seed: the same twice, and another seed gives others."""
    case = read_case(CASES / "inline4_side.toml")
    nominal = solve_engine(case, rpm=[3000.0])
    band = engine_band(case, nominal, rpm=[3000.0])
    assert band.samples == 24 and band.failed == 0 and band.seed == case.uncertainty.seed
    assert (band.low_percent < band.high_percent).all()
    middle = 0.5 * (band.low_percent + band.high_percent)
    assert np.abs(middle - nominal.deviation_percent).max() < (
        band.high_percent - band.low_percent).max()
    np.testing.assert_array_equal(edges(engine_band(case, nominal, rpm=[3000.0])), edges(band))
    other = engine_band(case, nominal, rpm=[3000.0], seed=case.uncertainty.seed + 1)
    assert (np.array(edges(other)) != np.array(edges(band))).all()
