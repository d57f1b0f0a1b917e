"""What the commands `trims` and `fit` and the Python names behind them do."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from distrib.answer.draws import DRAWS
from distrib.answer.run import judged
from distrib.build.engine import solve_engine
from distrib.build.fuel_sets import enlargement
from distrib.calibration.bench_fit import BenchFit, fit_bench, read_bench_sheet
from distrib.calibration.bench_mapping import BenchMapping, read_bench_mapping
from distrib.calibration.cells import Cells, for_cylinders, into_cells
from distrib.calibration.clean import Windows, steady_windows
from distrib.calibration.engine_fit import EngineFit, fit_discrepancy
from distrib.calibration.fit import Fit
from distrib.calibration.gate import gate
from distrib.calibration.log import read_log
from distrib.calibration.logged import logged
from distrib.calibration.mapping import LogMapping, read_log_mapping
from distrib.calibration.next_trims import Logged
from distrib.calibration.score import Score, score
from distrib.calibration.sheet import TrimTable
from distrib.calibration.targets import Targets
from distrib.calibration.tree import Root
from distrib.calibration.trim_table import predicted_table
from distrib.case.change import case_hash
from distrib.case.schema import Case
from distrib.errors import InputError, Problem
from distrib.fuelling import check_injection
from distrib.fuelling.lambda_ import air_from_lambda
from distrib.fuelling.trims import Basis, Policy
from distrib.results import FloatArray, Shares

Solver = Callable[[Case, FloatArray, FloatArray], Shares]
"""Case, speeds (P,), charge pressures (P,) to shares."""
FULL_THROTTLE: Final = (
    "the manifold pressure of a cell is taken as the charge pressure, as at full throttle")
MODEL: Final = "engine"
"""The figure that logs and predictions stand on; the only one an engine can be held against."""


def engine_solver(draws: int = DRAWS) -> Solver:
    """The engine figure with its band, as `distrib.answer` gives it, at given points."""
    def solve(case: Case, rpm: FloatArray, pressure: FloatArray) -> Shares:
        shares = solve_engine(case, rpm=rpm, charge_pressure_pa=pressure, threads=2)
        return judged(case, shares, draws).engine

    return solve


def trims(
    case: Case, *, rpm: Sequence[float] | None = None, pressure_pa: Sequence[float] | None = None,
    policy: Policy = "richen-only", step: float = 0.5, on: Basis = "fuel",
    confirmed: Sequence[str] = (), volts: float | None = None,
    discrepancy: tuple[float, float] | None = None, solve: Solver | None = None,
    draws: int = DRAWS, remarks: Sequence[str] = (), targets: Targets | None = None,
) -> TrimTable:
    """Predicted trims over speeds (R,) by charge pressures (C,), absolute pascal.

    Defaults: the case's speeds and charge pressure, richen-only, half a step. TrimError for batch
    or paired injection, for injector sets of which none can trim, and for sum-to-zero,
    which a prediction does not allow. `solve` replaces the engine model; `draws` of the band at
    each cell; `remarks` further cautions for the sheet; `targets` replace the case's target lambda.
    """
    check_injection(case.fuel.injection)
    enlargement(case)
    opened = gate(confirmed)
    rows = np.asarray(case.conditions.rpm if rpm is None else rpm, dtype=np.float64)
    columns = np.asarray([case.conditions.charge_pressure_pa] if pressure_pa is None
                         else pressure_pa, dtype=np.float64)
    wrong = [
        Problem(name, f"{values.tolist()}", "rising numbers above zero")
        for name, values in (("rpm", rows), ("load", columns))
        if len(values) == 0 or not np.isfinite(values).all() or np.any(values <= 0.0)
        or np.any(np.diff(values) <= 0.0)
    ]
    if wrong:
        raise InputError(wrong)
    goal = None if targets is None else targets.at(
        np.repeat(rows, len(columns)), np.tile(columns, len(rows)))
    shares = (solve or engine_solver(draws))(
        case, np.repeat(rows, len(columns)), np.tile(columns, len(rows)))
    return predicted_table(
        case, shares, rows.tolist(), columns.tolist(), opened, policy=policy, step=step, on=on,
        volts=volts, discrepancy=discrepancy, remarks=remarks, target=goal,
    )


def read_mapping(path: str | Path) -> BenchMapping | LogMapping:
    """A mapping file of either kind, by its key `kind`."""
    kind = Root(Path(path)).top().raw("kind")
    return read_bench_mapping(path) if kind == "bench" else read_log_mapping(path)


@dataclass(frozen=True)
class LogFit:
    """An engine log beside the prediction: windows, cells, discrepancy, score (None without a
    band), predicted deviation (P, N) and measured deviation (P, N) of the P cells used, what was
    logged in them. `model` and `case_hash` say what the log was held against."""

    path: Path
    model: str
    case_hash: str
    cylinders: tuple[int, ...]
    windows: Windows
    cells: Cells
    logged: Logged
    rpm: FloatArray
    pressure_pa: FloatArray
    predicted_percent: FloatArray
    measured_percent: FloatArray
    engine: EngineFit
    score: Score | None
    statements: tuple[str, ...]


def fit_log(
    case: Case, path: str | Path, mapping: LogMapping, *, solve: Solver | None = None,
) -> LogFit:
    """Clean a log, gather its cells, and fit the discrepancy factor of the engine model to them.

    The manifold pressure of a cell is taken as the charge pressure (full throttle). InputError
    when the mapping names no cells or nothing falls into them.
    """
    if not mapping.cell_rpm or not mapping.cell_pressure_pa:
        raise InputError([Problem("cells", "nothing", "[cells] with rpm and pressure", "",
                                  str(mapping.path), None, "mapping")])
    log = read_log(path, mapping)
    windows = steady_windows(log, mapping)
    cells = for_cylinders(into_cells(windows, mapping.cell_rpm, mapping.cell_pressure_pa),
                          tuple(sorted(r.cylinder for r in case.runners)), str(mapping.path))
    used = np.argwhere(np.isfinite(cells.lambda_base).sum(axis=-1) >= 2)
    if len(used) == 0:
        raise InputError([Problem(
            "cells", f"{len(windows.rpm)} windows, none in a cell",
            "cells where the log held still", f"windows at {_where(windows)}", str(mapping.path),
            None, "mapping")])
    at = tuple(used.T)
    rpm, pressure = cells.rpm[at[0]], cells.pressure_pa[at[1]]
    shares = (solve or engine_solver())(case, rpm, pressure)
    cylinders = tuple(int(c) for c in shares.cylinders)
    lam, sigma = (values[at] for values in _air_of_cells(case, cells))
    engine = fit_discrepancy(shares.deviation_percent, lam, sigma, cylinders)
    counts = np.isfinite(lam).sum(axis=1, keepdims=True)
    measured = (lam / (np.nansum(lam, axis=1, keepdims=True) / counts) - 1.0) * 100.0
    scored = None
    if shares.band is not None:
        scored = score(
            shares.deviation_percent, measured, shares.band.low_percent, shares.band.high_percent,
            shares.band.level, 100.0 * float(np.nanmedian(sigma / lam)))
    statements = [*log.warnings, FULL_THROTTLE, *_about_injection(case, mapping),
                  *engine.statements, *(scored.statements if scored else ())]
    if cells.unplaced:
        statements.append(f"{cells.unplaced} steady windows lie in no cell and were not used")
    return LogFit(
        log.path, MODEL, case_hash(case), cylinders, windows, cells, logged(cells, at), rpm,
        pressure, shares.deviation_percent, measured, engine, scored, tuple(statements))


def _about_injection(case: Case, mapping: LogMapping) -> tuple[str, ...]:
    if mapping.injection == case.fuel.injection:
        return ()
    return (f"the log was taken with {mapping.injection} injection, the case has "
            f"{case.fuel.injection}: fuel by cylinder may differ between the two",)


def log_labels(found: LogFit) -> tuple[str, ...]:
    """A short name for every observation of the log's fit, in its order."""
    seen = np.isfinite(found.measured_percent)
    return tuple(
        f"{found.rpm[p]:.0f} rpm {found.pressure_pa[p] / 1e3:.0f} kPa, cyl. {found.cylinders[c]}"
        for p, c in np.argwhere(seen))


