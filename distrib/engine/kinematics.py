"""Slider-crank kinematics: piston travel, cylinder volume and their rates.

Formulas in numpy calls, so that the same source serves arrays (here) and compiled scalars
(`distrib.engine.compiled`). Angles are crank degrees after
the firing top dead centre of that cylinder; volumes repeat every 360 degrees.

Source: closed form of the crank triangle, offset-free pin; check rows crank.* and disp.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.results import FloatArray


def piston_travel(theta_deg: Any, stroke_m: float, rod_m: float) -> Any:
    """Distance of the piston from top dead centre, m, positive downward.

    `x = r (1 - cos th) + L - sqrt(L^2 - r^2 sin^2 th)`, r = stroke/2, L = rod length between
    centres. Valid for rod_m > stroke_m/2; anything else gives NaN. Scalars or arrays.
    """
    th = theta_deg * (np.pi / 180.0)
    r = 0.5 * stroke_m
    s = r * np.sin(th)
    return r * (1.0 - np.cos(th)) + rod_m - np.sqrt(rod_m * rod_m - s * s)


def piston_travel_per_degree(theta_deg: Any, stroke_m: float, rod_m: float) -> Any:
    """Derivative of `piston_travel` with crank angle, m per degree; positive going down."""
    th = theta_deg * (np.pi / 180.0)
    r = 0.5 * stroke_m
    s = r * np.sin(th)
    c = r * np.cos(th)
    return (s + s * c / np.sqrt(rod_m * rod_m - s * s)) * (np.pi / 180.0)


def volume_from_cosine(
    cosine: Any, bore_m: Any, stroke_m: Any, rod_m: Any, compression_ratio: Any
) -> Any:
    """`cylinder_volume` from the cosine of the crank angle, m^3."""
    r = 0.5 * stroke_m
    x = r * (1.0 - cosine) + rod_m - np.sqrt(rod_m * rod_m - r * r * (1.0 - cosine * cosine))
    area = 0.25 * np.pi * bore_m * bore_m
    return area * (stroke_m / (compression_ratio - 1.0) + x)


def cylinder_volume(
    theta_deg_after_tdc: Any, bore_m: float, stroke_m: float, rod_m: float, compression_ratio: float
) -> Any:
    """Gas volume above the piston, m^3, at a crank angle in degrees after top dead centre.

    Clearance volume Vd/(compression_ratio - 1) plus bore area times `piston_travel`.
    `compression_ratio` is geometric and above 1. Scalars or arrays.
    """
    return volume_from_cosine(np.cos(theta_deg_after_tdc * (np.pi / 180.0)), bore_m, stroke_m,
                              rod_m, compression_ratio)


def cylinder_volume_per_degree(
    theta_deg_after_tdc: Any, bore_m: float, stroke_m: float, rod_m: float
) -> Any:
    """dV/dtheta, m^3 per crank degree; multiply by 6 x rpm for m^3/s. Scalars or arrays."""
    th = theta_deg_after_tdc * (np.pi / 180.0)
    r = 0.5 * stroke_m
    s = r * np.sin(th)
    c = r * np.cos(th)
    area = 0.25 * np.pi * bore_m * bore_m
    return area * (s + s * c / np.sqrt(rod_m * rod_m - s * s)) * (np.pi / 180.0)


def piston_speed(theta_deg: Any, rpm: Any, stroke_m: float, rod_m: float) -> Any:
    """Instantaneous piston speed, m/s, positive going down. 6 rpm is degrees per second."""
    return piston_travel_per_degree(theta_deg, stroke_m, rod_m) * 6.0 * rpm


def mean_piston_speed(stroke_m: float, rpm: Any) -> Any:
    """Mean piston speed 2 S N, m/s."""
    return 2.0 * stroke_m * rpm / 60.0


def displacement(bore_m: float, stroke_m: float) -> float:
    """Swept volume of one cylinder, m^3."""
    return 0.25 * np.pi * bore_m * bore_m * stroke_m


def engine_air_flow(
    volumetric_efficiency: Any, density_kg_m3: Any, displacement_m3: Any, rpm: Any
) -> Any:
    """Air flow of a four-stroke engine, kg/s: eta rho Vd N/120.

    `volumetric_efficiency` must refer to the same density (ambient, or plenum); check ve.flow.
    """
    return volumetric_efficiency * density_kg_m3 * displacement_m3 * rpm / 120.0


def volumetric_efficiency(
    trapped_air_kg: FloatArray, density_kg_m3: Any, displacement_m3: float
) -> FloatArray:
    """Trapped fresh air over the mass that fills the swept volume at the stated density."""
    return np.asarray(trapped_air_kg / (density_kg_m3 * displacement_m3), dtype=np.float64)


def mach_index(
    bore_m: Any,
    valve_diameter_m: Any,
    mean_piston_speed_m_s: Any,
    valves: Any,
    mean_discharge: Any,
    sound_speed_m_s: Any,
) -> Any:
    """Mean inlet Mach index Z = (B/D)^2 Sp/(n C a) of the intake valves; check mach.ex.

    `mean_discharge` is the flow coefficient averaged over the opening, on the valve-head area
    (0.45 to 0.5 is usual; common handbook range, from memory). Volumetric efficiency falls
    steeply beyond about 0.5 to 0.6 (check mach.limit).
    """
    ratio = bore_m / valve_diameter_m
    return ratio * ratio * mean_piston_speed_m_s / (valves * mean_discharge * sound_speed_m_s)
