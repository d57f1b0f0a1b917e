"""Random designs far from the starters, each a case that the reader accepts, by number."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from typing import Any

import numpy as np

from distrib.case.change import with_changes
from distrib.case.read import read_text
from distrib.case.schema import Case
from distrib.case.starters import STARTERS
from distrib.case.template import starter
from distrib.errors import InputError

START = [(layout, entry) for layout in STARTERS for entry in ("side", "center")]
TRIES = 40
"""Draws for one number; each draw is nearer to the starter, whose sizes fit together."""


@lru_cache(maxsize=32)
def start(layout: str, entry: str) -> Case:
    return read_text(starter(layout, entry))


def design(number: int) -> Case:
    """Design `number`, the same every time. Raises InputError when no draw fits together."""
    rng = np.random.default_rng([41, number])
    base = start(*START[int(rng.integers(len(START)))])
    for attempt in range(TRIES):
        reach = 1.0 - attempt / TRIES
        try:
            return with_changes(base, dict(_changes(base, rng, reach)))
        except InputError:
            continue
    raise InputError([])


def _changes(base: Case, rng: np.random.Generator, reach: float) -> Iterator[tuple[str, Any]]:
    """Names and values; `reach` 1 is as far as a design may go, 0 the starter itself."""
    def about(value: float, low: float, high: float) -> float:
        """A factor between `low` and `high`, evenly in its logarithm."""
        return float(value * np.exp(rng.uniform(np.log(low), np.log(high)) * reach))

    runner, entry = base.runners[0], base.entries[0]
    if len(base.entries) == 1:
        yield "entry.length", about(entry.length_m, 0.3, 3.0)
        yield "entry.diameter", about(entry.diameter_m, 0.6, 1.2)
        if entry.throttle is not None and rng.random() < 0.7:
            yield "entry.throttle.plate_angle", f"{rng.uniform(8.0, 90.0):.2f} deg"
    scale = about(1.0, 0.5, 1.3)
    yield "runners.diameter", runner.diameter_m * scale
    yield "runners.end_diameter", runner.end_diameter_m * scale * about(1.0, 0.8, 1.0)
    yield "runners.length", about(runner.length_m, 0.2, 3.0)
    yield "runners.roughness", about(2e-5, 0.05, 20.0)
    yield "runners.angle", f"{90.0 + reach * rng.uniform(-60.0, 60.0):.1f} deg"
    mouth = str(rng.choice(["bell", "sharp", "re-entrant", "rounded"]))
    yield "runners.mouth", mouth
    yield "runners.mouth_radius", (0.0 if mouth in ("sharp", "re-entrant")
                                   else about(0.15 * runner.diameter_m * scale, 0.2, 2.0))
    height = rng.uniform(-300.0, 4500.0)  # of the place above the sea, metres
    ambient = 101325.0 * (1.0 - 2.25577e-5 * height) ** 5.25588  # ISO 2533, troposphere
    yield "conditions.ambient_pressure", f"{ambient:.1f} Pa absolute"
    yield "conditions.ambient_temperature", f"{rng.uniform(-35.0, 50.0):.2f} degC"
    yield "conditions.relative_humidity", f"{rng.uniform(0.0, 100.0):.1f} percent"
    charge = ambient * float(rng.choice([1.0, rng.uniform(1.0, 4.9)]))
    yield "conditions.charge_pressure", f"{charge:.1f} Pa absolute"
    yield "conditions.charge_temperature", f"{rng.uniform(50.0, 120.0):.2f} degC"
    yield "engine.exhaust_pressure", f"{charge * rng.uniform(1.0, 1.5):.1f} Pa absolute"
