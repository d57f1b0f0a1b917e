"""The band of the shares: every uncertain law and dimension sampled, solved as one batch."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from distrib.build.bench import bench_model, run_bench, runner_flows, solve_bench
from distrib.build.draws import Draws
from distrib.build.phased import (
    operating_points,
    phased_model,
    phased_shares,
    run_phased,
)
from distrib.case.schema import Case
from distrib.results import Band, FloatArray, Shares, deviation_percent, spread_percent

LEVEL = 0.90
SAMPLE_REPEATS = 1e-4
"""A sample repeats when no cylinder's trapped air moves by more than this part from cycle to cycle;
its deviations are then within 0.02 % points of those of many more cycles (measured 0.013, 0.002 in
the mean square; see tests/benchmarks/test_bench_phased.py)."""
SAMPLE_STEPS = 180
"""Steps per cycle of a sample; the band is centred on the nominal run with its finer step."""
SAMPLE_CYCLES = 20
"""Most cycles of a sample. From a neighbour's repeating state nearly all need 3 to 10; the few that
still move after twice that (one in a hundred at most, at high speed) sway about their state by a
little more than SAMPLE_REPEATS for ever, and are left out and counted."""
THREADS = 2


def band_of(
    nominal_percent: FloatArray, sampled_percent: FloatArray, centre_percent: FloatArray,
    lean_percent: float, seed: int,
) -> Band:
    """Band from sampled deviations (P, S, N) about the nominal deviations (P, N).

    `centre_percent` (P, N) is the nominal design solved as the samples were: what the samples
    differ from it is put onto `nominal_percent`. Failed samples (NaN) are left out and counted.
    """
    shifted = sampled_percent - centre_percent[:, None, :] + nominal_percent[:, None, :]
    good = np.asarray(np.isfinite(shifted).all(axis=-1))
    points, _, n = shifted.shape
    out = {k: np.full((points, n), np.nan) for k in ("low", "high", "leanest", "lean")}
    spread = np.full((points, 2), np.nan)
    edges = [50.0 * (1.0 - LEVEL), 100.0 - 50.0 * (1.0 - LEVEL)]
    for p in range(points):
        kept = shifted[p][good[p]]
        if kept.shape[0] < 20:
            continue
        out["low"][p], out["high"][p] = np.percentile(kept, edges, axis=0)
        out["leanest"][p] = np.bincount(kept.argmax(axis=1), minlength=n) / kept.shape[0]
        out["lean"][p] = (kept > lean_percent).mean(axis=0)
        spread[p] = np.percentile(kept.max(axis=1) - kept.min(axis=1), edges)
    return Band(LEVEL, out["low"], out["high"], out["leanest"], out["lean"], spread[:, 0],
                spread[:, 1], int(shifted.shape[1]), int((~good).sum()), seed)


def bench_samples(case: Case, draws: Draws, **settings: object) -> FloatArray:
    """Sampled deviations of the bench model at one depression, (1, S, N), percent."""
    model = bench_model(case, draws=draws, **settings)  # type: ignore[arg-type]
    air = runner_flows(model, run_bench(model, THREADS))
    share = air / air.sum(axis=-1, keepdims=True)
    return deviation_percent(share)[None]


def bench_with_band(
    case: Case, *, depression_pa: float | None = None, samples: int | None = None,
    seed: int | None = None,
) -> Shares:
    """The bench model with its band, at one depression."""
    shares = solve_bench(case, depression_pa=depression_pa)
    draws = _draws(case, samples, seed)
    sampled = bench_samples(case, draws, depression_pa=depression_pa)
    band = band_of(shares.deviation_percent, sampled, shares.deviation_percent,
                   case.limits.lean_percent, draws.seed)
    return replace(shares, band=band)


def _draws(case: Case, samples: int | None, seed: int | None) -> Draws:
    return Draws(case.uncertainty.samples if samples is None else samples,
                 case.uncertainty.seed if seed is None else seed)


def phased_samples(
    case: Case, points: Mapping[str, FloatArray], draws: Draws
) -> tuple[FloatArray, FloatArray]:
    """Sampled deviations (P, S, N) of the phased model; nominal ones (P, N) solved alike."""
    trapped, nominal = trapped_samples(case, points, draws, THREADS)
    share = trapped / trapped.sum(axis=-1, keepdims=True)
    centre = nominal / nominal.sum(axis=-1, keepdims=True)
    return deviation_percent(share), deviation_percent(centre)


def trapped_samples(
    case: Case, points: Mapping[str, FloatArray], draws: Draws, threads: int = 1
) -> tuple[FloatArray, FloatArray]:
    """Trapped air of all samples (P, S, N) and of the nominal design solved alike (P, N), kg.

    NaN where a sample does not repeat. The samples of the first point start from the repeating
    state of the nominal design; those of every other point from their own state at the point
    before, moved by what the nominal state moves. That is so near their own repeating state that
    most are there after the three cycles that are always run.
    """
    nominal = run_phased(phased_model(case, points, steps=SAMPLE_STEPS), threads)
    centre = np.where(nominal.cycles > 0, nominal.trapped_kg, np.nan).T
    out = np.full((centre.shape[0], draws.samples, centre.shape[1]), np.nan)
    seed = np.repeat(nominal.final[:, :1], draws.samples, axis=1)
    for p in range(out.shape[0] if draws.samples > 0 else 0):
        model = phased_model(case, {k: v[p:p + 1] for k, v in points.items()}, draws,
                             steps=SAMPLE_STEPS, cycles=SAMPLE_CYCLES)
        run = run_phased(model, threads, seed=seed, repeats=SAMPLE_REPEATS)
        out[p] = np.where(run.cycles > 0, run.trapped_kg, np.nan).T
        if p + 1 < out.shape[0]:
            here, there = nominal.final[:, p:p + 1], nominal.final[:, p + 1:p + 2]
            moved = np.where((run.cycles > 0) & (nominal.cycles[p] > 0), run.final - here, 0.0)
            seed = there + moved
    return out, np.ascontiguousarray(centre)


def phased_with_band(
    case: Case, *, rpm: ArrayLike | None = None, charge_pressure_pa: ArrayLike | None = None,
    charge_temperature_k: ArrayLike | None = None, samples: int | None = None,
    seed: int | None = None,
) -> Shares:
    """The phased model with its band at every point."""
    points = operating_points(case, rpm, charge_pressure_pa, charge_temperature_k)
    model = phased_model(case, points)
    shares = phased_shares(model, points, run_phased(model))
    band = phased_band(case, shares, rpm=points["rpm"],
                       charge_pressure_pa=points["charge_pressure_pa"],
                       charge_temperature_k=points["charge_temperature_k"], samples=samples,
                       seed=seed)
    return replace(shares, band=band)


def phased_band(
    case: Case, nominal: Shares, *, rpm: ArrayLike | None = None,
    charge_pressure_pa: ArrayLike | None = None, charge_temperature_k: ArrayLike | None = None,
    samples: int | None = None, seed: int | None = None,
) -> Band:
    """Band about a nominal phased result at the same (P,) points."""
    points = operating_points(case, rpm, charge_pressure_pa, charge_temperature_k)
    draws = _draws(case, samples, seed)
    sampled, centre = phased_samples(case, points, draws)
    return band_of(nominal.deviation_percent, sampled, centre, case.limits.lean_percent,
                   draws.seed)


__all__ = ["Band", "band_of", "bench_with_band", "phased_with_band", "spread_percent"]
