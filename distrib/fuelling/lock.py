"""The evidence lock: fuel comes off a cylinder only where two runs agree that it is rich.

Lambda alone is no ground for it: a wide sensor, a leak at the bung or a late burn read wrong. What
must agree, in each of two runs: lambda richer than the target by more than the dead band, exhaust
no hotter than that mixture explains, and knock watched and not heard anywhere in the cell.

The exhaust is judged against the median of the other cylinders of the cell. Rich of lambda 1 it
gets cooler as the mixture gets richer, by about 5 to 8 K for 1 % (from memory); near and above
lambda 1 it does not tell rich from lean, so the lock stays shut there.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Any, Final

import numpy as np

from distrib.fuelling.lambda_ import port_fuel_factor
from distrib.fuelling.limits import Limits
from distrib.results import BoolArray, FloatArray, IntArray

RICH_SIDE: Final = 0.95
"""Lambda up to which a richer mixture has a cooler exhaust (from memory: the peak lies near 1)."""
TRIM_DIGIT_PERCENT: Final = 0.06
"""Trims that differ by no more than this are the same: sheets show one decimal."""


class Bar(IntEnum):
    """What bars the removal of fuel; the first that applies. OPEN: nothing does."""

    OPEN = 0
    NOT_RICH = 1
    KNOCK = 2
    NEAR_STOICHIOMETRIC = 3
    HOT = 4
    NOT_COOL = 5
    NO_EXHAUST = 6
    NO_KNOCK_ENTRY = 7
    NO_SECOND_RUN = 8
    SECOND_NOT_RICH = 9
    TAKEN_OFF_SINCE = 10
    SECOND_DIFFERS = 11
    SAME_READINGS = 12


@dataclass(frozen=True)
class Run:
    """Readings of one run over P cells and N cylinders, all (P, N).

    `lambda_read` with `trim_percent` (on all fuel at the ports) in the engine; `exhaust_k` port
    exhaust temperature; `knock` 0 watched and none, above 0 noted, NaN not watched. NaN is blank.
    """

    lambda_read: FloatArray
    trim_percent: FloatArray
    exhaust_k: FloatArray
    knock: FloatArray


@dataclass(frozen=True)
class Lock:
    """Whether fuel may come off, (P, N), and what bars it (values of `Bar`).

    `exhaust_above_k` is each port over the median of the others in this run, NaN where unknown;
    `need_before` the fuel multiplier that the run before asks for, `ratio_before` its lambda over
    the target at no less fuel than now; both NaN without one.
    """

    open: BoolArray
    bar: IntArray
    exhaust_above_k: FloatArray
    need_before: FloatArray
    ratio_before: FloatArray


def blank_run(shape: tuple[int, ...]) -> Run:
    """A run in which nothing was read."""
    nan = np.full(shape, np.nan)
    return Run(nan, nan, nan, nan)


def removal_lock(
    now: Run, before: Run, target: Any, limits: Limits, air_following_fraction: float = 0.0
) -> Lock:
    """Where fuel may come off after `now`, given the run before it; `target` (P,) lambda.

    The earlier run counts only where no fuel has come off the cylinder since: what was rich at a
    larger trim has had its answer. A cell that reads the same in both to the last digit, lambda and
    exhaust of every cylinder, was read once: every reading counts once.
    """
    goal = np.asarray(target, dtype=np.float64).reshape(-1, 1)
    first, above = _bars(now, goal, limits)
    second, _ = _bars(before, goal, limits)
    bar = np.asarray(first)
    with np.errstate(invalid="ignore"):
        since = before.trim_percent > now.trim_percent + TRIM_DIGIT_PERCENT
    known = np.isfinite(before.lambda_read) & np.isfinite(before.trim_percent)
    same = (_equal(before.lambda_read, now.lambda_read)
            & _equal(before.exhaust_k, now.exhaust_k)).all(axis=1, keepdims=True)
    for mask, value in (
        (~known, Bar.NO_SECOND_RUN), (same & known, Bar.SAME_READINGS),
        (since, Bar.TAKEN_OFF_SINCE),
        (second == Bar.KNOCK, Bar.KNOCK), (second == Bar.NOT_RICH, Bar.SECOND_NOT_RICH),
        (second != Bar.OPEN, Bar.SECOND_DIFFERS),
    ):
        bar = np.where((bar == Bar.OPEN) & mask, value, bar)
    # knock in either run is said before anything else that bars
    bar = np.where((second == Bar.KNOCK) & (bar != Bar.NOT_RICH), Bar.KNOCK, bar)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = before.lambda_read / goal
        fuel = 1.0 + before.trim_percent / 100.0
        need = fuel * port_fuel_factor(ratio, air_following_fraction)
        ratio = ratio * np.maximum(fuel / (1.0 + now.trim_percent / 100.0), 1.0)
    return Lock(bar == Bar.OPEN, bar.astype(np.int64), above, np.where(known, need, np.nan),
                np.where(known, ratio, np.nan))


def _equal(a: FloatArray, b: FloatArray) -> BoolArray:
    return np.asarray((a == b) | (np.isnan(a) & np.isnan(b)))


def _bars(run: Run, goal: FloatArray, limits: Limits) -> tuple[IntArray, FloatArray]:
    """What bars the removal by one run alone, and each port's exhaust over the others'."""
    with np.errstate(invalid="ignore"):
        ratio = run.lambda_read / goal
        rich = ratio < 1.0 - limits.dead_band_percent / 100.0
        knocked = np.broadcast_to((run.knock > 0.0).any(axis=1, keepdims=True), ratio.shape)
        above = run.exhaust_k - _median_of_others(run.exhaust_k)
        richer = (ratio / _median_of_others(ratio) - 1.0) * 100.0
        explained = limits.exhaust_slope_k * richer
        hot = above > limits.exhaust_repeat_k + np.maximum(explained, 0.0)
        not_cool = above > limits.exhaust_repeat_k + explained
        # a cell whose leanest reading or target lies near lambda 1
        near = (run.lambda_read > RICH_SIDE).any(axis=1, keepdims=True) | (goal > RICH_SIDE)
    unknown = ~np.isfinite(above) | ~np.isfinite(richer)
    bar = np.select(
        [~rich, knocked, np.broadcast_to(near, ratio.shape), hot, not_cool & ~unknown, unknown,
         ~np.isfinite(run.knock).all(axis=1, keepdims=True) & np.ones_like(rich)],
        [Bar.NOT_RICH, Bar.KNOCK, Bar.NEAR_STOICHIOMETRIC, Bar.HOT, Bar.NOT_COOL, Bar.NO_EXHAUST,
         Bar.NO_KNOCK_ENTRY], default=Bar.OPEN)
    return bar.astype(np.int64), np.asarray(above)


def _median_of_others(values: FloatArray) -> FloatArray:
    """Median over the other cylinders of each, (P, N); NaN where any is blank, or for N = 1."""
    n = values.shape[1]
    out = np.full(values.shape, np.nan)
    if n > 1:
        for c in range(n):
            out[:, c] = np.median(np.delete(values, c, axis=1), axis=1)
    return out


def bar_words(bar: int, exhaust_above_k: float) -> str:
    """What bars the removal, as the end of a sentence."""
    above = f"{exhaust_above_k:.0f} K" if np.isfinite(exhaust_above_k) else ""
    return {
        Bar.OPEN: "lambda, exhaust and knock agree over two runs",
        Bar.NOT_RICH: "not rich",
        Bar.KNOCK: "knock was noted at this cell: no fuel comes off",
        Bar.NEAR_STOICHIOMETRIC: "so near lambda 1 the exhaust does not tell rich from lean",
        Bar.HOT: f"its exhaust is {above} hotter than the others: suspect sensor, leak or timing",
        Bar.NOT_COOL: "its exhaust is not as cool as such a mixture makes it: suspect the sensor",
        Bar.NO_EXHAUST: "exhaust temperature not entered for every cylinder",
        Bar.NO_KNOCK_ENTRY: "knock not entered for every cylinder (0 for none)",
        Bar.NO_SECOND_RUN: "no second run yet",
        Bar.SECOND_NOT_RICH: "the run before did not show it rich",
        Bar.TAKEN_OFF_SINCE: "fuel came off since the run before: needs a second run at this trim",
        Bar.SAME_READINGS: "the run before holds the very same readings: that is no second run",
        Bar.SECOND_DIFFERS: "exhaust or knock of the run before do not agree",
    }[Bar(bar)]
