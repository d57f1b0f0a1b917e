"""Isentropic and Fanno relations, nozzles."""

from __future__ import annotations

from functools import partial

import numpy as np

from distrib.gas import isentropic as iso
from distrib.verification.published import Published

DIGITS = "six digits kept in the outside calculation"
TABLE = "table prints four digits"
NACA = "NACA Report 1135 (1953)"
SHAPIRO = "Shapiro, Compressible Fluid Flow (1953)"
OUTSIDE = "closed form, evaluated outside the project"

ISENTROPIC = {
    0.1: (0.998004, 0.993031, 0.995017, 5.82183),
    0.2: (0.992063, 0.972497, 0.980277, 2.96352),
    0.4: (0.968992, 0.895614, 0.924274, 1.59014),
    0.5: (0.952381, 0.843019, 0.88517, 1.33984),
    0.8: (0.886525, 0.656022, 0.739992, 1.03823),
    1.0: (0.833333, 0.528282, 0.633938, 1.0),
    2.0: (0.555556, 0.127805, 0.230048, 1.6875),
}
FANNO = {
    0.1: (66.9216, 1.1976, 10.9435, 5.82183),
    0.2: (14.5333, 1.19048, 5.45545, 2.96352),
    0.4: (2.30849, 1.16279, 2.69582, 1.59014),
    0.5: (1.06906, 1.14286, 2.13809, 1.33984),
    0.8: (0.07229, 1.06383, 1.28928, 1.03823),
    1.0: (0.0, 1.0, 1.0, 1.0),
    2.0: (0.304997, 0.666667, 0.408248, 1.6875),
}
NACA_TABLE = {  # p/p0, rho/rho0, T/T0, A/A* as printed to four digits
    0.30: (0.9395, 0.9564, 0.9823, 2.0351),
    0.60: (0.7840, 0.8405, 0.9328, 1.1882),
    0.90: (0.5913, 0.6870, 0.8606, 1.0089),
}
FLUX = {0.99: 48.7185, 0.95: 106.552, 0.8: 194.186, 0.528282: 237.158}


def _isentropic(mach: float) -> tuple[float, ...]:
    return (float(iso.temperature_ratio(mach)), float(iso.pressure_ratio(mach)),
            float(iso.density_ratio(mach)), float(iso.area_ratio(mach)))


def _table(mach: float) -> tuple[float, ...]:
    t, p, rho, area = _isentropic(mach)
    return p, rho, t, area


def _fanno(mach: float) -> tuple[float, ...]:
    return (float(iso.fanno_length(mach)), float(iso.fanno_temperature(mach)),
            float(iso.fanno_pressure(mach)), float(iso.fanno_total_pressure(mach)))


def _flux(ratio: float) -> float:
    return float(iso.mass_flux(101325.0, 298.15, ratio, 1.4, 287.053))


def _choked_bore() -> float:
    return float(iso.mass_flux(101325.0, 293.15, 0.3) * np.pi * 0.02**2 / 4.0)


def _critical(gamma: float) -> tuple[float, float]:
    return iso.critical_ratio(gamma), iso.flow_number_max(gamma)


def _fanno_pipe() -> tuple[float, ...]:
    """Isentropic entry into a pipe with friction that ends at a given pressure, by bisection."""
    length, ratio = 0.02 * 0.4 / 0.04, 90000.0 / 101325.0
    low, high = 1e-3, float(iso.fanno_mach(length))
    choke = high
    for _ in range(100):
        inlet = 0.5 * (low + high)
        outlet = float(iso.fanno_mach(float(iso.fanno_length(inlet)) - length))
        exit_ratio = float(iso.pressure_ratio(inlet) * iso.fanno_pressure(outlet)
                           / iso.fanno_pressure(inlet))
        low, high = (inlet, high) if exit_ratio > ratio else (low, inlet)
    number = float(iso.flow_number_mach(inlet))
    flow = number * 101325.0 * np.pi * 0.04**2 / 4.0 / np.sqrt(287.053 * 300.0)
    return inlet, outlet, float(flow), choke


CHECKS = (
    *(Published(f"gas.isentropic.{m:g}", NACA, f"T/T0, p/p0, rho/rho0, A/A* at Mach {m:g}, "
                "evaluated outside the project from its equations", printed, DIGITS,
                partial(_isentropic, m), "gas", "computed outside", rtol=5e-6)
      for m, printed in ISENTROPIC.items()),
    *(Published(f"gas.naca-table.{m:g}", NACA, f"table I, Mach {m:g}: p/p0, rho/rho0, T/T0, A/A* "
                "(digits from memory)", printed, TABLE, partial(_table, m), "gas", "from memory",
                atol=6e-5) for m, printed in NACA_TABLE.items()),
    *(Published(f"gas.fanno.{m:g}", SHAPIRO, f"f L*/D, T/T*, p/p*, p0/p0* at Mach {m:g}, evaluated "
                "outside the project", printed, DIGITS, partial(_fanno, m), "gas",
                "computed outside", rtol=5e-6, atol=1e-9) for m, printed in FANNO.items()),
    *(Published(f"gas.flux.{r:g}", OUTSIDE, f"isentropic mass flux of air at p/p0 {r:g}, kg/(s m2)",
                (value,), DIGITS, partial(_flux, r), "gas", "closed form", rtol=5e-6)
      for r, value in FLUX.items()),
    Published("gas.choked-bore", OUTSIDE, "choked flow of a 20 mm bore, Cd 1, 101325 Pa, 293.15 K",
              (0.0751382,), "six digits; gas constant in its fifth digit", _choked_bore, "gas",
              "closed form", rtol=5e-6),
    Published("gas.critical.1.4", OUTSIDE, "critical ratio and largest flow number, gamma 1.4",
              (0.528282, 0.684731), DIGITS, partial(_critical, 1.4), "gas", "closed form",
              rtol=2e-6),
    Published("gas.critical.1.3", OUTSIDE, "critical ratio and largest flow number, gamma 1.3",
              (0.545728, 0.667262), DIGITS, partial(_critical, 1.3), "gas", "closed form",
              rtol=2e-6),
    Published("gas.fanno-pipe", OUTSIDE, "D 40 mm, L 0.4 m, f 0.02, 101325 Pa, 300 K to 90000 Pa: "
              "inlet and outlet Mach, kg/s, choking inlet Mach",
              (0.36983, 0.378597, 0.175101, 0.704273), "five to six digits", _fanno_pipe, "gas",
              "computed outside", rtol=1e-5),
)
