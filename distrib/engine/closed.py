"""The closed part of the cycle, stated and simple: only for a true blow-down and residual gas.

Compression by a polytrope from intake-valve closing to top dead centre, heat release there at
constant volume, expansion by a polytrope to exhaust-valve opening. The heat is what the trapped
fresh air can burn, times one efficiency that stands for heat loss, slow burning and dissociation.
It is no power prediction. Exponents and efficiency are usual handbook magnitudes, from memory; they
give about 4 to 5 bar and 1400 to 1500 K at valve opening for a full unboosted charge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from distrib.constants import R_DRY_AIR


@dataclass(frozen=True)
class ClosedCycle:
    """Numbers of the closed-cycle model; all from memory, unverified, and overridable.

    `burned_cv` is a mean specific heat at constant volume of burning gas between about 700 and
    2700 K, J/(kg K); the constant 5/2 R of cold air would overstate the temperature.
    """

    compression_exponent: float = 1.32
    expansion_exponent: float = 1.28
    heat_efficiency: float = 0.75
    heating_value_j_kg: float = 43.5e6
    stoichiometric_afr: float = 14.575
    burned_cv_j_kg_k: float = 950.0


DEFAULT_CLOSED: Final = ClosedCycle()


def heat_released(fresh_air_kg: Any, lambda_: Any, model: ClosedCycle) -> Any:
    """Heat, J: fuel that finds air (the lesser of fuel and air/AFR) x heating value x efficiency.

    Rich of stoichiometric the air limits, lean the fuel does.
    """
    fuel = fresh_air_kg / model.stoichiometric_afr / np.maximum(lambda_, 1.0)
    return fuel * model.heating_value_j_kg * model.heat_efficiency


def state_at_exhaust_opening(
    p_ivc_pa: Any,
    t_ivc_k: Any,
    v_ivc_m3: Any,
    v_clearance_m3: Any,
    v_evo_m3: Any,
    fresh_air_kg: Any,
    lambda_: Any = 1.0,
    model: ClosedCycle = DEFAULT_CLOSED,
) -> tuple[Any, Any]:
    """Pressure (Pa) and temperature (K) when the exhaust valve opens; arrays broadcast.

    Inputs: trapped pressure, temperature and volume when the intake valve closes, clearance
    volume, volume at exhaust opening, trapped fresh air. The charge mass is p V/(R T) and keeps R
    of dry air. Mass is conserved; with no fresh air the gas is only compressed and expanded.
    """
    mass = p_ivc_pa * v_ivc_m3 / (R_DRY_AIR * t_ivc_k)
    ratio = v_ivc_m3 / v_clearance_m3
    t2 = t_ivc_k * ratio ** (model.compression_exponent - 1.0)
    t3 = t2 + heat_released(fresh_air_kg, lambda_, model) / (mass * model.burned_cv_j_kg_k)
    t_evo = t3 * (v_clearance_m3 / v_evo_m3) ** (model.expansion_exponent - 1.0)
    return mass * R_DRY_AIR * t_evo / v_evo_m3, t_evo


def closed_pressure(
    theta_deg: Any,
    volume_m3: Any,
    p_ivc_pa: Any,
    v_ivc_m3: Any,
    p_evo_pa: Any,
    v_evo_m3: Any,
    model: ClosedCycle = DEFAULT_CLOSED,
) -> Any:
    """Pressure, Pa, at a crank angle of the closed part, `theta_deg` after firing TDC.

    Compression (540 to 720): polytrope from the state at intake closing. Expansion (0 to 180):
    polytrope through the state at exhaust opening. The jump at 0 is the heat release.
    """
    up = p_ivc_pa * (v_ivc_m3 / volume_m3) ** model.compression_exponent
    down = p_evo_pa * (v_evo_m3 / volume_m3) ** model.expansion_exponent
    return np.where(np.mod(np.asarray(theta_deg, float), 720.0) >= 360.0, up, down)
