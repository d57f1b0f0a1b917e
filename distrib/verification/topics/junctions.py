"""Dividing tees: formulas as published, measured series, the laws' regain."""

from __future__ import annotations

from functools import partial

import numpy as np

from distrib.losses import junctions, tees_crane
from distrib.losses.measured import series
from distrib.verification import tees
from distrib.verification.published import Published

BASSETT = "Bassett, Winterbone and Pearson (2001)"
RENNELS = "Rennels and Hudson, Pipe Flow (2012)"
CRANE = "Crane TP-410 (2009)"
HAGER = "Hager, discharge of dividing tees (1984)"
LIBRARY = "fluids 1.3.1, Crane tee functions"
DIGITS = "six digits kept in the outside calculation"

K6 = {(1, 90, 0.5): 0.867317, (1, 45, 0.5): 0.41853, (1, 120, 0.5): 1.25, (2, 90, 0.3): 0.90078,
      (3, 45, 0.5): 0.755591, (3, 90, 0.25): 0.988475, (2.25, 90, 0.25): 0.885887,
      (4, 90, 0.25): 1.23463}
K6_TABLE = {  # (psi, angle): q = 0.1, 0.4, 0.7, 0.9
    (1, 60): (0.868579, 0.594315, 0.500051, 0.537208),
    (2, 45): (0.707412, 0.309649, 0.631885, 1.246709),
    (3, 120): (1.09, 2.44, 5.41, 8.29), (5, 60): (0.542893, 2.171573, 8.300253, 14.886039),
    (5, 90): (0.867317, 3.469266, 10.571216, 17.805849)}
CRANE_POINTS = {  # beta2, angle, q: branch, run
    (1, 45, 0.385346): (0.463989, -0.0681006), (0.5, 45, 0.3): (0.419407, -0.072),
    (0.5, 30, 0.3): (0.263031, -0.072), (0.35, 45, 0.3): (0.465035, 0.036),
    (0.2, 45, 0.2): (0.562355, 0.016), (0.7, 45, 0.4): (0.393991, -0.064),
    (1, 45, 0.5): (0.380025, 0.0), (0.35, 90, 0.3): (1.73469, 0.036), (0.2, 90, 0.2): (2.0, 0.016),
    (0.35, 60, 0.3): (0.78102, 0.036)}
REGAIN = {0.1: (1.21053, 0.978947, 1.03624), 0.25: (1.14286, 0.942857, 1.05314),
          0.5: (1.0, 0.866667, 0.96651), 1.0: (0.5, 0.6, 0.64)}
RMS_SEEN = {"bassett": (0.057, 0.0035), "rennels": (0.0195, 0.008), "idelchik": (0.065, 0.0115)}


def _branch(law: str, q: float, psi: float, theta: float) -> float:
    return float(junctions.branch_coefficients(law, psi, theta, 0.0).loss(q, psi))


def _crane(q: float, beta2: float, theta: float) -> tuple[float, float]:
    return (float(tees_crane.branch_Crane(q, beta2, theta)), float(tees_crane.run_Crane(q, beta2)))


def _regain(eps: float) -> tuple[float, ...]:
    laws = ("bassett", "idelchik", "rennels")
    return tuple(float(junctions.regain_factor(junctions.run_coefficients(law).loss(1.0 - eps),
                                               eps)) for law in laws)


def _run_rms(law: str) -> tuple[float, float]:
    return tees.run_rms(law, "tee_run_45"), tees.run_rms(law, "tee_run_90")


def _branch_rms() -> tuple[float, ...]:
    return tuple(tees.branch_rms("bassett", name) for name in tees.BRANCH_SERIES)


def _within_envelope() -> float:
    """Largest distance of the default run law outside the measured envelope (0 when inside)."""
    lower, upper = series("tee_run_envelope_lower"), series("tee_run_envelope_upper")
    q = np.linspace(0.02, 0.98, 97)
    law = junctions.run_coefficients("auto").loss(1.0 - q)
    below = np.interp(q, lower.x, lower.y) - law
    above = law - np.interp(q, upper.x, upper.y)
    return float(np.max(np.maximum(below, above)).clip(0.0))


def _points(name: str) -> tuple[float, ...]:
    return tuple(float(v) for v in series(name).y)


