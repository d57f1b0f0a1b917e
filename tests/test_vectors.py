"""Each move of rows against numpy, also where the rows are the same row of the same array."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from distrib.kernels import kernel
from distrib.vectors import LANES, add, add_product, copy, invert, multiply, raise_to

L = LANES
# where a product and a sum round once instead of twice, of numbers up to about 10


@kernel
def moved(which: int, to: Any, a: Any, b: Any) -> None:
    """One of the moves, from row 1 of `a` and row 0 of `b` to row 2 of `to`."""
    if which == 0:
        copy(to, 2 * L, a, L)
    elif which == 1:
        add(to, 2 * L, a, L, -0.5)
    elif which == 2:
        add_product(to, 2 * L, a, L, b, 0, 3)
    elif which == 3:
        multiply(to, 2 * L, a, L, b, 0)
    elif which == 4:
        invert(to, 2 * L)
    else:
        raise_to(to, 2 * L, a, L, 1e300)


def by_numpy(which: int, to: Any, a: Any, b: Any) -> Any:
    with np.errstate(invalid="ignore"):
        bounded = np.where(np.abs(a) < 1e300, np.abs(a), 1e300)
        return [a, to - 0.5 * a, to + 3 * a * b, a * b, 1.0 / to,
                np.where(bounded > to, bounded, to)][which]


@pytest.mark.parametrize("which", range(6))
def test_a_move_is_what_numpy_does_and_touches_one_row(which: int) -> None:
    rng = np.random.default_rng(which)
    to, a, b = (rng.normal(size=4 * L) for _ in range(3))
    expected = to.copy()
    expected[2 * L:3 * L] = by_numpy(which, to[2 * L:3 * L], a[L:2 * L], b[:L])
    moved(which, to, a, b)
    np.testing.assert_allclose(to, expected, rtol=0.0, atol=4e-15)


@pytest.mark.parametrize("which", range(6))
def test_rows_of_one_array_may_be_the_same_row(which: int) -> None:
    rng = np.random.default_rng(10 + which)
    flat = rng.normal(size=5 * L)
    to = flat[:4 * L]
    expected = to.copy()
    row = to[2 * L:3 * L]
    expected[2 * L:3 * L] = by_numpy(which, row, row, row)
    moved(which, to, flat[L:], flat[2 * L:])  # all three places are row 2 of `to`
    np.testing.assert_allclose(to, expected, rtol=0.0, atol=4e-15)


def test_the_largest_keeps_what_is_not_a_number() -> None:
    to, a = np.zeros(4 * L), np.zeros(4 * L)
    a[L], a[L + 1], a[L + 2] = np.nan, -np.inf, -7.0
    moved(5, to, a, a)
    assert to[2 * L:2 * L + 4].tolist() == [1e300, 1e300, 7.0, 0.0]
