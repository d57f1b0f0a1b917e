"""Swap test: injectors and sensors moved between cylinders, so that air, fuel and sensor part.

In logarithms every reading is a sum: `ln lambda = run + air(cylinder) - flow(injector) +
bias(sensor) - ln(1 + trim)`. Runs with parts moved give more equations of that kind; least squares
solves them up to one overall constant per group (each group is centred on zero). If the lean
reading follows the injector it is fuel; if it stays, it is air, cylinder or sensor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from distrib.calibration.blame import stands_out
from distrib.calibration.fit import band_factor
from distrib.errors import InputError, Problem
from distrib.results import BoolArray, FloatArray, IntArray

REPEATABILITY: Final = 0.01
"""Standard deviation of ln lambda of one reading: two runs agree within about 1 % per cylinder
(common practice)."""
ONE_SET_ONLY: Final = (
    "the swap test takes all fuel of a cylinder to come from the one injector that was moved: with "
    "several injector sets, or fuel that follows the air, run it on one set alone, else air and "
    "injectors come out too near the mean"
)


@dataclass(frozen=True)
class SwapRun:
    """One steady run: readings by cylinder, and which injector and sensor sat where.

    All (N,). `injector[c]` and `sensor[c]` are numbers 0..N-1 of the parts on cylinder c;
    `trim_percent` fuel trims active in that run. NaN readings are left out.
    """

    lambda_: FloatArray
    injector: IntArray
    sensor: IntArray
    trim_percent: FloatArray


@dataclass(frozen=True)
class SwapResult:
    """Factors over their mean (geometric), (N,), with standard errors as a share, widened where
    the runs contradict each other.

    `air` by cylinder (air over mean; it still holds the sensor when sensors were not moved),
    `injector` flow by injector, `sensor` reading factor by sensor (None if not moved). `spare`
    equations beyond the unknowns: with none there is no residual and no check. `residual` (runs, N)
    in ln lambda, `chi2` its weighted sum. `statements` says all this in words.
    """

    air: FloatArray
    air_sigma: FloatArray
    injector: FloatArray
    injector_sigma: FloatArray
    sensor: FloatArray | None
    sensor_sigma: FloatArray | None
    run: FloatArray
    residual: FloatArray
    spare: int
    chi2: float
    sigma: float
    statements: tuple[str, ...]

    @property
    def injector_correction_percent(self) -> FloatArray:
        """Fuel to add to each injector, (N,), so that all give what the strongest gives; never
        below 0, since no fuel is taken off on a swap test alone."""
        return np.asarray((self.injector.max() / self.injector - 1.0) * 100.0)


def _design(
    runs: Sequence[tuple[IntArray, IntArray, BoolArray]], n: int, sensors: bool
) -> FloatArray:
    """Rows of the linear problem: columns runs, air, injectors, (sensors)."""
    groups = 3 if sensors else 2
    rows = []
    for k, (injector, sensor, used) in enumerate(runs):
        for c in np.flatnonzero(used):
            row = np.zeros(len(runs) + groups * n)
            row[k] = 1.0
            row[len(runs) + c] = 1.0
            row[len(runs) + n + injector[c]] -= 1.0
            if sensors:
                row[len(runs) + 2 * n + sensor[c]] = 1.0
            rows.append(row)
    return np.array(rows)


def _centred(n_runs: int, n: int, groups: int) -> FloatArray:
    """One row per group: its values sum to zero."""
    rows = np.zeros((groups, n_runs + groups * n))
    for g in range(groups):
        rows[g, n_runs + g * n : n_runs + (g + 1) * n] = 1.0
    return rows


def _rank_lost(runs: Sequence[tuple[IntArray, IntArray, BoolArray]], n: int, sensors: bool) -> int:
    groups = 3 if sensors else 2
    full = np.vstack([_design(runs, n, sensors), _centred(len(runs), n, groups)])
    return int(full.shape[1] - np.linalg.matrix_rank(full, tol=1e-9))


def unlinked_groups(runs: Sequence[SwapRun]) -> tuple[tuple[int, ...], ...]:
    """Cylinders (from 1) grouped by the injectors they shared over the runs; one group is good."""
    n = len(runs[0].lambda_)
    parent = list(range(2 * n))

    def root(i: int) -> int:
        while parent[i] != i:
            i = parent[i]
        return i

    for run in runs:
        for c in range(n):
            if np.isfinite(run.lambda_[c]):
                parent[root(c)] = root(n + int(run.injector[c]))
    groups: dict[int, list[int]] = {}
    for c in range(n):
        groups.setdefault(root(c), []).append(c + 1)
    return tuple(tuple(g) for g in groups.values())


def linking_swap(runs: Sequence[SwapRun]) -> str:
    """A further run that would link everything, in words; the smallest exchange is tried first."""
    n = len(runs[0].lambda_)
    sensors = _sensors_moved(runs)
    known = [(r.injector, r.sensor, np.isfinite(r.lambda_)) for r in runs]
    all_used = np.ones(n, dtype=np.bool_)
    injector, sensor = np.asarray(runs[0].injector), np.asarray(runs[0].sensor)
    for part, name in ((0, "injectors"), (1, "sensors")):
        if part == 1 and not sensors:
            continue
        for a, b in combinations(range(n), 2):
            moved = (injector if part == 0 else sensor).copy()
            moved[[a, b]] = moved[[b, a]]
            trial = (moved, sensor, all_used) if part == 0 else (injector, moved, all_used)
            if _rank_lost([*known, trial], n, sensors) == 0:
                return f"a further run with the {name} of cylinders {a + 1} and {b + 1} exchanged"
    for part, name in ((0, "injectors"), (1, "sensors")):
        if part == 1 and not sensors:
            continue
        moved = np.roll(injector if part == 0 else sensor, 1)
        trial = (moved, sensor, all_used) if part == 0 else (injector, moved, all_used)
        if _rank_lost([*known, trial], n, sensors) == 0:
            return f"a further run with all {name} moved on by one cylinder (the last to the first)"
    return (
        "two further runs: one with all injectors moved on by one cylinder, one with all sensors "
        "moved on by one cylinder" if sensors else
        "a further run with all injectors moved on by one cylinder (the last to the first)"
    )


def _sensors_moved(runs: Sequence[SwapRun]) -> bool:
    return any(not np.array_equal(r.sensor, runs[0].sensor) for r in runs[1:])


def _check(runs: Sequence[SwapRun]) -> int:
    """Number of cylinders; InputError for runs that are no permutations."""
    problems = []
    if len(runs) < 2:
        raise InputError([Problem("swap test", f"{len(runs)} run", "two or more runs",
                                  "one run cannot part air from fuel")])
    n = len(runs[0].lambda_)
    for k, run in enumerate(runs, start=1):
        for name, values in (("injector", run.injector), ("sensor", run.sensor)):
            if sorted(np.asarray(values).tolist()) != list(range(n)):
                problems.append(Problem(
                    f"run {k}, {name}", str((np.asarray(values) + 1).tolist()),
                    f"each of 1 to {n} once",
                ))
        bad = np.isfinite(run.lambda_) & (run.lambda_ <= 0.0)
        if bad.any() or len(run.lambda_) != n:
            problems.append(Problem(f"run {k}, lambda", str(run.lambda_), f"{n} positive numbers"))
    if all(np.array_equal(r.injector, runs[0].injector) for r in runs[1:]):
        problems.append(Problem("swap test", "the same injector places in every run",
                                "injectors moved in at least one run"))
    if problems:
        raise InputError(problems)
    return n


def solve_swap(
    runs: Sequence[SwapRun], sigma: float = REPEATABILITY, injectors: Sequence[str] | None = None,
    sensor_names: Sequence[str] | None = None,
) -> SwapResult:
    """Air, injector and sensor factors of a swap test.

    `sigma` standard deviation of ln lambda of one reading; `injectors` and `sensor_names`
    in words (default 1 to N). InputError when the exchanges leave
    cylinders unlinked; it names the groups and a swap that would link them.
    """
    n = _check(runs)
    sensors = _sensors_moved(runs)
    groups = 3 if sensors else 2
    places = [(r.injector, r.sensor, np.isfinite(r.lambda_)) for r in runs]
    if _rank_lost(places, n, sensors):
        parts = unlinked_groups(runs)
        split = " and ".join("{" + ", ".join(map(str, g)) + "}" for g in parts)
        what = (f"cylinders fall into groups that share no injector: {split}" if len(parts) > 1
                else "the exchanges do not part injectors, sensors and air")
        raise InputError([Problem(
            "swap test", what, "exchanges that link every cylinder",
            f"{linking_swap(runs)} would link them; moving all on by one cylinder always does",
        )])
    design = _design(places, n, sensors)
    y = np.concatenate([
        np.log(r.lambda_[u]) + np.log1p(r.trim_percent[u] / 100.0)
        for r, (_, _, u) in zip(runs, places, strict=True)
    ])
    centred = _centred(len(runs), n, groups)
    # The constraints hold exactly: solve in their null space.
    basis = np.linalg.svd(centred)[2][groups:].T
    reduced = design @ basis
    z, *_ = np.linalg.lstsq(reduced, y, rcond=None)
    x = basis @ z
    covariance = basis @ np.linalg.inv(reduced.T @ reduced) @ basis.T * sigma**2
    error = np.sqrt(np.clip(np.diag(covariance), 0.0, None))
    spare = len(y) - reduced.shape[1]
    rest = y - design @ x
    residual = np.full((len(runs), n), np.nan)
    residual[np.array([u for _, _, u in places])] = rest
    k = len(runs)

    def part(values: FloatArray, g: int) -> FloatArray:
        return np.asarray(values[k + g * n : k + (g + 1) * n], dtype=np.float64)

    chi2 = float(np.sum((rest / sigma) ** 2))
    wider = band_factor(chi2, spare)
    error = error * wider
    return SwapResult(
        np.exp(part(x, 0)), part(error, 0), np.exp(part(x, 1)), part(error, 1),
        np.exp(part(x, 2)) if sensors else None, part(error, 2) if sensors else None,
        np.asarray(x[:k]), residual, spare, chi2, sigma,
        _statements(part(x, 0), part(error, 0), part(x, 1), part(error, 1),
                    part(x, 2) if sensors else None, part(error, 2) if sensors else None, spare,
                    chi2, wider, injectors or [str(i + 1) for i in range(n)],
                    sensor_names or [str(i + 1) for i in range(n)]),
    )


def _statements(
    air: FloatArray, air_sigma: FloatArray, flow: FloatArray, flow_sigma: FloatArray,
    sensor: FloatArray | None, sensor_sigma: FloatArray | None, spare: int, chi2: float,
    wider: float, names: Sequence[str], sensor_names: Sequence[str],
) -> tuple[str, ...]:
    out = []
    judged = len(air) * (2 if sensor is None else 3)
    away, named = stands_out(air, air_sigma, judged)
    for c, (value, out_) in enumerate(zip(away, named, strict=True), start=1):
        if out_:
            word = "more air: lean" if value > 0 else "less air: rich"
            out.append(f"cylinder {c}: {100 * np.expm1(value):+.1f} % stays with the cylinder, "
                       f"{word} at equal fuel")
    for name, value, out_ in zip(names, *stands_out(flow, flow_sigma, judged), strict=True):
        if out_:
            word = "gives more fuel" if value > 0 else "gives less fuel"
            out.append(f"injector {name}: {100 * np.expm1(value):+.1f} % follows the injector, "
                       f"{word}")
    if sensor is not None and sensor_sigma is not None:
        for name, value, out_ in zip(
                sensor_names, *stands_out(sensor, sensor_sigma, judged), strict=True):
            if out_:
                out.append(f"sensor {name}: {100 * np.expm1(value):+.1f} % follows the "
                           f"sensor, it reads {'lean' if value > 0 else 'rich'}")
    else:
        out.append("sensors were not moved: what stays with a cylinder may be its sensor")
    if spare == 0:
        out.append("no spare equations: a third run is needed to check the result")
    elif wider > 1.0:
        out.append(f"the runs contradict each other by more than the stated repeatability "
                   f"(chi-square {chi2:.0f} for {spare} spare equations): something else changed "
                   f"between them; the errors are widened {wider:.1f} times")
    return tuple(out)
