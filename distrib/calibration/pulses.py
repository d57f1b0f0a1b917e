"""Injector pulses behind a trim: percent on total pulse, duty at the richest trimmed cylinder.

Worked out set by set where the fuel comes from several sets of injectors.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from distrib.build.fuel_sets import FuelSet, fuel_sets, on_trimmed_sets
from distrib.case.schema import Case
from distrib.errors import InputError, Problem
from distrib.fuelling import (
    DutyCheck,
    Limits,
    Trims,
    check_duty,
    convert_percent,
    dead_time,
    flow_at_pressure,
    fuel,
)
from distrib.fuelling.injectors import effective_pulse
from distrib.fuelling.trims import Basis
from distrib.results import FloatArray, IntArray, Shares


@dataclass(frozen=True)
class SetPulses:
    """One set of injectors behind the trims of a sheet; arrays (P,) or (R, C) points, by N.

    `trim_percent` (..., N) is what this set is trimmed by, on the sheet's basis: zero for a set
    that is not trimmed. `duty` is the highest of its injectors, `duty_cylinder` whose (0: all
    alike), `total_pulse_s` the untrimmed pulse. None where the case does not say enough.
    """

    name: str
    place: str
    share: float
    follows_air: bool
    trimmed: bool
    trim_percent: FloatArray
    duty: FloatArray | None
    duty_cylinder: IntArray | None
    total_pulse_s: FloatArray | None
    dead_time_s: float | None


@dataclass(frozen=True)
class Pulses:
    """Trims as shown (P, N), and duty with its cylinder (P,): the highest of all sets.

    The untrimmed total pulse (P,) and dead time are those of the first trimmed set. All but the
    first None where the case does not say enough about its injectors. `sets` is empty for a case
    without stages.
    """

    shown_percent: FloatArray
    duty: FloatArray | None
    duty_cylinder: IntArray | None
    total_pulse_s: FloatArray | None
    dead_time_s: float | None
    sets: tuple[SetPulses, ...] = ()


def on_pulses(
    case: Case, shares: Shares, trims: Trims, on: Basis, volts: float | None, limits: Limits,
    cautions: list[str], target: FloatArray,
) -> Pulses:
    """Trims on the wanted basis, and every set's duty at its richest trimmed cylinder.

    `target` (P,) lambda.
    The trims act on the fuel at the ports; on the trimmed sets they are enlarged to what moves
    that fuel as wanted. Adds to `cautions` where a duty is over its limit or could not be checked.
    InputError for a percent on total pulse without an injector, dead time and (for a table) supply
    voltage of a trimmed set; TrimError when no set can trim.
    """
    wanted = on_trimmed_sets(case, trims.trim_percent)
    found = [_of_set(case, item, shares, trims, wanted, on, volts, limits, cautions, target)
             for item in fuel_sets(case)]
    _about_volume(case, cautions)
    first = next(item for item in found if item.trimmed)
    if case.fuel.stages:
        _about_sets(found, on, cautions)
    known = [item for item in found if item.duty is not None and item.duty_cylinder is not None]
    duty = cylinder = None
    if known:
        all_duty = np.stack([np.asarray(item.duty) for item in known])
        all_cylinders = np.stack([np.asarray(item.duty_cylinder) for item in known])
        at = all_duty.argmax(axis=0)[None, :]
        duty = np.take_along_axis(all_duty, at, axis=0)[0]
        cylinder = np.take_along_axis(all_cylinders, at, axis=0)[0]
    return Pulses(first.trim_percent, duty, cylinder, first.total_pulse_s, first.dead_time_s,
                  tuple(found) if case.fuel.stages else ())


def _of_set(
    case: Case, item: FuelSet, shares: Shares, trims: Trims, wanted: FloatArray, on: Basis,
    volts: float | None, limits: Limits, cautions: list[str], target: FloatArray,
) -> SetPulses:
    """One set: its trims, pulse and duty."""
    stage = item.stage
    trim = wanted if stage.trimmed else np.zeros_like(wanted)
    supply = _supply(item, shares, volts)
    if supply is None or item.injectors is None or shares.trapped_air_kg is None:
        _not_known(item, on, cautions)
        return SetPulses(stage.name, item.place, stage.share, stage.follows_air, stage.trimmed,
                         trim, None, None, None, None)
    injectors = item.injectors
    properties = fuel(case.fuel.kind, case.fuel.ethanol_volume_fraction)
    mean_air = np.asarray(shares.trapped_air_kg, dtype=np.float64).mean(axis=-1)
    pressure = np.nan if item.rail_pressure_pa is None else item.rail_pressure_pa
    speed = np.asarray(shares.conditions["rpm"], dtype=np.float64)
    total = (1.0 + trims.base_percent[:, None] / 100.0) * (1.0 + trim / 100.0) - 1.0
    check = check_duty(
        mean_air, target, properties.stoichiometric_afr,
        np.nan_to_num(total) * 100.0, speed, injectors, pressure, supply, limits.duty_max,
    )
    cylinder = np.asarray(shares.cylinders)[check.worst_cylinder_index]
    if not stage.trimmed:
        cylinder = np.zeros_like(cylinder)
    _over(item, check, cylinder, speed, limits, cautions)
    flow = flow_at_pressure(injectors.static_flow_kg_s, injectors.at_pressure_pa, pressure)
    fuel_kg = mean_air / (target * properties.stoichiometric_afr)
    dead = float(dead_time(injectors.dead_time, supply))
    part = fuel_kg * injectors.share / injectors.per_cylinder
    pulse = np.asarray(effective_pulse(part, flow) + dead, dtype=np.float64)
    if on == "total pulse" and stage.trimmed:
        trim = convert_percent(trim, "fuel", on, pulse[:, None], dead)
    return SetPulses(stage.name, item.place, stage.share, stage.follows_air, stage.trimmed, trim,
                     check.worst, cylinder, pulse, dead)


def _about_volume(case: Case, cautions: list[str]) -> None:
    """Say with which fuel a static flow given as a volume was taken."""
    given = [case.fuel.injector, *(s.injector for s in case.fuel.stages)]
    if any(i is not None and i.static_flow_kg_s is None and i.static_flow_m3_s is not None
           for i in given):
        burned = fuel(case.fuel.kind, case.fuel.ethanol_volume_fraction)
        cautions.append(
            f"static flow by volume is taken as that of {burned.name}, {burned.density_kg_m3:.0f} "
            "kg/m3; measured with a test fluid, multiply it by the root of that fluid's density "
            "over this one")


def _supply(item: FuelSet, shares: Shares, volts: float | None) -> float | None:
    """Supply voltage at which the set's dead time is known; None when something is missing."""
    injectors = item.injectors
    if injectors is None or shares.trapped_air_kg is None or not injectors.dead_time:
        return None
    if volts is not None:
        return volts
    return injectors.dead_time[0][0] if len(injectors.dead_time) == 1 else None


