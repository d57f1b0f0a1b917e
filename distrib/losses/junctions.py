"""Dividing junctions: what the branch (runner) and the run (plenum) lose in total pressure.

Symbols: W velocity in the header before the junction, v velocity in the branch, psi = header area
over branch area, q = branch share of the flow (so v = q psi W), q' = 1 - q the run's share, theta
angle between the branch and the header downstream of it (90 square, smaller leans so that the flow
turns less). Bases: branch and run losses stand on the header head rho W^2/2 upstream.

The network takes coefficients, not laws:
branch  Pt_up - Pt_branch = rho/2 F(q) (k_ww W^2 + k_wv W v + k_vv v^2), F = a0 + a1 q, a2 past q1;
run     Pt_up - Pt_down   = rho/2 W^2 (c0 + c1 q' + c2 q'^2 + c8 q'^8).
For flow that reaches the mouth from the other side, ask with 180 - theta.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from distrib.errors import InputError, Problem
from distrib.losses.nearest import nearest_names

FloatArray = NDArray[np.float64]

COMPOSITE_WV = -1.025
"""Cross term of the composite law at 90 degrees and psi 1, least squares over the 90 degree
branch series of Bassett et al. (2001), rounded; Rennels' own value is -1.13."""

BRANCH_LAWS = ("composite", "bassett", "idelchik", "rennels", "static")
RUN_LAWS = ("rennels", "bassett", "idelchik", "static", "regain")
BRANCH_DEFAULT = "composite"
RUN_DEFAULT = "rennels"


@dataclass(frozen=True)
class BranchCoefficients:
    """Coefficients of one take-off, see the module text; all dimensionless.

    `sigma` is one standard deviation of the loss divided by rho/2 (W^2 + v^2): the larger of the
    scatter against measurements and half the range of the published laws at this geometry.
    `flag` is "inside" or "extrapolated"; `note` says what lies outside.
    """

    law: str
    k_ww: float
    k_wv: float
    k_vv: float
    a0: float = 1.0
    a1: float = 0.0
    q1: float = 2.0
    a2: float = 1.0
    sigma: float = 0.1
    flag: str = "inside"
    note: str = ""

    def loss(self, q: ArrayLike, psi: ArrayLike) -> FloatArray:
        """Loss coefficient on the upstream header head at branch share q (0..1)."""
        share = np.asarray(q, dtype=float)
        v = share * np.asarray(psi, dtype=float)
        factor = np.where(share < self.q1, self.a0 + self.a1 * share, self.a2)
        return np.asarray(factor * (self.k_ww + self.k_wv * v + self.k_vv * v * v))


@dataclass(frozen=True)
class RunCoefficients:
    """Coefficients of the run loss K = c0 + c1 q' + c2 q'^2 + c8 q'^8 on the upstream head.

    `sigma` is one standard deviation of K, absolute.
    """

    law: str
    c0: float
    c1: float
    c2: float
    c8: float
    sigma: float

    def loss(self, run_share: ArrayLike) -> FloatArray:
        """Loss coefficient on the upstream header head at run share q' = W_down/W_up."""
        s = np.asarray(run_share, dtype=float)
        return np.asarray(self.c0 + self.c1 * s + self.c2 * s**2 + self.c8 * s**8)


def _unknown(where: str, name: str, allowed: tuple[str, ...]) -> InputError:
    near = nearest_names(name, allowed)
    hint = f"nearest: {', '.join(near)}" if near else ""
    return InputError([Problem(where, repr(name), ", ".join(("auto", *allowed)), hint)])


def mouth_k93_Rennels(radius_over_d: float) -> float:
    """Mouth-radius term K93 of a take-off, - (Rennels and Hudson 2012, eq. 9.3); r/d 0..1."""
    s = radius_over_d
    root = math.sqrt(s)
    return 0.57 - 1.07 * root - 2.13 * s + 8.24 * s * root - 8.48 * s * s + 2.9 * s * s * root


def mouth_vv_Rennels(psi: float, radius_over_d: float) -> float:
    """Coefficient of v^2 in Rennels' law, d^2 = 1/psi: 0.81 d^4 + 1.12 d - 1.08 d^3 + K93."""
    d = 1.0 / math.sqrt(psi)
    return 0.81 * d**4 + 1.12 * d - 1.08 * d**3 + mouth_k93_Rennels(radius_over_d)


def _momentum_angle(theta_deg: float) -> float:
    """Cross-term coefficient of Bassett et al. (2001), eq. 27: -2 cos(3 theta/4)."""
    return -2.0 * math.cos(math.radians(0.75 * theta_deg))


