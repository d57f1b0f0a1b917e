"""Entry jets: by how much an entry raises or lowers the static pressure that a mouth sees.

Every function returns coefficients c: the mouth sees the mixed plenum static pressure plus
c rho u_e^2/2, u_e the mean speed in the entry bore (h, the entry dynamic head). Two mechanisms:

- side entry: the stream dumps into the plenum. Far downstream the static pressure has risen by
  the Borda-Carnot amount 2 beta (1 - beta) h, beta = entry over plenum area. Inside the mixing
  length that rise is not there yet, so c is negative and goes to 0 with distance.
- center entry: the jet crosses the plenum and rams the mouths it faces. Core length and decay
  follow the round free jet; the width follows from conservation of momentum. c is positive.

Limits that hold exactly: c = 0 when the entry is as large as the plenum; c -> 0 far from the entry
and in a large plenum.
Bases: Borda-Carnot (closed form), reattachment length and jet decay (measured, see DATA below);
the shape of the recovery, the aim law and the throttle law are own estimates with wide sigma.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

MIXING_STEPS = 10.0
"""Step heights over which the static pressure recovers behind a sudden expansion (own estimate:
reattachment after 6 +- 1.5 steps measured at area ratio 121, 8 to 10 at moderate ratios; recovery
ends a little later). One standard deviation 2.5 steps."""
JET_DECAY = 6.11
"""Centre-line decay B of a round air jet, Uc/U0 = B D/x: Abdel-Rahman et al. (1996), Re 19400."""
SIGMA_SIDE = 0.35
"""Relative 1-sigma of a side-entry coefficient (own estimate, covers 6 to 14 step heights)."""
SIGMA_CENTER = 0.40
"""Relative 1-sigma of a ramming coefficient (own estimate)."""
SIGMA_THROTTLE = 0.60
"""Relative 1-sigma of the asymmetry behind a part-open plate (own estimate, weak)."""


@dataclass(frozen=True)
class JetCoefficient:
    """Coefficients c per mouth (on the entry dynamic head), 1-sigma of each (absolute), notes."""

    c: FloatArray
    sigma: FloatArray
    notes: tuple[str, ...] = ()


def _f(x: ArrayLike) -> FloatArray:
    return np.asarray(x, dtype=np.float64)


def borda_rise(area_ratio: ArrayLike) -> FloatArray:
    """Static rise over the entry head behind a sudden expansion, 2 beta (1 - beta), -.

    beta = entry over plenum area, 0..1. Closed form (momentum over the expansion).
    """
    beta = _f(area_ratio)
    return np.asarray(2.0 * beta * (1.0 - beta))


def recovered(distance_m: ArrayLike, step_m: ArrayLike,
              mixing_steps: ArrayLike = MIXING_STEPS) -> FloatArray:
    """Part of the Borda-Carnot rise already there at a distance behind the step, 0 to 1.

    3 s^2 - 2 s^3 with s = distance / (mixing_steps x step height): flat behind the step, steepest
    near reattachment, complete at s = 1 (own estimate of the shape). Zero step: all recovered.
    """
    x = np.maximum(_f(distance_m), 0.0)
    length = _f(mixing_steps) * _f(step_m)
    with np.errstate(divide="ignore", invalid="ignore"):
        s = np.where(length > 0.0, np.minimum(x / np.where(length > 0.0, length, 1.0), 1.0), 1.0)
    return np.asarray(s * s * (3.0 - 2.0 * s))


def side_entry(distance_m: ArrayLike, entry_area_m2: float, plenum_area_m2: float, *,
               offset_m: float = 0.0, baffle_open_fraction: float | None = None,
               mixing_steps: float = MIXING_STEPS) -> JetCoefficient:
    """Coefficients of mouths at `distance_m` behind a side entry (negative, to 0 downstream).

    offset_m: how far the entry axis lies from the plenum axis toward the mouths (+): the step on
    their side is that much lower and the stream reattaches sooner there. baffle_open_fraction:
    see `baffle_factor`. Entry area above plenum area: ValueError (that is a contraction).
    """
    beta = _entry_ratio(entry_area_m2, plenum_area_m2)
    d_plenum, d_entry = 2.0 * np.sqrt(_f([plenum_area_m2, entry_area_m2]) / np.pi)
    step = max(0.5 * (d_plenum - d_entry) - offset_m, 0.0)
    missing = 1.0 - recovered(distance_m, step, mixing_steps)
    factor = 1.0 if baffle_open_fraction is None else baffle_factor(baffle_open_fraction)
    c = -borda_rise(beta) * missing * factor
    return JetCoefficient(np.asarray(c), np.abs(c) * SIGMA_SIDE,
                          ("mixing length and its shape are estimates",))


def _entry_ratio(entry_area_m2: float, plenum_area_m2: float) -> float:
    """Entry over plenum area; refuses a ratio outside (0, 1]."""
    beta = entry_area_m2 / plenum_area_m2
    if not 0.0 < beta <= 1.0 + 1e-12:
        raise ValueError(f"entry over plenum area {beta:.4g} outside (0, 1]")
    return min(beta, 1.0)


def jet_centre_velocity(distance_m: ArrayLike, diameter_m: ArrayLike) -> FloatArray:
    """Centre-line over exit velocity of a round free jet, -: 1 in the core, then B D/x."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.minimum(1.0, JET_DECAY * _f(diameter_m) / _f(distance_m)))


