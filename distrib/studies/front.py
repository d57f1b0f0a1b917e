"""Fronts of two figures that pull against each other (both the smaller the better)."""

from __future__ import annotations

import numpy as np

from distrib.results import FloatArray, IntArray


def first_front(figures: FloatArray) -> IntArray:
    """Indices of the rows of (n, 2) that no other row beats in both, in order of the first figure.

    A row beats another when it is nowhere worse and somewhere better; of equal rows the first
    stays. Rows with NaN are never in the front. Sorting, then one pass: O(n log n).
    """
    good = np.flatnonzero(np.isfinite(figures).all(axis=1))
    order = good[np.lexsort((good, figures[good, 1], figures[good, 0]))]
    second = figures[order, 1]
    best_before = np.concatenate([[np.inf], np.minimum.accumulate(second)[:-1]])
    return np.asarray(order[second < best_before[: second.size]], dtype=np.int64)


def spaced(figures: FloatArray, front: IntArray, count: int) -> IntArray:
    """At most `count` members of a front, evenly spaced along it, both ends included."""
    if front.size <= count:
        return front
    span = np.ptp(figures[front], axis=0)
    scaled = figures[front] / np.where(span > 0.0, span, 1.0)
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(scaled, axis=0), axis=1))])
    wanted = np.linspace(0.0, along[-1], count)
    picked = {int(np.argmin(np.abs(along - w))) for w in wanted}
    return front[sorted(picked)]
