"""Area changes, bends and mitres: formulas and the spread between handbook methods."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from distrib.losses import area_change as area
from distrib.losses import bends
from distrib.losses.measured import series
from distrib.verification.published import Published

LIBRARY = "fluids 1.3.1, {}"
DIGITS = "six digits kept in the outside calculation"
BORDA = "Borda-Carnot, closed form"
CONTRACTION = {0.2: (0.516058, 0.4), 0.4: (0.413824, 0.3), 0.7: (0.180174, 0.15)}
DIFFUSER = {(2, 7): 0.0386437, (2, 10): 0.0453383, (2, 30): 0.20441, (3, 7): 0.0550496,
            (3, 30): 0.360176, (4, 10): 0.0858763}
CRANE_DIFFUSER = {(2, 7): 0.0396816, (2, 10): 0.0566512, (2, 30): 0.168232, (3, 7): 0.070545,
                  (3, 30): 0.29908, (4, 10): 0.127465}
BEND = {0.75: (0.449402, 0.37513), 1.0: (0.313435, 0.294235), 2.0: (0.203782, 0.204603),
        3.0: (0.206514, 0.201743)}
MITRE = {30: 0.153088, 45: 0.304196, 90: 1.20208}
OTHER_MITRES = ("miller", "crane", "blevins")
OTHER_DIFFUSERS = ("crane", "idelchik", "miller", "hooper")


def _diffuser(ratio: float, angle: float) -> float:
    return float(area.diffuser_Rennels(1.0 / ratio, angle, 0.015))


def _mitre(angle: float) -> float:
    return float(bends.mitre_Rennels(angle))


def _row(name: str, index: int, methods: tuple[str, ...]) -> list[float]:
    table = series(name).columns
    return [float(table[m][index]) for m in methods]


def _spread_check(check_id: str, source: str, locator: str, methods: list[float],
                  compute: Callable[[], float], sigma: float) -> Published:
    """Our law against the middle of the other methods: half their range plus one sigma allowed."""
    middle, half = 0.5 * (max(methods) + min(methods)), 0.5 * (max(methods) - min(methods))
    why = f"half the range of the other methods plus the law's sigma of {100.0 * sigma:.0f} %"
    return Published(check_id, source, locator, (middle,), why, compute, "ducts",
                     "computed outside", atol=half + sigma * middle)


def _diffuser_spread() -> tuple[Published, ...]:
    table = series("diffuser_methods").columns
    return tuple(_spread_check(
        f"duct.diffuser.spread.{r:g}.{a:g}", "fluids 1.3.1, four other diffuser methods",
        f"default law against the middle of the others, area ratio {r:g}, {a:g} deg",
        _row("diffuser_methods", i, OTHER_DIFFUSERS), partial(_diffuser, r, a), 0.25)
        for i, (r, a) in enumerate(zip(table["area_ratio_out_over_in"], table["angle_deg"],
                                       strict=True)))


def _mitre_spread() -> tuple[Published, ...]:
    return tuple(_spread_check(
        f"duct.mitre.spread.{a:g}", "fluids 1.3.1, three other mitre methods",
        f"default law against the middle of the others, {a:g} deg",
        _row("mitre_methods", i, OTHER_MITRES), partial(_mitre, float(a)), 0.15)
        for i, a in enumerate(series("mitre_methods").x))


CHECKS = (
    *(Published(f"duct.borda.{s:g}", BORDA, f"sudden expansion, area ratio {s:g}", (value,),
                "exact in exact arithmetic; rounding only", partial(area.expansion_Borda, s),
                "ducts", "closed form", rtol=1e-12)
      for s, value in ((0.2, 0.64), (0.4, 0.36), (0.7, 0.09))),
    *(Published(f"duct.contraction.rennels.{s:g}", LIBRARY.format("Rennels contraction"),
                f"sharp, area ratio {s:g}, outlet head", (pair[0],), DIGITS,
                partial(area.contraction_Rennels, s), "ducts", "computed outside", rtol=5e-6)
      for s, pair in CONTRACTION.items()),
    *(Published(f"duct.contraction.crane.{s:g}", LIBRARY.format("Crane contraction"),
                f"sharp, area ratio {s:g}, outlet head", (pair[1],), DIGITS,
                partial(area.contraction_Crane, s), "ducts", "computed outside", rtol=5e-6)
      for s, pair in CONTRACTION.items()),
    *(Published(f"duct.diffuser.rennels.{r}.{a}", LIBRARY.format("Rennels diffuser"),
                f"area ratio {r}, {a} deg, f 0.015", (value,), DIGITS, partial(_diffuser, r, a),
                "ducts", "computed outside", rtol=5e-6) for (r, a), value in DIFFUSER.items()),
    *(Published(f"duct.diffuser.crane.{r}.{a}", LIBRARY.format("Crane diffuser"),
                f"area ratio {r}, {a} deg", (value,), DIGITS,
                partial(area.diffuser_Crane, 1.0 / r, a), "ducts", "computed outside", rtol=5e-6)
      for (r, a), value in CRANE_DIFFUSER.items()),
    *_diffuser_spread(),
    Published("duct.diffuser.angle", "Dixon, Fluid Mechanics and Thermodynamics of Turbomachinery",
              "example 2.3: area ratio 2.13, length 4.66 inlet radii: full angle, degrees",
              (11.26,), "printed to four digits", lambda: area.diffuser_angle_deg(1 / 2.13, 2.33),
              "ducts", "published", atol=0.02),
    Published("duct.diffuser.recovery", "Sovran and Klomp (1967)", "chart point in Dixon, example "
              "2.3: static recovery 0.6 at area ratio 2.13, length 4.66 inlet radii", (0.60,),
              "the law's sigma 0.09 (the uneven exit stream is not in a total-pressure loss) plus "
              "0.04 for reading the chart",
              lambda: area.diffuser_recovery(1 / 2.13, area.diffuser_Rennels(1 / 2.13, 11.26,
                                                                            0.015)),
              "ducts", "measured", atol=0.13),
    *(Published(f"duct.bend.rennels.{r:g}", LIBRARY.format("Rennels bend"),
                f"90 deg, r/D {r:g}, f 0.018", (pair[0],), DIGITS,
                partial(bends.bend_Rennels, 90.0, r, 0.018), "ducts", "computed outside",
                rtol=5e-6) for r, pair in BEND.items()),
    *(Published(f"duct.bend.ito.{r:g}", LIBRARY.format("Ito bend"), f"90 deg, r/D {r:g}, Re 1e5",
                (pair[1],), DIGITS, partial(bends.bend_Ito, 90.0, r, 1e5), "ducts",
                "computed outside", rtol=5e-6) for r, pair in BEND.items()),
    *(Published(f"duct.bend.miller.{r:g}", LIBRARY.format("Miller bend"),
                f"default law against Miller, 90 deg, r/D {r:g}, f 0.018, Re 1e5", (value,),
                "the law's sigma of 15 %", partial(bends.bend_Rennels, 90.0, r, 0.018), "ducts",
                "computed outside", rtol=0.15)
      for r, value in ((0.75, 0.481253), (1.0, 0.308336), (2.0, 0.21871), (3.0, 0.210268))),
    *(Published(f"duct.mitre.rennels.{a}", LIBRARY.format("Rennels mitre"), f"{a} deg", (value,),
                DIGITS, partial(bends.mitre_Rennels, float(a)), "ducts", "computed outside",
                rtol=5e-6) for a, value in MITRE.items()),
    *_mitre_spread(),
    Published("duct.contraction.full", BORDA, "no contraction, no loss: rounded and sharp laws at "
              "equal areas", (0.0, 0.0), "exact in exact arithmetic; rounding only",
              lambda: np.array([float(area.contraction_Rennels(1.0)),
                                float(area.contraction_round_Rennels(1.0, 0.2))]),
              "ducts", "closed form", atol=1e-12),
)
