"""Physical constants with their origin."""

from __future__ import annotations

from typing import Final

R_DRY_AIR: Final = 287.05287
"""Specific gas constant of dry air, J/(kg K): ISO 2533 standard atmosphere."""

R_WATER_VAPOUR: Final = 461.523
"""Specific gas constant of water vapour, J/(kg K): 8.314462618/0.018015268 (CODATA)."""

GAMMA: Final = 1.4
"""Ratio of specific heats of air: ISO 2533. The flow kernels rely on the value 7/5."""

P_STANDARD_PA: Final = 101325.0
"""Standard atmosphere at sea level, Pa: ISO 2533."""

T_STANDARD_K: Final = 288.15
"""Standard temperature at sea level, K: ISO 2533."""

G_M_S2: Final = 9.80665
"""Standard acceleration of free fall, m/s^2: ISO 2533."""
