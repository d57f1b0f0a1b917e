"""Wall friction: Darcy friction factor of ducts, laminar to rough turbulent.

`darcy_scalar` and its parts use only `math` and plain floats, so that `losses.compiled` compiles
this very source with numba; `darcy` is the same law for arrays. Darcy factor f:
dp = f (L/D) rho v^2/2.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

RE_LAMINAR = 2000.0
"""Reynolds number up to which the flow is taken as laminar (common practice)."""
RE_TURBULENT = 4000.0
"""Reynolds number from which the turbulent law holds (lower end of Haaland's range)."""


def roughness_term(rel_rough: Any) -> Any:
    """Haaland's term of the relative roughness, (e/3.7)^1.11."""
    return (rel_rough / 3.7) ** 1.11


def darcy_from_root(re: float, s: float, root: float) -> tuple[float, float]:
    """`darcy_scalar` from s = (e/3.7)^1.11 + 6.9/max(Re, 4000) and root = -1.8 log10 s.

    Without branches, for vector code.
    """
    r = re if re > 4000.0 else 4000.0
    f = 1.0 / (root * root)
    # d(1/sqrt f)/dRe = 1.8/ln10 * 6.9/(s r^2); df = -2 f^1.5 d(1/sqrt f)
    df = -2.0 * f / root * (1.8 / 2.302585092994046) * 6.9 / (s * r * r)
    low = re if re > 2000.0 else 2000.0
    t = low / 2000.0 - 1.0 if low < 4000.0 else 1.0
    d0, d1 = -0.032, df * 2000.0
    b = 3.0 * (f - 0.032) - 2.0 * d0 - d1
    c = d0 + d1 - 2.0 * (f - 0.032)
    blend = 0.032 + t * (d0 + t * (b + t * c))
    slope = (d0 + t * (2.0 * b + 3.0 * t * c)) / 2000.0
    thin = 64.0 / re
    turbulent, laminar = re >= 4000.0, re <= 2000.0
    f = f if turbulent else blend
    df = df if turbulent else slope
    return thin if laminar else f, -thin / re if laminar else df


def darcy_scalar(re: float, rel_rough: float) -> tuple[float, float]:
    """Darcy friction factor and its derivative by Reynolds number: (f, df/dRe).

    64/Re up to Re 2000, Haaland (1983) from Re 4000 on, and between them the cubic that meets
    both values and both slopes. `rel_rough` is roughness over hydraulic diameter. Valid for
    0 < Re <= 1e8 and 0 <= rel_rough <= 0.05; Re = 0 has no factor (f Re is 64 there).
    """
    s = roughness_term(rel_rough) + 6.9 / (re if re > 4000.0 else 4000.0)
    return darcy_from_root(re, s, -1.8 * math.log10(s))


def darcy(re: ArrayLike, rel_rough: ArrayLike) -> FloatArray:
    """The law of `darcy_scalar` for arrays: laminar, blended, Haaland; Re must be positive."""
    r, e = np.broadcast_arrays(np.asarray(re, dtype=float), np.asarray(rel_rough, dtype=float))
    if np.any(r <= 0.0):
        raise ValueError("darcy: Reynolds number must be positive")
    r4 = np.maximum(r, RE_TURBULENT)
    s = (e / 3.7) ** 1.11 + 6.9 / r4
    root = -1.8 * np.log10(s)
    turbulent = 1.0 / (root * root)
    d1 = -2.0 * turbulent / root * (1.8 / np.log(10.0)) * 6.9 / (s * r4 * r4) * 2000.0
    t = (np.clip(r, RE_LAMINAR, RE_TURBULENT) - RE_LAMINAR) / (RE_TURBULENT - RE_LAMINAR)
    rise = turbulent - 0.032
    blend = 0.032 + t * (-0.032 + t * (3.0 * rise + 0.064 - d1 + t * (d1 - 0.032 - 2.0 * rise)))
    return np.asarray(np.where(r <= RE_LAMINAR, 64.0 / r,
                               np.where(r >= RE_TURBULENT, turbulent, blend)))


def darcy_laminar(re: ArrayLike) -> FloatArray:
    """Hagen-Poiseuille, round duct: f = 64/Re; Re < 2000."""
    return np.asarray(64.0 / np.asarray(re, dtype=float))


def darcy_Haaland(re: ArrayLike, rel_rough: ArrayLike) -> FloatArray:
    """Haaland (1983): 1/sqrt f = -1.8 log10[(e/3.7)^1.11 + 6.9/Re]; Re 4e3..1e8, e 0..0.05."""
    r, e = np.asarray(re, dtype=float), np.asarray(rel_rough, dtype=float)
    return np.asarray((-1.8 * np.log10((e / 3.7) ** 1.11 + 6.9 / r)) ** -2)


def darcy_SwameeJain(re: ArrayLike, rel_rough: ArrayLike) -> FloatArray:
    """Swamee and Jain (1976): f = 0.25/log10(e/3.7 + 5.74/Re^0.9)^2; Re 5e3..1e8, e 1e-6..0.05."""
    r, e = np.asarray(re, dtype=float), np.asarray(rel_rough, dtype=float)
    return np.asarray(0.25 / np.log10(e / 3.7 + 5.74 / r**0.9) ** 2)


def darcy_Churchill(re: ArrayLike, rel_rough: ArrayLike) -> FloatArray:
    """Churchill (1977), one formula for all regimes; Re > 0, e 0..0.05."""
    r, e = np.asarray(re, dtype=float), np.asarray(rel_rough, dtype=float)
    a = (2.457 * np.log(1.0 / ((7.0 / r) ** 0.9 + 0.27 * e))) ** 16
    b = (37530.0 / r) ** 16
    return np.asarray(8.0 * ((8.0 / r) ** 12 + (a + b) ** -1.5) ** (1.0 / 12.0))


def darcy_Colebrook(re: ArrayLike, rel_rough: ArrayLike) -> FloatArray:
    """Colebrook (1939): 1/sqrt f = -2 log10[e/3.7 + 2.51/(Re sqrt f)], solved to 1e-14.

    Re 4e3..1e8, e 0..0.05. Newton's method in x = 1/sqrt f from Haaland's value.
    """
    r, e = np.asarray(re, dtype=float), np.asarray(rel_rough, dtype=float)
    x = 1.0 / np.sqrt(darcy_Haaland(r, e))
    for _ in range(8):
        inner = e / 3.7 + 2.51 * x / r
        g = x + 2.0 * np.log10(inner)
        x = x - g / (1.0 + 2.0 / np.log(10.0) * 2.51 / (r * inner))
    return np.asarray(1.0 / (x * x))


def poiseuille_rectangle_ShahLondon(aspect: ArrayLike) -> FloatArray:
    """f Re (Darcy, on hydraulic diameter) of laminar flow in a rectangle, sides ratio 0..1.

    Shah and London (1978), polynomial in the aspect (short over long side), within 0.05 %.
    Square 56.92, infinite slot 96.
    """
    a = np.asarray(aspect, dtype=float)
    series = 1.0 + a * (-1.3553 + a * (1.9467 + a * (-1.7012 + a * (0.9564 - 0.2537 * a))))
    return np.asarray(96.0 * series)


def laminar_equivalent_ratio(aspect: ArrayLike) -> FloatArray:
    """Laminar-equivalent over hydraulic diameter of a rectangle, 64/(f Re), -.

    Jones (1976): a Reynolds number built on D_h times this ratio puts rectangular ducts on the
    round-pipe curve, laminar exactly and turbulent within 5 %.
    """
    return np.asarray(64.0 / poiseuille_rectangle_ShahLondon(aspect))


def hydraulic_diameter(area_m2: ArrayLike, perimeter_m: ArrayLike) -> FloatArray:
    """Hydraulic diameter 4 A / P, m."""
    return np.asarray(4.0 * np.asarray(area_m2, dtype=float) / np.asarray(perimeter_m, dtype=float))
