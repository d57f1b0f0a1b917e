"""Firing orders, crank offsets of each cylinder, banks.

The default orders are from memory and common practice; whoever builds a case confirms them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from distrib.results import FloatArray

CYCLE_DEG: Final = 720.0

COMMON_ORDERS: Final[dict[str, tuple[tuple[int, ...], ...]]] = {
    "inline-3": ((1, 3, 2), (1, 2, 3)),
    "inline-4": ((1, 3, 4, 2), (1, 2, 4, 3)),
    "inline-5": ((1, 2, 4, 5, 3),),
    "inline-6": ((1, 5, 3, 6, 2, 4), (1, 4, 2, 6, 3, 5)),
    "v6": ((1, 2, 3, 4, 5, 6), (1, 4, 2, 5, 3, 6), (1, 6, 5, 4, 3, 2)),
    "v8": (
        (1, 8, 4, 3, 6, 5, 7, 2), (1, 5, 4, 2, 6, 3, 7, 8), (1, 3, 7, 2, 6, 5, 4, 8),
        (1, 8, 7, 2, 6, 5, 4, 3), (1, 8, 3, 6, 4, 5, 2, 7),
    ),
    "flat-4": ((1, 3, 2, 4), (1, 4, 3, 2)),
    "flat-6": ((1, 6, 2, 4, 3, 5), (1, 6, 3, 2, 5, 4)),
}
"""Usual orders per layout, the first being the default to confirm. From memory; the four- and
one eight-cylinder order also stand in general encyclopaedias."""


def default_order(layout: str) -> tuple[int, ...]:
    """Default firing order of a layout, to be confirmed by the user. KeyError if unknown."""
    return COMMON_ORDERS[layout][0]


def order_problems(order: Sequence[int], cylinders: int) -> tuple[str, ...]:
    """What is wrong with a firing order, in words; empty when each cylinder stands once."""
    found: list[str] = []
    if len(order) != cylinders:
        found.append(f"{len(order)} numbers for {cylinders} cylinders")
    for number in range(1, cylinders + 1):
        times = list(order).count(number)
        if times != 1:
            found.append(f"cylinder {number} stands {times} times, must stand once")
    found.extend(
        f"cylinder {n} does not exist" for n in sorted(set(order)) if not 1 <= n <= cylinders
    )
    return tuple(found)


def even_intervals(cylinders: int) -> tuple[float, ...]:
    """Crank degrees between firings of an evenly firing four-stroke engine: 720/N each."""
    return (CYCLE_DEG / cylinders,) * cylinders


def tdc_offsets_deg(
    firing_order: Sequence[int], intervals_deg: Sequence[float] | None = None
) -> FloatArray:
    """Crank angle of the firing top dead centre of each cylinder, in cylinder order (N,).

    The first of the order fires at 0; `intervals_deg[k]` lies between firing k and k + 1 (the
    last back to the first), even if None. The angle of cylinder c at crank angle t is
    `(t - offset[c]) mod 720`. ValueError for an impossible order or a sum other than 720.
    """
    n = len(firing_order)
    wrong = order_problems(firing_order, n)
    if wrong:
        raise ValueError("firing order: " + "; ".join(wrong))
    steps = np.asarray(even_intervals(n) if intervals_deg is None else intervals_deg, float)
    if steps.shape != (n,) or np.any(steps < 0.0) or abs(float(steps.sum()) - CYCLE_DEG) > 1e-6:
        raise ValueError(
            f"firing intervals: {n} numbers from 0 up whose sum is 720; sum read {steps.sum():g}"
        )
    fired = np.concatenate(([0.0], np.cumsum(steps)[:-1]))
    offsets = np.empty(n)
    offsets[np.asarray(firing_order) - 1] = fired
    return offsets