CHECKS = (
    *(Published(f"tee.bassett.branch.{psi:g}.{th}.{q:g}", BASSETT, f"eq. 27, area ratio {psi:g}, "
                f"{th} deg, q {q:g}", (value,), DIGITS, partial(_branch, "bassett", q, psi, th),
                "junctions", "published", rtol=5e-6) for (psi, th, q), value in K6.items()),
    *(Published(f"tee.bassett.table.{psi:g}.{th}", BASSETT, f"eq. 27, area ratio {psi:g}, {th} deg"
                ", q 0.1, 0.4, 0.7, 0.9", values, DIGITS,
                lambda psi=psi, th=th: [  # type: ignore[misc]
                    _branch("bassett", q, psi, th) for q in (0.1, 0.4, 0.7, 0.9)],
                "junctions", "published", rtol=5e-6) for (psi, th), values in K6_TABLE.items()),
    Published("tee.bassett.run", BASSETT, "eq. 15 at q' 0, 0.25, 0.5, 0.75, 1",
              (0.5, 0.1875, 0.0, -0.0625, 0.0), "exact decimals, rounding of binary fractions",
              lambda: junctions.run_Bassett([0.0, 0.25, 0.5, 0.75, 1.0]).tolist(), "junctions",
              "published", atol=1e-12),
    *(Published(f"tee.rennels.branch.{q:g}.{d:g}", RENNELS, f"eq. 16.13, q {q:g}, diameter ratio "
                f"{d:g}, sharp", (value,), DIGITS,
                lambda q=q, d=d: float(junctions.branch_Rennels(q, d, 0.0)),  # type: ignore[misc]
                "junctions", "published", rtol=5e-6)
      for (q, d), value in {(0.25, 0.7): 1.02415, (0.5, 0.7): 1.66161, (0.5, 1.0): 0.79}.items()),
    *(Published(f"tee.rennels.coefficients.{q:g}.{d:g}", RENNELS, f"eq. 16.13 through the network "
                f"coefficients, q {q:g}, diameter ratio {d:g}", (value,), DIGITS,
                partial(_branch, "rennels", q, d**-2, 90.0), "junctions", "published", rtol=5e-6)
      for (q, d), value in {(0.25, 0.7): 1.02415, (0.5, 0.7): 1.66161}.items()),
    Published("tee.rennels.run", RENNELS, "eq. 16.5 at q' 0, 0.25, 0.75, 1",
              (0.36, 0.15375, -0.0232466, 0.03), DIGITS,
              lambda: junctions.run_Rennels([0.0, 0.25, 0.75, 1.0]).tolist(), "junctions",
              "published", atol=1e-6),
    *(Published(f"tee.crane.{b:g}.{th}.{q:g}", LIBRARY, f"branch and run, beta2 {b:g}, {th} deg, q "
                f"{q:g} (ranges where the library follows the publication)", values, DIGITS,
                partial(_crane, q, b, th), "junctions", "computed outside", rtol=1e-5, atol=1e-6)
      for (b, th, q), values in CRANE_POINTS.items()),
    Published("tee.crane.example-7-36", CRANE, "example 7-36: 45 deg wye, branch and run, printed",
              (0.4640, -0.06809), "printed to four digits", partial(_crane, 0.01583 / 0.04108, 1.0,
                                                                    45.0),
              "junctions", "published", atol=6e-5),
    *(Published(f"tee.regain.{eps:g}", "closed form, evaluated outside the project",
                f"static regain of the run laws at lateral share {eps:g}: Bassett, 0.4 (1-q')^2, "
                "Rennels", values, DIGITS, partial(_regain, eps), "junctions", "computed outside",
                rtol=5e-6) for eps, values in REGAIN.items()),
    Published("tee.symmetric", "Idelchik, Handbook of Hydraulic Resistance", "diagram 7-29, equal "
              "areas, half flow each (transcription)", (1.375,), "exact",
              lambda: float(junctions.tee_symmetric_Idelchik(0.5)), "junctions", "published"),
    *(Published(f"tee.measured.branch.{name}", f"{BASSETT}, measured points", "branch loss of the "
                "default law at each point (points read off the figure by a third party)",
                _points(name), "one sigma 0.09 between measured sets plus reading error 0.02, "
                "rounded up; the source's own formula needs 0.27 at 120 degrees",
                partial(tees.branch_prediction, "composite", name), "junctions", "measured",
                atol=0.12) for name in tees.BRANCH_SERIES),
    *(Published(f"tee.measured.run.{name}", f"{BASSETT}, measured points", "run loss of the "
                "default law at each point (read off the figure by a third party)", _points(name),
                "half width 0.05 of the envelope of all data, and reading error",
                partial(tees.run_prediction, "rennels", name), "junctions", "measured", atol=0.06)
      for name in ("tee_run_45", "tee_run_90")),
    Published("tee.measured.run.mean", HAGER, "mean of all branch data, figure 4b (read off by a "
              "third party)", _points("tee_run_envelope_mean"),
              "half width of the envelope of the data is 0.05, reading error 0.02",
              partial(tees.run_prediction, "rennels", "tee_run_envelope_mean"), "junctions",
              "measured", atol=0.06),
    Published("tee.measured.run.envelope", HAGER, "distance of the default run law outside the "
              "envelope of the data", (0.0,), "reading error 0.02 of the envelope, and 0.03 edge "
              "loss of the law at vanishing take-off", _within_envelope, "junctions", "measured",
              atol=0.03),
    *(Published(f"tee.rms.run.{law}", f"{BASSETT}, measured points", f"rms error of run law {law} "
                "on the 45 and 90 degree series, against the range found outside over four series",
                (value, value), "half the range found outside", partial(_run_rms, law),
                "junctions", "computed outside", atol=half)
      for law, (value, half) in RMS_SEEN.items()),
    Published("tee.rms.branch.bassett", f"{BASSETT}, measured points", "rms error of its branch "
              "law on the 45, 90, 120 degree series, against 0.046 to 0.132 found outside",
              (0.089, 0.089, 0.089), "half the range found outside", _branch_rms, "junctions",
              "computed outside", atol=0.0436),
    Published("tee.measured.joining", f"{BASSETT}, measured points", "K4, feed from the branch, 90 "
              "degrees", _points("tee_joining_90"), "the points repeat only within 0.2 and the "
              "publication's own formula misses them by up to 0.30",
              lambda: junctions.joining_Bassett(series("tee_joining_90").x, 1.0, 90.0).tolist(),
              "junctions", "measured", atol=0.30),
)
