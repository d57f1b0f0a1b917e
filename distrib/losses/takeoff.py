"""Discharge of a short hole or runner mouth in the side of a duct, with cross-flow.

Chain of McGreehan and Schotsch (1988): Reynolds number, edge radius, length, cross-flow. The
ideal velocity Vi comes from the STATIC pressure of the duct: Cd = (mdot/a)/(rho Vi). The chain
reads 4 to 40 % above measured points when cross-flow is strong; `sigma` in the registry says so.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def _f(x: ArrayLike) -> FloatArray:
    return np.asarray(x, dtype=np.float64)


def cd_reynolds(re: ArrayLike) -> FloatArray:
    """Thin sharp hole: 0.5885 + 372/Re, Re >= 1e4 (McGreehan and Schotsch 1988)."""
    return np.asarray(0.5885 + 372.0 / _f(re))


def cd_radius(re: ArrayLike, radius_over_d: ArrayLike) -> FloatArray:
    """With edge radius s = r/d: 1 - f (1 - C_Re), f = 0.008 + 0.992 exp(-5.5 s - 3.5 s^2)."""
    s = _f(radius_over_d)
    return np.asarray(1.0 - (0.008 + 0.992 * np.exp(-5.5 * s - 3.5 * s * s))
                      * (1.0 - cd_reynolds(re)))


def _length_factor(length_over_d: FloatArray) -> FloatArray:
    """g(L) = [1 + 1.3 exp(-1.606 L^2)] (0.435 + 0.021 L)."""
    x = length_over_d
    return np.asarray((1.0 + 1.3 * np.exp(-1.606 * x * x)) * (0.435 + 0.021 * x))


def cd_length(re: ArrayLike, radius_over_d: ArrayLike, length_over_d: ArrayLike) -> FloatArray:
    """With edge radius and length (L/d at least r/d), no cross-flow."""
    s, length = _f(radius_over_d), _f(length_over_d)
    if np.any(length < s):
        raise ValueError("cd_length: hole shorter than its edge radius")
    base = 1.0 - _length_factor(s) * (1.0 - cd_radius(re, s))
    return np.asarray(1.0 - _length_factor(length - s) * (1.0 - base))


def cd_takeoff(re: ArrayLike, radius_over_d: ArrayLike, length_over_d: ArrayLike,
               crossflow: ArrayLike) -> FloatArray:
    """With cross-flow U1/Vi, U1 speed in the duct: McGreehan and Schotsch (1988), eq. 17.

    C_U = C [exp(-R^1.2) + 0.5 R^0.6 (C/0.6)^-0.5 exp(-0.5 R^0.9)], R = (U1/Vi) (C/0.6)^-3. Not
    limited: above 1 (well rounded mouths) or above U1/Vi 0.4 the result is outside its support.
    """
    return _crossed(cd_length(re, radius_over_d, length_over_d), _f(crossflow))


def _crossed(c: FloatArray, crossflow: FloatArray) -> FloatArray:
    """Cross-flow step of the chain on a coefficient without cross-flow."""
    r = crossflow * (c / 0.6) ** -3
    return np.asarray(c * (np.exp(-(r**1.2)) + 0.5 * r**0.6 * (c / 0.6) ** -0.5
                           * np.exp(-0.5 * r**0.9)))


def cd_takeoff_reattached(re: ArrayLike, radius_over_d: ArrayLike, length_over_d: ArrayLike,
                          crossflow: ArrayLike) -> FloatArray:
    """The chain of McGreehan and Schotsch with the reattachment in the hole lost to cross-flow.

    The gain that a longer hole has over a thin one is multiplied by exp(-(x/0.21)^3.3), x = U1/Vi:
    own two-constant correction, fitted to the three series of Rohde et al. (1969); rms 4, 5 and
    13 % there, where the chain itself has 17, 27 and 13 %. Same inputs as `cd_takeoff`.
    """
    x = _f(crossflow)
    thin = cd_radius(re, radius_over_d)
    gain = cd_length(re, radius_over_d, length_over_d) - thin
    return _crossed(np.asarray(thin + gain * np.exp(-((x / 0.21) ** 3.3))), x)


def static_basis_Rohde(vhr: ArrayLike, cd: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Rohde's data to the static basis: (U1/Vi, Cd_static) from velocity-head ratio and Cd.

    VHR = (Pt - p_jet)/(Pt - p_duct), above 1: U1/Vi = 1/sqrt(VHR - 1),
    Cd_static = Cd sqrt(VHR/(VHR - 1)) (closed form, incompressible).
    """
    v = _f(vhr)
    if np.any(v <= 1.0):
        raise ValueError("static_basis_Rohde: velocity-head ratio must be above 1")
    return np.asarray(1.0 / np.sqrt(v - 1.0)), np.asarray(_f(cd) * np.sqrt(v / (v - 1.0)))


def crossflow_loss(cd: ArrayLike, crossflow: ArrayLike) -> FloatArray:
    """Total-pressure loss of a take-off on the duct head, from static-basis Cd and U1/Vi.

    Pt_duct - p_exit = rho/2 (U1^2 + Vi^2), of which rho/2 v^2 with v = Cd Vi is the jet: loss over
    rho U1^2/2 = 1 + (1 - Cd^2) (Vi/U1)^2 (closed form).
    """
    x = _f(crossflow)
    return np.asarray(1.0 + (1.0 - _f(cd) ** 2) / (x * x))
