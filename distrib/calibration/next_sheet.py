"""The next trims as a sheet again, with blanks for the next measurement."""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.answer.facts import limits_of
from distrib.build.fuel_sets import fuel_sets
from distrib.calibration.gate import Gate
from distrib.calibration.next_trims import NextTrims
from distrib.calibration.pulses import SetPulses
from distrib.calibration.sheet import TrimTable
from distrib.calibration.trim_table import limit_lines
from distrib.case.change import case_hash
from distrib.case.geometry import distance_from_entry_m
from distrib.case.schema import Case
from distrib.errors import InputError, Problem
from distrib.fuelling import fuel, lambda_at_equal_fuel, verdicts
from distrib.results import FloatArray

MODEL = "measured"
"""What stands in place of a model on the sheet."""


def next_table(case: Case, found: NextTrims, gate: Gate) -> TrimTable:
    """Sheet of the cells that were measured; cells in between that were not are left out.

    The air on it is the measured one, without a band. InputError for percents on total pulse whose
    pulse differs between the cylinders of a cell or whose dead time differs at all.
    """
    rows, columns = np.unique(found.rpm), np.unique(found.pressure_pa)
    shape = (len(rows), len(columns))
    at = np.searchsorted(rows, found.rpm), np.searchsorted(columns, found.pressure_pa)

    def grid(values: Any) -> FloatArray:
        array = np.asarray(values, dtype=np.float64)
        out = np.full((*shape, *array.shape[1:]), np.nan)
        out[at] = array
        return out

    limits = limits_of(case)
    air = 1.0 + found.measured_percent / 100.0
    lam = lambda_at_equal_fuel(air, case.fuel.lambda_target, 1.0, case.fuel.air_following_fraction)
    measured = grid(found.measured_percent)
    pulse, dead = _one_pulse(found)
    duty = whose = None
    if found.duty is not None:
        duty = grid(np.nan_to_num(found.duty).max(axis=1))
        index = np.nan_to_num(found.duty).argmax(axis=1)
        whose = np.zeros(shape, dtype=np.int64)
        whose[at] = np.asarray(found.cylinders)[index]
    shown = grid(found.trim_shown)
    made = found.trims
    return TrimTable(
        case.title, case_hash(case), MODEL, made.policy, made.evidence, made.step, found.trim_on,
        fuel(case.fuel.kind, case.fuel.ethanol_volume_fraction).name, case.fuel.lambda_target,
        found.cylinders, distance_from_entry_m(case), rows, columns, measured,
        np.full_like(measured, np.nan), np.full_like(measured, np.nan), 0.9,
        verdicts(measured, None, limits), grid(lam), grid(made.needed_percent),
        grid(made.trim_percent), shown, grid(made.base_percent), grid(made.mean_percent), duty,
        whose, gate, limit_lines(limits), tuple(dict.fromkeys(found.statements)), (),
        total_pulse_s=None if pulse is None else grid(pulse), dead_time_s=dead,
        sets=_sets(case, shown),
    )


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
