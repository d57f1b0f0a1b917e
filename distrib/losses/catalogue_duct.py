"""Records of the laws for ducts: friction, area changes, bends, flange, throttle, sheet."""

from __future__ import annotations

from distrib.losses import area_change as area
from distrib.losses import bends, flange, friction, perforated, throttle
from distrib.losses.registry import Law
from distrib.losses.sources import source
from distrib.losses.validity import Range

_RE_TURB = Range(4e3, 1e8, 1e-12)
_ROUGH = Range(0.0, 0.05, 0.0)
_S = Range(0.0, 1.0, 0.0, 1.0)
_FRICTION = Range(0.005, 0.1, 0.0)


def _friction_laws() -> tuple[Law, ...]:
    head = "length L/D on the duct head, Darcy f"
    both = {"re": _RE_TURB, "rel_rough": _ROUGH}
    return (
        Law("friction.blended", friction.darcy,
            "64/Re to Re 2000, Haaland from Re 4000, C1 cubic between", head,
            source("haaland-1983"), {"re": Range(1.0, 1e8, 1e-12), "rel_rough": _ROUGH},
            sigma_relative=0.03, default=True,
            notes="3 % smooth; take 10 % when the roughness is a guess; between Re 2000 and 4000 "
                  "the flow itself is not steady"),
        Law("friction.laminar", friction.darcy_laminar, "f = 64/Re", head,
            source("hagen-poiseuille"), {"re": Range(0.0, 2300.0, 1e-12)}, sigma_relative=0.01),
        Law("friction.haaland", friction.darcy_Haaland,
            "1/sqrt f = -1.8 log10[(e/3.7)^1.11 + 6.9/Re]", head, source("haaland-1983"), both,
            sigma_relative=0.03),
        Law("friction.colebrook", friction.darcy_Colebrook,
            "1/sqrt f = -2 log10[e/3.7 + 2.51/(Re sqrt f)]", head, source("colebrook-1939"), both,
            sigma_relative=0.03),
        Law("friction.churchill", friction.darcy_Churchill,
            "f = 8 [(8/Re)^12 + (A + B)^-1.5]^(1/12), all regimes", head,
            source("churchill-1977"), {"re": Range(1.0, 1e8, 1e-12), "rel_rough": _ROUGH},
            sigma_relative=0.03),
        Law("friction.swamee-jain", friction.darcy_SwameeJain,
            "f = 0.25/log10(e/3.7 + 5.74/Re^0.9)^2", head, source("swamee-jain-1976"),
            {"re": Range(5e3, 1e8, 10.0), "rel_rough": Range(0.0, 0.05, 0.0)},
            sigma_relative=0.03),
        Law("laminar-duct.rectangle", friction.poiseuille_rectangle_ShahLondon,
            "f Re = 96 (1 - 1.3553 a + 1.9467 a^2 - 1.7012 a^3 + 0.9564 a^4 - 0.2537 a^5)",
            "f Re on the hydraulic diameter", source("shah-london-1978"), {"aspect": _S},
            sigma_relative=0.005, default=True),
    )


def _area_laws() -> tuple[Law, ...]:
    inlet, outlet = "head of the small inlet end", "head of the small outlet end"
    angle = Range(5.0, 60.0, 0.1, 180.0, "deg")
    return (
        Law("expansion.borda", area.expansion_Borda, "K = (1 - s)^2", inlet,
            source("borda-carnot"), {"area_ratio": _S}, sigma_relative=0.08, default=True),
        Law("contraction.rennels", area.contraction_Rennels,
            "K = 0.0696 (1 - b^5) j^2 + (j - 1)^2, j = 1 + 0.622 (1 - 0.215 b^2 - 0.785 b^5)",
            outlet, source("rennels-hudson-2012"), {"area_ratio": _S}, sigma_relative=0.2,
            default=True, notes="Crane is up to 28 % lower: sigma covers half of that"),
        Law("contraction.crane", area.contraction_Crane, "K = 0.5 (1 - s)", outlet,
            source("crane-tp410"), {"area_ratio": _S}, sigma_relative=0.2),
        Law("contraction.rounded", area.contraction_round_Rennels,
            "as contraction.rennels with the jet term x (1 - 0.3 sqrt(r/D) - 0.7 r/D)^4", outlet,
            source("rennels-hudson-2012"),
            {"area_ratio": _S, "radius_over_d": Range(0.0, 1.0, 0.0, 1.0)}, sigma_relative=0.4),
        Law("contraction.conical", area.contraction_conical_Rennels,
            "wall friction + 0.0696 sin(a/2) (1 - b^5) j^2 + (j - 1)^2", outlet,
            source("rennels-hudson-2012"),
            {"area_ratio": _S, "angle_deg": Range(5.0, 180.0, 0.1, 180.0, "deg"),
             "friction": _FRICTION}, sigma_relative=0.3),
        Law("diffuser.rennels", area.diffuser_Rennels,
            "to 20 deg 8.3 tan(a/2)^1.75 (1-s)^2 + wall friction; stalled and jet forms above",
            inlet, source("rennels-hudson-2012"),
            {"area_ratio": Range(0.06, 1.0, 1e-6, 1.0), "angle_deg": angle,
             "friction": _FRICTION}, sigma_relative=0.25, sigma_absolute=0.09,
            default=True, notes="five methods spread about 25 % at equal geometry; measured static "
            "recovery (Sovran and Klomp 1967) is lower by 0.1 because the exit stream is uneven, "
            "and one chart reads three times higher at area ratio 4: hence "
            "the absolute part; above the stall angle no K describes the exit"),
        Law("diffuser.crane", area.diffuser_Crane, "K = 2.6 sin(a/2) (1 - s)^2 to 45 deg", inlet,
            source("crane-tp410"), {"area_ratio": _S, "angle_deg": angle}, sigma_relative=0.25),
        Law("diffuser-stall.line", area.diffuser_stall_angle_deg, "2 phi = 17.2 (L/D)^-0.5",
            "full cone angle, degrees", source("stall-map"),
            {"length_over_d": Range(1.0, 20.0, 1e-6)}, sigma_relative=0.25, weak=True,
            default=True, notes="a warning line, not a loss"),
    )


