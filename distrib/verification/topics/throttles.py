"""Butterfly throttle, valves and bench flow, jets, perforated sheet."""

from __future__ import annotations

from functools import partial

import numpy as np

from distrib.engine.valves import bench_effective_area
from distrib.gas.properties import density
from distrib.losses import jets, perforated, throttle
from distrib.losses.measured import series
from distrib.verification.published import Published

GEOMETRY = "exact plate and shaft geometry, integrated numerically outside the project"
WEISBACH = "Weisbach, butterfly losses (secondary tables)"
CLOSED = "closed form, evaluated outside the project"
DIGITS = "six digits kept in the outside calculation"
AREAS = {  # bore, shaft (mm): plate angle -> open area, mm2; closed angle 5 deg
    (60, 8): {10: 32.2856, 20: 160.189, 45: 819.087, 60: 1404.04, 80: 2283.85, 90: 2348.86},
    (70, 10): {10: 43.9338, 20: 217.979, 45: 1114.42, 60: 1909.69, 80: 3090.81, 90: 3150.84},
}


def _area(bore: float, shaft: float, angle: float) -> float:
    fraction = float(throttle.open_fraction(angle, 5.0, shaft / bore))
    return fraction * np.pi * bore**2 / 4.0


def _plate_loss() -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Loss of a thin plate without shaft, closed at 0 deg, at the angles of the measured set."""
    plate = 90.0 - series("throttle_weisbach").x
    return throttle.loss_Borda(throttle.open_fraction(plate, 0.0, 0.0))


def _bench(depression: float) -> float:
    """Effective area found back from the flow of a known nozzle, m2."""
    from distrib.gas.isentropic import mass_flux

    p, t, true = 101325.0, 293.15, 1e-3
    flow = true * float(mass_flux(p, t, 1.0 - depression / p)) / float(density(p, t))
    return bench_effective_area(flow, depression, float(density(p, t)), p)


CHECKS = (
    *(Published(f"throttle.area.{bore}.{angle}", GEOMETRY, f"bore {bore} mm, shaft {shaft} mm, "
                f"closed 5 deg, plate {angle} deg: open area, mm2", (value,), DIGITS,
                partial(_area, bore, shaft, angle), "throttles", "computed outside", rtol=1e-5)
      for (bore, shaft), table in AREAS.items() for angle, value in table.items()),
    Published("throttle.loss.weisbach", WEISBACH, "loss at 5, 10, 15, 30, 40, 60, 70 deg from open "
              "(15, 30, 70 from memory)", tuple(float(v) for v in series("throttle_weisbach").y),
              "the law's coefficient is fitted to this set; its scatter is quoted as -20/+30 %",
              _plate_loss, "throttles", "published", rtol=0.20),
    Published("benchflow.isentropic", CLOSED, "isentropic bench flow of 1 in2 at 28 inH2O, cfm at "
              "101325 Pa, 293.15 K", (141.605,), DIGITS,
              lambda: 0.0254**2 / bench_effective_area(
                  1.0 / 2118.88, 6974.49, float(density(101325.0, 293.15)), 101325.0), "throttles",
              "computed outside",
              rtol=1e-5),
    *(Published(f"benchflow.round-trip.{dp}", CLOSED, f"area of a known nozzle found back from its "
                f"flow at {dp} Pa", (1e-3,), "exact in exact arithmetic; rounding only",
                partial(_bench, float(dp)), "throttles", "closed form", rtol=1e-12)
      for dp in (2000, 15000, 30000)),
    Published("jet.round.decay", "Abdel-Rahman et al. (1996)", "centre-line decay constant 6.11 of "
              "a round air jet at 20 D (abstract read)", (6.11,), "stated +-0.4",
              lambda: 20.0 * float(jets.jet_centre_velocity(20.0, 1.0)), "throttles", "measured",
              atol=0.4),
    Published("jet.round.core", "common handbook range of jet cores", "length of the potential "
              "core, diameters: 4 to 6.5 (from memory)", (5.25,), "the range is 4 to 6.5",
              lambda: jets.JET_DECAY, "throttles", "from memory", atol=1.25),
    Published("jet.round.width", "common handbook range of jet spreading", "half width over "
              "distance: 0.086 to 0.107 (from memory)", (0.0965,), "half the range",
              lambda: jets.jet_half_width(30.0, 1.0) / 30.0, "throttles", "from memory",
              atol=0.0105),
    Published("jet.borda", "Borda-Carnot, closed form", "static rise 2 b (1 - b) at b 0.25, 0.5, 1",
              (0.375, 0.5, 0.0), "exact in exact arithmetic",
              lambda: jets.borda_rise([0.25, 0.5, 1.0]), "throttles", "closed form", atol=1e-12),
    Published("jet.reattachment", "three-component laser measurements behind an axisymmetric step "
              "(abstract read)", "area ratio 121, Re 22000: reattachment at 6 step heights; the "
              "law's static pressure has recovered by half after", (6.0,),
              "the source's figure is good to 1.5 step heights, and half recovery lies near, not "
              "at, reattachment",
              lambda: jets.MIXING_STEPS * 0.5, "throttles", "measured", atol=1.5),
    Published("sheet.limits", "Idelchik, Handbook of Hydraulic Resistance", "diagram 8-1 at open "
              "fraction 0.5 and 0.8 (from memory): 4.0 and 0.42", (4.0, 0.42),
              "table from memory, two digits", lambda: perforated.sheet_Idelchik([0.5, 0.8]),
              "throttles", "from memory", rtol=0.05),
)
