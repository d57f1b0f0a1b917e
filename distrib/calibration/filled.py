"""Next trims from a filled trim sheet, and the score of the prediction on it."""

from __future__ import annotations

import numpy as np

from distrib.answer.facts import limits_of
from distrib.build.fuel_sets import enlargement, on_trimmed_sets
from distrib.calibration.cell_words import about_cells, cell_name
from distrib.calibration.next_trims import (
    NextTrims,
    about_duty,
    about_sensors,
    about_sets,
    flips_of,
)
from distrib.calibration.score import score
from distrib.calibration.sheet_read import FilledSheet
from distrib.calibration.trim_table import measured_trims
from distrib.case.change import case_hash
from distrib.case.schema import Case
from distrib.errors import InputError, Problem
from distrib.fuelling import check_injection, convert_percent
from distrib.fuelling.injectors import duty as duty_of
from distrib.fuelling.lambda_ import air_from_lambda
from distrib.fuelling.trims import Policy, Trims
from distrib.results import FloatArray

Index = np.ndarray[tuple[int, ...], np.dtype[np.int64]]

OFF_TARGET_PERCENT = 1.0
"""Mean lambda farther off the target than this belongs into the base map (common practice: two
runs agree within about 1 %)."""
READING_SIGMA_PERCENT = 0.5
"""Standard deviation of a typed reading, percent of lambda: repeatability of one cell, 0.5 to 1 %
(common practice)."""


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
    case: Case, sheet: FilledSheet, at: Index,
    cylinders: tuple[int, ...], policy: Policy, step: float, partial: list[str],
) -> NextTrims:
    lam, now = sheet.lambda_measured[at], _on_fuel(sheet, at) / enlargement(case)
    target, follows = case.fuel.lambda_target, case.fuel.air_following_fraction
    made = measured_trims(lam, now, target, limits_of(case), policy=policy, step=step,
                          air_following_fraction=follows)
    base = air_from_lambda(1.0 + now / 100.0, lam, follows)
    measured = (base / base.mean(axis=1, keepdims=True) - 1.0) * 100.0
    predicted = sheet.deviation_percent[at]
    low, high = sheet.low_percent[at], sheet.high_percent[at]
    limits = limits_of(case)
    pulse, dead, duty = _sheet_duty(case, sheet, at, made)
    statements = [*made.cautions, *about_sensors(policy), *about_sets(case), *partial,
                  *about_duty(duty, sheet.rpm[at[:, 0]], sheet.pressure_pa[at[:, 0]], cylinders,
                               limits, "the sheet holds no pulse and dead time")]
    if "total pulse" in {sheet.trim_on[k] for k in at.ravel()}:
        statements.append("the sheet's percents act on the total pulse, and so do the next trims "
                          "shown; on fuel they are larger")
    if sheet.heading.get("case") not in (None, "", case_hash(case)):
        statements.append("the sheet was written for another state of this case: the prediction on "
                          "it is not that of the case as it stands")
    found = None
    rpm, pressure = sheet.rpm[at[:, 0]], sheet.pressure_pa[at[:, 0]]
    statements += _off_target(lam, target, rpm, pressure)
    reference = sheet.heading.get("evidence") or "predicted"
    if reference == "predicted" and np.isfinite(low).all() and np.isfinite(high).all():
        found = score(predicted, measured, low, high, sheet.level, READING_SIGMA_PERCENT)
        statements += [*found.statements, "bands widened for readings that scatter by "
                       f"{READING_SIGMA_PERCENT:g} % themselves (common practice)"]
    flips = flips_of(rpm, pressure, made)
    statements += [*flips, *about_cells(made, limits, rpm, pressure, cylinders, flips)]
    return NextTrims(cylinders, rpm, pressure, lam, measured, predicted, made,
                     shown_percent(sheet, at, on_trimmed_sets(case, made.trim_percent)),
                     sheet.trim_on[0], reference, found, tuple(statements), pulse, dead, duty)


def _off_target(
    lam: FloatArray, target: float, rpm: FloatArray, pressure_pa: FloatArray
) -> list[str]:
    """Cells whose mean lambda lies off the target."""
    out = []
    for k in range(len(lam)):
        off = (lam[k].mean() / target - 1.0) * 100.0
        if abs(off) > OFF_TARGET_PERCENT:
            side = "lean" if off > 0 else "rich"
            out.append(f"{cell_name(rpm[k], pressure_pa[k])}: mean lambda is {abs(off):.1f} % "
                       f"{side} of the target: correct the base map, not the trims")
    return out


def _sheet_duty(
    case: Case, sheet: FilledSheet, at: Index, made: Trims
) -> tuple[FloatArray | None, FloatArray | None, FloatArray | None]:
    """Untrimmed pulse and dead time on the sheet, and the duty with the next trims, (P, N)."""
    pulse, dead = sheet.total_pulse_s[at], sheet.dead_time_s[at]
    if not (np.isfinite(pulse) & np.isfinite(dead)).all():
        return None, None, None
    fuel_now = (1.0 + made.base_percent[:, None] / 100.0) * (
        1.0 + on_trimmed_sets(case, made.trim_percent) / 100.0)
    next_pulse = dead + (pulse - dead) * fuel_now
    return pulse, dead, np.asarray(duty_of(next_pulse, sheet.rpm[at]), dtype=np.float64)


def _on_fuel(
    sheet: FilledSheet, at: Index
) -> FloatArray:
    """Trims that were in the engine as percent on fuel."""
    now = sheet.trim_in_engine_percent[at]
    basis = np.array(sheet.trim_on)[at]
    if not (basis == "total pulse").any():
        return now
    return np.where(basis == "total pulse", convert_percent(
        now, "total pulse", "fuel", sheet.total_pulse_s[at], sheet.dead_time_s[at]), now)


def shown_percent(
    sheet: FilledSheet, at: Index, on_fuel: FloatArray
) -> FloatArray:
    """Percents on fuel as percents on the basis of the sheet."""
    basis = np.array(sheet.trim_on)[at]
    if not (basis == "total pulse").any():
        return on_fuel
    return np.where(basis == "total pulse", convert_percent(
        on_fuel, "fuel", "total pulse", sheet.total_pulse_s[at], sheet.dead_time_s[at]), on_fuel)
