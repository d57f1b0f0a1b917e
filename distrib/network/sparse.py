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
from distrib.network.lanes import LANES

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
    sequence: list[tuple[int, int]] = []
    for _ in range(n):
        size = np.abs(values) * (rows[:, None] & columns[None, :])
        largest = size.max(axis=2, keepdims=True)
        good = (size >= THRESHOLD * largest) & (size > TINY)
        allowed = good.all(axis=0)
        if not allowed.any():
            # none serves every sample: take those that serve most of them
            votes = good.sum(axis=0)
            if 2 * int(votes.max()) < len(samples):
                left = [int(i) for i in np.flatnonzero(rows)]
                raise ArithmeticError(f"no pivot left in rows {left}")
            allowed = votes == votes.max()
        in_row = (live & columns[None, :]).sum(axis=1)
        in_column = (live & rows[:, None]).sum(axis=0)
        cost = np.outer(in_row - 1, in_column - 1).astype(float)
        cost -= 0.5 * (size / np.maximum(largest, 1e-300)).min(axis=0)
        cost[~allowed] = np.inf
        i, j = np.unravel_index(int(np.argmin(cost)), cost.shape)
        sequence.append((int(i), int(j)))
        values = values[size[:, i, j] > TINY]
        rows[i] = False
        columns[j] = False
        below = np.flatnonzero(live[:, j] & rows)
        right = np.flatnonzero(live[i] & columns)
        live[np.ix_(below, right)] = True
        factor = values[:, below, j] / values[:, i, j][:, None]
        values[np.ix_(np.arange(values.shape[0]), below, right)] -= (
            factor[:, :, None] * values[:, i, :][:, None, :][:, :, right]
        )
    return sequence


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
    pivot, lower, inner, upper = [], [], [], []
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
        for q in range(prog.lower_ptr[k], prog.lower_ptr[k + 1]):
            low = prog.lower[q, 0] * _L
            into = prog.lower[q, 1] * _L
            for i in range(n):
                a[low + i] /= a[piv + i]
            for i in range(n):
                b[into + i] -= a[low + i] * b[row + i]
            for u in range(prog.inner_ptr[q], prog.inner_ptr[q + 1]):
                target = prog.inner[u, 0] * _L
                source = prog.inner[u, 1] * _L
                for i in range(n):
                    a[target + i] -= a[low + i] * a[source + i]
    for s in range(prog.pivot.shape[0]):
        k = prog.pivot.shape[0] - 1 - s
        piv = prog.pivot[k, 0] * _L
        row = prog.pivot[k, 1] * _L
        column = prog.pivot[k, 2] * _L
        for q in range(prog.upper_ptr[k], prog.upper_ptr[k + 1]):
            value = prog.upper[q, 0] * _L
            other = prog.upper[q, 1] * _L
            for i in range(n):
                b[row + i] -= a[value + i] * x[other + i]
        for i in range(n):
            x[column + i] = b[row + i] / a[piv + i]
