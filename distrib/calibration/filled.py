"""Next trims from measured lambdas: a filled trim sheet, or an engine log."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from distrib.build.fuel_sets import enlargement, on_trimmed_sets
from distrib.calibration.clean import into_cells, steady_windows
from distrib.calibration.log import read_log
from distrib.calibration.mapping import LogMapping
from distrib.calibration.score import Score, score
from distrib.calibration.sheet import FilledSheet
from distrib.calibration.trim_table import case_limits, measured_trims
from distrib.case.change import case_hash
from distrib.case.schema import Case
from distrib.errors import InputError, Problem
from distrib.fuelling import check_injection, convert_percent, sign_flips
from distrib.fuelling.lambda_ import air_from_lambda
from distrib.fuelling.trims import Policy, Trims
from distrib.results import FloatArray

OFF_TARGET_PERCENT = 1.0
"""Mean lambda farther off the target than this belongs into the base map (common practice: two
runs agree within about 1 %)."""


@dataclass(frozen=True)
class NextTrims:
    """Next trims of P measured cells by N cylinders, with air as measured and as predicted.

    `trims` act on all fuel at the ports, `trim_shown` is on the basis of the sheet and, where the
    case has several injector sets, for the trimmed ones.
    """

    cylinders: tuple[int, ...]
    rpm: FloatArray
    pressure_pa: FloatArray
    lambda_measured: FloatArray
    measured_percent: FloatArray
    predicted_percent: FloatArray
    trims: Trims
    trim_shown: FloatArray
    score: Score | None
    statements: tuple[str, ...]


def next_from_sheet(case: Case, sheet: FilledSheet, policy: Policy, step: float) -> NextTrims:
    """Next trims for every cell of the sheet in which all cylinders were measured.

    InputError when there is none, or when the sheet's cylinders are not those of the case.
    """
    check_injection(case.fuel.injection)
    cylinders = tuple(sorted(r.cylinder for r in case.runners))
    cells = list(dict.fromkeys(zip(sheet.rpm.tolist(), sheet.pressure_pa.tolist(), strict=True)))
    pick = []
    partial = []
    for rpm, pressure in cells:
        rows = np.flatnonzero((sheet.rpm == rpm) & (sheet.pressure_pa == pressure))
        order = rows[np.argsort(sheet.cylinder[rows])]
        if tuple(sheet.cylinder[order].tolist()) != cylinders:
            raise InputError([Problem(
                f"{rpm:g} rpm, {pressure / 1e3:g} kPa",
                f"cylinders {sheet.cylinder[order].tolist()}", f"{list(cylinders)}, each once",
                "is this the sheet of another case?", str(sheet.path), None, "sheet")])
        measured = np.isfinite(sheet.lambda_measured[order])
        if measured.all():
            pick.append(order)
        elif measured.any():
            partial.append(f"{rpm:g} rpm, {pressure / 1e3:g} kPa: cylinders "
                           f"{[c for c, m in zip(cylinders, measured, strict=True) if not m]} "
                           "are blank, the cell is not used")
    if not pick:
        raise InputError([Problem(
            "lambda_measured", "no cell with every cylinder measured", "all cylinders of a cell",
            "; ".join(partial), str(sheet.path), None, "sheet")])
    at = np.array(pick)
    return _next(case, sheet, at, cylinders, policy, step, partial)


def _next(
    case: Case, sheet: FilledSheet, at: np.ndarray[tuple[int, ...], np.dtype[np.int64]],
    cylinders: tuple[int, ...], policy: Policy, step: float, partial: list[str],
) -> NextTrims:
    lam, now = sheet.lambda_measured[at], _on_fuel(sheet, at) / enlargement(case)
    target, follows = case.fuel.lambda_target, case.fuel.air_following_fraction
    made = measured_trims(lam, now, target, case_limits(case), policy=policy, step=step,
                          air_following_fraction=follows)
    base = air_from_lambda(1.0 + now / 100.0, lam, follows)
    measured = (base / base.mean(axis=1, keepdims=True) - 1.0) * 100.0
    predicted = sheet.deviation_percent[at]
    low, high = sheet.low_percent[at], sheet.high_percent[at]
    statements = [*made.cautions, *_about_sensors(policy), *_about_sets(case), *partial]
    if "total pulse" in {sheet.trim_on[k] for k in at.ravel()}:
        statements.append("the sheet's percents act on the total pulse, and so do the next trims "
                          "shown; on fuel they are larger")
    if sheet.heading.get("case") not in (None, "", case_hash(case)):
        statements.append("the sheet was written for another state of this case: the prediction on "
                          "it is not that of the case as it stands")
    for k in range(len(at)):
        off = (lam[k].mean() / target - 1.0) * 100.0
        if abs(off) > OFF_TARGET_PERCENT:
            side = "lean" if off > 0 else "rich"
            statements.append(
                f"{sheet.rpm[at[k, 0]]:g} rpm, {sheet.pressure_pa[at[k, 0]] / 1e3:g} kPa: mean "
                f"lambda is {off:+.1f} % {side} of the target: correct the base map, not the trims")
    found = None
    if np.isfinite(low).all() and np.isfinite(high).all():
        level = float(sheet.heading.get("band level", "0.9") or 0.9)
        found = score(predicted, measured, low, high, level)
        statements += found.statements
    statements += _flips(sheet, at, made)
    return NextTrims(cylinders, sheet.rpm[at[:, 0]], sheet.pressure_pa[at[:, 0]], lam, measured,
                     predicted, made,
                     shown_percent(sheet, at, on_trimmed_sets(case, made.trim_percent)), found,
                     tuple(statements))


def _about_sensors(policy: Policy) -> tuple[str, ...]:
    """What sum-to-zero asks for beside a measured lambda."""
    if policy != "sum-to-zero":
        return ()
    return ("sum-to-zero takes the readings at their word: a sensor that reads wrong, or a leak "
            "beside it, becomes a wrong trim. Swap sensors first",)


def _about_sets(case: Case) -> tuple[str, ...]:
    """Which injector sets the trims in the engine and the next ones are for."""
    names = [s.name for s in case.fuel.stages if s.trimmed]
    if not names:
        return ()
    return (f"trims in the engine and next trims are those of set {' and '.join(names)}, "
            f"{enlargement(case):.3g} times the change of all fuel at the ports",)


def next_from_log(
    case: Case, path: str | Path, mapping: LogMapping, policy: Policy, step: float
) -> NextTrims:
    """Next trims for every cell of the mapping in which all cylinders were measured.

    The log is cleaned first; trims and corrections that were active are the starting point.
    InputError when no cell is complete. No prediction comes with a log: those columns are NaN.
    """
    check_injection(case.fuel.injection)
    log = read_log(path, mapping)
    windows = steady_windows(log, mapping)
    cells = into_cells(windows, mapping.cell_rpm or (float("nan"),),
                       mapping.cell_pressure_pa or (float("nan"),))
    complete = np.argwhere(np.isfinite(cells.lambda_base).all(axis=-1))
    expected = tuple(sorted(r.cylinder for r in case.runners))
    if cells.cylinders != expected or len(complete) == 0:
        raise InputError([Problem(
            "cells", f"cylinders {list(cells.cylinders)}, {len(complete)} complete cells",
            f"cylinders {list(expected)} and at least one cell with all of them",
            f"{len(windows.rpm)} steady windows were found", str(mapping.path), None, "mapping")])
    at = tuple(complete.T)
    base, trim = cells.lambda_base[at], cells.trim_percent[at]
    lam = base / (1.0 + trim / 100.0)
    now, follows = trim / enlargement(case), case.fuel.air_following_fraction
    made = measured_trims(lam, now, case.fuel.lambda_target, case_limits(case), policy=policy,
                          step=step, air_following_fraction=follows)
    base = air_from_lambda(1.0 + now / 100.0, lam, follows)
    measured = (base / base.mean(axis=1, keepdims=True) - 1.0) * 100.0
    grid = np.zeros(cells.lambda_base.shape)
    grid[at] = made.needed_percent
    flips = sign_flips(grid, "rpm", cells.rpm.tolist(), "kPa absolute",
                       (cells.pressure_pa / 1e3).tolist())
    statements = (*made.cautions, *_about_sensors(policy), *_about_sets(case), *log.warnings,
                  *(str(e) for e in windows.exclusions), *flips)
    return NextTrims(
        expected, cells.rpm[at[0]], cells.pressure_pa[at[1]], lam, measured,
        np.full_like(lam, np.nan), made, on_trimmed_sets(case, made.trim_percent), None, statements)


def _on_fuel(
    sheet: FilledSheet, at: np.ndarray[tuple[int, ...], np.dtype[np.int64]]
) -> FloatArray:
    """Trims that were in the engine as percent on fuel."""
    now = sheet.trim_in_engine_percent[at]
    basis = np.array(sheet.trim_on)[at]
    if not (basis == "total pulse").any():
        return now
    return np.where(basis == "total pulse", convert_percent(
        now, "total pulse", "fuel", sheet.total_pulse_s[at], sheet.dead_time_s[at]), now)


def shown_percent(
    sheet: FilledSheet, at: np.ndarray[tuple[int, ...], np.dtype[np.int64]], on_fuel: FloatArray
) -> FloatArray:
    """Percents on fuel as percents on the basis of the sheet."""
    basis = np.array(sheet.trim_on)[at]
    if not (basis == "total pulse").any():
        return on_fuel
    return np.where(basis == "total pulse", convert_percent(
        on_fuel, "fuel", "total pulse", sheet.total_pulse_s[at], sheet.dead_time_s[at]), on_fuel)


def _flips(
    sheet: FilledSheet, at: np.ndarray[tuple[int, ...], np.dtype[np.int64]], made: Trims
) -> tuple[str, ...]:
    """Sign flips between neighbouring cells where the measured cells form a full grid."""
    rpm, pressure = np.unique(sheet.rpm[at[:, 0]]), np.unique(sheet.pressure_pa[at[:, 0]])
    grid = np.full((len(rpm), len(pressure), at.shape[1]), np.nan)
    for k in range(len(at)):
        i = int(np.searchsorted(rpm, sheet.rpm[at[k, 0]]))
        j = int(np.searchsorted(pressure, sheet.pressure_pa[at[k, 0]]))
        grid[i, j] = made.needed_percent[k]
    return sign_flips(np.nan_to_num(grid), "rpm", rpm.tolist(), "kPa absolute",
                      (pressure / 1e3).tolist())
