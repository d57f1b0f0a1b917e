"""Injectors: flow with pressure, dead time over voltage, pulse width, duty.

The flow goes with the square root of the pressure difference (check row inj.sqrt); the pulse is
linear: fuel = static flow x (total pulse - dead time), valid above a few dead times (short pulses
are not linear; common practice: not below 1.5 ms total without a measured curve).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from distrib.fuelling.errors import FuellingError
from distrib.results import FloatArray


@dataclass(frozen=True)
class InjectorSet:
    """Equal injectors, `per_cylinder` for each, that carry `share` of the fuel.

    `static_flow_kg_s` holds at `at_pressure_pa` (difference). `dead_time` pairs volts with seconds;
    one pair means a constant. `follows_air`: the set sprays into the plenum or before the throttle,
    so its fuel divides as the air does and a trim of it moves all cylinders alike; two injectors
    there for four cylinders are 0.5 `per_cylinder`.
    """

    static_flow_kg_s: float
    at_pressure_pa: float
    dead_time: tuple[tuple[float, float], ...]
    name: str = "near the valve"
    share: float = 1.0
    follows_air: bool = False
    per_cylinder: float = 1.0


def flow_at_pressure(static_flow: Any, at_pressure_pa: Any, pressure_pa: Any) -> Any:
    """Static flow at another pressure difference, same unit: Q sqrt(p/p0). Arrays broadcast.

    NaN for a difference below zero (the injector would take gas in)."""
    with np.errstate(invalid="ignore"):
        return static_flow * np.sqrt(np.asarray(pressure_pa, float) / at_pressure_pa)


def mass_flow(volume_flow_m3_s: Any, density_kg_m3: float) -> Any:
    """kg/s from m^3/s of liquid. A flow in cc/min was measured with some test fluid: say which."""
    return volume_flow_m3_s * density_kg_m3


def port_factors(rail_difference_pa: float, reference_pa: float, port_pressure_pa: Any
                 ) -> FloatArray:
    """Fuel flow of each cylinder's injector over the mean, from port pressures (..., N).

    The rail stands `rail_difference_pa` above `reference_pa` (what the regulator sees, usually
    the plenum); each injector feels the rail minus its own port. Mean of the factors is 1.
    """
    difference = rail_difference_pa + reference_pa - np.asarray(port_pressure_pa, float)
    with np.errstate(invalid="ignore"):
        root = np.sqrt(difference)
    return np.asarray(root / root.mean(axis=-1, keepdims=True), dtype=np.float64)


def dead_time(table: tuple[tuple[float, float], ...], volts: Any) -> FloatArray:
    """Dead time, s, at a supply voltage: linear between pairs (volts, seconds).

    One pair is a constant. Outside the table FuellingError: dead time rises steeply at low voltage
    and an extrapolation would be a guess.
    """
    v = np.asarray(volts, dtype=np.float64)
    points = np.asarray(sorted(table), dtype=np.float64)
    if len(points) == 0:
        raise FuellingError("dead time is not given")
    if len(points) == 1:
        return np.full_like(v, points[0, 1])
    if np.any(np.diff(points[:, 0]) <= 0.0):
        raise FuellingError("dead time: a voltage stands twice")
    if np.any(v < points[0, 0]) or np.any(v > points[-1, 0]):
        raise FuellingError(
            f"dead time is given from {points[0, 0]:g} to {points[-1, 0]:g} V; asked at "
            f"{np.min(v):g} to {np.max(v):g} V"
        )
    return np.asarray(np.interp(v, points[:, 0], points[:, 1]), dtype=np.float64)


def effective_pulse(fuel_kg_per_cycle: Any, flow_kg_s: Any) -> Any:
    """Pulse without dead time, s."""
    return fuel_kg_per_cycle / flow_kg_s


def duty(total_pulse_s: Any, rpm: Any) -> Any:
    """Share of the 720 degree cycle the injector is on: pulse x rpm/120."""
    return total_pulse_s * rpm / 120.0


@dataclass(frozen=True)
class DutyCheck:
    """Duty of the trimmed cylinders: arrays (P, N), and the worst of each point (P,)."""

    total_pulse_s: FloatArray
    duty: FloatArray
    worst: FloatArray
    worst_cylinder_index: np.ndarray[tuple[int, ...], np.dtype[np.int64]]
    limit: float
    over: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]


def check_duty(
    air_kg_per_cycle: Any,
    lambda_target: Any,
    stoichiometric_afr: float,
    trim_percent: Any,
    rpm: Any,
    injectors: InjectorSet,
    pressure_pa: Any,
    volts: float,
    limit: float,
) -> DutyCheck:
    """Duty at every cylinder with its trim, judged at the worst one of each point.

    `air_kg_per_cycle` (P,) or (P, 1): mean air of a cylinder, which the base map fuels; trims
    (P, N) act on it; `rpm` and `lambda_target` (P,), or one; `pressure_pa` difference over the
    injector, scalar or (P, N).
    One pulse of each injector per cycle, also of those that feed all cylinders.
    `limit` is common practice 0.85 (check row inj.duty: 80 to 90 %).
    """
    trim = np.atleast_2d(np.asarray(trim_percent, float))
    air = np.asarray(air_kg_per_cycle, float).reshape(-1, 1)
    speed = np.asarray(rpm, float).reshape(-1, 1)
    part = injectors.share / injectors.per_cylinder
    goal = np.asarray(lambda_target, float).reshape(-1, 1)
    fuel = air / (goal * stoichiometric_afr) * part * (1.0 + trim / 100.0)
    flow = flow_at_pressure(injectors.static_flow_kg_s, injectors.at_pressure_pa, pressure_pa)
    pulse = effective_pulse(fuel, flow) + dead_time(injectors.dead_time, volts)
    on = np.asarray(duty(pulse, speed), dtype=np.float64)
    worst = on.max(axis=-1)
    return DutyCheck(pulse, on, worst, on.argmax(axis=-1), limit, worst > limit)
