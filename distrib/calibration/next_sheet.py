"""The next trims as a sheet again, with blanks for the next measurement and earlier runs beside."""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.answer.facts import limits_of
from distrib.build.fuel_sets import fuel_sets
from distrib.calibration.entries import Entries
from distrib.calibration.gate import Gate
from distrib.calibration.next_trims import NextTrims
from distrib.calibration.pulses import SetPulses
from distrib.calibration.sheet import MeasuredCells, TrimTable
from distrib.calibration.trim_table import limit_lines
from distrib.case.change import case_hash
from distrib.case.geometry import distance_from_entry_m
from distrib.case.schema import Case
from distrib.errors import InputError, Problem
from distrib.fuelling import fuel, lambda_at_equal_fuel, verdicts
from distrib.results import FloatArray

MODEL = "measured"
"""What stands in place of a model on the sheet."""


class _Grid:
    """Cells P that were measured and Q that were not yet, as speeds R by pressures C."""

    def __init__(self, found: NextTrims) -> None:
        rest = found.travels
        self.rows = np.unique(np.concatenate([found.rpm, rest.rest_rpm]))
        self.columns = np.unique(np.concatenate([found.pressure_pa, rest.rest_pressure_pa]))
        self.shape = len(self.rows), len(self.columns)
        self.cylinders = len(found.cylinders)
        self.at = self._place(found.rpm, found.pressure_pa)
        self.rest = self._place(rest.rest_rpm, rest.rest_pressure_pa)

    def _place(self, rpm: FloatArray, pressure_pa: FloatArray) -> Any:
        return np.searchsorted(self.rows, rpm), np.searchsorted(self.columns, pressure_pa)

    def numbers(self, values: Any, rest: Any = None) -> FloatArray:
        """Numbers (P,) or (P, N) on the grid, NaN elsewhere; `rest` those of the other cells."""
        array = np.asarray(values, dtype=np.float64)
        out = np.full((*self.shape, *array.shape[1:]), np.nan)
        out[self.at] = array
        if rest is not None:
            out[self.rest] = rest
        return out

    def texts(self, values: Any) -> np.ndarray[Any, np.dtype[np.object_]]:
        """Texts (P,) or (P, N) on the grid, empty elsewhere."""
        array = np.asarray(values, dtype=object)
        out = np.full((*self.shape, *array.shape[1:]), "", dtype=object)
        out[self.at] = array
        return out

    def entries(self, measured: Entries, rest: Entries) -> Entries:
        """Entries of both kinds of cell on the grid."""
        shape = (*self.shape, self.cylinders)
        return measured.placed(shape, self.at).over(rest.placed(shape, self.rest))


def next_table(case: Case, found: NextTrims, gate: Gate) -> TrimTable:
    """Sheet of the cells that were measured, and of those still to be completed.

    The air on it is the measured one, without a band. InputError for percents on total pulse whose
    pulse differs between the cylinders of a cell or whose dead time differs at all.
    """
    grid, rest, made = _Grid(found), found.travels, found.trims
    limits, target = limits_of(case), found.round.target
    air = 1.0 + found.measured_percent / 100.0
    lam = lambda_at_equal_fuel(air, target[:, None], 1.0, case.fuel.air_following_fraction)
    pulse, dead = _one_pulse(found)
    duty = whose = None
    if found.duty is not None:
        duty = grid.numbers(np.nan_to_num(found.duty).max(axis=1))
        index = np.nan_to_num(found.duty).argmax(axis=1)
        whose = np.zeros(grid.shape, dtype=np.int64)
        whose[grid.at] = np.asarray(found.cylinders)[index]
    shown = grid.numbers(found.trim_shown, rest.rest_trim)
    off = grid.numbers(found.round.lambda_off_percent)
    return TrimTable(
        case.title, case_hash(case), MODEL, made.policy, made.evidence, made.step, found.trim_on,
        fuel(case.fuel.kind, case.fuel.ethanol_volume_fraction).name, case.fuel.lambda_target,
        found.cylinders, distance_from_entry_m(case), grid.rows, grid.columns,
        grid.numbers(found.measured_percent, rest.rest_air),
        grid.numbers(np.full_like(air, np.nan), rest.rest_low),
        grid.numbers(np.full_like(air, np.nan), rest.rest_high), 0.9,
        verdicts(off, None, limits), grid.numbers(lam), grid.numbers(made.needed_percent),
        grid.numbers(made.trim_percent), shown, grid.numbers(made.base_percent),
        grid.numbers(made.mean_percent), duty, whose, gate, limit_lines(limits, measured=True),
        tuple(dict.fromkeys(found.statements)), (),
        total_pulse_s=None if pulse is None else grid.numbers(pulse, rest.rest_pulse_s),
        dead_time_s=dead,
        sets=_sets(case, shown), target=grid.numbers(target, rest.rest_target),
        measured=_measured(found, grid))


def _measured(found: NextTrims, grid: _Grid) -> MeasuredCells:
    """Readings, reasons and earlier runs on the grid."""
    rest = found.travels
    held = np.zeros(grid.shape, dtype=np.bool_)
    held[grid.at] = held[grid.rest] = True
    runs = tuple(grid.entries(a, b) for a, b in zip(rest.runs, rest.rest_runs, strict=True))
    shape = (*grid.shape, grid.cylinders)
    return MeasuredCells(
        held, grid.numbers(found.lambda_read.mean(axis=1)), grid.numbers(found.lambda_read),
        grid.numbers(rest.runs[-1].trim_percent), grid.texts(found.why), grid.texts(found.stops),
        runs, rest.rest_entries.placed(shape, grid.rest))


def _one_pulse(found: NextTrims) -> tuple[FloatArray | None, float | None]:
    """Pulse of every cell (P,) and the one dead time, where the sheet held them."""
    if found.total_pulse_s is None or found.dead_time_s is None:
        return None, None
    pulse, dead = found.total_pulse_s, found.dead_time_s
    same = np.ptp(pulse, axis=1).max() < 1e-9 and np.ptp(dead) < 1e-9
    if not same and found.trim_on == "total pulse":
        raise InputError([Problem(
            "total_pulse_ms", "different pulses within a cell, or different dead times",
            "one pulse for each cell and one dead time, as the sheet was written",
            "the next sheet could not be converted back")])
    return (pulse[:, 0], float(dead[0, 0])) if same else (None, None)


def _sets(case: Case, shown: FloatArray) -> tuple[SetPulses, ...]:
    """The injector sets of a case with several; pulses are not known from a measurement."""
    if not case.fuel.stages:
        return ()
    return tuple(
        SetPulses(item.stage.name, item.place, item.stage.share, item.stage.follows_air,
                  item.stage.trimmed, shown if item.stage.trimmed else np.zeros_like(shown),
                  None, None, None, None)
        for item in fuel_sets(case))
