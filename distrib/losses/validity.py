"""Where a law holds: a box of input ranges, and a flag for every value that is asked of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
FlagArray = NDArray[np.int8]


class Flag(IntEnum):
    """How far a value can be trusted; flags of several inputs combine by the largest."""

    INSIDE = 0
    EXTRAPOLATED = 1
    REFUSED = 2


@dataclass(frozen=True)
class Range:
    """Range of one input: supported from `low` to `high`, refused outside the hard limits.

    Between the two the law still answers and the value is flagged as extrapolated. Every limit
    itself belongs to the range. NaN inputs are refused.
    """

    low: float
    high: float
    hard_low: float = -np.inf
    hard_high: float = np.inf
    unit: str = "-"

    def flags(self, values: ArrayLike) -> FlagArray:
        """Flag of each value."""
        x = np.asarray(values, dtype=np.float64)
        out = np.where((x >= self.low) & (x <= self.high), Flag.INSIDE, Flag.EXTRAPOLATED)
        refused = ~((x >= self.hard_low) & (x <= self.hard_high))
        return np.asarray(np.where(refused, Flag.REFUSED, out), dtype=np.int8)

    def words(self) -> str:
        """The supported range in words, for pages and messages."""
        unit = "" if self.unit == "-" else f" {self.unit}"
        return f"{self.low:g} to {self.high:g}{unit}"


def box_flags(box: Mapping[str, Range], inputs: Mapping[str, ArrayLike]) -> FlagArray:
    """Combined flag of inputs against a box; shapes broadcast; both must name the same inputs."""
    arrays = np.broadcast_arrays(*(np.asarray(inputs[name], dtype=np.float64) for name in box))
    worst = np.zeros(arrays[0].shape if arrays else (), dtype=np.int8)
    for limits, values in zip(box.values(), arrays, strict=True):
        worst = np.maximum(worst, limits.flags(values))
    return np.asarray(worst, dtype=np.int8)


def outside_words(box: Mapping[str, Range], inputs: Mapping[str, ArrayLike]) -> str:
    """Which inputs leave the box, with their extremes; empty when none does."""
    parts = []
    for name, limits in box.items():
        x = np.asarray(inputs[name], dtype=np.float64)
        if np.any(limits.flags(x) != Flag.INSIDE):
            parts.append(f"{name} {np.min(x):.4g} to {np.max(x):.4g} (holds {limits.words()})")
    return "; ".join(parts)
