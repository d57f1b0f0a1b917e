"""Which of several like parts stands out: judged against the middle one, not against the mean.

One bad part moves the mean of N by 1/N of its fault, so that every good one seems off the other
way; the middle of the set does not move with it. Of many good parts one lies two standard errors
off by chance; the more are judged at once, the farther one must lie to be named.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from distrib.results import BoolArray, FloatArray

BY_CHANCE: Final = 0.05
"""Chance that among good parts alone any is named (Bonferroni's bound over all that are judged)."""


def stands_out(
    values: FloatArray, sigma: FloatArray, judged: int
) -> tuple[FloatArray, BoolArray]:
    """Each value less the median of all, (N,), and which of them stand out.

    `sigma` are standard errors of values less their mean; beside N - 1 others that are alike the
    error of the difference is sigma N/(N - 1). `judged` parts are judged at once, of all kinds.
    """
    from scipy.stats import norm

    n = len(values)
    away = np.asarray(values - np.median(values), dtype=np.float64)
    sure = float(norm.isf(0.5 * BY_CHANCE / judged))
    return away, np.asarray(np.abs(away) > sure * sigma * n / max(n - 1, 1))
