"""Bends and mitres of round pipes: K on the pipe head, whole loss of the bend with its length."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def _f(x: ArrayLike) -> FloatArray:
    return np.asarray(x, dtype=np.float64)


def bend_Rennels(angle_deg: ArrayLike, radius_over_d: ArrayLike, friction: ArrayLike) -> FloatArray:
    """Smooth bend, centre-line radius r (Rennels and Hudson 2012, eq. 15.1).

    f a r/D + (0.10 + 2.4 f) sin(a/2) + 6.6 f (sqrt sin(a/2) + sin(a/2)) (r/D)^(-4 a/pi), a in
    radians, f Darcy. 0 to 180 degrees, r/D 0.5 to 10. Includes wall friction along the bend.
    """
    a, r, f = np.radians(_f(angle_deg)), _f(radius_over_d), _f(friction)
    sine = np.sin(0.5 * a)
    return np.asarray(f * a * r + (0.10 + 2.4 * f) * sine
                      + 6.6 * f * (np.sqrt(sine) + sine) * r ** (-4.0 * a / np.pi))


def bend_Ito(angle_deg: ArrayLike, radius_over_d: ArrayLike, re: ArrayLike) -> FloatArray:
    """Smooth bend in smooth pipe (Ito 1960): 0.00431 alpha angle Re^-0.17 (r/D)^0.84.

    Valid where Re (D/r)^2 > 360, 45 to 180 degrees, r/D 0.5 to 50; alpha is interpolated in angle
    between its values at 45, 90 and 180 degrees.
    """
    angle, r, reynolds = _f(angle_deg), _f(radius_over_d), _f(re)
    at45 = 1.0 + 5.13 * r**-1.47
    at90 = np.where(r < 9.85, 0.95 + 4.42 * r**-1.96, 1.0)
    at180 = 1.0 + 5.06 * r**-4.52
    lower = at45 + (at90 - at45) * (angle - 45.0) / 45.0
    upper = at90 + (at180 - at90) * (angle - 90.0) / 90.0
    alpha = np.where(angle <= 90.0, lower, upper)
    return np.asarray(0.00431 * alpha * angle * reynolds**-0.17 * r**0.84)


def bend_Swamee(angle_deg: ArrayLike, radius_over_d: ArrayLike) -> FloatArray:
    """Smooth bend (Swamee and Sharma 2008): (0.0733 + 0.923 (D/r)^3.5) sqrt(angle in radians)."""
    return np.asarray((0.0733 + 0.923 * _f(radius_over_d) ** -3.5)
                      * np.sqrt(np.radians(_f(angle_deg))))


def mitre_Rennels(angle_deg: ArrayLike) -> FloatArray:
    """Single mitre: 0.42 sin(a/2) + 2.56 sin^3(a/2) (Rennels and Hudson 2012), 0 to 150 degrees."""
    sine = np.sin(0.5 * np.radians(_f(angle_deg)))
    return np.asarray(0.42 * sine + 2.56 * sine**3)
