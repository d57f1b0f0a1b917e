"""Injector pulses behind a trim: percent on total pulse, duty at the richest trimmed cylinder."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from distrib.case.schema import Case
from distrib.errors import InputError, Problem
from distrib.fuelling import (
    InjectorSet,
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
class Pulses:
    """Trims as shown (P, N); duty, its cylinder and the untrimmed total pulse (P,), dead time.

    All but the first None where the case does not say enough about its injectors.
    """

    shown_percent: FloatArray
    duty: FloatArray | None
    duty_cylinder: IntArray | None
    total_pulse_s: FloatArray | None
    dead_time_s: float | None


def injector_set(case: Case) -> InjectorSet | None:
    """The case's injectors by mass flow of its fuel; None when the case has none."""
    given = case.fuel.injector
    if given is None:
        return None
    flow = given.static_flow_kg_s
    if flow is None and given.static_flow_m3_s is not None:
        properties = fuel(case.fuel.kind, case.fuel.ethanol_volume_fraction)
        flow = given.static_flow_m3_s * properties.density_kg_m3
    if flow is None:
        return None
    return InjectorSet(flow, given.at_pressure_pa, given.dead_time_s)


def on_pulses(
    case: Case, shares: Shares, trims: Trims, on: Basis, volts: float | None, limits: Limits,
    cautions: list[str],
) -> Pulses:
    """Trims on the wanted basis, and the injector's duty at the richest trimmed cylinder.

    Adds to `cautions` where the duty is over its limit or could not be checked. InputError for a
    percent on total pulse without an injector, dead time and (for a table) supply voltage.
    """
    injectors = injector_set(case)
    air = shares.trapped_air_kg
    needs_pulse = on == "total pulse"
    dead_known = injectors is not None and bool(injectors.dead_time) and (
        len(injectors.dead_time) == 1 or volts is not None)
    if injectors is None or air is None or not dead_known:
        if needs_pulse:
            raise InputError([Problem(
                "percent on total pulse", "no injector with dead time, or no supply voltage",
                "fuel.injector with static_flow and dead_time, and --volts for a table of them",
            )])
        cautions.append("injector duty was not checked: the case gives no injector with dead time"
                        if not (injectors and injectors.dead_time) else
                        "injector duty was not checked: dead time depends on the supply voltage")
        return Pulses(trims.trim_percent, None, None, None, None)
    supply = volts if volts is not None else injectors.dead_time[0][0]
    properties = fuel(case.fuel.kind, case.fuel.ethanol_volume_fraction)
    mean_air = np.asarray(air, dtype=np.float64).mean(axis=-1)
    pressure = case.fuel.injector.rail_pressure_pa if case.fuel.injector else np.nan
    speed = np.asarray(shares.conditions["rpm"], dtype=np.float64)
    total = (1.0 + trims.base_percent[:, None] / 100.0) * (1.0 + trims.trim_percent / 100.0) - 1.0
    check = check_duty(
        mean_air, case.fuel.lambda_target, properties.stoichiometric_afr,
        np.nan_to_num(total) * 100.0, speed, injectors, pressure, supply, limits.duty_max,
    )
    for k in np.flatnonzero(check.over):
        cylinder = shares.cylinders[check.worst_cylinder_index[k]]
        cautions.append(
            f"injector duty {check.worst[k] * 100:.0f} % at cylinder {cylinder}, {speed[k]:g} rpm: "
            f"above {limits.duty_max * 100:g} % ({limits.origin('duty_max')})")
    flow = flow_at_pressure(injectors.static_flow_kg_s, injectors.at_pressure_pa, pressure)
    fuel_kg = mean_air / (case.fuel.lambda_target * properties.stoichiometric_afr)
    dead = float(dead_time(injectors.dead_time, supply))
    pulse = np.asarray(effective_pulse(fuel_kg, flow) + dead, dtype=np.float64)
    shown = trims.trim_percent
    if needs_pulse:
        shown = convert_percent(trims.trim_percent, "fuel", on, pulse[:, None], dead)
    return Pulses(shown, check.worst, shares.cylinders[check.worst_cylinder_index], pulse, dead)
