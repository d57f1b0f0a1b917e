"""Random designs as an engine draws from them, as its own process: FIRST LAST.

Speeds from 300 to 12 000 rev/min, throttles part open, from below the sea to 4500 m, up to about
4 bar above ambient. What is checked here is worked out anew from air, displacement and density.
"""

from __future__ import annotations

import json
import math
import sys
import time
import traceback

import numpy as np
from random_designs import design

import distrib
from distrib.case.schema import Case
from distrib.errors import DistribError

FILLING = 2.5
"""Beyond this no engine breathes: of the charge's density in the displacement. Ram and tuning
reach 1.3 at most (handbooks on tuned intakes); the rest is room for odd designs."""
SAME = 1e-9
"""Relative: the same arithmetic in another order."""
MOIST = 0.01
"""Relative: Magnus's formula and ideal mixing against the moist air of the program."""


def main(first: int, last: int) -> None:
    counts = {"designs": 0, "solved": 0, "refused": 0, "faults": 0}
    slowest = 0.0
    for number in range(first, last):
        case = design(number)
        rng = np.random.default_rng([42, number])
        rpm = float(np.exp(rng.uniform(math.log(300.0), math.log(12000.0))))
        start = time.process_time()
        try:
            verdict, faults = check(case, rpm)
        except Exception:
            verdict = "refused"
            faults = [" | ".join(traceback.format_exc().strip().splitlines()[-4:])]
        slowest = max(slowest, time.process_time() - start)
        counts["designs"] += 1
        counts[verdict] += 1
        counts["faults"] += bool(faults)
        for fault in faults:
            print(json.dumps({"file": f"{number} at {rpm:.0f} rev/min", "fault": fault}),
                  flush=True)
    print(json.dumps({**counts, "slowest_s": slowest}))


def check(case: Case, rpm: float) -> tuple[str, list[str]]:
    """"solved" or "refused", and everything wrong; a refusal is wrong too: the design is sound."""
    try:
        found = distrib.solve_engine(case, rpm=[rpm])
    except DistribError as error:
        return "refused", [f"refused: {str(error)[:300]}"]
    if not found.converged[0]:
        return "refused", [f"no solution: {found.reason[0] or 'no reason given'}"]
    faults = []
    air = found.air_kg_s[0]
    if not np.isfinite(air).all():
        return "solved", [f"air {air}"]
    if air.sum() <= 0.0:
        faults.append(f"the engine draws nothing: {air}")
    if abs(found.share[0].sum() - 1.0) > SAME:
        faults.append("shares do not sum to one")
    even = 100.0 * (air / air.mean() - 1.0)
    if np.abs(even - found.deviation_percent[0]).max() > 1e-6 * max(1.0, np.abs(even).max()):
        faults.append(f"deviations {found.deviation_percent[0]} of air {air}")
    faults += _filling(case, rpm, air, found.volumetric_efficiency)
    return "solved", faults


def _filling(case: Case, rpm: float, air: np.ndarray, told: np.ndarray | None) -> list[str]:
    """Filling from air, speed and charge, against what is told and what is possible."""
    swept = 0.25 * math.pi * case.engine.bore_m ** 2 * case.engine.stroke_m
    filling = (air * 120.0 / rpm / swept * _gas_constant(case)
               * case.conditions.charge_temperature_k / case.conditions.charge_pressure_pa)
    faults = []
    if filling.max() > FILLING:
        faults.append(f"a filling of {filling.max():.2f}")
    if told is not None and (np.abs(told[0] - filling) > MOIST * np.abs(filling)).any():
        faults.append(f"filling {told[0]}, but {filling} from the air")
    return faults


def _gas_constant(case: Case) -> float:
    """Gas constant of the ambient air with its moisture, J/(kg K).

    Magnus's formula for the pressure of saturation (WMO Guide 8, annex 4.B) and mixing by moles;
    molar masses 28.9647 and 18.0153 g/mol, R = 8.314463 J/(mol K).
    """
    conditions = case.conditions
    t = conditions.ambient_temperature_k - 273.15
    saturated = 611.2 * math.exp(17.62 * t / (243.12 + t))
    part = conditions.relative_humidity * saturated / conditions.ambient_pressure_pa
    return 8.314463 / (0.0289647 * (1.0 - part) + 0.0180153 * part)


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
