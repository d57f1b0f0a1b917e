"""Diverging tees and wyes after Crane TP-410 (2009), for comparison with the network's laws.

Area ratio beta2 = branch over header area. The publication leaves square tees between beta2 0.444
and 1 and wide wyes with large branches unclear (transcriptions differ); `unclear_Crane` marks them
and the registry refuses them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def _f(x: ArrayLike) -> FloatArray:
    return np.asarray(x, dtype=np.float64)


def unclear_Crane(q: ArrayLike, beta2: ArrayLike, theta_deg: ArrayLike) -> NDArray[np.bool_]:
    """Where the publication gives no clear coefficients: above 45 degrees with beta above 2/3."""
    wide, large = _f(theta_deg) > 45.0, _f(beta2) > 4.0 / 9.0
    return np.asarray(wide & large & (_f(q) >= 0.0))


def branch_Crane(q: ArrayLike, beta2: ArrayLike, theta_deg: ArrayLike) -> FloatArray:
    """Branch loss on the header head: G [1 + v^2 - 2 v cos theta], v = q/beta2.

    Below 75 degrees G = 1.1 - 0.7 q, 0.85 past q 0.4 (beta2 to 0.35), else 1 - 0.6 q, 0.6 past q
    0.6; from 75 degrees on G = 1.
    """
    share, area, angle = _f(q), _f(beta2), _f(theta_deg)
    small = np.where(share <= 0.4, 1.1 - 0.7 * share, 0.85)
    large = np.where(share <= 0.6, 1.0 - 0.6 * share, 0.6)
    factor = np.where(angle >= 75.0, 1.0, np.where(area <= 0.35, small, large))
    v = share / area
    return np.asarray(factor * (1.0 + v * v - 2.0 * v * np.cos(np.radians(angle))))


def run_Crane(q: ArrayLike, beta2: ArrayLike) -> FloatArray:
    """Run loss on the header head, M q^2 with q the branch share.

    M = 0.4 for beta2 to 0.4; above, 2 (2 q - 1) to q 0.5 and 0.3 (2 q - 1) beyond.
    """
    share, area = _f(q), _f(beta2)
    large = np.where(share <= 0.5, 2.0, 0.3) * (2.0 * share - 1.0)
    return np.asarray(np.where(area <= 0.4, 0.4, large) * share**2)