def _air_of_cells(case: Case, cells: Cells) -> tuple[FloatArray, FloatArray]:
    """Air of each cylinder of the cells up to a factor, and its standard error, (R, C, N).

    Lambda times fuel. The trims of a log are those of the trimmed sets; of the fuel of all sets a
    share follows the air, which makes lambda differ by less than the air.
    """
    follows = case.fuel.air_following_fraction
    trimmed = not case.fuel.stages or any(s.trimmed for s in case.fuel.stages)
    larger = enlargement(case) if trimmed else 1.0
    if follows == 0.0 and larger == 1.0:
        return cells.lambda_base, cells.sigma
    lam = cells.lambda_base / (1.0 + cells.trim_percent / 100.0)
    fuel_now = 1.0 + cells.trim_percent / larger / 100.0
    air = air_from_lambda(fuel_now, lam, follows)
    # d ln air/d ln lambda = 1/(1 - f k lambda) = 1 + f air/((1 - f) fuel at the port)
    steeper = 1.0 + follows * air / ((1.0 - follows) * fuel_now) if follows else 1.0
    return air, cells.sigma / cells.lambda_base * air * steeper


def fit(case: Case, data: str | Path, mapping: str | Path) -> BenchFit | LogFit:
    """Measured data into the model: a bench sheet or an engine log, as the mapping file says.

    `data` is the CSV file; a log is held against the engine figure. Raises InputError with every
    fault of either file.
    """
    read = read_mapping(mapping)
    if isinstance(read, LogMapping):
        return fit_log(case, data, read)
    return fit_bench(case, read_bench_sheet(data, read, case))


