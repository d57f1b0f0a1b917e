"""Entrances: formulas as published, and the spread of six handbook methods."""

from __future__ import annotations

from functools import partial

import numpy as np

from distrib.losses import entrances
from distrib.losses.measured import series
from distrib.losses.registry import law
from distrib.verification.published import Published

LIBRARY = "fluids 1.3.1, {} entrance"
IDELCHIK = "Idelchik, Handbook of Hydraulic Resistance"
DIGITS = "six digits kept in the outside calculation"
ROUNDED = {"Rennels": (entrances.entrance_rounded_Rennels, (0.396488, 0.20291, 0.11462)),
           "Swamee": (entrances.entrance_rounded_Swamee, (0.376149, 0.152838, 0.0804064))}
RADII = (0.02, 0.1, 0.2)
OTHERS = ("rennels", "crane", "miller", "harris", "swamee")


def _default(radius: float) -> float:
    return float(law("auto", "entrance").evaluate(radius_over_d=radius).value)


def _method(name: str, radius: float) -> float:
    table = series("entrance_rounded_methods").columns
    return float(table[name][np.argmin(np.abs(table["radius_over_d"] - radius))])


def _in_spread(radius: float) -> float:
    """How far the default law lies outside the five other methods (0 when inside)."""
    values = [_method(name, radius) for name in OTHERS]
    ours = _default(radius)
    return max(min(values) - ours, ours - max(values), 0.0)


CHECKS = (
    *(Published(f"mouth.rounded.{name.lower()}", LIBRARY.format(name), "K at r/D 0.02, 0.1, 0.2",
                values, DIGITS, lambda f=function: f(RADII),  # type: ignore[misc]
                "mouths", "computed outside", rtol=5e-6)
      for name, (function, values) in ROUNDED.items()),
    *(Published(f"mouth.rounded.default.{r:g}", LIBRARY.format("Idelchik"),
                f"default law against the library's spline of the handbook table, r/D {r:g}",
                (value,), "closed fit of the table, stated within 0.02",
                partial(_default, r), "mouths", "computed outside", atol=0.02)
      for r, value in zip(RADII, (0.37, 0.11328, 0.03), strict=True)),
    *(Published(f"mouth.rounded.spread.{r:g}", "fluids 1.3.1, five other entrance methods",
                f"distance of the default law outside the methods at r/D {r:g}", (0.0,),
                "exact: inside the spread", partial(_in_spread, r), "mouths", "computed outside")
      for r in RADII),
    *(Published(f"mouth.sharp.{name.lower()}", LIBRARY.format(name), "sharp flush mouth, K",
                (value,), "sources give 0.50 to 0.57; the law's 0.50 with 8 % and half the range",
                partial(_default, 0.0), "mouths", "computed outside", atol=0.075)
      for name, value in (("Rennels", 0.57), ("Miller", 0.509268), ("Idelchik", 0.5),
                          ("Crane", 0.5))),
    Published("mouth.sharp.rennels-limit", LIBRARY.format("Rennels"), "rounded law at r = 0: 0.57",
              (0.57,), "printed to two digits; the formula gives 0.5699",
              lambda: entrances.entrance_rounded_Rennels(0.0), "mouths", "computed outside",
              atol=5e-4),
    Published("mouth.reentrant.rennels", LIBRARY.format("Rennels"),
              "projecting pipe, wall/D 0.005 and 0.03", (1.01541, 0.65656), DIGITS,
              lambda: entrances.entrance_reentrant_Rennels([0.005, 0.03]), "mouths",
              "computed outside", rtol=5e-6),
    *(Published(f"mouth.reentrant.spread.{name.lower()}", LIBRARY.format(name),
                "projecting pipe, wall/D 0.005 and 0.03, against our law", values,
                "the sources differ: sigma 15 % of the law, and Harris reads 25 % lower",
                lambda: entrances.entrance_reentrant_Rennels([0.005, 0.03]), "mouths",
                "computed outside", rtol=0.31)
      for name, values in (("Miller", (1.02804, 0.6727)), ("Idelchik", (0.925, 0.61)),
                           ("Harris", (0.870581, 0.50627)))),
    Published("mouth.bevel.rennels", LIBRARY.format("Rennels"), "45 deg bevel, length/D 0.1",
              (0.369471,), DIGITS, lambda: entrances.entrance_bevelled_Rennels(0.1, 45.0), "mouths",
              "computed outside", rtol=5e-6),
    Published("mouth.angled.idelchik", "fluids 1.3.1, Idelchik angled entrance",
              "square and 30 deg: 0.57 + 0.3 cos a + 0.2 cos^2 a", (0.57, 0.97980762),
              "eight digits, evaluated outside the project",
              lambda: entrances.entrance_angled_Idelchik([90.0, 30.0]), "mouths",
              "computed outside", rtol=1e-7),
    Published("mouth.nozzle", "McGreehan and Schotsch (1988)", "eq. 9, bell at Re 1e5",
              (0.983142,), DIGITS, lambda: entrances.discharge_nozzle_McGreehan(1e5), "mouths",
              "computed outside", rtol=2e-6),
    Published("mouth.bell.crane-miller", "fluids 1.3.1, generous rounding",
              "K of a bell at Re 1e5 against Crane 0.04, Idelchik 0.03, Miller 0.0586",
              (0.04, 0.03, 0.0586), "handbooks spread from 0.03 to 0.06; sigma 40 %",
              lambda: np.full(3, float(entrances.entrance_bell(1e5))), "mouths",
              "computed outside", rtol=0.40, atol=0.005),
    Published("mouth.roof.idelchik", IDELCHIK, "added K of a facing wall at h/D 0.125, 0.2, 0.3; "
              "rounded mouth r/D 0.2 (table from memory)", (0.77, 0.16, 0.03),
              "table from memory, fit of one constant; sigma 50 %",
              lambda: entrances.shroud_roof([0.125, 0.2, 0.3], 1.4), "mouths", "from memory",
              rtol=0.30, atol=0.01),
)
