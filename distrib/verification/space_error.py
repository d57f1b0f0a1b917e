"""Error of the engine figure beside the own three-dimensional computation, as a few constants.

What is found in three dimensions is modelled as

    reference = (1 + G z) engine figure + e

with one normal number z for a point and one error e for a cylinder, normal with the standard
deviation c Z; Z is the Mach number of a runner at mean piston speed
(`answer.model_error.runner_mach`). The
errors of one point sum to zero, as deviations do. So waves and jets, which grow with the Mach
number, are missed in proportion to it, and the spread as a whole by the factor 1 + G z.

An error of the same size at all speeds tells less of designs left out of the fit (`left_out`); it
is kept here to show that. The constants that bands use stand in `distrib.answer.model_error`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from distrib.results import FloatArray
from distrib.verification.space import Pair

Form = Literal["mach", "constant"]

_C = np.arange(0.0, 8.0, 0.02)[:, None]
_G = np.arange(0.0, 0.61, 0.02)[None, :]
_LEAST_PERCENT = 0.05
"""Smallest standard deviation considered: the reference repeats no better."""


@dataclass(frozen=True)
class ErrorFit:
    """Most likely constants of a form, and the log likelihood of the points of the fit.

    `error`: c of "mach", or the standard deviation itself of "constant", points; `spread_sigma`: G.
    """

    form: Form
    error: float
    spread_sigma: float
    log_likelihood: float


@dataclass(frozen=True)
class Coverage:
    """How bands fare over some points: part of the figures `inside`, mean width in points, and the
    mean width that would hold 95 %, all bands stretched alike about their middles.
    """

    inside: float
    width_percent: float
    width_for_95_percent: float


@dataclass(frozen=True)
class LeftOut:
    """Fits on all designs but one, tried on that one, for every design.

    `deviations`: coverage of the 90 % bands; `spreads`: part of points whose spread lies in its
    own 90 % band; the log likelihood of all points.
    """

    form: Form
    deviations: Coverage
    spreads: float
    log_likelihood: float


def coverage(chosen: Sequence[Pair], low_percent: Sequence[FloatArray],
             high_percent: Sequence[FloatArray]) -> Coverage:
    """Bands (N,) of each point beside the reference."""
    low, high = np.concatenate(low_percent), np.concatenate(high_percent)
    theirs = np.concatenate([p.reference.deviation_percent for p in chosen])
    reach = np.abs(theirs - 0.5 * (low + high)) / (0.5 * (high - low))
    width = float(np.mean(high - low))
    return Coverage(float(np.mean(reach <= 1.0)), width,
                    width * float(np.percentile(reach, 95.0)))


def _size(pair: Pair, form: Form) -> float:
    """What multiplies the constant of a form at a point."""
    return pair.runner_mach if form == "mach" else 1.0


def log_likelihood(pair: Pair, form: Form, error: FloatArray,
                   spread_sigma: FloatArray) -> FloatArray:
    """Log likelihood of a point, constants aside; closed form of the rank-one covariance.

    The N deviations have N - 1 degrees of freedom; errors are drawn N/(N-1) wider in variance so
    that each keeps its standard deviation when their mean is taken off.
    """
    e, d = pair.residual_percent, pair.engine_percent
    n = e.size
    s2 = np.maximum(error * _size(pair, form), _LEAST_PERCENT) ** 2 * n / (n - 1.0)
    g2 = spread_sigma**2
    quadratic = (e @ e - g2 * (e @ d) ** 2 / (s2 + g2 * (d @ d))) / s2
    return np.asarray(-0.5 * ((n - 1.0) * np.log(s2) + np.log1p(g2 * (d @ d) / s2) + quadratic))


def fit(chosen: Sequence[Pair], form: Form = "mach") -> ErrorFit:
    """Most likely constants over some points, on a grid of c and G. ValueError without points."""
    if not chosen:
        raise ValueError("no points to fit to")
    error = _C if form == "mach" else 0.25 * _C  # Z is 0.1 to 0.3
    total = sum((log_likelihood(p, form, error, _G) for p in chosen),
                np.zeros((_C.size, _G.size)))
    i, j = np.unravel_index(int(np.argmax(total)), total.shape)
    return ErrorFit(form, float(error[i, 0]), float(_G[0, j]), float(total[i, j]))


def draws(pair: Pair, found: ErrorFit, samples: int, rng: np.random.Generator) -> FloatArray:
    """Deviations (samples, N) of one point under the fitted error."""
    n = pair.engine_percent.size
    sigma = max(found.error * _size(pair, found.form), _LEAST_PERCENT) * np.sqrt(n / (n - 1.0))
    e = sigma * rng.standard_normal((samples, n))
    stretch = 1.0 + found.spread_sigma * rng.standard_normal((samples, 1))
    return np.asarray(stretch * pair.engine_percent + e - e.mean(axis=1, keepdims=True))


def left_out(chosen: Sequence[Pair], form: Form = "mach", samples: int = 4000,
             seed: int = 1) -> LeftOut:
    """Every design in turn judged by constants fitted to the others."""
    rng = np.random.default_rng(seed)
    tried: list[Pair] = []
    edges, spreads, total = [], [], 0.0
    for name in dict.fromkeys(p.reference.design for p in chosen):
        found = fit([p for p in chosen if p.reference.design != name], form)
        for pair in (p for p in chosen if p.reference.design == name):
            made = draws(pair, found, samples, rng)
            tried.append(pair)
            edges.append(np.percentile(made, [5.0, 95.0], axis=0))
            least, most = np.percentile(np.ptp(made, axis=1), [5.0, 95.0])
            spreads.append(bool(least <= np.ptp(pair.reference.deviation_percent) <= most))
            total += float(log_likelihood(pair, form, np.array(found.error),
                                          np.array(found.spread_sigma)))
    low, high = zip(*edges, strict=True)
    return LeftOut(form, coverage(tried, low, high), float(np.mean(spreads)), total)
