"""Bands from draws, and the bench figure with its band: all draws solved as one batch."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from distrib.build.bench import bench_model, run_bench, runner_flows, solve_bench
from distrib.build.draws import Draws
from distrib.case.schema import Case
from distrib.results import Band, FloatArray, Shares, deviation_of_air

LEVEL = 0.90
FEWEST = 15
"""Draws below which no band is given."""
THREADS = 2


def band_from(nominal_percent: FloatArray, drawn_percent: FloatArray, lean_percent: float,
              seed: int) -> Band:
    """Band of nominal deviations (P, N) from drawn ones (P, S, N).

    The band holds the nominal figure, whatever the draws say. A cylinder with more air never has
    the smaller chance of running lean. Draws without a solution (NaN) are left out and counted; a
    point with fewer than FEWEST draws has no band (NaN).
    """
    good = np.asarray(np.isfinite(drawn_percent).all(axis=-1))
    points, samples, n = drawn_percent.shape
    out = {k: np.full((points, n), np.nan) for k in ("low", "high", "leanest", "lean")}
    spread = np.full((points, 2), np.nan)
    edges = [50.0 * (1.0 - LEVEL), 100.0 - 50.0 * (1.0 - LEVEL)]
    for p in range(points):
        kept, figure = drawn_percent[p][good[p]], nominal_percent[p]
        if kept.shape[0] < FEWEST or not np.isfinite(figure).all():
            continue
        low, high = np.percentile(kept, edges, axis=0)
        out["low"][p], out["high"][p] = np.minimum(low, figure), np.maximum(high, figure)
        out["leanest"][p] = np.bincount(kept.argmax(axis=1), minlength=n) / kept.shape[0]
        order = np.argsort(figure, kind="stable")
        out["lean"][p, order] = np.maximum.accumulate((kept > lean_percent).mean(axis=0)[order])
        spread[p] = np.percentile(np.ptp(kept, axis=1), edges)
        spread[p] = min(spread[p, 0], np.ptp(figure)), max(spread[p, 1], np.ptp(figure))
    return Band(LEVEL, out["low"], out["high"], out["leanest"], out["lean"], spread[:, 0],
                spread[:, 1], samples, int((~good).sum()), seed)


def bench_samples(case: Case, draws: Draws, **settings: object) -> FloatArray:
    """Sampled deviations of the bench model at one depression, (1, S, N), percent."""
    model = bench_model(case, draws=draws, **settings)  # type: ignore[arg-type]
    air = runner_flows(model, run_bench(model, THREADS))
    return deviation_of_air(air)[None]


def bench_with_band(
    case: Case, *, depression_pa: float | None = None, samples: int | None = None,
    seed: int | None = None,
) -> Shares:
    """The bench model with its band, at one depression."""
    shares = solve_bench(case, depression_pa=depression_pa)
    draws = _draws(case, samples, seed)
    sampled = bench_samples(case, draws, depression_pa=depression_pa)
    band = band_from(shares.deviation_percent, sampled, case.limits.lean_percent, draws.seed)
    return replace(shares, band=band)


def _draws(case: Case, samples: int | None, seed: int | None) -> Draws:
    return Draws(case.uncertainty.samples if samples is None else samples,
                 case.uncertainty.seed if seed is None else seed)
