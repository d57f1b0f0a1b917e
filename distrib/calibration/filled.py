"""Next trims from a filled trim sheet, and the score of the prediction on it."""

from __future__ import annotations

import numpy as np

from distrib.answer.facts import limits_of
from distrib.build.fuel_sets import enlargement, on_trimmed_sets
from distrib.calibration.cell_words import about_cells
from distrib.calibration.entries import Entries, blank_entries
from distrib.calibration.next_trims import NextTrims, Travels, about_duty, about_sets, flips_of
from distrib.calibration.round_words import reasons, round_cautions, stops
from distrib.calibration.score import Score, score
from distrib.calibration.sheet_read import FilledSheet
from distrib.case.change import case_hash
from distrib.case.schema import Case
from distrib.errors import InputError, Problem
from distrib.fuelling import Run, Trims, check_injection, convert_percent, next_round
from distrib.fuelling.injectors import duty as duty_of
from distrib.fuelling.lambda_ import air_from_lambda
from distrib.fuelling.trims import Policy
from distrib.results import FloatArray, IntArray

READING_SIGMA_PERCENT = 0.5
"""Standard deviation of a typed reading, percent of lambda: repeatability of one cell, 0.5 to 1 %
(common practice)."""
ZERO_C_IN_K = 273.15


def next_from_sheet(case: Case, sheet: FilledSheet, policy: Policy, step: float) -> NextTrims:
    """Next trims for every cell of the sheet in which all cylinders were measured.

    InputError when there is none, or when the sheet's cylinders are not those of the case.
    """
    check_injection(case.fuel.injection)
    cylinders = tuple(sorted(r.cylinder for r in case.runners))
    cells = list(dict.fromkeys(zip(sheet.rpm.tolist(), sheet.pressure_pa.tolist(), strict=True)))
    pick: list[IntArray] = []
    rest: list[IntArray] = []
    partial = []
    for rpm, pressure in cells:
        rows = np.flatnonzero((sheet.rpm == rpm) & (sheet.pressure_pa == pressure))
        order = rows[np.argsort(sheet.cylinder[rows])]
        _check_cell(sheet, order, cylinders, f"{rpm:g} rpm, {pressure / 1e3:g} kPa")
        measured = np.isfinite(sheet.lambda_measured[order])
        (pick if measured.all() else rest).append(order)
        if measured.any() and not measured.all():
            partial.append(f"{rpm:g} rpm, {pressure / 1e3:g} kPa: cylinders "
                           f"{[c for c, m in zip(cylinders, measured, strict=True) if not m]} "
                           "are blank, the cell is not used; its entries stand on the next sheet")
    if not pick:
        raise InputError([Problem(
            "lambda_measured", "no cell with every cylinder measured", "all cylinders of a cell",
            "; ".join(partial), str(sheet.path), None, "sheet")])
    other = np.array(rest, dtype=np.int64).reshape(len(rest), len(cylinders))
    return _next(case, sheet, np.array(pick), other, cylinders, policy, step, partial)


def _check_cell(sheet: FilledSheet, order: IntArray, cylinders: tuple[int, ...], cell: str) -> None:
    """InputError unless a cell holds the case's cylinders, and one target and move of the base."""
    if tuple(sheet.cylinder[order].tolist()) != cylinders:
        raise InputError([Problem(
            cell, f"cylinders {sheet.cylinder[order].tolist()}", f"{list(cylinders)}, each once",
            "is this the sheet of another case?", str(sheet.path), None, "sheet")])
    for name, values in (("lambda_target", sheet.target), ("base_map_percent", sheet.base_percent)):
        found = values[order]
        if len(set(found[np.isfinite(found)].tolist())) > 1:
            raise InputError([Problem(
                f"{name}, {cell}", ", ".join(f"{v:g}" for v in found), "one for the cell", "",
                str(sheet.path), None, "sheet")])


def _next(
    case: Case, sheet: FilledSheet, at: IntArray, rest: IntArray, cylinders: tuple[int, ...],
    policy: Policy, step: float, partial: list[str],
) -> NextTrims:
    limits, follows = limits_of(case), case.fuel.air_following_fraction
    run = _run(case, sheet, sheet.entries, at)
    made = next_round(run, _target(case, sheet, at), policy=policy, step=step,
                      before=_before(case, sheet, at), limits=limits,
                      air_following_fraction=follows)
    lam, now = run.lambda_read, run.trim_percent
    air = air_from_lambda(1.0 + now / 100.0, lam, follows)
    measured = (air / air.mean(axis=1, keepdims=True) - 1.0) * 100.0
    rpm, pressure = sheet.rpm[at[:, 0]], sheet.pressure_pa[at[:, 0]]
    pulse, dead, duty = _sheet_duty(case, sheet, at, made.trims)
    reference = sheet.heading.get("evidence") or "predicted"
    found = _score(sheet, at, measured) if reference == "predicted" else None
    flips = flips_of(rpm, pressure, measured)
    statements = [
        *round_cautions(made, rpm, pressure, cylinders), *about_sets(case), *partial,
        *about_duty(duty, rpm, pressure, cylinders, limits,
                    "the sheet holds no pulse and dead time"),
        *_about_sheet(case, sheet, at), *_about_score(found), *flips,
        *about_cells(made.trims, limits, rpm, pressure, cylinders, flips)]
    return NextTrims(
        cylinders, rpm, pressure, lam, lam, measured, sheet.deviation_percent[at], made,
        shown_percent(sheet, at, on_trimmed_sets(case, made.trims.trim_percent)), sheet.trim_on[0],
        reference, found, stops(made, rpm, pressure, cylinders), reasons(made), tuple(statements),
        _travels(case, sheet, at, rest), pulse, dead, duty)


