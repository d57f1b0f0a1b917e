"""The engine formulas compiled for use inside kernels: same source, no second copy.

Importing this module imports numba; only kernel modules do so.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.engine import kinematics
from distrib.kernels import inline

volume_from_cosine = inline(kinematics.volume_from_cosine)
"""As `kinematics.volume_from_cosine`, for scalars inside a kernel."""


@inline
def cylinder_volume(theta_deg: Any, bore_m: Any, stroke_m: Any, rod_m: Any, ratio: Any) -> Any:
    """As `kinematics.cylinder_volume`, for scalars inside a kernel."""
    return volume_from_cosine(np.cos(theta_deg * (np.pi / 180.0)), bore_m, stroke_m, rod_m,
                              ratio)


cylinder_volume_per_degree = inline(kinematics.cylinder_volume_per_degree)
"""As `kinematics.cylinder_volume_per_degree`, for scalars inside a kernel."""

piston_travel = inline(kinematics.piston_travel)
"""As `kinematics.piston_travel`, for scalars inside a kernel."""


@inline
def cyclic_lookup(theta_deg, table):  # type: ignore[no-untyped-def]
    """Value of a periodic table of n points over 720 degrees, linear between them.

    `table[0]` stands at 0 degrees after the cylinder's firing TDC (see `ValveFlow.area_table`);
    any angle, also negative.
    """
    n = table.shape[0]
    x = (theta_deg / 720.0) % 1.0 * n
    i = int(x)
    w = x - i
    if i >= n:
        i = n - 1
        w = 1.0
    j = i + 1
    if j == n:
        j = 0
    return table[i] + w * (table[j] - table[i])
