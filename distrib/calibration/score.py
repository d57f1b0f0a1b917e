"""How good a prediction was, judged by a later measurement: order, and hits of the stated band."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from distrib.errors import InputError, Problem
from distrib.results import BoolArray, FloatArray


@dataclass(frozen=True)
class Score:
    """Score of P points and N cylinders.

    `leanest_right` (P,): the cylinder predicted leanest measured leanest. `order` Kendall's tau of
    predicted against measured deviation, (P,), 1 right order, 0 none, -1 reversed; NaN for equal
    predictions. `hit` (P, N) measured inside the band, NaN measured counts as no observation;
    `bias_percent` (N,) mean of measured minus predicted, NaN for a cylinder never measured.
    `expected` hits by the level of the band and `chance` of so few or fewer if the band were
    true (observations taken as independent).
    """

    leanest_right: BoolArray
    order: FloatArray
    hit: BoolArray
    observed: BoolArray
    hits: int
    count: int
    expected: float
    chance: float
    bias_percent: FloatArray
    statements: tuple[str, ...]


def score(
    predicted_percent: Any, measured_percent: Any, low_percent: Any, high_percent: Any,
    level: float, measured_sigma_percent: float = 0.0,
) -> Score:
    """Compare deviations in percent, cylinders last, (P, N) or (N,).

    The band is widened by the measurement's own standard error, so that an honest prediction is
    not blamed for sensor noise. InputError when shapes differ or nothing was measured.
    """
    from scipy.stats import binom, kendalltau, norm

    predicted, measured, low, high = (
        np.atleast_2d(np.asarray(a, dtype=np.float64))
        for a in (predicted_percent, measured_percent, low_percent, high_percent)
    )
    observed = np.isfinite(measured) & np.isfinite(predicted)
    if predicted.shape != measured.shape or not observed.any():
        raise InputError([Problem(
            "measured values", f"{int(observed.sum())} values, shape {measured.shape}",
            f"values in the shape of the prediction {predicted.shape}",
        )])
    z = float(norm.ppf(0.5 + 0.5 * level))
    half_low = np.hypot(predicted - low, z * measured_sigma_percent)
    half_high = np.hypot(high - predicted, z * measured_sigma_percent)
    hit = observed & (measured >= predicted - half_low) & (measured <= predicted + half_high)
    order = np.full(len(predicted), np.nan)
    right = np.zeros(len(predicted), dtype=np.bool_)
    for k, seen in enumerate(observed):
        if seen.sum() >= 2:
            order[k] = kendalltau(predicted[k, seen], measured[k, seen]).statistic
            both = np.where(seen, predicted[k], -np.inf), np.where(seen, measured[k], -np.inf)
            right[k] = np.argmax(both[0]) == np.argmax(both[1])
    count, hits = int(observed.sum()), int(hit.sum())
    chance = float(binom.cdf(hits, count, level))
    seen_of_each = observed.sum(axis=0)
    missed = np.where(observed, measured - predicted, 0.0).sum(axis=0)
    bias = np.where(seen_of_each > 0, missed / np.maximum(seen_of_each, 1), np.nan)
    return Score(
        right, order, hit, observed, hits, count, level * count, chance, bias,
        _statements(right, order, observed, hits, count, level, chance),
    )


def _statements(
    right: BoolArray, order: FloatArray, observed: BoolArray, hits: int, count: int, level: float,
    chance: float,
) -> tuple[str, ...]:
    points = int((observed.sum(axis=1) >= 2).sum())
    out = [
        f"leanest cylinder named right at {int(right.sum())} of {points} points",
        f"{hits} of {count} cylinders fell in their band; {level * count:.1f} should have",
    ]
    if np.isfinite(order).any():
        out.append(f"order: Kendall tau {float(np.nanmean(order)):+.2f} on average "
                   "(1 right, 0 none, -1 reversed)")
    if chance < 0.05:
        out.append("the band was too narrow, or the engine does something the model lacks")
    elif hits == count and level**count < 0.05:
        out.append("the band was wider than it had to be")
    return tuple(out)
