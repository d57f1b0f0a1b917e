"""Wall friction compiled for use inside kernels: same source, no second copy.

Importing this module imports numba; only kernel modules do so.
"""

from __future__ import annotations

import math

from distrib.kernels import inline
from distrib.losses import friction

roughness_term = inline(friction.roughness_term)
"""As `friction.roughness_term`, for scalars inside a kernel."""

darcy_from_root = inline(friction.darcy_from_root)
"""As `friction.darcy_from_root`, for scalars inside a kernel."""


@inline
def darcy_scalar(re: float, rel_rough: float) -> tuple[float, float]:
    """As `friction.darcy_scalar`, for scalars inside a kernel."""
    s = roughness_term(rel_rough) + 6.9 / (re if re > 4000.0 else 4000.0)
    return darcy_from_root(re, s, -1.8 * math.log10(s))
