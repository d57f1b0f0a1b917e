"""The band of the shares: every uncertain law and dimension sampled, solved as one batch."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from distrib.build.bench import bench_model, run_bench, runner_flows, solve_bench
from distrib.build.draws import Draws, parts_of
from distrib.build.phased import (
    PhasedRun,
    operating_points,
    phased_model,
    phased_shares,
    run_phased,
)
from distrib.case.schema import Case
from distrib.results import Band, FloatArray, Shares, deviation_of_air, spread_percent

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
PILOTS = 128
"""Samples of which the states of the others are foretold (`_first`)."""
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
    return deviation_of_air(air)[None]


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
    return deviation_of_air(trapped), deviation_of_air(nominal)


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
    for p in range(out.shape[0] if draws.samples > 0 else 0):
        point = {k: v[p:p + 1] for k, v in points.items()}
        here = nominal.final[:, p:p + 1]
        if p == 0:
            run = _first(case, point, draws, here, threads)
        else:
            known = (run.cycles > 0) & (nominal.cycles[p - 1] > 0)
            moved = np.where(known, run.final - nominal.final[:, p - 1:p], 0.0)
            run = _run(case, point, draws, here + moved, threads)
        out[p] = np.where(run.cycles > 0, run.trapped_kg, np.nan).T
    return out, np.ascontiguousarray(centre)


def _run(case: Case, point: Mapping[str, FloatArray], draws: Draws, seed: FloatArray,
         threads: int) -> PhasedRun:
    """All samples at one point from given states."""
    model = phased_model(case, point, draws, steps=SAMPLE_STEPS, cycles=SAMPLE_CYCLES)
    return run_phased(model, threads, seed=seed, repeats=SAMPLE_REPEATS)


def _first(case: Case, point: Mapping[str, FloatArray], draws: Draws, nominal: FloatArray,
           threads: int) -> PhasedRun:
    """The samples of the first point. Of many, PILOTS are run from the nominal state (rows, 1);
    the others start from where a straight fit through those says that they repeat.

    The fit (normal equations, without a library that sums in an order of its own) only says where
    to begin; when a sample repeats is judged as ever.
    """
    count = draws.samples
    if count < 3 * PILOTS:
        return _run(case, point, draws, np.repeat(nominal, count, axis=1), threads)
    pilots, others = parts_of(draws, (0, PILOTS, count))
    known = _run(case, point, pilots, np.repeat(nominal, PILOTS, axis=1), threads)
    drawn = np.array(list(pilots.drawn.values()))
    good = known.cycles > 0
    z = drawn[:, :PILOTS][:, good]
    target = np.einsum("kp,rp->kr", z, known.final[:, good] - nominal)
    square = np.einsum("kp,lp->kl", z, z) + 1e-6 * PILOTS * np.eye(len(drawn))
    slope = np.linalg.solve(square, target)
    ahead = np.einsum("kr,ks->rs", slope, drawn[:, PILOTS:])
    rest = _run(case, point, others, nominal + ahead, threads)
    return replace(
        rest, trapped_kg=np.hstack([known.trapped_kg, rest.trapped_kg]),
        final=np.hstack([known.final, rest.final]),
        cycles=np.concatenate([known.cycles, rest.cycles]))


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