def _target(case: Case, sheet: FilledSheet, at: IntArray) -> FloatArray:
    """Target of each cell: the sheet's, else the case's."""
    given = sheet.target[at[:, 0]] if len(at) else np.zeros(0)
    return np.where(np.isfinite(given), given, case.fuel.lambda_target)


def _run(case: Case, sheet: FilledSheet, entries: Entries, at: IntArray) -> Run:
    """Entries of some cells as a run: trims on all fuel at the ports, kelvin."""
    found = entries.at(at)
    return Run(found.lambda_measured, _on_fuel(sheet, found.trim_percent, at) / enlargement(case),
               found.egt_degc + ZERO_C_IN_K, found.knock_number())


def _before(case: Case, sheet: FilledSheet, at: IntArray) -> Run | None:
    """The run before, blank in cells whose base map has come down since."""
    if not sheet.runs:
        return None
    run = _run(case, sheet, sheet.runs[-1], at)
    down = (sheet.base_percent[at] < 0.0).any(axis=1, keepdims=True)
    return Run(np.where(down, np.nan, run.lambda_read), run.trim_percent, run.exhaust_k, run.knock)


def _travels(case: Case, sheet: FilledSheet, at: IntArray, rest: IntArray) -> Travels:
    """What goes on to the next sheet."""
    first = rest[:, 0]
    shape = rest.shape
    runs = (*sheet.runs, sheet.entries)
    return Travels(
        tuple(r.at(at) for r in runs), sheet.rpm[first], sheet.pressure_pa[first],
        _target(case, sheet, rest), sheet.total_pulse_s[first], sheet.deviation_percent[rest],
        sheet.low_percent[rest], sheet.high_percent[rest], sheet.trim_shown[rest],
        sheet.entries.at(rest),
        (*(r.at(rest) for r in sheet.runs), blank_entries(shape)))


def _about_sheet(case: Case, sheet: FilledSheet, at: IntArray) -> list[str]:
    out = []
    if "total pulse" in {sheet.trim_on[k] for k in at.ravel()}:
        out.append("the sheet's percents act on the total pulse, and so do the next trims "
                   "shown; on fuel they are larger")
    if sheet.heading.get("case") not in (None, "", case_hash(case)):
        out.append("the sheet was written for another state of this case: the prediction on "
                   "it is not that of the case as it stands")
    return out


def _score(sheet: FilledSheet, at: IntArray, measured: FloatArray) -> Score | None:
    """Score of the sheet's prediction where it has bands."""
    low, high = sheet.low_percent[at], sheet.high_percent[at]
    if not (np.isfinite(low).all() and np.isfinite(high).all()):
        return None
    return score(sheet.deviation_percent[at], measured, low, high, sheet.level,
                 READING_SIGMA_PERCENT)


def _about_score(found: Score | None) -> list[str]:
    if found is None:
        return []
    return [*found.statements, "bands widened for readings that scatter by "
            f"{READING_SIGMA_PERCENT:g} % themselves (common practice)"]


def _sheet_duty(
    case: Case, sheet: FilledSheet, at: IntArray, made: Trims
) -> tuple[FloatArray | None, FloatArray | None, FloatArray | None]:
    """Untrimmed pulse and dead time on the sheet, and the duty with the next trims, (P, N)."""
    pulse, dead = sheet.total_pulse_s[at], sheet.dead_time_s[at]
    if not (np.isfinite(pulse) & np.isfinite(dead)).all():
        return None, None, None
    fuel_now = (1.0 + made.base_percent[:, None] / 100.0) * (
        1.0 + on_trimmed_sets(case, made.trim_percent) / 100.0)
    next_pulse = dead + (pulse - dead) * fuel_now
    return pulse, dead, np.asarray(duty_of(next_pulse, sheet.rpm[at]), dtype=np.float64)


def _on_fuel(sheet: FilledSheet, typed: FloatArray, at: IntArray) -> FloatArray:
    """Typed trims of the cells `at` as percent on fuel."""
    basis = np.array(sheet.trim_on)[at]
    if not (basis == "total pulse").any():
        return typed
    known = np.isfinite(typed)
    pulse = np.where(known, sheet.total_pulse_s[at], 2.0)
    dead = np.where(known, sheet.dead_time_s[at], 1.0)
    return np.where(basis == "total pulse",
                    convert_percent(typed, "total pulse", "fuel", pulse, dead), typed)


def shown_percent(
    sheet: FilledSheet, at: IntArray, on_fuel: FloatArray
) -> FloatArray:
    """Percents on fuel as percents on the basis of the sheet."""
    basis = np.array(sheet.trim_on)[at]
    if not (basis == "total pulse").any():
        return on_fuel
    return np.where(basis == "total pulse", convert_percent(
        on_fuel, "fuel", "total pulse", sheet.total_pulse_s[at], sheet.dead_time_s[at]), on_fuel)