def _raw(law: str, psi: float, theta: float, radius: float) -> dict[str, float]:
    """Coefficients of one named law as keyword arguments, without uncertainty and flags."""
    if law == "bassett":
        return {"k_ww": 1.0, "k_wv": _momentum_angle(theta), "k_vv": 1.0}
    if law == "idelchik":
        base = {"k_ww": 1.0, "k_wv": -2.0 * math.cos(math.radians(theta)), "k_vv": 1.0}
        if psi >= 1.0 / 0.35:  # the two lines of A' are met where they cross: no jump
            return base | {"a0": 1.1, "a1": -0.7, "q1": 0.25 / 0.7, "a2": 0.85}
        return base | {"a0": 1.0, "a1": -0.6, "q1": 0.4 / 0.6, "a2": 0.6}
    if law == "rennels":
        return {"k_ww": 1.0, "k_wv": -1.13 / psi, "k_vv": mouth_vv_Rennels(psi, radius)}
    if law == "static":
        return {"k_ww": 1.0, "k_wv": 0.0, "k_vv": 0.03 + 0.47 * 10.0 ** (-7.7 * radius)}
    angle = _momentum_angle(theta) - _momentum_angle(90.0)
    return {"k_ww": 1.0, "k_wv": COMPOSITE_WV / psi + angle, "k_vv": mouth_vv_Rennels(psi, radius)}


def _plain(law: str, psi: float, theta_deg: float) -> BranchCoefficients:
    """Coefficients of a law for a sharp mouth, without uncertainty."""
    raw = _raw(law, psi, theta_deg, 0.0)
    return BranchCoefficients(law, raw["k_ww"], raw["k_wv"], raw["k_vv"], raw.get("a0", 1.0),
                              raw.get("a1", 0.0), raw.get("q1", 2.0), raw.get("a2", 1.0))


def branch_loss_families(psi: float, theta_deg: float, q: ArrayLike) -> dict[str, FloatArray]:
    """Branch loss of every law that represents this angle, sharp mouth, on the header head.

    Rennels' law is for 90 degrees only; the static law knows no angle, so it too is left out
    elsewhere. The range of the rest is what the published sources disagree by.
    """
    square = abs(theta_deg - 90.0) < 1.0
    names = BRANCH_LAWS if square else ("composite", "bassett", "idelchik")
    return {n: _plain(n, psi, theta_deg).loss(q, psi) for n in names}


def branch_sigma(psi: float, theta_deg: float) -> float:
    """One standard deviation of a branch loss over rho/2 (W^2 + v^2), -.

    The larger of 0.09 (scatter of the laws about five measured series) and half the range of the
    families at v/W = 0.25, 0.5, 1 and 2 (where q stays below 1), so that the band covers them all.
    """
    worst = 0.09
    for ratio in (0.25, 0.5, 1.0, 2.0):
        q = ratio / psi
        if q > 1.0:
            continue
        values = [float(v) for v in branch_loss_families(psi, theta_deg, q).values()]
        worst = max(worst, 0.5 * (max(values) - min(values)) / (1.0 + ratio * ratio))
    return worst


def branch_coefficients(law_name: str, psi: float, theta_deg: float,
                        radius_over_d: float = 0.0) -> BranchCoefficients:
    """Coefficients of the loss into a branch, by law name ("auto" is the composite law).

    psi header over branch area, 1 or more; theta_deg 0 to 180 (see module text); radius_over_d
    mouth radius over branch diameter, 0 to 1. Laws:

    - bassett: Bassett, Winterbone and Pearson (2001), eq. 27; any angle, sharp mouth.
    - idelchik: Idelchik (transcription of FluidDissipation), A'(q) continuous; any angle, sharp.
    - rennels: Rennels and Hudson (2012), eq. 16.13; 90 degrees, with mouth radius.
    - static: mouth sees static pressure plus an entrance loss (Idelchik rounded); angle ignored.
    - composite: Rennels' branch term with Bassett's dependence on angle (own combination; lowest
      rms error on each of the three measured branch series).

    Outside its box a law still answers, with flag "extrapolated"; psi <= 0, theta outside 0..180,
    a negative radius or an unknown name raise InputError.
    """
    law = BRANCH_DEFAULT if law_name == "auto" else law_name
    if law not in BRANCH_LAWS:
        raise _unknown("losses.branch", law_name, BRANCH_LAWS)
    if not (psi > 0.0 and 0.0 <= theta_deg <= 180.0 and radius_over_d >= 0.0):
        raise InputError([Problem("take-off", f"psi {psi}, angle {theta_deg}, r/d {radius_over_d}",
                                  "psi > 0, angle 0 to 180 degrees, r/d >= 0")])
    outside = []
    if psi < 1.0:
        outside.append("branch larger than header")
    if law in ("rennels", "static") and abs(theta_deg - 90.0) > 1.0:
        outside.append(f"law {law} knows only 90 degrees")
    if law in ("composite", "bassett") and not 30.0 <= theta_deg <= 150.0:
        outside.append("angle outside 30 to 150 degrees")
    if radius_over_d > 0.0 and law in ("bassett", "idelchik"):
        outside.append(f"law {law} knows only sharp mouths")
    if radius_over_d > 1.0:
        outside.append("mouth radius above one branch diameter")
    raw = _raw(law, psi, theta_deg, radius_over_d)
    return BranchCoefficients(
        law, raw["k_ww"], raw["k_wv"], raw["k_vv"], raw.get("a0", 1.0), raw.get("a1", 0.0),
        raw.get("q1", 2.0), raw.get("a2", 1.0), branch_sigma(psi, theta_deg),
        "extrapolated" if outside else "inside", "; ".join(outside))


