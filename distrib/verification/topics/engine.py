"""Engine and fuel: crank, valves, Mach index, air flow, bench, stoichiometry, injectors."""

from __future__ import annotations

from functools import partial

from distrib.engine import kinematics, valves
from distrib.engine.rig import mass_flux, scale_flow
from distrib.fuelling import fuels, injectors
from distrib.verification.published import Published

CRANK = "crank triangle, evaluated outside the project in double precision"
BALANCE = "atom balance with dry air of 20.946 % O2 and 28.9647 kg/kmol, evaluated outside"
ROOT = "square-root law, evaluated outside the project"
DIGITS = "five to six digits printed"

TRAVEL = {30: (7.3864, 17.0672), 60: (26.4339, 27.0416), 75: (38.0356, 28.2196),
          90: (49.6182, 27.0177), 150: (81.8646, 9.95052)}
AFR = {"iso-octane": ((8, 18, 0), 15.1319), "gasoline CH1.85": ((1, 1.85, 0), 14.575),
       "ethanol": ((2, 6, 1), 9.00492), "propane": ((3, 8, 0), 15.6796),
       "methane": ((1, 4, 0), 17.2393), "hydrogen": ((0, 2, 0), 34.2984)}
SQUARE_INCH_M2 = 0.0254**2
CFM_M3_S = 0.3048**3 / 60.0
INCHES_28_PA = 6974.49


def _crank(theta: float) -> tuple[float, float]:
    return (
        float(kinematics.piston_travel(theta, 0.086, 0.143)) * 1e3,
        float(kinematics.piston_speed(theta, 6000.0, 0.086, 0.143)),
    )


def _afr(composition: tuple[float, float, float]) -> float:
    return fuels.Composition("fuel", *composition, 1.0, 1.0).stoichiometric_afr


def _e85() -> tuple[float, float]:
    mixed = fuels.blend(0.85)
    return mixed.ethanol_mass_fraction, mixed.stoichiometric_afr


def _bench_cfm() -> float:
    density = 101325.0 / (287.05287 * 293.15)
    flux = float(mass_flux(101325.0, 293.15, INCHES_28_PA))
    return flux / density * SQUARE_INCH_M2 / CFM_M3_S


def _curtain() -> tuple[float, float]:
    area = float(valves.curtain_area(9.5, 33.0))
    equal = float(valves.throat_area(33.0, 0.0) / valves.curtain_area(1.0, 33.0)) / 33.0
    return area, equal


CHECKS = (
    *(Published(f"engine.crank.{theta}", CRANK, f"stroke 86 mm, rod 143 mm, 6000 rpm, {theta} deg: "
                "travel in mm and speed in m/s", printed, DIGITS, partial(_crank, theta), "engine",
                "closed form", rtol=1e-5) for theta, printed in TRAVEL.items()),
    Published("engine.displacement", "circle area times stroke, evaluated outside",
              "86 by 86 mm, one and four cylinders, cm3", (499.557, 1998.23), DIGITS,
              lambda: [n * kinematics.displacement(0.086, 0.086) * 1e6 for n in (1, 4)],
              "engine", "closed form", rtol=1e-5),
    Published("engine.curtain", "cylinder between head and seat, evaluated outside",
              "diameter 33 mm, lift 9.5 mm, in mm2; lift over diameter where it equals the head",
              (984.889, 0.25), DIGITS, _curtain, "engine", "closed form", rtol=1e-6),
    Published("engine.mach-index", "(B/D)^2 Sp/(n C a), evaluated outside",
              "B 86, D 33, 2 valves, 17.2 m/s, C 0.45, a 347.2 m/s", (0.373831,), DIGITS,
              lambda: float(kinematics.mach_index(86.0, 33.0, 17.2, 2, 0.45, 347.2)), "engine",
              "closed form", rtol=1e-5),
    Published("engine.air-flow", "eta rho V N/120, evaluated outside",
              "0.95, 1.184 kg/m3, 1998.23 cm3, 6000 rpm", (0.11238,), DIGITS,
              lambda: float(kinematics.engine_air_flow(0.95, 1.184, 1998.23e-6, 6000.0)), "engine",
              "closed form", rtol=1e-5),
    Published("bench.scale.28-10", ROOT, "flow at 10 inH2O over flow at 28", (0.597614,),
              "six digits printed", lambda: float(scale_flow(1.0, 28.0, 10.0)), "engine",
              "closed form", rtol=1e-6),
    Published("bench.scale.25-28", ROOT, "flow at 28 inH2O over flow at 25", (1.0583,),
              "five digits printed", lambda: float(scale_flow(1.0, 25.0, 28.0)), "engine",
              "closed form", rtol=1e-5),
    Published("bench.cfm", "isentropic nozzle, evaluated outside",
              "cfm per square inch at 28 inH2O, upstream 101325 Pa and 293.15 K", (141.605,),
              "gas constant to four digits in the source", _bench_cfm, "engine", "closed form",
              rtol=1e-4),
    *(Published(f"fuel.afr.{name.split()[0]}", BALANCE, f"stoichiometric mass ratio, {name}",
                (printed,), "atomic weights abridged to three decimals",
                partial(_afr, composition), "fuel", "closed form", rtol=1e-4)
      for name, (composition, printed) in AFR.items()),
    Published("fuel.e85", BALANCE, "85 % ethanol by volume (789.3 and 745 kg/m3): mass fraction, "
              "air-fuel ratio", (0.857217, 9.80024), "atomic weights abridged to three decimals",
              _e85, "fuel", "closed form", rtol=1e-4),
    Published("fuel.injector-root", ROOT, "440 cc/min at 3 bar: flow at 4 bar, cc/min", (508.068,),
              DIGITS, lambda: float(injectors.flow_at_pressure(440.0, 3e5, 4e5)), "fuel",
              "closed form", rtol=1e-5),
)
