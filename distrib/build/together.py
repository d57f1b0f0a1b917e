"""Two engine models of one case taken together: the band spans both, either one can flag."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from distrib.results import Band, FloatArray, Shares


def spanned(first: Shares, second: Shares, lean_percent: float) -> Shares:
    """`first` with a band that also spans `second` at the same operating points.

    The deviations of `second` go along as `extra["other_deviation_percent"]` (P, N): a cylinder
    is flagged when either model flags it.

    Where `second` has a band, both are spanned, and the chance of exceeding the lean limit is the
    larger of both. Where it has none (or too few of its draws repeat), the band of `first` is
    taken to stand about its figure too: a guess, since waves scatter more than the network.
    Points at which `second` did not converge keep the band of `first`. The chance of being the
    leanest stays that of `first`.
    """
    if first.band is None:
        return replace(first, extra={
            **first.extra, "other_deviation_percent": second.deviation_percent})
    band, other = first.band, _band_of(second, _lent(first, second, lean_percent))
    wide = replace(
        band, low_percent=np.fmin(band.low_percent, other.low_percent),
        high_percent=np.fmax(band.high_percent, other.high_percent),
        chance_lean=np.fmax(band.chance_lean, other.chance_lean),
        spread_low_percent=np.fmin(band.spread_low_percent, other.spread_low_percent),
        spread_high_percent=np.fmax(band.spread_high_percent, other.spread_high_percent),
    )
    extra = {**first.extra, "other_deviation_percent": second.deviation_percent}
    return replace(first, band=wide, extra=extra)


def _band_of(shares: Shares, lent: Band) -> Band:
    """The own band of a result, and the lent one where it has none."""
    own = shares.band
    if own is None:
        return lent
    none = np.isnan(own.spread_low_percent)

    def either(mine: FloatArray, other: FloatArray) -> FloatArray:
        return np.where(none if mine.ndim == 1 else none[:, None], other, mine)

    return replace(
        own, low_percent=either(own.low_percent, lent.low_percent),
        high_percent=either(own.high_percent, lent.high_percent),
        chance_lean=either(own.chance_lean, lent.chance_lean),
        spread_low_percent=either(own.spread_low_percent, lent.spread_low_percent),
        spread_high_percent=either(own.spread_high_percent, lent.spread_high_percent))


def _lent(first: Shares, second: Shares, lean_percent: float) -> Band:
    """The band of `first` moved to the figures of `second`."""
    assert first.band is not None
    band = first.band
    shift = second.deviation_percent - first.deviation_percent
    more = second.spread_percent - first.spread_percent
    return replace(
        band, low_percent=band.low_percent + shift, high_percent=band.high_percent + shift,
        chance_lean=_chance(second.deviation_percent, band, lean_percent),
        spread_low_percent=band.spread_low_percent + more,
        spread_high_percent=band.spread_high_percent + more)


def _chance(deviation: FloatArray, band: Band, lean_percent: float) -> FloatArray:
    """Normal estimate of the chance above the limit, with the band's width about `deviation`."""
    from math import erf

    # a 90 % band of a normal quantity is 3.29 standard deviations wide
    sigma = np.maximum((band.high_percent - band.low_percent) / 3.29, 1e-9)
    z = (deviation - lean_percent) / sigma
    return np.asarray(0.5 * (1.0 + np.vectorize(erf)(z / np.sqrt(2.0))))
