"""Next trims from an engine log, cell by cell."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from distrib.answer.facts import limits_of
from distrib.build.fuel_sets import enlargement, on_trimmed_sets
from distrib.calibration.cell_words import about_cells, cell_name
from distrib.calibration.cells import Cells, for_cylinders, into_cells
from distrib.calibration.clean import steady_windows
from distrib.calibration.log import read_log
from distrib.calibration.mapping import LogMapping
from distrib.calibration.next_trims import (
    Logged,
    NextTrims,
    about_duty,
    about_sensors,
    about_sets,
    flips_of,
)
from distrib.calibration.trim_table import measured_trims
from distrib.case.schema import Case
from distrib.errors import InputError, Problem
from distrib.fuelling import check_injection
from distrib.fuelling.injectors import duty as duty_of
from distrib.fuelling.lambda_ import air_from_lambda
from distrib.fuelling.trims import Policy, Trims
from distrib.results import FloatArray, IntArray


def logged(cells: Cells, at: tuple[IntArray, ...]) -> Logged:
    """Counts and spread of some cells."""
    return Logged(cells.windows[at], cells.samples[at], cells.spread[at], cells.egt_k[at])


def next_from_log(
    case: Case, path: str | Path, mapping: LogMapping, policy: Policy, step: float
) -> NextTrims:
    """Next trims for every cell of the mapping in which all cylinders were measured.

    The log is cleaned first; trims and corrections that were active are the starting point.
    InputError when no cell is complete. No prediction comes with a log: those columns are NaN.
    """
    check_injection(case.fuel.injection)
    check_injection(mapping.injection)
    if not mapping.cell_rpm or not mapping.cell_pressure_pa:
        raise InputError([Problem("cells", "nothing", "[cells] with rpm and pressure", "",
                                  str(mapping.path), None, "mapping")])
    log = read_log(path, mapping)
    windows = steady_windows(log, mapping)
    expected = tuple(sorted(r.cylinder for r in case.runners))
    cells = for_cylinders(into_cells(windows, mapping.cell_rpm, mapping.cell_pressure_pa),
                          expected, str(mapping.path))
    complete = np.argwhere(np.isfinite(cells.lambda_base).all(axis=-1))
    if len(complete) == 0:
        raise InputError([Problem(
            "cells", f"{len(windows.rpm)} steady windows, no cell with every cylinder",
            f"at least one cell with cylinders {', '.join(map(str, expected))}",
            "; ".join(_incomplete(cells, expected)), str(mapping.path), None, "mapping")])
    at = tuple(complete.T)
    base, trim = cells.lambda_base[at], cells.trim_percent[at]
    lam = base / (1.0 + trim / 100.0)
    now, follows = trim / enlargement(case), case.fuel.air_following_fraction
    limits = limits_of(case)
    made = measured_trims(lam, now, case.fuel.lambda_target, limits, policy=policy,
                          step=step, air_following_fraction=follows)
    base = air_from_lambda(1.0 + now / 100.0, lam, follows)
    measured = (base / base.mean(axis=1, keepdims=True) - 1.0) * 100.0
    rpm, pressure = cells.rpm[at[0]], cells.pressure_pa[at[1]]
    duty = _log_duty(case, cells.pulse_s[at], trim, rpm, mapping, made)
    flips = flips_of(rpm, pressure, made)
    statements = (
        *made.cautions, *about_sensors(policy), *about_sets(case),
        *about_duty(duty, rpm, pressure, expected, limits, "the mapping names no pulse channel"),
        *log.warnings, *windows.notes, *(str(e) for e in windows.exclusions),
        *_incomplete(cells, expected), *flips,
        *about_cells(made, limits, rpm, pressure, expected, flips))
    return NextTrims(
        expected, rpm, pressure, lam, measured, np.full_like(lam, np.nan), made,
        on_trimmed_sets(case, made.trim_percent), "fuel", "", None, statements, duty=duty,
        logged=logged(cells, at))


def _log_duty(
    case: Case, pulse_s: FloatArray, trim_percent: FloatArray, rpm: FloatArray,
    mapping: LogMapping, made: Trims,
) -> FloatArray | None:
    """Duty with the next trims from the pulses logged, (P, N); None without them.

    Without a dead time the whole pulse is taken to grow with the fuel: never too low for more fuel.
    """
    if not np.isfinite(pulse_s).any():
        return None
    dead = mapping.trims.dead_time_s or 0.0
    more = (1.0 + made.base_percent[:, None] / 100.0) * (
        1.0 + on_trimmed_sets(case, made.trim_percent) / 100.0) / (1.0 + trim_percent / 100.0)
    return np.asarray(duty_of(dead + (pulse_s - dead) * more, rpm[:, None]), dtype=np.float64)


def _incomplete(cells: Cells, cylinders: Sequence[int]) -> list[str]:
    """Cells without a reading of every cylinder, and windows that lie in no cell."""
    out = []
    for i, j in np.argwhere(~np.isfinite(cells.lambda_base).all(axis=-1)):
        gone = [c for c, x in zip(cylinders, cells.lambda_base[i, j], strict=True)
                if not np.isfinite(x)]
        what = "no steady window" if len(gone) == len(cylinders) else (
            f"no reading of cylinders {', '.join(map(str, gone))}")
        out.append(f"{cell_name(cells.rpm[i], cells.pressure_pa[j])}: {what}, the cell is not used")
    if cells.unplaced:
        out.append(f"{cells.unplaced} steady windows lie in no cell and were not used")
    return out
