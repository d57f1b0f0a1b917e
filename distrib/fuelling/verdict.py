"""Verdict per cylinder, lean, watch, even, rich or backward, and the words beside every number."""

from __future__ import annotations

from typing import Any, Final, Literal

import numpy as np

from distrib.fuelling.limits import DEFAULT_LIMITS, Limits

Verdict = Literal["lean", "watch", "even", "rich", "backward"]

WORDS: Final[dict[Verdict, str]] = {
    "lean": "more air at equal fuel: lean",
    "watch": "may get more air at equal fuel: may run lean, watch",
    "rich": "less air at equal fuel: rich",
    "even": "even within the limits",
    "backward": "air flows back out of it: no mixture, and no trim that helps",
}

RANK: Final[dict[Verdict, int]] = {"backward": 4, "lean": 3, "watch": 2, "rich": 1, "even": 0}


def verdicts(
    deviation_percent: Any,
    chance_lean: Any | None = None,
    limits: Limits = DEFAULT_LIMITS,
) -> np.ndarray[Any, np.dtype[np.str_]]:
    """Verdict of every cylinder from its deviation and the chance that it exceeds the lean limit.

    lean: chance at least `lean_chance` (without a chance: deviation above the lean limit);
    watch: chance at least `watch_chance`, or deviation above the watch limit; rich: deviation
    below the rich limit; else even. backward: no air at all or less (a deviation of -100 % and
    below). NaN gives an empty text. Shapes broadcast.
    """
    deviation = np.asarray(deviation_percent, dtype=np.float64)
    chance = (deviation > limits.lean_percent).astype(np.float64)
    if chance_lean is not None:
        deviation, given = np.broadcast_arrays(deviation, np.asarray(chance_lean, np.float64))
        chance = np.where(np.isnan(given), deviation > limits.lean_percent, given)
    return np.select(
        [
            ~np.isfinite(deviation),
            deviation <= -100.0,
            chance >= limits.lean_chance,
            (chance >= limits.watch_chance) | (deviation > limits.watch_percent),
            deviation < limits.rich_percent,
        ],
        ["", "backward", "lean", "watch", "rich"],
        default="even",
    )


def words(verdict: Verdict) -> str:
    """The sentence for one verdict."""
    return WORDS[verdict]


def side(deviation_percent: float) -> str:
    """Which way a deviation leans, whatever its size."""
    if deviation_percent <= -100.0:
        return "air flows back"
    if deviation_percent > 0.0:
        return "more air at equal fuel: lean side"
    if deviation_percent < 0.0:
        return "less air at equal fuel: rich side"
    return "mean air"
