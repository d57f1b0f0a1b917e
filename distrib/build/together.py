"""Two engine models of one case taken together: the band spans both, either one can flag."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from distrib.results import Band, FloatArray, Shares


def spanned(first: Shares, second: Shares, lean_percent: float) -> Shares:
    """`first` with a band that also spans `second` at the same operating points.

    The deviations of `second` go along as `extra["other_deviation_percent"]` (P, N): a cylinder
    is flagged when either model flags it.

    The band of `first` keeps its width about each model's figure. The chance of exceeding the
    lean limit is the larger of both: that of `second` is read off the same band moved to its
    figure, as one at or above one half when its figure exceeds the limit. Points at which
    `second` did not converge keep the band of `first`.
    """
    if first.band is None:
        return replace(first, extra={
            **first.extra, "other_deviation_percent": second.deviation_percent})
    band = first.band
    shift = np.where(np.isfinite(second.deviation_percent),
                     second.deviation_percent - first.deviation_percent, 0.0)
    low = np.minimum(band.low_percent, band.low_percent + shift)
    high = np.maximum(band.high_percent, band.high_percent + shift)
    moved = _chance(second.deviation_percent, band, lean_percent)
    chance = np.fmax(band.chance_lean, moved)
    spread = np.stack([np.broadcast_to(first.spread_percent, second.spread_percent.shape),
                       second.spread_percent])
    half_low = first.spread_percent - band.spread_low_percent
    half_high = band.spread_high_percent - first.spread_percent
    wide = replace(
        band, low_percent=low, high_percent=high, chance_lean=chance,
        spread_low_percent=np.nanmin(spread, axis=0) - half_low,
        spread_high_percent=np.nanmax(spread, axis=0) + half_high,
    )
    extra = {**first.extra, "other_deviation_percent": second.deviation_percent}
    return replace(first, band=wide, extra=extra)


def _chance(deviation: FloatArray, band: Band, lean_percent: float) -> FloatArray:
    """Normal estimate of the chance above the limit, with the band's width about `deviation`."""
    from math import erf

    # a 90 % band of a normal quantity is 3.29 standard deviations wide
    sigma = np.maximum((band.high_percent - band.low_percent) / 3.29, 1e-9)
    z = (deviation - lean_percent) / sigma
    return np.asarray(0.5 * (1.0 + np.vectorize(erf)(z / np.sqrt(2.0))))