def jet_half_width(distance_m: ArrayLike, diameter_m: ArrayLike) -> FloatArray:
    """Radius where the jet has half its centre velocity, m.

    Gaussian profile whose momentum flux equals that of the exit: D/2 sqrt(2 ln 2) U0/Uc; beyond the
    core 0.0964 x, which is the measured spreading rate of a round jet.
    """
    return np.asarray(0.5 * _f(diameter_m) * np.sqrt(2.0 * np.log(2.0))
                      / jet_centre_velocity(distance_m, diameter_m))


def jet_head_over_mouth(distance_m: ArrayLike, radius_m: ArrayLike, diameter_m: ArrayLike,
                        mouth_diameter_m: ArrayLike) -> FloatArray:
    """Mean dynamic head of the jet over a round mouth, as a share of the exit head, -.

    radius_m: distance of the mouth centre from the jet axis. The mouth disc is replaced by the
    Gaussian of equal second moment (within 6 % of the exact mean for mouths up to the jet width).
    """
    velocity = jet_centre_velocity(distance_m, diameter_m)
    k = 2.0 * np.log(2.0) / jet_half_width(distance_m, diameter_m) ** 2
    spread = 1.0 + k * (0.5 * _f(mouth_diameter_m)) ** 2 / 2.0
    return np.asarray(velocity**2 / spread * np.exp(-k * _f(radius_m) ** 2 / spread))


def aim_share(aim_deg: ArrayLike) -> FloatArray:
    """Share of the jet's head that a mouth captures, by the angle between jet and mouth axis.

    cos^2 up to 90 degrees (momentum normal to the mouth), 0 beyond (own estimate).
    """
    a = np.abs(_f(aim_deg))
    return np.asarray(np.where(a < 90.0, np.cos(np.radians(np.minimum(a, 90.0))) ** 2, 0.0))


def center_entry(station_m: ArrayLike, *, at_m: float, distance_m: float, entry_diameter_m: float,
                 mouth_diameter_m: ArrayLike, reach_area_m2: float, aim_deg: ArrayLike = 0.0,
                 tilt_deg: float = 0.0, offset_m: float = 0.0,
                 baffle_open_fraction: float | None = None) -> JetCoefficient:
    """Coefficients of mouths at `station_m` rammed by a jet that crosses the plenum (positive).

    at_m: axial position of the entry; distance_m: from the entry to the plane of the mouths,
    measured square to the plenum axis; tilt_deg: lean of the jet along the plenum axis (+ toward
    larger x); offset_m: sideways distance between jet axis and mouth row; aim_deg: angle between
    jet and mouth axis (0 straight at the mouths, 90 across, 180 away); reach_area_m2: wall area
    the jet can spread over (plenum length x width): with the entry that large there is no jet.
    """
    if not -80.0 <= tilt_deg <= 80.0:
        raise ValueError("center_entry: tilt outside -80 to 80 degrees")
    area = np.pi * entry_diameter_m**2 / 4.0
    beta = _entry_ratio(area, reach_area_m2)
    lean = np.radians(tilt_deg)
    along = distance_m / np.cos(lean)
    hit = at_m + distance_m * np.tan(lean)
    radius = np.hypot((_f(station_m) - hit) * np.cos(lean), offset_m)
    head = jet_head_over_mouth(along, radius, entry_diameter_m, mouth_diameter_m)
    factor = 1.0 if baffle_open_fraction is None else baffle_factor(baffle_open_fraction)
    c = (1.0 - beta) ** 2 * head * aim_share(aim_deg) * factor
    return JetCoefficient(np.asarray(c), np.abs(c) * SIGMA_CENTER,
                          ("ramming follows the free round jet; crowding by walls is not in it",))


def throttle_throw(open_fraction: float, side: ArrayLike, distance_m: ArrayLike,
                   entry_diameter_m: float, entry_area_m2: float,
                   plenum_area_m2: float) -> JetCoefficient:
    """Extra c behind a part-open plate, which throws the stream to one side.

    side: +1 for mouths on the wall the stream is thrown at, -1 on the far side, 0 between.
    With open fraction s the stream leaves the plate at u_e/s, and its excess of momentum over the
    full bore is (1 - s)/s; that excess, spread over the plenum (x beta (1 - beta)), presses on the
    wall it is thrown at and fades as exp(-x/(2 D_e)). Zero when fully open, when the entry is as
    large as the plenum, in a large plenum, and far away. Own estimate, weak: sigma 60 %.
    """
    if not 0.0 < open_fraction <= 1.0:
        raise ValueError("throttle_throw: open fraction outside (0, 1]")
    beta = _entry_ratio(entry_area_m2, plenum_area_m2)
    blocked = 1.0 - open_fraction
    strength = blocked / open_fraction * beta * (1.0 - beta)
    c = strength * _f(side) * np.exp(-np.maximum(_f(distance_m), 0.0) / (2.0 * entry_diameter_m))
    return JetCoefficient(np.asarray(c), np.abs(c) * SIGMA_THROTTLE,
                          ("direction and strength behind a part-open plate are estimates",))


def baffle_factor(open_fraction: float) -> float:
    """What a perforated sheet across the stream leaves of a jet's non-uniformity, 0 to 1.

    Taylor and Batchelor (1949), velocity defect behind a gauze: (1 + a - a K)/(1 + a + K) with
    a = 1.1/sqrt(1 + K); squared for the head; K is the sheet's loss coefficient (see perforated).
    Open fraction 1 leaves all.
    """
    from distrib.losses.perforated import sheet_Idelchik

    k = float(sheet_Idelchik(open_fraction))
    a = 1.1 / np.sqrt(1.0 + k)
    left = (1.0 + a - a * k) / (1.0 + a + k) if k > 0.0 else 1.0
    return float(left * left)
