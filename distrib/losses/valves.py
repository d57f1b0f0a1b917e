"""Poppet valves and ports: geometric areas over lift, discharge coefficient, bench flow.

Engine models read areas and coefficients from here or from tables of the case; lengths in metres.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from distrib.constants import GAMMA, R_DRY_AIR
from distrib.gas.isentropic import mass_flux
from distrib.gas.properties import density

FloatArray = NDArray[np.float64]


def _f(x: ArrayLike) -> FloatArray:
    return np.asarray(x, dtype=np.float64)


def curtain_area(diameter_m: ArrayLike, lift_m: ArrayLike) -> FloatArray:
    """Cylinder between seat and valve head, pi D L, m^2; equals pi D^2/4 at L/D = 0.25."""
    return np.asarray(np.pi * _f(diameter_m) * _f(lift_m))


def seat_limit_lift(width_m: ArrayLike, seat_deg: ArrayLike) -> FloatArray:
    """Lift up to which the frustum over the seat is the smallest area, w/(sin b cos b), m."""
    b = np.radians(_f(seat_deg))
    return np.asarray(_f(width_m) / (np.sin(b) * np.cos(b)))


def frustum_area(diameter_m: ArrayLike, lift_m: ArrayLike, seat_width_m: ArrayLike,
                 seat_deg: ArrayLike) -> FloatArray:
    """Minimum area at low lift, square to the seat: pi L cos b (D - 2w + (L/2) sin 2b), m^2.

    Heywood (1988), eq. 6.8; D head diameter, w seat width, b seat angle. Holds up to
    `seat_limit_lift`.
    """
    d, lift, w = _f(diameter_m), _f(lift_m), _f(seat_width_m)
    b = np.radians(_f(seat_deg))
    return np.asarray(np.pi * lift * np.cos(b) * (d - 2.0 * w + 0.5 * lift * np.sin(2.0 * b)))


def slant_area(diameter_m: ArrayLike, lift_m: ArrayLike, seat_width_m: ArrayLike,
               seat_deg: ArrayLike) -> FloatArray:
    """Minimum area at middle lift, slant of a frustum: pi Dm sqrt((L - w tan b)^2 + w^2), m^2.

    Heywood (1988), eq. 6.9, Dm = D - w mean seat diameter.
    """
    w, b = _f(seat_width_m), np.radians(_f(seat_deg))
    rise = _f(lift_m) - w * np.tan(b)
    return np.asarray(np.pi * (_f(diameter_m) - w) * np.sqrt(rise**2 + w**2))


def port_area(port_diameter_m: ArrayLike, stem_diameter_m: ArrayLike) -> FloatArray:
    """Area of the port less the stem, m^2: the limit at high lift (Heywood 1988, eq. 6.10)."""
    return np.asarray(np.pi / 4.0 * (_f(port_diameter_m) ** 2 - _f(stem_diameter_m) ** 2))


def minimum_area(diameter_m: ArrayLike, lift_m: ArrayLike, seat_width_m: ArrayLike,
                 seat_deg: ArrayLike, port_diameter_m: ArrayLike,
                 stem_diameter_m: ArrayLike) -> FloatArray:
    """Smallest geometric area of a valve at a lift: frustum, slant, then port, m^2."""
    lift = _f(lift_m)
    low = frustum_area(diameter_m, lift, seat_width_m, seat_deg)
    middle = slant_area(diameter_m, lift, seat_width_m, seat_deg)
    opening = np.where(lift <= seat_limit_lift(seat_width_m, seat_deg), low, middle)
    return np.asarray(np.minimum(opening, port_area(port_diameter_m, stem_diameter_m)))


def discharge_coefficient(lift_over_d: ArrayLike) -> FloatArray:
    """Typical inlet valve Cd on the curtain area by L/D, 0 to 0.4.

    Straight lines through (0, 0.70), (0.10, 0.68), (0.20, 0.60), (0.30, 0.48), (0.40, 0.37): common
    handbook shape, from memory; beyond L/D 0.25 the port, not the curtain, meters. Weak: 15 %.
    """
    x = _f(lift_over_d)
    if np.any((x < 0.0) | (x > 0.5)):
        raise ValueError("discharge_coefficient: L/D outside 0 to 0.5")
    return np.asarray(np.interp(x, [0.0, 0.10, 0.20, 0.30, 0.40, 0.50],
                                [0.70, 0.68, 0.60, 0.48, 0.37, 0.296]))


def effective_area_bench(flow_m3_s: ArrayLike, depression_pa: ArrayLike,
                         ambient_pressure_pa: ArrayLike, ambient_temperature_k: ArrayLike,
                         gas_constant_j_kg_k: ArrayLike = R_DRY_AIR,
                         gamma: float = GAMMA) -> FloatArray:
    """Area of the ideal nozzle that passes the flow of a bench at its depression, m^2.

    flow at ambient density, depression below ambient (not negative); isentropic, so it stays valid
    at large depressions where the square-root law does not.
    """
    p, t = _f(ambient_pressure_pa), _f(ambient_temperature_k)
    ratio = 1.0 - _f(depression_pa) / p
    rho = density(p, t, gas_constant_j_kg_k)
    return np.asarray(_f(flow_m3_s) * rho / mass_flux(p, t, ratio, gamma, gas_constant_j_kg_k))


def bench_scale(from_pa: ArrayLike, to_pa: ArrayLike) -> FloatArray:
    """Factor on bench flow from one depression to another, square-root law, incompressible."""
    return np.asarray(np.sqrt(_f(to_pa) / _f(from_pa)))


def ideal_velocity(depression_pa: ArrayLike, density_kg_m3: ArrayLike) -> FloatArray:
    """Incompressible velocity sqrt(2 dp/rho) of a depression, m/s."""
    return np.asarray(np.sqrt(2.0 * _f(depression_pa) / _f(density_kg_m3)))