def _bend_laws() -> tuple[Law, ...]:
    head = "pipe head, with the bend's own length"
    angle = Range(10.0, 180.0, 0.0, 180.0, "deg")
    return (
        Law("bend.rennels", bends.bend_Rennels,
            "f a r/D + (0.1 + 2.4 f) sin(a/2) + 6.6 f (sqrt sin(a/2) + sin(a/2)) (r/D)^(-4a/pi)",
            head, source("rennels-hudson-2012"),
            {"angle_deg": angle, "radius_over_d": Range(0.5, 10.0, 0.1), "friction": _FRICTION},
            sigma_relative=0.15, default=True),
        Law("bend.ito", bends.bend_Ito, "0.00431 alpha angle Re^-0.17 (r/D)^0.84", head,
            source("ito-1960"),
            {"angle_deg": Range(45.0, 180.0, 0.0, 180.0, "deg"),
             "radius_over_d": Range(1.0, 50.0, 0.1), "re": Range(2e4, 4e5, 1e3)},
            sigma_relative=0.15, notes="needs Re (D/r)^2 above 360"),
        Law("bend.swamee", bends.bend_Swamee, "(0.0733 + 0.923 (D/r)^3.5) sqrt(a)", head,
            source("swamee-sharma-2008"),
            {"angle_deg": angle, "radius_over_d": Range(1.0, 10.0, 0.1)}, sigma_relative=0.4,
            weak=True, notes="three times the others at r/D 1"),
        Law("mitre.rennels", bends.mitre_Rennels, "0.42 sin(a/2) + 2.56 sin^3(a/2)", "pipe head",
            source("rennels-hudson-2012"), {"angle_deg": Range(5.0, 150.0, 0.0, 180.0, "deg")},
            sigma_relative=0.15, default=True),
    )


def _obstacle_laws() -> tuple[Law, ...]:
    return (
        Law("flange.step", flange.flange_step,
            "e > 0 faces the flow: sharp contraction to D - 2e; e < 0: Borda", "runner head",
            source("rennels-hudson-2012"), {"step_over_d": Range(-0.25, 0.1, -10.0, 0.49)},
            sigma_relative=0.3, default=True),
        Law("flange.offset", flange.flange_offset,
            "contraction into the common lens of two equal bores, then Borda", "runner head",
            source("own"), {"offset_over_d": Range(0.0, 0.2, 0.0, 0.9)}, sigma_relative=0.4,
            weak=True),
        Law("throttle.area", throttle.open_fraction,
            "1 - k + (2/pi)[a sqrt(1-(a/k)^2) + k asin(a/k) - a sqrt(1-a^2) - asin a]",
            "bore area", source("geometry"),
            {"plate_deg": Range(0.0, 90.0, 0.0, 90.0, "deg"),
             "closed_deg": Range(0.0, 20.0, 0.0, 89.0, "deg"),
             "shaft_over_bore": Range(0.0, 0.4, 0.0, 0.99)}, sigma_relative=0.02,
            notes="plate thickness beyond the shaft is not in it",
            refuse=lambda plate_deg, closed_deg, shaft_over_bore: plate_deg < closed_deg),
        Law("throttle.discharge", throttle.discharge_coefficient, "Cd = 0.60 + 0.145 s",
            "open area", source("weisbach"), {"fraction": Range(0.05, 0.95, 0.0, 1.0)},
            sigma_relative=0.12, default=True),
        Law("throttle.loss", throttle.loss_Borda, "K = (1/(Cd s) - 1)^2", "bore head",
            source("weisbach"), {"fraction": Range(0.05, 0.95, 1e-6, 1.0)}, sigma_relative=0.25,
            notes="scatter quoted for the measured set is -20/+30 %"),
        Law("sheet.idelchik", perforated.sheet_Idelchik,
            "K = [0.707 sqrt(1-s) + 1 - s]^2 / s^2", "approach head of the duct",
            source("idelchik-memory"), {"open_fraction": Range(0.05, 0.95, 1e-6, 1.0)},
            sigma_relative=0.15, default=True,
            notes="thin sheet, sharp holes, hole Reynolds number above 1e5"),
        Law("sheet.contraction", perforated.sheet_contraction, "K = (1/(C s) - 1)^2",
            "approach head of the duct", source("borda-carnot"),
            {"open_fraction": Range(0.05, 0.95, 1e-6, 1.0),
             "contraction": Range(0.55, 1.0, 0.05, 1.0)}, sigma_relative=0.2),
    )


def duct_laws() -> tuple[Law, ...]:
    """Every law of this file, grouped by family."""
    return (*_friction_laws(), *_area_laws(), *_bend_laws(), *_obstacle_laws())
