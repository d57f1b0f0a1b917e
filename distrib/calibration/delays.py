"""How late each lambda sensor reads, from the fuel cuts of a log.

At a cut the mixture at the valves turns lean at once; the sensor shows it after the gas has reached
it (delay) and rises as a first-order instrument does (lag): a share p of the step after
delay - lag ln(1 - p). The times of 10 % and of 63.2 % of the rise give both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from distrib.calibration.log import Log, fill_gaps
from distrib.calibration.mapping import LogMapping
from distrib.results import BoolArray, FloatArray

LEAST_CUTS: Final = 3
"""Cuts from which a delay is told."""
SHORTEST_CUT_S: Final = 0.6
BEFORE_S: Final = 0.5
"""Seconds before a cut whose median is where the rise begins."""
LEAST_RISE: Final = 1.2
"""Lambda at the end of a cut over that before it, from which there is a step to see."""
EARLY: Final = 0.1
LATE: Final = 1.0 - math.exp(-1.0)


@dataclass(frozen=True)
class SensorDelay:
    """Delay and lag of one sensor, s: median over the cuts, and the bounds of the delay (smallest
    and largest of them, widened by one sample either way)."""

    cylinder: int
    cuts: int
    delay_s: float
    low_s: float
    high_s: float
    lag_s: float

    def __str__(self) -> str:
        return (f"lambda of cylinder {self.cylinder} comes {self.delay_s:.2f} s late ("
                f"{self.low_s:.2f} to {self.high_s:.2f} s over {self.cuts} fuel cuts), lag "
                f"{self.lag_s:.2f} s")


def cut_rows(log: Log, mapping: LogMapping) -> BoolArray:
    """Rows (R,) in which the fuel is cut: by the flag, or by a pulse of zero."""
    out = np.zeros(len(log.time_s), dtype=np.bool_)
    flag = log.others.get("fuel_cut")
    if flag is not None:
        out |= fill_gaps(flag) == mapping.channels["fuel_cut"].cut_when
    for row in log.others.get("pulse", ()):
        out |= fill_gaps(row) <= 0.0
    return out


def sensor_delays(log: Log, mapping: LogMapping) -> tuple[SensorDelay, ...]:
    """Delays of the sensors that at least LEAST_CUTS cuts show; empty without cuts."""
    cut = cut_rows(log, mapping)
    edge = np.diff(cut.astype(np.int8), prepend=0, append=0)
    starts, stops = np.flatnonzero(edge == 1), np.flatnonzero(edge == -1)
    found: list[SensorDelay] = []
    for c, cylinder in enumerate(log.cylinders):
        pairs = [pair for a, b in zip(starts, stops, strict=True)
                 if (pair := _one(log.time_s, log.lambda_[c], int(a), int(b))) is not None]
        if len(pairs) < LEAST_CUTS:
            continue
        delay, lag = np.array(pairs).T
        sample = float(np.median(np.diff(log.time_s)))
        found.append(SensorDelay(
            cylinder, len(pairs), float(np.median(delay)), max(float(delay.min()) - sample, 0.0),
            float(delay.max()) + sample, float(np.median(lag))))
    return tuple(found)


def _one(time: FloatArray, lam: FloatArray, start: int, stop: int) -> tuple[float, float] | None:
    """Delay and lag of one cut, rows [start, stop); None where no clean step is to be seen.

    The cut began between the row before and its first row: half way is taken.
    """
    if start == 0 or time[stop - 1] - time[start] < SHORTEST_CUT_S:
        return None
    first = int(np.searchsorted(time, time[start] - BEFORE_S))
    calm, rise = lam[first:start], lam[start:stop]
    known = np.isfinite(rise)
    if not np.isfinite(calm).any() or known.sum() < 5:
        return None
    base = float(np.nanmedian(calm))
    t, y = time[start:stop][known] - 0.5 * (time[start] + time[start - 1]), rise[known]
    top = float(np.median(y[-max(len(y) // 4, 2):]))
    if top < LEAST_RISE * base:
        return None
    share = (y - base) / (top - base)
    early, late = (_crossing(t, share, part) for part in (EARLY, LATE))
    if early is None or late is None:
        return None
    lag = (late - early) / (math.log(1.0 - EARLY) - math.log(1.0 - LATE))
    delay = early + lag * math.log(1.0 - EARLY)
    return (max(delay, 0.0), lag) if lag >= 0.0 else None


def _crossing(t: FloatArray, share: FloatArray, part: float) -> float | None:
    """When the share first passes a part for good: linear between the samples."""
    below = np.flatnonzero(share < part)
    k = int(below[-1]) + 1 if len(below) else 0
    if k == 0 or k >= len(t):
        return None
    return float(t[k - 1] + (part - share[k - 1]) / (share[k] - share[k - 1]) * (t[k] - t[k - 1]))
