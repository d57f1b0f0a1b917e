"""Cell length from a wanted accuracy, and what the grid contributes to a result."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from distrib.errors import InputError, Problem
from distrib.results import FloatArray
from distrib.unsteady.run import DEFAULT_OPTIONS, Options, solve
from distrib.unsteady.setup import UnsteadySetup

ERROR_AT_10_MM = 0.08
GRID_POWER = 1.3
"""Largest error of a deviation, percent points, with cells of 10 mm, and how it grows with cell
length: envelope of four invented intakes of 4 and 6 cylinders at 3000 to 6000 rpm, solved with 3.3
to 30 mm (own trial). Not a bound; `convergence` measures the case at hand."""

CELL_RANGE_M = (0.002, 0.03)
SAFETY = 1.25
"""Factor on the error estimate of three grids: Roache (1998), from memory."""


def cell_for_accuracy(deviation_percent: float) -> float:
    """Cell length (m) for a wanted accuracy of the deviations, percent points.

    `0.01 (accuracy/0.08)^(1/1.3)`. InputError where that lies outside 2 to 30 mm, the range in
    which the rule was tried.
    """
    cell = 0.01 * (deviation_percent / ERROR_AT_10_MM) ** (1.0 / GRID_POWER) \
        if deviation_percent > 0.0 else 0.0
    low, high = CELL_RANGE_M
    if not low <= cell <= high:
        ends = [ERROR_AT_10_MM * (h / 0.01) ** GRID_POWER for h in CELL_RANGE_M]
        raise InputError([Problem("accuracy", f"{deviation_percent:g} percent points",
                                  f"{ends[0]:.3f} to {ends[1]:.2f} percent points")])
    return cell


@dataclass(frozen=True)
class GridEstimate:
    """What the grid does to a result, from three grids of cells 2 h, h and h/2.

    `cell_m` h; `deviation_percent` (3, C) and `volumetric_efficiency` (3, C), coarse to fine;
    `order`: observed order of the deviations, NaN when the three do not converge monotonically
    as a whole; `deviation_error_percent` (C,) and `efficiency_error` (C,): estimated error at h,
    with a safety factor of 1.25. `reason` says why there is none (a run that failed); then NaN.
    """

    cell_m: float
    deviation_percent: FloatArray
    volumetric_efficiency: FloatArray
    order: float
    deviation_error_percent: FloatArray
    efficiency_error: FloatArray
    reason: str = ""


def _estimate(values: FloatArray) -> tuple[float, FloatArray]:
    """Observed order and error at the middle grid of values (3, C) on grids 2 h, h, h/2."""
    coarse, fine = values[1] - values[0], values[2] - values[1]
    a, b = float(np.linalg.norm(coarse)), float(np.linalg.norm(fine))
    order = float(np.log2(a / b)) if a > b > 0.0 else np.nan
    # without an observed order count as first order: the error is then twice the last change
    used = min(order, 2.0) if np.isfinite(order) and order >= 1.0 else 1.0
    return order, np.asarray(SAFETY * np.abs(fine) * (1.0 + 1.0 / (2.0**used - 1.0)))


def convergence(setup: UnsteadySetup, options: Options = DEFAULT_OPTIONS,
                threads: int = 1) -> GridEstimate:
    """Solve with cells 2 h, h and h/2 (h = `options.cell_m`) and estimate the error at h.

    The repetition tolerance is tightened tenfold, so that it does not blur the comparison. Costs
    about 5 times one run at h.
    """
    h = options.cell_m
    sizes = (2.0 * h, h, 0.5 * h)
    tight = replace(options, tolerance=0.1 * options.tolerance)
    with ThreadPoolExecutor(max_workers=max(threads, 1)) as pool:
        runs = list(pool.map(lambda s: solve(setup, replace(tight, cell_m=s)), sizes))
    count = len(setup.cylinders)
    deviation = np.stack([(r.share * count - 1.0) * 100.0 for r in runs])
    efficiency = np.stack([r.volumetric_efficiency for r in runs])
    failed = [r.reason for r in runs if not r.converged]
    if failed:
        nan = np.full(count, np.nan)
        return GridEstimate(h, deviation, efficiency, np.nan, nan, nan, failed[0])
    order, error = _estimate(deviation)
    _, efficiency_error = _estimate(efficiency)
    return GridEstimate(h, deviation, efficiency, order, error, efficiency_error)
