"""Sparse elimination with a pivot order fixed once per network, run on lanes.

The order is Markowitz's (fewest fill-ins first) with threshold pivoting on several sample
Jacobians of the same pattern, so that it serves open and closed valves and both directions.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from distrib.kernels import kernel
from distrib.vectors import LANES, add_product, invert, multiply

_L = LANES
THRESHOLD = 0.02
"""A pivot must be at least this part of the largest candidate of its row, in every sample."""
TINY = 1e-12
"""A pivot below this part of the largest entry of its column is taken as zero."""


class Program(NamedTuple):
    """Elimination as flat lists of positions in the value array."""

    pivot: Any  # position, row, column of each pivot in order
    lower_ptr: Any
    lower: Any  # position, row
    inner_ptr: Any
    inner: Any  # target position, source position
    upper_ptr: Any
    upper: Any  # position, column


def order(pattern: NDArray[np.bool_], samples: Sequence[NDArray[np.float64]]) -> list[
    tuple[int, int]
]:
    """Pivot sequence (row, column) for matrices of one pattern.

    `samples` are matrices (n, n) with that pattern. A pivot must serve every sample or, where
    none does, as many as possible. Raises ArithmeticError naming the rows left when fewer than
    half of the samples have a pivot, that is, when the system is singular.
    """
    n = pattern.shape[0]
    values = np.array(samples, dtype=float)
    scale = np.abs(values).max(axis=0).max(axis=0)
    values = values / np.where(scale > 0.0, scale, 1.0)
    live = pattern.copy()
    rows = np.ones(n, dtype=bool)
    columns = np.ones(n, dtype=bool)
    votes, part = _candidates(values, columns)
    sequence: list[tuple[int, int]] = []
    for _ in range(n):
        active = live & rows[:, None] & columns[None, :]
        allowed = active & (votes == values.shape[0])
        if not allowed.any():
            # none serves every sample: take those that serve most of them
            most = int(votes[active].max(initial=0))
            if 2 * most < len(samples):
                left = [int(i) for i in np.flatnonzero(rows)]
                raise ArithmeticError(f"no pivot left in rows {left}")
            allowed = active & (votes == most)
        cost = np.outer(active.sum(axis=1) - 1, active.sum(axis=0) - 1) - 0.5 * part
        cost[~allowed] = np.inf
        i, j = (int(k) for k in np.unravel_index(int(np.argmin(cost)), cost.shape))
        sequence.append((i, j))
        rows[i] = False
        columns[j] = False
        below = np.flatnonzero(active[:, j] & rows)
        right = np.flatnonzero(active[i] & columns)
        live[np.ix_(below, right)] = True
        kept = values[np.abs(values[:, i, j]) > TINY]
        every = np.arange(kept.shape[0])
        factor = kept[:, below, j] / kept[:, i, j][:, None]
        kept[np.ix_(every, below, right)] -= factor[:, :, None] * kept[:, i, right][:, None, :]
        # only the rows below have changed, unless samples without this pivot fell away
        changed = below if kept.shape[0] == values.shape[0] else np.arange(n)
        values = kept
        votes[changed], part[changed] = _candidates(values[:, changed], columns)
    return sequence


def _candidates(values: NDArray[np.float64], columns: NDArray[np.bool_]) -> tuple[
    NDArray[np.int64], NDArray[np.float64]
]:
    """How many samples each entry serves as a pivot, and its least part of the row's largest."""
    size = np.abs(values) * columns
    largest = size.max(axis=2, keepdims=True, initial=0.0)
    good = (size >= THRESHOLD * largest) & (size > TINY)
    part = size / np.maximum(largest, 1e-300)
    return good.sum(axis=0), part.min(axis=0, initial=np.inf)


def program(
    pattern: NDArray[np.bool_], sequence: Sequence[tuple[int, int]]
) -> tuple[Program, NDArray[np.int64]]:
    """Elimination lists for a pivot sequence, and positions (n, n) of the values (-1: zero)."""
    n = pattern.shape[0]
    full = pattern.copy()
    rows = np.ones(n, dtype=bool)
    columns = np.ones(n, dtype=bool)
    steps: list[tuple[list[int], list[int]]] = []
    for i, j in sequence:
        rows[i] = False
        columns[j] = False
        below = [int(k) for k in np.flatnonzero(full[:, j] & rows)]
        right = [int(k) for k in np.flatnonzero(full[i] & columns)]
        full[np.ix_(below, right)] = True
        steps.append((below, right))
    position = np.full((n, n), -1, dtype=np.int64)
    position[full] = np.arange(int(full.sum()))
    pivot: list[Any] = []
    lower: list[Any] = []
    inner: list[Any] = []
    upper: list[Any] = []
    lower_ptr, inner_ptr, upper_ptr = [0], [0], [0]
    for (i, j), (below, right) in zip(sequence, steps, strict=True):
        pivot.append((position[i, j], i, j))
        for k in below:
            lower.append((position[k, j], k))
            inner.extend((position[k, q], position[i, q]) for q in right)
            inner_ptr.append(len(inner))
        lower_ptr.append(len(lower))
        upper.extend((position[i, q], q) for q in right)
        upper_ptr.append(len(upper))

    def ints(data: list[Any], width: int) -> NDArray[np.int64]:
        return np.array(data, dtype=np.int64).reshape(-1, width)

    return (
        Program(
            ints(pivot, 3), np.array(lower_ptr), ints(lower, 2), np.array(inner_ptr),
            ints(inner, 2), np.array(upper_ptr), ints(upper, 2),
        ),
        position,
    )


@kernel
def solve_lanes(prog: Any, a: Any, b: Any, x: Any, n: int) -> None:
    """Solve A x = b on n lanes; `a` and `b` are overwritten."""
    for k in range(prog.pivot.shape[0]):
        piv = prog.pivot[k, 0] * _L
        row = prog.pivot[k, 1] * _L
        invert(a, piv)
        for q in range(prog.lower_ptr[k], prog.lower_ptr[k + 1]):
            low = prog.lower[q, 0] * _L
            into = prog.lower[q, 1] * _L
            multiply(a, low, a, low, a, piv)
            add_product(b, into, a, low, b, row, -1.0)
            for u in range(prog.inner_ptr[q], prog.inner_ptr[q + 1]):
                add_product(a, prog.inner[u, 0] * _L, a, low, a, prog.inner[u, 1] * _L, -1.0)
    for s in range(prog.pivot.shape[0]):
        k = prog.pivot.shape[0] - 1 - s
        piv = prog.pivot[k, 0] * _L
        row = prog.pivot[k, 1] * _L
        column = prog.pivot[k, 2] * _L
        for q in range(prog.upper_ptr[k], prog.upper_ptr[k + 1]):
            add_product(b, row, a, prog.upper[q, 0] * _L, x, prog.upper[q, 1] * _L, -1.0)
        multiply(x, column, b, row, a, piv)