def _where(windows: Windows) -> str:
    shown = sorted({(round(r, -2), round(p / 1e3, -1)) for r, p in
                    zip(windows.rpm, windows.pressure_pa, strict=True)})[:8]
    return "; ".join(f"{r:g} rpm {p:g} kPa" for r, p in shown)


def discrepancy_from(
    data: Mapping[str, Any], file: str, case: Case
) -> tuple[tuple[float, float], tuple[str, ...]]:
    """Factor and sigma from the JSON of `distrib fit`, and what to be wary of.

    InputError when it has none, or when it belongs to another model than the engine figure."""
    engine = data.get("engine")
    try:
        found = float(engine["discrepancy"]), float(engine["sigma"])  # type: ignore[index]
        fitted, of = str(engine["model"]), str(engine["case_hash"])  # type: ignore[index]
    except (TypeError, KeyError, ValueError):
        raise InputError([Problem(
            "fit", "no discrepancy factor with its model",
            "the JSON of a fit with an engine log", "", file,
        )]) from None
    if not (np.isfinite(found[0]) and found[1] > 0.0):
        raise InputError([Problem("fit", f"factor {found[0]:g}, sigma {found[1]:g}",
                                  "a finite factor and a sigma above 0", "", file)])
    if fitted != MODEL:
        raise InputError([Problem("fit", f"a factor of the model {fitted}",
                                  f"one of the {MODEL} figure", "fit again", file)])
    if of == case_hash(case):
        return found, ()
    return found, ("the factor from measured data was fitted to another state of this case, or to "
                   "another case: it stands for this design only as far as the two are alike",)


def parameters_json(found: Fit) -> list[dict[str, Any]]:
    """Parameters of a fit for JSON: prior, posterior, what the data determine."""
    return [
        {
            "name": p.name, "unit": p.unit, "prior": p.prior, "prior_sigma": p.prior_sigma,
            "scale": p.scale, "basis": p.basis, "value": float(v), "band_90": [float(a), float(b)],
            "shrink": float(s), "verdict": w, "at_limit": bool(limit),
        }
        for p, v, a, b, s, w, limit in zip(
            found.parameters, found.value, found.low90, found.high90, found.shrink, found.verdict,
            found.at_limit, strict=True)
    ]