def _not_known(item: FuelSet, on: Basis, cautions: list[str]) -> None:
    """Say that the duty was not checked; InputError where the trim needs the pulse."""
    name = item.stage.name
    if on == "total pulse" and item.stage.trimmed:
        whose = f"set {name}: " if name else ""
        raise InputError([Problem(
            "percent on total pulse",
            f"{whose}no injector with dead time, or no supply voltage",
            "fuel.injector with static_flow and dead_time, and --volts for a table of them"
            if not name else "the set's injector with static_flow and dead_time, and --volts for a "
            "table of them",
        )])
    what = f"injector duty of set {name}" if name else "injector duty"
    who = "the case gives no injector with dead time" + (" for it" if name else "")
    dead_given = item.injectors is not None and bool(item.injectors.dead_time)
    cautions.append(f"{what} was not checked: " + (
        "its dead time depends on the supply voltage: give it with --volts" if dead_given
        else who))


def _over(
    item: FuelSet, check: DutyCheck, cylinder: IntArray, speed: FloatArray, limits: Limits,
    cautions: list[str],
) -> None:
    """Name the points at which the set is open for too long."""
    name = f" of set {item.stage.name}" if item.stage.name else ""
    for k in np.flatnonzero(check.over):
        where = f"cylinder {cylinder[k]}" if cylinder[k] else "every cylinder"
        cautions.append(
            f"injector duty{name} {check.worst[k] * 100:.0f} % at {where}, {speed[k]:g} rpm: "
            f"above {limits.duty_max * 100:g} % ({limits.origin('duty_max')})")


def _about_sets(found: Sequence[SetPulses], on: Basis, cautions: list[str]) -> None:
    """Say which sets the trims act on, and by how much they are enlarged."""
    trimmed = [item for item in found if item.trimmed]
    port = sum(item.share for item in found if not item.follows_air)
    names = " and ".join(item.name for item in trimmed)
    share = sum(item.share for item in trimmed)
    text = f"the trims are for set {names}, {share * 100:.4g} % of the fuel"
    if port - share > 1e-9:
        text += (f": {port / share:.3g} times the change of all fuel at the ports, which the caps "
                 "hold for")
    cautions.append(text)
    first = trimmed[0]
    if on == "total pulse" and any(
        not np.allclose(item.trim_percent, first.trim_percent, atol=0.05, equal_nan=True)
        for item in trimmed[1:]
    ):
        cautions.append("on total pulse the trimmed sets differ, their pulses do: the trims shown "
                        f"are those of set {first.name}, the others stand with their sets")
