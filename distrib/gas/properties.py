"""Properties of dry and humid air as an ideal gas, and the standard atmosphere.

All functions take scalars or arrays that broadcast, in SI units, and return float arrays.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from distrib.constants import (
    G_M_S2,
    GAMMA,
    P_STANDARD_PA,
    R_DRY_AIR,
    R_WATER_VAPOUR,
    T_STANDARD_K,
)

FloatArray = NDArray[np.float64]

SUTHERLAND_BETA = 1.458e-6
"""kg/(m s sqrt(K)): US Standard Atmosphere 1976, eq. 51."""
SUTHERLAND_S_K = 110.4
"""K: US Standard Atmosphere 1976, eq. 51."""
LAPSE_K_PER_M = 0.0065
"""Temperature fall per metre of geopotential altitude below 11 km: ISO 2533."""


def _f(x: ArrayLike) -> FloatArray:
    return np.asarray(x, dtype=np.float64)


def saturation_pressure_pa(temperature_k: ArrayLike) -> FloatArray:
    """Vapour pressure of water over liquid, Pa.

    Equation of CIPM-2007 (Picard et al., Metrologia 45 (2008) 149, eq. A1.1; constants from
    memory, agree with a general-purpose property library to 1e-4). Valid 253 K to 333 K.
    """
    t = _f(temperature_k)
    return np.asarray(np.exp(1.2378847e-5 * t * t - 1.9121316e-2 * t + 33.93711047
                             - 6.3431645e3 / t))


def vapour_fraction(pressure_pa: ArrayLike, temperature_k: ArrayLike,
                    relative_humidity: ArrayLike) -> FloatArray:
    """Mole fraction of water vapour in humid air, -; relative humidity from 0 to 1.

    Includes the enhancement factor of CIPM-2007 (eq. A1.2). Nothing is limited: a value above 1
    means the stated humidity cannot exist at that pressure.
    """
    p, t = _f(pressure_pa), _f(temperature_k)
    celsius = t - 273.15
    enhancement = 1.00062 + 3.14e-8 * p + 5.6e-7 * celsius * celsius
    return np.asarray(_f(relative_humidity) * enhancement * saturation_pressure_pa(t) / p)


def gas_constant_humid(vapour_mole_fraction: ArrayLike) -> FloatArray:
    """Specific gas constant of humid air, J/(kg K), from the mole fraction of vapour.

    Closed form: molar masses mix linearly, so 1/R = (1-x)/R_dry + x/R_vapour.
    """
    x = _f(vapour_mole_fraction)
    return np.asarray(1.0 / ((1.0 - x) / R_DRY_AIR + x / R_WATER_VAPOUR))


def vapour_mass_fraction(vapour_mole_fraction: ArrayLike) -> FloatArray:
    """Mass fraction of vapour in humid air (kg vapour per kg humid air), -."""
    x = _f(vapour_mole_fraction)
    return np.asarray(x * gas_constant_humid(x) / R_WATER_VAPOUR)


def gas_constant(pressure_pa: ArrayLike, temperature_k: ArrayLike,
                 relative_humidity: ArrayLike) -> FloatArray:
    """Specific gas constant of air at the stated humidity (0 to 1), J/(kg K)."""
    return gas_constant_humid(vapour_fraction(pressure_pa, temperature_k, relative_humidity))


def density(pressure_pa: ArrayLike, temperature_k: ArrayLike,
            gas_constant_j_kg_k: ArrayLike = R_DRY_AIR) -> FloatArray:
    """Ideal-gas density, kg/m^3 (dry air unless another gas constant is given)."""
    return np.asarray(_f(pressure_pa) / (_f(gas_constant_j_kg_k) * _f(temperature_k)))


def viscosity_Sutherland(temperature_k: ArrayLike) -> FloatArray:
    """Dynamic viscosity of air, Pa s.

    US Standard Atmosphere 1976, eq. 51; 0.4 % below measured values at 288 K. Valid 200 to 1000 K.
    """
    t = _f(temperature_k)
    return np.asarray(SUTHERLAND_BETA * t**1.5 / (t + SUTHERLAND_S_K))


def speed_of_sound(temperature_k: ArrayLike, gas_constant_j_kg_k: ArrayLike = R_DRY_AIR,
                   gamma: ArrayLike = GAMMA) -> FloatArray:
    """Ideal-gas speed of sound sqrt(gamma R T), m/s."""
    return np.asarray(np.sqrt(_f(gamma) * _f(gas_constant_j_kg_k) * _f(temperature_k)))


def reynolds(mass_flow_kg_s: ArrayLike, hydraulic_diameter_m: ArrayLike, area_m2: ArrayLike,
             viscosity_pa_s: ArrayLike) -> FloatArray:
    """Reynolds number of a duct, |mdot| D_h / (A mu), -."""
    return np.asarray(np.abs(_f(mass_flow_kg_s)) * _f(hydraulic_diameter_m)
                      / (_f(area_m2) * _f(viscosity_pa_s)))


def standard_atmosphere(altitude_m: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Pressure (Pa), temperature (K), density (kg/m^3) at a geopotential altitude, m.

    ISO 2533 troposphere, valid -2000 m to 11000 m; outside that band a ValueError.
    """
    h = _f(altitude_m)
    if np.any((h < -2000.0) | (h > 11000.0)):
        raise ValueError("standard_atmosphere: altitude outside -2000 m to 11000 m")
    t = T_STANDARD_K - LAPSE_K_PER_M * h
    p = P_STANDARD_PA * (t / T_STANDARD_K) ** (G_M_S2 / (R_DRY_AIR * LAPSE_K_PER_M))
    return np.asarray(p), np.asarray(t), density(p, t)
