"""Next trims from an engine log, cell by cell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from distrib.answer.facts import limits_of
from distrib.build.fuel_sets import enlargement, on_trimmed_sets
from distrib.calibration.cell_words import about_cells, cell_name
from distrib.calibration.cells import Cells, for_cylinders, into_cells
from distrib.calibration.clean import Windows, steady_windows
from distrib.calibration.entries import Entries, blank_entries
from distrib.calibration.log import LOG_WARNINGS, read_log
from distrib.calibration.mapping import LogMapping
from distrib.calibration.next_trims import (
    Logged,
    NextTrims,
    Travels,
    WindowPoints,
    about_duty,
    about_sets,
    flips_of,
)
from distrib.calibration.round_words import reasons, round_cautions, stops
from distrib.calibration.targets import Targets
from distrib.case.schema import Case
from distrib.errors import InputError, Problem
from distrib.fuelling import Run, Trims, check_injection, next_round
from distrib.fuelling.injectors import duty as duty_of
from distrib.fuelling.lambda_ import air_from_lambda
from distrib.fuelling.trims import Policy
from distrib.results import BoolArray, FloatArray, IntArray

ZERO_C_IN_K = 273.15
ONE_RUN = ("one log is one run: a second run is a second --log, or the next sheet filled in, which "
           "holds this one. A knock channel above zero counts as knock")


def logged(cells: Cells, at: tuple[IntArray, ...]) -> Logged:
    """Counts and spread of some cells."""
    return Logged(cells.windows[at], cells.samples[at], cells.spread[at], cells.egt_k[at])


@dataclass(frozen=True)
class _LogRun:
    """One log: its cells (R, C, N), which of them are complete (R, C), and what it says."""

    name: str
    cells: Cells
    complete: BoolArray
    windows: WindowPoints
    said: tuple[str, ...]
    why_not: tuple[str, ...]

    def at(self, where: tuple[IntArray, ...], larger: float) -> tuple[FloatArray, Run, FloatArray]:
        """Lambda as read and the run of some cells, and lambda with closed loop taken out.

        The run holds the leaner of both: a cylinder that read leaner is never made richer by it.
        """
        trim = self.cells.trim_percent[where]
        read, open_loop = self.cells.lambda_read[where], self.cells.lambda_base[where] / (
            1.0 + trim / 100.0)
        return read, Run(np.fmax(read, open_loop), trim / larger, self.cells.egt_k[where],
                         self.cells.knock[where]), open_loop


def next_from_log(
    case: Case, paths: Sequence[str | Path], mapping: LogMapping, policy: Policy, step: float,
    targets: Targets | None = None,
) -> NextTrims:
    """Next trims for every cell of the mapping in which all cylinders were measured.

    The logs are cleaned first; trims and corrections that were active are the starting point. Each
    log is one run, the last one the run that the trims follow from. InputError when no cell is
    complete. No prediction comes with a log: those columns are NaN. `targets` replace the case's.
    """
    check_injection(case.fuel.injection)
    check_injection(mapping.injection)
    if not mapping.cell_rpm or not mapping.cell_pressure_pa:
        raise InputError([Problem("cells", "nothing", "[cells] with rpm and pressure", "",
                                  str(mapping.path), None, "mapping")])
    expected = tuple(sorted(r.cylinder for r in case.runners))
    runs = [_read_run(path, mapping, expected, len(paths) > 1) for path in paths]
    last = runs[-1]
    if not last.complete.any():
        raise InputError([Problem(
            "cells", "no cell with every cylinder" + (" in the last log" if len(runs) > 1 else ""),
            f"at least one cell with cylinders {', '.join(map(str, expected))}",
            "; ".join(last.why_not), str(mapping.path), None, "mapping")])
    at = tuple(np.argwhere(last.complete).T)
    cells, larger = last.cells, enlargement(case)
    read, run, open_loop = last.at(at, larger)
    before = None
    if len(runs) > 1:
        _, earlier, _ = runs[-2].at(at, larger)
        here = runs[-2].complete[at][:, None]
        before = replace(earlier, lambda_read=np.where(here, earlier.lambda_read, np.nan))
    rpm, pressure = cells.rpm[at[0]], cells.pressure_pa[at[1]]
    limits, follows = limits_of(case), case.fuel.air_following_fraction
    goal = np.full(len(rpm), case.fuel.lambda_target) if targets is None else targets.at(
        rpm, pressure)
    made = next_round(run, goal, policy=policy, step=step, before=before, limits=limits,
                      air_following_fraction=follows)
    air = air_from_lambda(1.0 + run.trim_percent / 100.0, open_loop, follows)
    measured = (air / air.mean(axis=1, keepdims=True) - 1.0) * 100.0
    duty = _log_duty(case, cells.pulse_s[at], cells.trim_percent[at], rpm, mapping, made.trims)
    flips = flips_of(rpm, pressure, measured)
    statements = (
        *round_cautions(made, rpm, pressure, expected), ONE_RUN, *about_sets(case),
        *about_duty(duty, rpm, pressure, expected, limits, "the mapping names no pulse channel"),
        *LOG_WARNINGS, *(text for r in runs for text in r.said), *flips,
        *about_cells(made.trims, limits, rpm, pressure, expected, flips))
    return NextTrims(
        expected, rpm, pressure, read, run.lambda_read, measured, np.full_like(read, np.nan), made,
        on_trimmed_sets(case, made.trims.trim_percent), "fuel", "", None,
        stops(made, rpm, pressure, expected), reasons(made), statements,
        _travels([_entries(r, at) for r in runs]), duty=duty, logged=logged(cells, at),
        windows=last.windows)


def _read_run(
    path: str | Path, mapping: LogMapping, expected: tuple[int, ...], several: bool
) -> _LogRun:
    log = read_log(path, mapping)
    windows = steady_windows(log, mapping)
    cells = for_cylinders(into_cells(windows, mapping.cell_rpm, mapping.cell_pressure_pa),
                          expected, str(mapping.path))
    name = Path(path).name
    mark = f"{name}: " if several else ""
    left = (*_incomplete(cells, expected), *(str(e) for e in windows.exclusions))
    return _LogRun(
        name, cells, np.asarray(np.isfinite(cells.lambda_base).all(axis=-1)),
        _points(windows, expected),
        tuple(mark + text for text in (*windows.notes, *left)),
        (f"{len(windows.rpm)} steady windows", *left))


def _points(windows: Windows, cylinders: tuple[int, ...]) -> WindowPoints:
    """The windows with the cylinders in order; NaN for one without a sensor."""
    at = [cylinders.index(c) for c in windows.cylinders]

    def placed(values: FloatArray) -> FloatArray:
        out = np.full((len(values), len(cylinders)), np.nan)
        out[:, at] = values
        return out

    return WindowPoints(windows.rpm, windows.pressure_pa, placed(windows.lambda_read),
                        placed(windows.egt_k))


def _entries(run: _LogRun, at: tuple[IntArray, ...]) -> Entries:
    """Readings of a log as entries of a sheet; blank where a cell is not complete in it."""
    here = run.complete[at][:, None]
    _, found, _ = run.at(at, 1.0)
    knock = np.full(found.knock.shape, "", dtype=object)
    known = np.isfinite(found.knock) & here
    knock[known] = np.where(found.knock[known] > 0.0, "noted", "0")
    return Entries(
        np.where(here, found.trim_percent, np.nan), np.where(here, found.lambda_read, np.nan),
        np.where(here, found.exhaust_k - ZERO_C_IN_K, np.nan), knock,
        np.where(here, run.name, np.full(knock.shape, "", dtype=object)))


def _travels(runs: list[Entries]) -> Travels:
    """The logs' readings as runs on the next sheet."""
    none = np.zeros((0, runs[0].trim_percent.shape[1]))
    empty = blank_entries(none.shape)
    cells = none[:, 0]
    return Travels(tuple(runs), cells, cells, cells, cells, none, none, none, none, empty,
                   (empty,) * len(runs))


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
