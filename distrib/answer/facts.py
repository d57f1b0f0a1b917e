"""Which facts of metal, engine and charge a case does not give, and what that costs."""

from __future__ import annotations

from typing import Final

import numpy as np

from distrib.case.schema import Case

FACT_PERCENT: Final = 0.25
"""1-sigma that one missing fact adds to a cylinder beside what is drawn for it, percent points
(own choice: as much as a draw of the facts that matter moves a demo case)."""
SOONER_PERCENT: Final = 0.25
SOONEST_PERCENT: Final = 1.0
"""The lean limit comes so much sooner for every missing fact, and so much at the most: with less
known a warning is due earlier (own choice)."""
METAL: Final = ("engine", "conditions", "plenum", "entry", "runner", "balance_tube")


def missing_facts(case: Case) -> tuple[str, ...]:
    """Fields that are not given and that the air depends on, by their names in the file."""
    out = [a.field for a in case.assumed
           if a.field.split(" ")[0].split(".")[0].rstrip("s") in
           {name.rstrip("s") for name in METAL}]
    if case.engine.intake_valve is None:
        out.append("engine.intake_valve")
    if case.engine.exhaust_valve is None:
        out.append("engine.exhaust_valve")
    if case.engine.port_flow is None:
        out.append("engine.port_flow")
    out += [f"entry.supply ({e.name})" for e in case.entries if e.supply is None]
    for field in ("roof_clearance", "wall_clearance"):
        if any(getattr(r, f"{field}_m") is None for r in case.runners):
            out.append(f"runners.{field}")
    return tuple(dict.fromkeys(out))


def extra_sigma_percent(count: int) -> float:
    """1-sigma that `count` missing facts add to a cylinder, percent points."""
    return FACT_PERCENT * float(np.sqrt(count))


def lean_limit_percent(case: Case, count: int) -> float:
    """Deviation that counts as lean when a chance is formed: sooner with less known."""
    return case.limits.lean_percent - min(SOONER_PERCENT * count, SOONEST_PERCENT)
