"""Which of several like parts stands out: judged against the middle one, not against the mean.

One bad part moves the mean of N by 1/N of its fault, so that every good one seems off the other
way; the middle of the set does not move with it.
"""

from __future__ import annotations

import numpy as np

from distrib.results import BoolArray, FloatArray

SURE: float = 2.0
"""Standard errors from which a part is named."""


def stands_out(values: FloatArray, sigma: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Each value less the median of all, (N,), and which of them stand out.

    `sigma` are standard errors of values less their mean; beside N - 1 others that are alike the
    error of the difference is sigma N/(N - 1).
    """
    n = len(values)
    away = np.asarray(values - np.median(values), dtype=np.float64)
    return away, np.asarray(np.abs(away) > SURE * sigma * n / max(n - 1, 1))
