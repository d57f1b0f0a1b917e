"""Windows of a log of full-throttle pulls: each passage of a cell's speed while it rises."""

from __future__ import annotations

from typing import Final

import numpy as np

from distrib.calibration.mapping import LogMapping
from distrib.results import BoolArray, FloatArray, IntArray

PULLS: Final = (
    "readings of pulls are not steady: fuel film and sensor lag smear them, so let them point the "
    "way and measure steadily before load",
    "exhaust temperatures lag by seconds and are left out of pulls: no fuel comes off on them")
LEAST_PASSED: Final = 0.7
"""Share of the cell's width in speed that a passage must run through."""


def passages(
    rpm: FloatArray, pressure: FloatArray, usable: BoolArray, mapping: LogMapping
) -> IntArray:
    """Rows [start, stop) (M, 2) in which the speed rises through a cell of the mapping at a
    pressure that stays within its limits, slowest speeds first."""
    within, rules = float(mapping.rules.pull_rpm_within or 0.0), mapping.rules
    found: list[tuple[int, int]] = []
    for centre in mapping.cell_rpm:
        inside = usable & (np.abs(rpm - centre) <= within)
        edge = np.diff(inside.astype(np.int8), prepend=0, append=0)
        for a, b in zip(np.flatnonzero(edge == 1), np.flatnonzero(edge == -1), strict=True):
            if b - a < rules.least_samples:
                continue
            rise = rpm[b - 1] - rpm[a]
            if rise >= 2.0 * LEAST_PASSED * within and np.ptp(
                    pressure[a:b]) <= 2.0 * rules.pressure_within_pa:
                found.append((int(a), int(b)))
    return np.array(found, dtype=np.int64).reshape(-1, 2)
