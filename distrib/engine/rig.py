"""Flow-bench arithmetic: what passes an ideal nozzle at a depression, and the square-root rule."""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.constants import GAMMA, R_DRY_AIR


def scale_flow(flow: Any, from_pa: Any, to_pa: Any) -> Any:
    """Flow at another depression by the square-root law (rows bench.scale.*).

    Incompressible; beyond a ratio of about 3, or near a change of separation, it misleads.
    """
    return flow * np.sqrt(np.asarray(to_pa, dtype=np.float64) / from_pa)


def mass_flux(pressure_pa: Any, temperature_k: Any, depression_pa: Any) -> Any:
    """Isentropic mass flow per area, kg/(s m^2), from rest to `pressure - depression`.

    Ratio of specific heats 7/5; NaN when the depression is not above zero and below the critical
    one. Check row bench.cfm.
    """
    r = 1.0 - np.asarray(depression_pa, dtype=np.float64) / pressure_pa
    critical = (2.0 / (GAMMA + 1.0)) ** (GAMMA / (GAMMA - 1.0))
    r = np.where((r > critical) & (r < 1.0), r, np.nan)
    term = r ** (2.0 / GAMMA) - r ** ((GAMMA + 1.0) / GAMMA)
    return pressure_pa * np.sqrt(
        2.0 * GAMMA / (GAMMA - 1.0) / (R_DRY_AIR * temperature_k) * term
    )
