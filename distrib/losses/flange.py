"""Mismatch at the flange between runner and port: a step or an offset. K on the runner head."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from distrib.losses.area_change import contraction_Rennels, expansion_Borda

FloatArray = NDArray[np.float64]


def _f(x: ArrayLike) -> FloatArray:
    return np.asarray(x, dtype=np.float64)


def flange_step(step_over_d: ArrayLike) -> FloatArray:
    """Ring-shaped step of height e between runner (diameter D) and port, K on the runner head.

    e > 0: the port is smaller, its edge faces the flow: sharp contraction (Rennels and Hudson 2012)
    to (D - 2e), brought to the runner head. e < 0: the port is larger, the step runs with the flow:
    Borda-Carnot. e/D -0.5 to 0.25. Zero at e = 0 from both sides.
    """
    s = _f(step_over_d)
    narrow = (1.0 - 2.0 * np.clip(s, 0.0, 0.49)) ** 2
    wide = (1.0 - 2.0 * np.minimum(s, 0.0)) ** -2
    return np.asarray(np.where(s > 0.0, contraction_Rennels(narrow) / narrow**2,
                               expansion_Borda(wide)))


def overlap_fraction(offset_over_d: ArrayLike) -> FloatArray:
    """Common area of two equal circles over the area of one, centres apart by the offset.

    Closed form; 0 <= offset/D <= 1.
    """
    x = _f(offset_over_d)
    return np.asarray(2.0 / np.pi * (np.arccos(x) - x * np.sqrt(1.0 - x * x)))


def flange_offset(offset_over_d: ArrayLike) -> FloatArray:
    """Two equal bores that do not line up: contraction into the common area, then Borda out of it.

    Own combination of the two closed laws; offset/D 0 to 0.5; 1-sigma 40 %.
    """
    s = overlap_fraction(offset_over_d)
    return np.asarray((contraction_Rennels(s) + expansion_Borda(s)) / s**2)
