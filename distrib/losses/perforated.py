"""Perforated sheet across a duct: loss on the approach head.

open_fraction is hole area over duct area, in (0, 1].
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def sheet_Idelchik(open_fraction: ArrayLike) -> FloatArray:
    """Thin sharp-edged perforated sheet, K on the approach head rho W^2/2, high Reynolds number.

    Idelchik, diagram 8-1 (from memory): K = [0.707 sqrt(1 - s) + 1 - s]^2 / s^2, s open fraction,
    0 < s <= 1; hole Reynolds number above 1e5, thickness below 0.015 hole diameters. 1-sigma 15 %.
    """
    s = np.asarray(open_fraction, dtype=float)
    if np.any((s <= 0.0) | (s > 1.0)):
        raise ValueError("sheet_Idelchik: open fraction outside (0, 1]")
    return np.asarray((0.707 * np.sqrt(1.0 - s) + 1.0 - s) ** 2 / s**2)


def sheet_contraction(open_fraction: ArrayLike, contraction: ArrayLike) -> FloatArray:
    """Sheet as a sudden expansion from the contracted holes: (1/(C s) - 1)^2, approach head.

    Borda-Carnot behind a vena contracta of coefficient C (closed form); C = 1 for rounded holes,
    about 0.61 for sharp holes in a small open fraction.
    """
    s, c = np.asarray(open_fraction, dtype=float), np.asarray(contraction, dtype=float)
    if np.any((s <= 0.0) | (s > 1.0) | (c <= 0.0) | (c > 1.0)):
        raise ValueError("sheet_contraction: open fraction and contraction must be in (0, 1]")
    return np.asarray((1.0 / (c * s) - 1.0) ** 2)