def run_coefficients(law_name: str, regain: float | None = None) -> RunCoefficients:
    """Coefficients of the loss along the run, by law name ("auto" is Rennels).

    - rennels: Rennels and Hudson (2012), eq. 16.5; rms 0.012 to 0.030 on the measured mean series.
    - bassett: Bassett et al. (2001), eq. 15; regain above Bernoulli at small take-off.
    - idelchik: 0.4 (1 - q')^2, simple form for a straight passage.
    - static: no loss (Bernoulli, regain 1).
    - regain: static regain factor r given in `regain`: dp = r rho/2 (W1^2 - W2^2), so
      K = (1 - r)(1 - q'^2); needs `regain`.
    """
    law = RUN_DEFAULT if law_name == "auto" else law_name
    if law == "rennels":
        return RunCoefficients(law, 0.36, -0.98, 0.62, 0.03, 0.04)
    if law == "bassett":
        return RunCoefficients(law, 0.5, -1.5, 1.0, 0.0, 0.06)
    if law == "idelchik":
        return RunCoefficients(law, 0.4, -0.8, 0.4, 0.0, 0.07)
    if law == "static":
        return RunCoefficients(law, 0.0, 0.0, 0.0, 0.0, 0.17)
    if law == "regain":
        if regain is None:
            raise InputError([Problem("losses.run", "law 'regain' without a factor",
                                      "a static regain factor, usually 0.4 to 1.25")])
        return RunCoefficients(law, 1.0 - regain, 0.0, -(1.0 - regain), 0.0, 0.1)
    raise _unknown("losses.run", law_name, RUN_LAWS)


def branch_Bassett(q: ArrayLike, psi: ArrayLike, theta_deg: ArrayLike) -> FloatArray:
    """K6 = 1 + (q psi)^2 - 2 q psi cos(3 theta/4), upstream head (Bassett et al. 2001, eq. 27)."""
    v = np.asarray(q, dtype=float) * np.asarray(psi, dtype=float)
    return np.asarray(1.0 + v * v - 2.0 * v * np.cos(np.radians(0.75 * np.asarray(theta_deg))))


def branch_Rennels(q: ArrayLike, d: ArrayLike, radius_over_d: float) -> FloatArray:
    """Branch of a square take-off, upstream head (Rennels and Hudson 2012, eq. 16.13).

    1 - 1.13 q + [0.81 + (1.12 d - 1.08 d^3 + K93) d^-4] q^2, d = branch over header diameter.
    """
    share, ratio = np.asarray(q, dtype=float), np.asarray(d, dtype=float)
    inner = 1.12 * ratio - 1.08 * ratio**3 + mouth_k93_Rennels(radius_over_d)
    return np.asarray(1.0 - 1.13 * share + (0.81 + inner / ratio**4) * share**2)


def run_Bassett(run_share: ArrayLike) -> FloatArray:
    """K5 = q'^2 - 1.5 q' + 0.5, upstream head (Bassett et al. 2001, eq. 15)."""
    return run_coefficients("bassett").loss(run_share)


def run_Rennels(run_share: ArrayLike) -> FloatArray:
    """0.36 - 0.98 q' + 0.62 q'^2 + 0.03 q'^8, upstream head (Rennels and Hudson, eq. 16.5)."""
    return run_coefficients("rennels").loss(run_share)


def joining_Bassett(q: ArrayLike, psi: ArrayLike, theta_deg: ArrayLike) -> FloatArray:
    """K4, feed from the branch into a run, head of the branch (Bassett et al. 2001).

    1 + (q/psi)^2 - (2 q/psi) cos(3 theta/4); rms 0.14 on the measured 90 degree series.
    """
    v = np.asarray(q, dtype=float) / np.asarray(psi, dtype=float)
    return np.asarray(1.0 + v * v - 2.0 * v * np.cos(np.radians(0.75 * np.asarray(theta_deg))))


def tee_symmetric_Idelchik(arm_over_total: ArrayLike) -> FloatArray:
    """Into both arms of a symmetric tee: 1 + 1.5 (w_arm/w_total)^2, feed head (Idelchik 7-29)."""
    return np.asarray(1.0 + 1.5 * np.asarray(arm_over_total, dtype=float) ** 2)


def regain_factor(run_loss: ArrayLike, lateral_share: ArrayLike) -> FloatArray:
    """Static regain factor that a run loss implies: 1 - K/(1 - (1-eps)^2), eps > 0."""
    eps = np.asarray(lateral_share, dtype=float)
    return np.asarray(1.0 - np.asarray(run_loss, dtype=float) / (1.0 - (1.0 - eps) ** 2))
