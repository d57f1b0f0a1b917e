"""Draws and comparison of designs against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from distrib.build.draws import Draws
from distrib.errors import InputError
from distrib.studies.compare import CANNOT_TELL, compare_samples, wilson
from distrib.studies.plan import Dimension, Grid, parse_vary
from distrib.studies.sampling import (
    METHODS,
    Sample,
    quantile_band,
    unit_blocks,
)


def unit_points(count: int, k: int, seed: int, method: str = "sobol") -> np.ndarray:
    """All points of `unit_blocks` in one array (count, k)."""
    return np.concatenate(list(unit_blocks(count, k, seed, method)))  # type: ignore[arg-type]


@pytest.mark.parametrize("method", METHODS)
def test_blocks_of_any_size_are_the_same_points(method: str) -> None:
    whole = unit_points(100, 3, 5, method)
    parts = np.concatenate(list(unit_blocks(100, 3, 5, method, size=17)))  # type: ignore[arg-type]
    np.testing.assert_array_equal(whole, parts)
    assert ((whole > 0.0) & (whole < 1.0)).all()
    assert not np.array_equal(whole, unit_points(100, 3, 6, method))


def test_sobol_points_are_balanced() -> None:
    """Each of the first 2^m points falls into its own of 2^m slices (a digital net in base 2)."""
    points = unit_points(256, 5, 1)
    for column in points.T:
        assert sorted(np.floor(column * 256).astype(int)) == list(range(256))


def test_band_covers_a_synthetic_truth_as_often_as_it_says() -> None:
    """Truths drawn from the same law as the samples must lie in an 80 % band 80 % of the time.

    400 independent truths: standard error 2 %, so 74 to 86 % is three standard errors."""
    rng = np.random.default_rng(11)
    hits = 0
    for trial in range(400):
        draws = Draws(128, trial)
        k, t = 0.4 + 0.1 * np.asarray(draws.z("k")), np.asarray(draws.z("t"))
        low, high = quantile_band((np.exp(k) + 0.2 * t * k)[:, None], 0.8)
        k0, t0 = rng.normal(0.4, 0.1), rng.normal()
        hits += int(low[0] <= np.exp(k0) + 0.2 * t0 * k0 <= high[0])
    assert 0.74 <= hits / 400 <= 0.86


def test_missing_samples_leave_the_band_of_the_others() -> None:
    samples = np.stack([np.arange(101.0), np.full(101, np.nan)], axis=1)
    samples[::2, 0] = np.nan
    low, high = quantile_band(samples, 0.9)
    assert low[0] == pytest.approx(1 + 0.05 * 98) and high[0] == pytest.approx(1 + 0.95 * 98)
    assert np.isnan(low[1]) and np.isnan(high[1])


def _spreads(gap: float, own: float, samples: int = 4096) -> dict[str, np.ndarray]:
    """Two designs: a large shared error and small errors of their own, B worse by `gap`."""
    normal = stats.norm.ppf(unit_points(samples, 3, 0))
    a, b, law = (normal * [own, own, 4.0] + [0.0, 0.0, 20.0]).T
    return {"A": (law + a)[:, None] * np.ones((1, 2)),
            "B": (law + b + gap)[:, None] * np.ones((1, 2))}


def test_pairing_finds_the_closed_form_chance() -> None:
    """B - A is normal with mean gap and deviation own sqrt 2: chance = Phi(gap/(own sqrt 2)).
    Unpaired, the shared error would give Phi(1/(4 sqrt 2)) = 57 %."""
    result = compare_samples(_spreads(1.0, 0.5))
    expected = stats.norm.cdf(1.0 / (0.5 * np.sqrt(2.0)))
    assert result.chance_overall[0, 1] == pytest.approx(expected, abs=0.005)
    assert result.chance[0, 1] == pytest.approx(expected, abs=0.005)
    assert result.chance_overall[1, 0] == pytest.approx(1.0 - expected, abs=0.005)
    assert result.difference_low[0, 1, -1] == pytest.approx(
        stats.norm.ppf(0.05, -1.0, 0.5 * np.sqrt(2.0)), abs=0.03)


def test_difference_inside_the_band_cannot_be_told() -> None:
    near = compare_samples(_spreads(0.5, 0.5))
    assert not near.apart[0, 1, -1]
    assert near.verdict("A", "B").startswith(CANNOT_TELL)
    assert near.ranking() == ((1, ("A", "B")),)
    far = compare_samples(_spreads(3.0, 0.5))
    assert far.verdict("B", "A").startswith("A is more even with a chance of over 99 %")
    assert far.verdict("A", "B", 1).startswith("A is more even")
    assert far.ranking() == ((1, ("A",)), (2, ("B",)))
    nobody_cares = compare_samples(_spreads(3.0, 0.5), matters_percent=5.0)
    assert nobody_cares.ranking() == ((1, ("A", "B")),)


def test_ranking_keeps_ties_that_are_not_transitive() -> None:
    """A ~ B and B ~ C but A surely better than C: A and B share rank 1, C is second."""
    rng = np.random.default_rng(0)
    noise = rng.normal(size=(3, 2000, 1))
    result = compare_samples({n: 10.0 + 1.6 * i + noise[i] for i, n in enumerate("ABC")})
    assert result.ranking() == ((1, ("A", "B")), (2, ("C",)))


def test_identical_designs_and_failed_draws() -> None:
    spread = np.random.default_rng(0).gamma(3.0, size=(100, 3))
    other = spread.copy()
    other[:7] = np.nan
    result = compare_samples({"A": spread, "B": other}, overall="worst")
    assert result.samples == 93 and result.dropped == 7
    assert (result.chance == 0.5).all() and not result.apart.any()
    np.testing.assert_allclose(result.overall_median[0], np.median(spread[7:].max(axis=1)))
    with pytest.raises(InputError, match="20 or more"):
        compare_samples({"A": spread[:10], "B": other[:10]})
    with pytest.raises(InputError, match="two or more designs"):
        compare_samples({"A": spread})


def test_vary_texts() -> None:
    rpm = parse_vary("conditions.rpm=2000:7000:500")
    assert rpm.levels[0] == 2000 and rpm.levels[-1] == 7000 and len(rpm.levels) == 11
    tenths = parse_vary("x=0.1:0.5:0.1 mm")
    assert tenths.levels == (0.1, 0.2, 0.3, 0.4, 0.5)  # decimal steps, no 0.30000000000000004
    assert tenths.value(0.3) == "0.3 mm" and tenths.column == "x_mm"
    assert parse_vary("x=1:2:0.3").levels == (1.0, 1.3, 1.6, 1.9)
    assert parse_vary("runners.mouth=bell, sharp").choices == ("bell", "sharp")
    assert parse_vary("p=10 kPa, 20 kPa").unit == "kPa"
    assert parse_vary("l=300:500 mm").bounds == (300.0, 500.0)
    assert parse_vary("p=5:15 psi gauge").column == "p_psi_gauge"
    for bad in ("x", "=1,2", "x=", "x=1:0:1", "x=1:2:0", "x=1:2:3:4", "x=1,1", "x=1 mm:2 in:1 mm",
                "x=a:b:c", "x=0:1:1e-9", "x=1,,2"):
        with pytest.raises(InputError, match="--vary"):
            parse_vary(bad)


def test_grid_runs_the_last_dimension_fastest() -> None:
    plan = Grid((parse_vary("a=1,2"), parse_vary("b=u,v,w")))
    points = np.concatenate(list(plan.blocks(4)))
    assert points.tolist() == [[1, 0], [1, 1], [1, 2], [2, 0], [2, 1], [2, 2]]
    with pytest.raises(InputError, match="range without steps"):
        Grid((parse_vary("a=1:2"),))


def test_sample_fills_levels_choices_and_ranges() -> None:
    plan = Sample((Dimension("a", bounds=(10.0, 20.0)), Dimension("b", levels=(1.0, 5.0)),
                   Dimension("c", choices=("x", "y", "z"))), 96)
    points = np.concatenate(list(plan.blocks(10)))
    assert points.shape == (96, 3)
    assert 10.0 < points[:, 0].min() < 10.2 and 19.8 < points[:, 0].max() < 20.0
    assert sorted(set(points[:, 1])) == [1.0, 5.0] and (points[:, 1] == 1.0).sum() == 48
    counts = np.bincount(points[:, 2].astype(int))
    assert counts.min() >= 31 and counts.max() <= 33


@pytest.mark.parametrize("hits,count", [(0, 24), (3, 24), (24, 24), (120, 256)])
def test_interval_of_a_chance_is_that_of_scipy(hits: int, count: int) -> None:
    found = wilson(hits / count, count, 0.9)
    theirs = stats.binomtest(hits, count).proportion_ci(0.9, method="wilson")
    np.testing.assert_allclose(found, (theirs.low, theirs.high), atol=1e-12)


def test_few_draws_say_what_they_leave_open() -> None:
    noise = np.random.default_rng(0).normal(size=(24, 1))
    few = compare_samples({"a": 1.0 + 0.0 * noise, "b": 1.0 + np.abs(noise)})
    assert "over 99 %, 90 to 100 % from 24 draws" in few.verdict("a", "b")
    many = compare_samples({"a": np.ones((1000, 1)), "b": 1.5 * np.ones((1000, 1))})
    assert "a chance of over 99 % (" in many.verdict("a", "b")
