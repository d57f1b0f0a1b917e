"""Records of the laws for mouths: entrances, junctions, take-offs, entry jets."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from distrib.losses import entrances as ent
from distrib.losses import jets, junctions, takeoff, tees_crane
from distrib.losses.registry import Law
from distrib.losses.sources import source
from distrib.losses.validity import Range

FloatArray = NDArray[np.float64]

_Q = Range(0.0, 1.0, 0.0, 1.0)
_PSI = Range(1.0, 8.0, 1e-3)
_RADIUS = Range(0.0, 1.0, 0.0)


def _branch(name: str) -> Callable[..., FloatArray]:
    """A branch law as a function of arrays, through its network coefficients."""

    def branch(q: ArrayLike, psi: ArrayLike, theta_deg: ArrayLike,
               radius_over_d: ArrayLike) -> FloatArray:
        points = np.broadcast(q, psi, theta_deg, radius_over_d)
        values = [float(junctions.branch_coefficients(name, p, t, r).loss(share, p))
                  for share, p, t, r in points]
        return np.asarray(values, dtype=np.float64).reshape(points.shape)

    return branch


def _branch_law(name: str, key: str, equation: str, *, angle: Range, radius: Range, sigma: float,
                weak: bool = False, notes: str = "") -> Law:
    return Law(f"branch.{name}", _branch(name), equation, "header head upstream",
               source(key),
               {"q": _Q, "psi": _PSI, "theta_deg": angle, "radius_over_d": radius},
               sigma_relative=0.10, sigma_absolute=sigma, weak=weak,
               default=name == junctions.BRANCH_DEFAULT, notes=notes)


def _junction_laws() -> tuple[Law, ...]:
    any_angle = Range(30.0, 150.0, 0.0, 180.0, "deg")
    square = Range(89.0, 91.0, 0.0, 180.0, "deg")
    sharp = Range(0.0, 0.0, 0.0)
    run = {"run_share": _Q}
    head = "header head upstream"
    return (
        _branch_law("composite", "own-composite",
                    "1 - [1.025/psi + 2 cos(3 theta/4) - 0.765] v + (0.81 d^4 + 1.12 d - 1.08 d^3 "
                    "+ K93) v^2, v = q psi, d = psi^-0.5", angle=any_angle, radius=_RADIUS,
                    sigma=0.09, notes="one constant fitted to the 90 degree series at psi 1; "
                    "elsewhere the sigma of branch_coefficients covers all families"),
        _branch_law("bassett", "bassett-2001", "1 + v^2 - 2 v cos(3 theta/4), v = q psi",
                    angle=any_angle, radius=sharp, sigma=0.09),
        _branch_law("idelchik", "idelchik", "A'(q) [1 + v^2 - 2 v cos theta]; A' = 1.1 - 0.7 q, at "
                    "least 0.85 (a/A to 0.35), else 1 - 0.6 q, at least 0.6",
                    angle=any_angle, radius=sharp, sigma=0.12,
                    notes="two public transcriptions disagree on A' at 90 degrees"),
        _branch_law("rennels", "rennels-hudson-2012",
                    "1 - 1.13 q + [0.81 + (1.12 d - 1.08 d^3 + K93) d^-4] q^2", angle=square,
                    radius=_RADIUS, sigma=0.09),
        _branch_law("static", "idelchik-fit", "1 + [0.03 + 0.47 x 10^(-7.7 r/D)] v^2", angle=square,
                    radius=_RADIUS, sigma=0.2, weak=True,
                    notes="no share of the cross-flow head is caught"),
        Law("branch.crane", tees_crane.branch_Crane,
            "G [1 + v^2 - 2 v cos theta], v = q/beta^2", head, source("crane-tp410"),
            {"q": _Q, "beta2": Range(0.05, 1.0, 1e-3, 1.0),
             "theta_deg": Range(15.0, 90.0, 0.0, 90.0, "deg")}, sigma_relative=0.2,
            notes="for comparison; not offered to the network",
            refuse=tees_crane.unclear_Crane),
        Law("run.rennels", junctions.run_Rennels, "0.36 - 0.98 q' + 0.62 q'^2 + 0.03 q'^8", head,
            source("rennels-hudson-2012"), run, sigma_absolute=0.04, default=True,
            notes="0.03 remains at q' = 1: edges of the opening; two sigma hold the other laws "
                  "from q' 0.3 on, below that the measured points decide"),
        Law("run.bassett", junctions.run_Bassett, "q'^2 - 1.5 q' + 0.5", head,
            source("bassett-2001"), run, sigma_absolute=0.06,
            notes="regain above Bernoulli for small take-off"),
        Law("run.idelchik", _run("idelchik"), "0.4 (1 - q')^2", head,
            source("idelchik"), run, sigma_absolute=0.07),
        Law("run.crane", tees_crane.run_Crane, "M q^2, M from the area ratio", head,
            source("crane-tp410"), {"q": _Q, "beta2": Range(0.05, 1.0, 1e-3, 1.0)},
            sigma_absolute=0.1, notes="for comparison; q is the branch share"),
        Law("run.static", _run("static"), "0 (Bernoulli, regain 1)", head,
            source("own"), run, sigma_absolute=0.17, weak=True),
        Law("joining.bassett", junctions.joining_Bassett,
            "1 + (q/psi)^2 - 2 (q/psi) cos(3 theta/4)", "branch head", source("bassett-2001"),
            {"q": _Q, "psi": _PSI, "theta_deg": any_angle}, sigma_relative=0.15,
            sigma_absolute=0.15, default=True),
        Law("tee.symmetric", junctions.tee_symmetric_Idelchik, "1 + 1.5 (w_arm/w_feed)^2",
            "feed head", source("idelchik"), {"arm_over_total": Range(0.0, 1.0, 0.0)},
            sigma_relative=0.15, default=True),
    )


def _run(name: str) -> Callable[..., FloatArray]:
    """A run law as a function of arrays."""

    def run(run_share: ArrayLike) -> FloatArray:
        return junctions.run_coefficients(name).loss(run_share)

    return run


def _entrance_laws() -> tuple[Law, ...]:
    head = "pipe head"
    radius = {"radius_over_d": Range(0.0, 1.0, 0.0)}
    return (
        Law("entrance.idelchik", ent.entrance_rounded_Idelchik, "0.03 + 0.47 x 10^(-7.7 r/D)",
            head, source("idelchik-fit"), radius, sigma_relative=0.08, sigma_absolute=0.05,
            default=True, notes="sharp mouth: 0.50, other sources to 0.57; rounded: the sources "
            "differ by a factor of four, two sigma hold them all"),
        Law("entrance.rennels", ent.entrance_rounded_Rennels,
            "0.0696 (1 - 0.569 r/D) j^2 + (j - 1)^2, j = 1 + 0.622 (1 - 0.3 sqrt(r/D) - 0.7 r/D)^4",
            head, source("rennels-hudson-2012"), radius, sigma_relative=0.4),
        Law("entrance.swamee", ent.entrance_rounded_Swamee, "0.5/(1 + 36 (r/D)^1.2)", head,
            source("swamee-sharma-2008"), radius, sigma_relative=0.4),
        Law("entrance-reentrant.rennels", ent.entrance_reentrant_Rennels,
            "1.12 - 22 t/D + 216 (t/D)^2 + 80 (t/D)^3", head, source("rennels-hudson-2012"),
            {"wall_over_d": Range(0.0, 0.05, 0.0, 0.05)}, sigma_relative=0.15, default=True,
            notes="projecting at least D/2; thicker walls: flush law"),
        Law("entrance-bevelled.rennels", ent.entrance_bevelled_Rennels,
            "0.0696 (1 - c l/D) j^2 + (j - 1)^2, c = (1 - a/90)(a/90)^(1/(1 + l/D))", head,
            source("rennels-hudson-2012"),
            {"length_over_d": Range(0.005, 0.6, 1e-6), "angle_deg": Range(10., 80., 0.0, 90.)},
            sigma_relative=0.3, default=True, notes="little credible data exists"),
        Law("entrance-angled.idelchik", ent.entrance_angled_Idelchik,
            "0.57 + 0.3 cos a + 0.2 cos^2 a", head, source("idelchik"),
            {"angle_deg": Range(20.0, 90.0, 0.0, 90.0, "deg")}, sigma_relative=0.2, default=True),
        Law("bell.nozzle", ent.entrance_bell, "1/Cd^2 - 1, Cd = 0.9981 - 4.73/sqrt(Re)", head,
            source("mcgreehan-schotsch-1988"), {"re": Range(1e4, 1e7, 1e3)}, sigma_relative=0.4,
            default=True),
        Law("bell.small", ent.entrance_bell_small,
            "entrance.idelchik at r = sqrt(a b), not below bell.nozzle", head, source("own"),
            {"length_over_d": Range(0.02, 1.0, 0.0), "width_over_d": Range(0.02, 1.0, 0.0),
             "re": Range(1e4, 1e7, 1e3)}, sigma_relative=0.4, weak=True),
        Law("shroud.roof", ent.shroud_roof, "added K = 0.22 (A/A_c)^4, A_c = pi D_m h", head,
            source("idelchik-memory"),
            {"clearance_over_d": Range(0.125, 1.0, 0.02), "mouth_over_d": Range(1.0, 2.0, 0.5)},
            sigma_relative=0.5, weak=True, default=True),
        Law("shroud.wall", ent.shroud_wall, "factor 1 + 0.25 exp(-4 e/D) on the mouth's K",
            "factor", source("own"), {"clearance_over_d": Range(0.0, 3.0, 0.0)},
            sigma_absolute=0.1, weak=True),
    )


def _other_laws() -> tuple[Law, ...]:
    return (
        Law("takeoff.mcgreehan", takeoff.cd_takeoff,
            "C [exp(-R^1.2) + 0.5 R^0.6 (C/0.6)^-0.5 exp(-0.5 R^0.9)], R = (U1/Vi)(C/0.6)^-3",
            "hole area, static pressure of the duct", source("mcgreehan-schotsch-1988"),
            {"re": Range(1e4, 1e6, 1e3), "radius_over_d": Range(0.0, 0.5, 0.0),
             "length_over_d": Range(0.0, 3.0, 0.0), "crossflow": Range(0.0, 0.4, 0.0)},
            sigma_relative=0.25, weak=True,
            notes="reads up to 40 % high for longer sharp holes in cross-flow; can exceed 1 for "
                  "well rounded ones",
            refuse=lambda re, radius_over_d, length_over_d, crossflow:
                length_over_d < radius_over_d),
        Law("takeoff.reattached", takeoff.cd_takeoff_reattached,
            "takeoff.mcgreehan with the gain by length times exp(-(x/0.21)^3.3), x = U1/Vi",
            "hole area, static pressure of the duct", source("own-takeoff"),
            {"re": Range(1e4, 1e6, 1e3), "radius_over_d": Range(0.0, 0.5, 0.0),
             "length_over_d": Range(0.0, 3.0, 0.0), "crossflow": Range(0.0, 1.5, 0.0)},
            sigma_relative=0.12, default=True,
            notes="8 % below U1/Vi 0.4, 16 % beyond; can exceed 1 for well rounded holes",
            refuse=lambda re, radius_over_d, length_over_d, crossflow:
                length_over_d < radius_over_d),
        Law("jet-side.borda", jets.borda_rise, "static rise 2 b (1 - b) h far downstream",
            "entry head", source("borda-carnot"), {"area_ratio": Range(0.0, 1.0, 0.0, 1.0)},
            sigma_relative=0.08, default=True),
        Law("jet-side.recovered", jets.recovered, "3 s^2 - 2 s^3, s = x/(10 steps)",
            "share of the Borda rise", source("own"),
            {"distance_m": Range(0.0, 10.0), "step_m": Range(0.0, 1.0, 0.0),
             "mixing_steps": Range(6.0, 14.0, 1.0)}, sigma_absolute=0.15, weak=True),
        Law("jet-center.head", jets.jet_head_over_mouth,
            "min(1, 6.11 D/x)^2 exp(-2 ln2 (r/b)^2), averaged over the mouth", "entry head",
            source("abdel-rahman-1996"),
            {"distance_m": Range(0.0, 10.0, 1e-9), "radius_m": Range(0.0, 10.0, 0.0),
             "diameter_m": Range(0.005, 0.5, 1e-6), "mouth_diameter_m": Range(0.0, 0.5, 0.0)},
            sigma_relative=0.3, default=True),
        Law("jet-center.aim", jets.aim_share, "cos^2 of the aim angle, 0 beyond 90 deg",
            "share of the jet head", source("own"),
            {"aim_deg": Range(0.0, 180.0, -180.0, 180.0, "deg")}, sigma_absolute=0.15, weak=True),
    )


def mouth_laws() -> tuple[Law, ...]:
    """Every law of this file, grouped by family."""
    return (*_junction_laws(), *_entrance_laws(), *_other_laws())
