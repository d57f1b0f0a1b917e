"""Compressible one-dimensional relations of an ideal gas: isentropic, nozzle, Fanno.

Definitions as in NACA Report 1135 (1953). Scalars or arrays; gamma is the ratio of specific heats.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from distrib.constants import GAMMA, R_DRY_AIR

FloatArray = NDArray[np.float64]


def _f(x: ArrayLike) -> FloatArray:
    return np.asarray(x, dtype=np.float64)


def temperature_ratio(mach: ArrayLike, gamma: float = GAMMA) -> FloatArray:
    """Static over stagnation temperature T/T0, - (NACA 1135 eq. 43)."""
    return np.asarray(1.0 / (1.0 + 0.5 * (gamma - 1.0) * _f(mach) ** 2))


def pressure_ratio(mach: ArrayLike, gamma: float = GAMMA) -> FloatArray:
    """Static over stagnation pressure p/p0, - (NACA 1135 eq. 44)."""
    return np.asarray(temperature_ratio(mach, gamma) ** (gamma / (gamma - 1.0)))


def density_ratio(mach: ArrayLike, gamma: float = GAMMA) -> FloatArray:
    """Static over stagnation density, - (NACA 1135 eq. 45)."""
    return np.asarray(temperature_ratio(mach, gamma) ** (1.0 / (gamma - 1.0)))


def area_ratio(mach: ArrayLike, gamma: float = GAMMA) -> FloatArray:
    """Flow area over sonic area A/A*, - (NACA 1135 eq. 80); infinite at Mach 0."""
    m = _f(mach)
    with np.errstate(divide="ignore"):
        return np.asarray((2.0 / (gamma + 1.0) / temperature_ratio(m, gamma))
                          ** (0.5 * (gamma + 1.0) / (gamma - 1.0)) / m)


def mach_from_pressure_ratio(static_over_total: ArrayLike, gamma: float = GAMMA) -> FloatArray:
    """Mach number from p/p0 in (0, 1], -."""
    pr = _f(static_over_total)
    if np.any((pr <= 0.0) | (pr > 1.0)):
        raise ValueError("mach_from_pressure_ratio: p/p0 outside (0, 1]")
    return np.asarray(np.sqrt(2.0 / (gamma - 1.0) * (pr ** (-(gamma - 1.0) / gamma) - 1.0)))


def critical_ratio(gamma: float = GAMMA) -> float:
    """Pressure ratio p/p0 at which a nozzle chokes, -."""
    return float((2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0)))


def flow_number_max(gamma: float = GAMMA) -> float:
    """Largest value of `flow_number`, reached at the critical ratio, -."""
    return float(np.sqrt(gamma) * (2.0 / (gamma + 1.0)) ** (0.5 * (gamma + 1.0) / (gamma - 1.0)))


def flow_number(static_over_total: ArrayLike, gamma: float = GAMMA) -> FloatArray:
    """Mass flux G sqrt(R T0) / p0 of an isentropic nozzle, -; choked below the critical ratio.

    The choked branch is physics, not a limit on the input: below the critical ratio the throat
    no longer feels the pressure behind it. Ratios outside [0, 1] raise ValueError.
    """
    pr = _f(static_over_total)
    if np.any((pr < 0.0) | (pr > 1.0)):
        raise ValueError("flow_number: pressure ratio outside [0, 1]")
    throat = np.maximum(pr, critical_ratio(gamma))
    return np.asarray(throat ** (1.0 / gamma) * np.sqrt(
        2.0 * gamma / (gamma - 1.0) * (1.0 - throat ** ((gamma - 1.0) / gamma))))


def mass_flux(total_pressure_pa: ArrayLike, total_temperature_k: ArrayLike,
              static_over_total: ArrayLike, gamma: float = GAMMA,
              gas_constant_j_kg_k: ArrayLike = R_DRY_AIR) -> FloatArray:
    """Isentropic mass flow per throat area, kg/(s m^2), choked where the ratio says so."""
    return np.asarray(_f(total_pressure_pa) * flow_number(static_over_total, gamma)
                      / np.sqrt(_f(gas_constant_j_kg_k) * _f(total_temperature_k)))


def flow_number_mach(mach: ArrayLike, gamma: float = GAMMA) -> FloatArray:
    """Mass-flow function mdot sqrt(R T0)/(p0 A) at a Mach number, -."""
    m = _f(mach)
    return np.asarray(np.sqrt(gamma) * m * temperature_ratio(m, gamma)
                      ** (0.5 * (gamma + 1.0) / (gamma - 1.0)))


def mach_from_flow_number(number: ArrayLike, gamma: float = GAMMA) -> FloatArray:
    """Subsonic Mach number of a duct from mdot sqrt(R T0)/(p0 A), -.

    NaN where the number exceeds its choked value (no such state). Newton's method in M, started
    on a curve that keeps the root bracketed; relative error below 1e-12 except at M = 1.
    """
    target = _f(number)
    if np.any(target < 0.0):
        raise ValueError("mach_from_flow_number: negative flow number")
    top = flow_number_max(gamma)
    good = target <= top
    ratio = np.where(good, target / top, 0.0)
    m = 1.0 - np.sqrt(1.0 - ratio)
    for _ in range(30):
        t = temperature_ratio(m, gamma)
        value = flow_number_mach(m, gamma)
        slope = np.sqrt(gamma) * t ** (0.5 * (gamma + 1.0) / (gamma - 1.0) + 1.0) * (1.0 - m * m)
        step = np.where(slope > 1e-12, (value - ratio * top) / np.maximum(slope, 1e-12), 0.0)
        m = np.clip(m - step, 0.0, 1.0)
        if np.all(np.abs(step) < 1e-14):
            break
    return np.asarray(np.where(good, m, np.nan))


def fanno_length(mach: ArrayLike, gamma: float = GAMMA) -> FloatArray:
    """Darcy f L*/D from a Mach number to the sonic point of a constant-area duct, -.

    Shapiro (1953) ch. 6; the Fanning form 4 f L*/D is the same number. Infinite at Mach 0.
    """
    m2 = _f(mach) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        value = ((1.0 - m2) / (gamma * m2) + (gamma + 1.0) / (2.0 * gamma)
                 * np.log((gamma + 1.0) * m2 / (2.0 + (gamma - 1.0) * m2)))
    return np.asarray(np.where(m2 == 0.0, np.inf, value))


def fanno_temperature(mach: ArrayLike, gamma: float = GAMMA) -> FloatArray:
    """T/T* of adiabatic flow with friction, -."""
    return np.asarray((gamma + 1.0) / (2.0 + (gamma - 1.0) * _f(mach) ** 2))


def fanno_pressure(mach: ArrayLike, gamma: float = GAMMA) -> FloatArray:
    """p/p* of adiabatic flow with friction, -."""
    m = _f(mach)
    return np.asarray(np.sqrt(fanno_temperature(m, gamma)) / m)


def fanno_total_pressure(mach: ArrayLike, gamma: float = GAMMA) -> FloatArray:
    """p0/p0* of adiabatic flow with friction, - (equals A/A* at the same Mach number)."""
    return area_ratio(mach, gamma)


def fanno_mach(friction_length: ArrayLike, gamma: float = GAMMA) -> FloatArray:
    """Subsonic Mach number that lies f L*/D (Darcy) before the sonic point, -.

    Bisection in log M to 1e-13; lengths must not be negative.
    """
    target = _f(friction_length)
    if np.any(target < 0.0):
        raise ValueError("fanno_mach: negative friction length")
    low = np.full(target.shape, np.log(1e-9))
    high = np.zeros(target.shape)
    for _ in range(80):
        mid = 0.5 * (low + high)
        longer = fanno_length(np.exp(mid), gamma) > target
        low = np.where(longer, mid, low)
        high = np.where(longer, high, mid)
    return np.asarray(np.exp(0.5 * (low + high)))
