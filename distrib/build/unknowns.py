"""What the engine figure draws beside losses and bores: pipe before the entry, ends, walls, valves.

Each has a name and a 1-sigma with its origin. The nominal design has none of them. What the case
does not give is drawn over the range that is usual, so that a case with fewer facts has a wider
band, never a narrower one.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.special import ndtr

from distrib.build.draws import Draws
from distrib.case.schema import Case, Valve
from distrib.results import FloatArray

SUPPLY_M: Final = (0.2, 2.0)
"""Pipe from cooler, filter or air box to the entry where the case is silent, drawn evenly in its
logarithm (common practice, no source)."""
SUPPLY_BORE_SIGMA: Final = 0.10
"""Relative 1-sigma of the bore of a given pipe whose bore is not (own estimate)."""
END_SIGMA: Final = 0.15
"""Relative 1-sigma of end corrections: an end without a flange has 0.61 of the radius, one in an
endless wall 0.82 (Norris and Sheng 1989); mouths beside walls and neighbors lie about them."""
EXHAUST_SIGMA: Final = 0.03
"""Relative 1-sigma of one cylinder's exhaust pressure against the mean (own estimate)."""
EXHAUST_ASSUMED_SIGMA: Final = 0.10
"""The same for the mean of all cylinders where the case does not give it (own estimate)."""
WALL_K: Final = 30.0
"""1-sigma of how much warmer than the charge the walls are; every other draw exchanges no heat, as
the nominal design (own estimate)."""
PORT_LENGTH_SIGMA: Final = 0.20
ROD_SIGMA: Final = 0.08
ROUGH_ASSUMED_SIGMA: Final = 0.30
"""Relative 1-sigma of assumed values: length of the port, rod over stroke, wall friction with a
roughness that was not given (own estimates)."""
FLOW_SIGMA: Final = 0.08
"""Relative 1-sigma of valve area without a bench figure of the port: discharge coefficients of
handbooks scatter by about 15 % (from memory), half of it shared by both valves."""
TIMING_DEG: Final = 8.0
LIFT_SIGMA: Final = 0.08
DIAMETER_SIGMA: Final = 0.04
"""1-sigma of opening and closing, lift and head diameter of valves that were assumed (own
estimates; modern four-valve heads spread about as much)."""


def evenly(draws: Draws, name: str) -> FloatArray:
    """A draw between 0 and 1, even in probability, (S,)."""
    return np.atleast_1d(np.asarray(ndtr(draws.z(name)), dtype=np.float64))


def supply_length_m(draws: Draws, entry: str) -> FloatArray | None:
    """Drawn length of the pipe before an entry that the case does not give; None: nominal."""
    if draws.samples == 0:
        return None
    low, high = SUPPLY_M
    return np.asarray(low * (high / low) ** evenly(draws, f"supply.{entry}.length"))


def wall_excess_k(draws: Draws) -> FloatArray | None:
    """Drawn excess of the walls over the charge, K, 0 without exchange of heat; None: nominal."""
    if draws.samples == 0:
        return None
    return np.asarray(WALL_K * np.maximum(draws.z("wall.temperature"), 0.0))


def was_assumed(case: Case, field: str) -> bool:
    """Whether the reader filled in this field ("engine.rod")."""
    return any(a.field == field for a in case.assumed)


def drawn_valve(valve: Valve, draws: Draws, name: str, k: int) -> Valve:
    """Sample k of a valve that was assumed: timing, lift and size about the usual ones."""
    if draws.samples == 0:
        return valve

    def z(what: str) -> float:
        return float(np.ravel(draws.z(f"{name}.{what}"))[k])

    return valve.model_copy(update={
        "opens_deg": valve.opens_deg + TIMING_DEG * z("opens"),
        "closes_deg": valve.closes_deg + TIMING_DEG * z("closes"),
        "max_lift_m": valve.max_lift_m * float(np.exp(LIFT_SIGMA * z("lift"))),
        "diameter_m": valve.diameter_m * float(np.exp(DIAMETER_SIGMA * z("diameter")))})
