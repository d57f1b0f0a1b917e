"""From shares of a model, or from measured lambdas, to the trim table of speeds by loads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from distrib.answer.facts import limits_of
from distrib.answer.trims import port_factor
from distrib.build.fuel_sets import enlargement
from distrib.calibration.cell_words import about_cells
from distrib.calibration.fit import Z90
from distrib.calibration.gate import Gate
from distrib.calibration.pulses import SetPulses, on_pulses
from distrib.calibration.sheet import TrimTable
from distrib.case.schema import Case
from distrib.fuelling import (
    Limits,
    Trims,
    check_injection,
    fuel,
    lambda_at_equal_fuel,
    plan,
    sign_flips,
    verdicts,
)
from distrib.fuelling.lambda_ import needed_multiplier
from distrib.fuelling.trims import Basis, Policy
from distrib.results import FloatArray, Shares

Words = np.ndarray[Any, np.dtype[np.str_]]

CRUISE_SHARE = 0.8
"""Charge pressure over the outside one below which a cell counts as idle or cruise (own choice)."""
NOISE_PERCENT = 1.0
"""Repeatability of one cylinder between two runs (common practice)."""

LOADS = "loads are charge pressures before the throttle"


def limit_lines(limits: Limits, measured: bool = False) -> tuple[str, ...]:
    """Every limit with its origin, for the sheet; measured ones have some more."""
    names = ["lean_percent", "watch_percent", "rich_percent", "richen_cap_percent",
             "prediction_cap_percent", "measured_cap_percent", "warn_percent", "refuse_percent",
             "duty_max"]
    if measured:
        names += ["base_fault_percent", "dead_band_percent", "exhaust_repeat_k", "exhaust_slope_k"]
    return tuple(f"{n} {getattr(limits, n):g}: {limits.origin(n)}" for n in names)


def _reshape(values: Any, rows: int, columns: int) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    return array.reshape(rows, columns, *array.shape[1:])


def predicted_table(
    case: Case, shares: Shares, rpm: Sequence[float], pressure_pa: Sequence[float], gate: Gate,
    *, policy: Policy, step: float, on: Basis, volts: float | None = None,
    discrepancy: tuple[float, float] | None = None, remarks: Sequence[str] = (),
    target: FloatArray | None = None,
) -> TrimTable:
    """Trim table of a prediction; `shares` holds the R x C points, rows (speeds) slowest.

    `discrepancy` (factor, sigma) from `distrib fit` scales the predicted deviations and widens the
    band; `remarks` are further cautions; `target` (R x C,) lambda where it is not that of the case
    throughout. TrimError when the injection, or every one of its sets,
    cannot trim single cylinders.
    """
    check_injection(case.fuel.injection)
    enlargement(case)
    limits = limits_of(case)
    deviation, low, high, chance, level, notes = _pattern(shares, discrepancy, limits)
    air = 1.0 + deviation / 100.0
    factor, port_note = port_factor(case, shares)
    fraction = case.fuel.air_following_fraction
    goal = np.full(len(deviation), case.fuel.lambda_target) if target is None else target
    lam = lambda_at_equal_fuel(air, goal[:, None], factor, fraction)
    trims = plan(needed_multiplier(air, factor), policy=policy, step=step, limits=limits)
    cautions = [*trims.cautions, LOADS, *notes, *remarks]
    if min(pressure_pa) < case.conditions.ambient_pressure_pa * CRUISE_SHARE:
        cautions.append("idle and cruise: leave trims at zero or small there (common practice)")
    small = np.ptp(trims.needed_percent, axis=-1)
    if np.nanmax(small, initial=0.0) < NOISE_PERCENT:
        cautions.append(f"all needs lie within {NOISE_PERCENT:g} %, less than two runs repeat to: "
                        "even as far as anyone can measure; no trim is the honest start")
    if fraction > 0.0:
        cautions.append(f"{fraction * 100:g} % of the fuel is taken to divide as the air does; the "
                        "trim acts on the port fuel only")
    if port_note:
        cautions.append(port_note)
    words = verdicts(deviation, chance, limits)
    return _table(case, shares, rpm, pressure_pa, gate, trims, on, volts, deviation, low, high,
                  words, level, lam, goal, limits, cautions)


def _pattern(
    shares: Shares, discrepancy: tuple[float, float] | None, limits: Limits
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray | None, float, list[str]]:
    """Deviation, band, chance of lean, level and remarks, (P, N)."""
    deviation = np.asarray(shares.deviation_percent, dtype=np.float64)
    nan = np.full_like(deviation, np.nan)
    band = shares.band
    low = nan if band is None else band.low_percent
    high = nan if band is None else band.high_percent
    chance = None if band is None else band.chance_lean
    level = 0.9 if band is None else band.level
    notes = [] if band is not None else ["no band was computed: the figures stand alone"]
    if discrepancy is not None:
        d, sigma = discrepancy
        from scipy.stats import norm

        extra = Z90 * sigma * np.abs(deviation)
        below, above = deviation - low, high - deviation
        if d < 0.0:  # the pattern is turned over, and its band with it
            below, above = above, below
        low = d * deviation - np.hypot(d * below, extra)
        high = d * deviation + np.hypot(d * above, extra)
        deviation = d * deviation
        width = np.maximum((high - low) / (2.0 * Z90), 1e-9)
        chance = None if band is None else norm.sf((limits.lean_percent - deviation) / width)
        notes.append(f"deviations scaled by {d:.2f} +- {sigma:.2f} from measured engine data")
    return deviation, low, high, chance, level, notes


def _shaped(item: SetPulses, rows: int, columns: int) -> SetPulses:
    """A set with its points as rows by columns."""
    def shaped(values: Any) -> Any:
        return None if values is None else values.reshape(rows, columns, *values.shape[1:])

    return replace(item, trim_percent=shaped(item.trim_percent), duty=shaped(item.duty),
                   duty_cylinder=shaped(item.duty_cylinder),
                   total_pulse_s=shaped(item.total_pulse_s))


def _table(
    case: Case, shares: Shares, rpm: Sequence[float], pressure_pa: Sequence[float], gate: Gate,
    trims: Trims, on: Basis, volts: float | None, deviation: FloatArray, low: FloatArray,
    high: FloatArray, words: Words, level: float, lam: FloatArray, goal: FloatArray,
    limits: Limits, cautions: list[str],
) -> TrimTable:
    r, c = len(rpm), len(pressure_pa)
    pulses = on_pulses(case, shares, trims, on, volts, limits, cautions, goal)
    flips = sign_flips(
        np.nan_to_num(_reshape(trims.needed_percent, r, c)), "rpm", rpm, "kPa absolute",
        [p / 1e3 for p in pressure_pa],
    )
    cautions += about_cells(trims, limits, np.repeat(rpm, c), np.tile(pressure_pa, r),
                            [int(x) for x in shares.cylinders], flips)
    properties = fuel(case.fuel.kind, case.fuel.ethanol_volume_fraction)
    reasons = sorted({text for text in shares.reason if text})
    cautions += [f"a point without solution: {text}" for text in reasons]
    return TrimTable(
        case.title, shares.case_hash, shares.model, trims.policy, trims.evidence,
        trims.step, on, properties.name, case.fuel.lambda_target,
        tuple(int(x) for x in shares.cylinders),
        shares.distance_from_entry_m, np.asarray(rpm, float), np.asarray(pressure_pa, float),
        _reshape(deviation, r, c), _reshape(low, r, c), _reshape(high, r, c), level,
        words.reshape(r, c, -1), _reshape(lam, r, c),
        _reshape(trims.needed_percent, r, c), _reshape(trims.trim_percent, r, c),
        _reshape(pulses.shown_percent, r, c), _reshape(trims.base_percent, r, c),
        _reshape(trims.mean_percent, r, c),
        None if pulses.duty is None else _reshape(pulses.duty, r, c),
        None if pulses.duty_cylinder is None else pulses.duty_cylinder.reshape(r, c), gate,
        limit_lines(limits), tuple(dict.fromkeys(cautions)), flips,
        tuple(f"{a.field}: {a.value} ({a.why})" for a in shares.assumed),
        total_pulse_s=None if pulses.total_pulse_s is None
        else _reshape(pulses.total_pulse_s, r, c),
        dead_time_s=pulses.dead_time_s,
        sets=tuple(_shaped(item, r, c) for item in pulses.sets), target=_reshape(goal, r, c),
    )
