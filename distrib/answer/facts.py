"""Which facts of metal, engine and charge a case does not give, and what that costs.

A missing fact is drawn where the engine figure knows how (`build.unknowns`); besides, every one
widens the band and brings the warnings forward: with less known, a chance that would be let pass
is not. So a case with fewer facts never has the narrower band or the milder words.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from distrib.case.schema import Case
from distrib.fuelling.limits import Limits, limits

FACT_PERCENT: Final = 0.25
"""1-sigma that one missing fact adds to a cylinder beside what is drawn for it, percent points
(own choice, tried by leaving facts out of the demo cases: tests/answer/test_missing_facts.py)."""
SOONER: Final = 0.6
LEAST_LEAN_CHANCE: Final = 0.1
LEAST_WATCH_CHANCE: Final = 0.02
"""Factor on the chances from which a cylinder is lean or watched, for every missing fact, and how
far they fall at the most (own choice, tried likewise)."""
WATCH_SOONER: Final = 0.8
LEAST_WATCH: Final = 0.5
"""Factor on the watch limit for every missing fact, since a default also moves the figure itself,
and the least part of the limit that stays (own choice, tried likewise)."""
METAL: Final = ("engine", "conditions", "plenum", "entry", "runners", "runner", "balance_tube")
CLEARANCES: Final = ("roof_clearance", "wall_clearance")


def missing_facts(case: Case) -> tuple[str, ...]:
    """Fields that are not given and that the air depends on, by their names in the file."""
    out = [a.field for a in case.assumed
           if a.field.replace(" ", ".").split(".")[0] in METAL]
    out += [f"engine.{name}" for name in ("intake_valve", "exhaust_valve", "port_flow")
            if getattr(case.engine, name) is None]
    for entry in case.entries:
        if entry.supply is None:
            out += [f"entry.supply.{name} ({entry.name})"
                    for name in ("length", "diameter", "volume")]
        elif entry.supply.length_m > 0.0:
            out += [f"entry.supply.{name} ({entry.name})" for name, value in (
                ("diameter", entry.supply.diameter_m), ("volume", entry.supply.volume_m3))
                if value is None]
    out += [f"runners.{name}" for name in CLEARANCES
            if any(getattr(r, f"{name}_m") is None for r in case.runners)]
    return tuple(dict.fromkeys(out))


def extra_sigma_percent(count: int) -> float:
    """1-sigma that `count` missing facts add to a cylinder, percent points."""
    return FACT_PERCENT * float(np.sqrt(count))


def limits_of(case: Case) -> Limits:
    """Limits of a case with the reasons for what it overrides; chances and watch limit lower with
    less known."""
    own = limits(dict(case.limits.reasons), **case.limits.model_dump(exclude={"reasons"}))
    count = len(missing_facts(case))
    if count == 0:
        return own
    part = SOONER**count
    why = f"lower since {count} facts are missing" if count > 1 else "lower since 1 fact is missing"
    return replace(own, lean_chance=max(own.lean_chance * part, LEAST_LEAN_CHANCE),
                   watch_chance=max(own.watch_chance * part, LEAST_WATCH_CHANCE),
                   watch_percent=own.watch_percent * max(WATCH_SOONER**count, LEAST_WATCH),
                   reasons={**own.reasons, "lean_chance": why, "watch_chance": why,
                            "watch_percent": why})
