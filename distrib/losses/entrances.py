"""Entrances of a pipe from a large space: K on the pipe's velocity head, total-pressure loss.

Ratios are made with the pipe (throat) diameter D. The handbooks differ by a factor of up to four
for rounded mouths; `sigma` in the registry covers that, and the plot in the law page shows it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def _f(x: ArrayLike) -> FloatArray:
    return np.asarray(x, dtype=np.float64)


def entrance_rounded_Idelchik(radius_over_d: ArrayLike) -> FloatArray:
    """Flush mouth with edge radius r: K = 0.03 + 0.47 x 10^(-7.7 r/D), r/D from 0 (sharp) up.

    Fit of Idelchik (diagram 3-4) as commonly quoted; 0.50 at r = 0, tabulated points within 0.02.
    The middle of the six methods compared in the checks. Valid r/D 0..1.
    """
    return np.asarray(0.03 + 0.47 * 10.0 ** (-7.7 * _f(radius_over_d)))


def entrance_rounded_Rennels(radius_over_d: ArrayLike) -> FloatArray:
    """Flush mouth with edge radius r (Rennels and Hudson 2012, eq. 9.2), r/D 0..1; sharp 0.57.

    The highest of the methods: it books part of the developing friction.
    """
    r = _f(radius_over_d)
    contraction = 1.0 + 0.622 * (1.0 - 0.30 * np.sqrt(r) - 0.70 * r) ** 4
    return np.asarray(0.0696 * (1.0 - 0.569 * r) * contraction**2 + (contraction - 1.0) ** 2)


def entrance_rounded_Swamee(radius_over_d: ArrayLike) -> FloatArray:
    """Flush mouth with edge radius r: K = 0.5/(1 + 36 (r/D)^1.2) (Swamee and Sharma 2008)."""
    return np.asarray(0.5 / (1.0 + 36.0 * _f(radius_over_d) ** 1.2))


def entrance_reentrant_Rennels(wall_over_d: ArrayLike) -> FloatArray:
    """Pipe that projects at least D/2 into the space, wall thickness t (Rennels and Hudson 2012).

    1.12 - 22 s + 216 s^2 + 80 s^3, s = t/D from 0 to 0.05; thicker walls act as a flush mouth
    (0.57), use the flush law there.
    """
    s = _f(wall_over_d)
    return np.asarray(1.12 + s * (-22.0 + s * (216.0 + 80.0 * s)))


def entrance_bevelled_Rennels(length_over_d: ArrayLike, angle_deg: ArrayLike) -> FloatArray:
    """Bevelled flush mouth (Rennels and Hudson 2012, ch. 9); bevel length along the pipe / D.

    angle_deg between bevel and pipe axis, 0 to 90; length/D 0.005 to 0.6.
    """
    s, part = _f(length_over_d), _f(angle_deg) / 90.0
    c = (1.0 - part) * part ** (1.0 / (1.0 + s))
    contraction = 1.0 + 0.622 * (1.0 - 1.5 * c * s ** ((1.0 - s**0.25) / 2.0))
    return np.asarray(0.0696 * (1.0 - c * s) * contraction**2 + (contraction - 1.0) ** 2)


def entrance_angled_Idelchik(angle_deg: ArrayLike) -> FloatArray:
    """Flush sharp pipe at an angle to the wall: 0.57 + 0.3 cos a + 0.2 cos^2 a (Weisbach form).

    angle_deg between pipe axis and wall, 20 (slanted) to 90 (square). Square gives 0.57.
    """
    c = np.cos(np.radians(_f(angle_deg)))
    return np.asarray(0.57 + c * (0.3 + 0.2 * c))


def discharge_nozzle_McGreehan(re: ArrayLike) -> FloatArray:
    """Discharge coefficient of a bellmouth: 0.9981 - 4.73/sqrt(Re), Re >= 1e4.

    McGreehan and Schotsch (1988), eq. 9.
    """
    return np.asarray(0.9981 - 4.73 / np.sqrt(_f(re)))


def entrance_bell(re: ArrayLike) -> FloatArray:
    """Elliptical bell mouth, generous size: K = 1/Cd^2 - 1 with the nozzle's Cd above.

    Handbooks give 0.03 to 0.06; this gives 0.036 at Re 1e5. Valid Re 1e4 to 1e7 for a bell at least
    0.2 D wide and 0.3 D long; smaller ones: `entrance_bell_small`.
    """
    return np.asarray(1.0 / discharge_nozzle_McGreehan(re) ** 2 - 1.0)


def entrance_bell_small(length_over_d: ArrayLike, width_over_d: ArrayLike,
                        re: ArrayLike) -> FloatArray:
    """Elliptical quarter-arc mouth of half axes a (along) and b (across), in pipe diameters.

    Own estimate: the rounded law at the geometric mean radius sqrt(a b), but never better than the
    bell. 1-sigma 40 %.
    """
    mean = np.sqrt(_f(length_over_d) * _f(width_over_d))
    return np.asarray(np.maximum(entrance_rounded_Idelchik(mean), entrance_bell(re)))


def shroud_roof(clearance_over_d: ArrayLike, mouth_over_d: ArrayLike) -> FloatArray:
    """Added K of a wall (roof, lid) that faces the mouth at a clearance h.

    0.22 (A/A_c)^4, A pipe area, A_c = pi D_m h the curtain under the rim of a mouth of outer
    diameter D_m: fit through the facing-wall table of Idelchik (diagram 3-5, from memory), h/D
    0.125 to 1. Arguments h/D and D_m/D. Weak: 1-sigma 50 %.
    """
    curtain = 4.0 * _f(mouth_over_d) * _f(clearance_over_d)
    return np.asarray(0.22 * curtain**-4.0)


def shroud_wall(clearance_over_d: ArrayLike) -> FloatArray:
    """Factor on the mouth's own K when a side wall stands at a clearance e beside the rim.

    1 + 0.25 exp(-4 e/D): a wall at the rim closes the inflow from that side (own estimate after the
    handbooks' 0.50 to 0.63 for a sharp mouth in a corner, from memory). Weak: 1-sigma of the
    excess 60 %.
    """
    return np.asarray(1.0 + 0.25 * np.exp(-4.0 * _f(clearance_over_d)))
