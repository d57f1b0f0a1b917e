"""Cylinders of a setup from engine data: area tables and the closed part of the cycle."""

from __future__ import annotations

from collections.abc import Sequence

from distrib.constants import R_DRY_AIR
from distrib.engine.closed import DEFAULT_CLOSED, ClosedCycle, state_at_exhaust_opening
from distrib.engine.kinematics import cylinder_volume
from distrib.engine.valves import ValveFlow
from distrib.unsteady.setup import Cylinder

TABLE_POINTS = 720


def closed_coefficients(
    bore_m: float, stroke_m: float, rod_m: float, compression_ratio: float,
    intake_closes_deg: float, exhaust_opens_deg: float, lambda_: float = 1.0,
    model: ClosedCycle = DEFAULT_CLOSED,
) -> tuple[float, float]:
    """(gain, rise) of T_opening = gain T_trapped + rise x fresh air/trapped mass.

    `engine.closed.state_at_exhaust_opening` is linear in both; two of its values give the
    coefficients, so that there is no second copy of the formula.
    """
    dims = (bore_m, stroke_m, rod_m, compression_ratio)
    v_ivc = float(cylinder_volume(intake_closes_deg, *dims))
    v_evo = float(cylinder_volume(exhaust_opens_deg, *dims))
    v_top = float(cylinder_volume(0.0, *dims))
    t, p = 300.0, 1e5
    mass = p * v_ivc / (R_DRY_AIR * t)
    _, cold = state_at_exhaust_opening(p, t, v_ivc, v_top, v_evo, 0.0, lambda_, model)
    _, hot = state_at_exhaust_opening(p, t, v_ivc, v_top, v_evo, mass, lambda_, model)
    return float(cold) / t, float(hot) - float(cold)


def make_cylinders(
    tdc_deg: Sequence[float], bore_m: float, stroke_m: float, rod_m: float,
    compression_ratio: float, intake: ValveFlow, exhaust: ValveFlow, exhaust_pressure_pa: float,
    lambda_: float = 1.0, model: ClosedCycle = DEFAULT_CLOSED,
) -> tuple[Cylinder, ...]:
    """Equal cylinders at given firing angles (`engine.firing.tdc_offsets_deg`), numbered from 1.

    The valve areas are tabulated every degree. Lean of stoichiometric, 1 - 1/lambda of the fresh
    air stays unburned.
    """
    gain, rise = closed_coefficients(bore_m, stroke_m, rod_m, compression_ratio, intake.close_deg,
                                     exhaust.open_deg, lambda_, model)
    areas = intake.area_table(TABLE_POINTS), exhaust.area_table(TABLE_POINTS)
    return tuple(
        Cylinder(
            name=str(k + 1), tdc_deg=float(at), bore_m=bore_m, stroke_m=stroke_m, rod_m=rod_m,
            compression_ratio=compression_ratio, intake_area_m2=areas[0],
            exhaust_area_m2=areas[1], intake_closes_deg=intake.close_deg,
            exhaust_opens_deg=exhaust.open_deg, exhaust_pressure_pa=exhaust_pressure_pa,
            closed_gain=gain, closed_rise_k=rise,
            unburned_share=max(0.0, 1.0 - 1.0 / lambda_))
        for k, at in enumerate(tdc_deg))
