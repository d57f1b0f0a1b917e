"""Starting points of a large batch: a polynomial through some of its cases that were solved.

The cases of a batch differ in a few parameters, so their solutions lie on a smooth surface over
these. A start near the answer saves Newton steps; what is solved does not change.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from distrib.kernels import in_parts, kernel
from distrib.network.compiled import Network
from distrib.vectors import LANES, add, multiply

FloatArray = NDArray[np.float64]
_L = LANES
PILOTS: Final = 4 * LANES
"""Cases that are solved first."""
LEAST_BATCH: Final = 8 * PILOTS
"""Smaller batches gain nothing."""
SPARE: Final = 2.0
"""Pilots per coefficient of the surface at least."""
SMALL: Final = 1e-3
"""Directions in which the pilots vary less than this, over the largest, are left out."""


def pilots(batch: int) -> NDArray[np.int64]:
    """Numbers of the cases to solve first, evenly spread over the batch."""
    return np.linspace(0, batch - 1, PILOTS).astype(np.int64)


def surface_start(
    network: Network, which: NDArray[np.int64], solved: FloatArray, threads: int = 1
) -> FloatArray | None:
    """Start (slots, B) of every case from the solved pilots (slots, P); None where it is no use.

    Least squares of the scaled unknowns over the directions in which the parameters of the pilots
    vary: quadratic where there are pilots enough for it, else none.
    """
    tables = [(t, t[:, which]) for t in network.params if t.size]
    varying = [(t, p, np.flatnonzero(np.ptp(p, axis=1) > 1e-9 * np.abs(p).max(axis=1)))
               for t, p in tables]
    if not any(rows.size for _, _, rows in varying):
        return None
    at = np.concatenate([p[rows] for _, p, rows in varying])
    mean, spread = at.mean(axis=1, keepdims=True), at.std(axis=1, keepdims=True)
    left, size, _ = np.linalg.svd((at - mean) / spread, full_matrices=False)
    to_axes = left[:, size > SMALL * size[0]].T / spread.T
    axes = to_axes.shape[0]
    if SPARE * (1 + axes + axes * (axes + 1) // 2) > PILOTS:
        return None
    n_p, n = network.n_pressures, int(network.topology.sizes[0])
    scalars = network.params.scalars
    terms = np.stack(_terms(to_axes @ (at - mean)))
    scaled = solved[:n] / np.where((np.arange(n) < n_p)[:, None], scalars[2, which],
                                   scalars[1, which])
    coefficients = np.linalg.lstsq(terms.T, scaled.T, rcond=None)[0]
    everywhere = np.concatenate([t[rows] for t, _, rows in varying])
    x = np.zeros((solved.shape[0], network.batch))
    axes_of_all = to_axes @ (everywhere - mean)
    in_parts(lambda first, last: fill(coefficients, axes_of_all, scalars, n_p, x, first, last),
             -(-network.batch // LANES), threads)
    x[n + 1:] = network.x_fixed
    return x


def _terms(axes: FloatArray) -> list[FloatArray]:
    """One, the axes (A, B) and their products, each (B,), in the order of `fill`."""
    count = axes.shape[0]
    return [np.ones(axes.shape[1]), *axes,
            *(axes[a] * axes[b] for a in range(count) for b in range(a, count))]


@kernel
def fill(coefficients: Any, axes: Any, scalars: Any, n_p: int, x: Any, begin: int,
         end: int) -> None:
    """Evaluate the surface, coefficients (terms, n), at axes (A, B) into the first n rows of x.

    Blocks begin..end of the batch.
    """
    count, batch = axes.shape
    terms, n = coefficients.shape
    term, y = np.ones(terms * _L), np.zeros(n * _L)
    for block in range(begin, end):
        first, lanes = block * _L, min(_L, batch - block * _L)
        for a in range(count):
            for i in range(lanes):
                term[(1 + a) * _L + i] = axes[a, first + i]
        t = 1 + count
        for a in range(count):
            for b in range(a, count):
                multiply(term, t * _L, term, (1 + a) * _L, term, (1 + b) * _L)
                t += 1
        y[:] = 0.0
        for t in range(terms):
            for k in range(n):
                add(y, k * _L, term, t * _L, coefficients[t, k])
        for k in range(n):
            unit = 2 if k < n_p else 1
            for i in range(lanes):
                x[k, first + i] = y[k * _L + i] * scalars[unit, first + i]
