"""Random designs through the models: solved, or refused with a reason that explains it.

Full size: 100 000 designs on the bench and 3000 on the engine figure.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest


@pytest.mark.slow
def test_designs_on_the_bench(size: Callable[[int, int], range],
                              reported: Callable[..., dict[str, Any]]) -> None:
    """A design that the reader accepts can be built, so every refusal is a fault."""
    numbers = size(100_000, 60)
    counted = reported("designs_on_the_bench.py", numbers.start, numbers.stop)
    assert counted["designs"] == len(numbers)
    assert counted["points"] == 5 * len(numbers)
    assert counted["faults"] == counted["refused"] == 0


@pytest.mark.slow
@pytest.mark.xfail(strict=True, reason="losses stand on the head downstream, so behind a throttle "
                   "that chokes the flow falls where the rig pulls deeper than half the ambient")
def test_designs_far_beyond_choking(reported: Callable[..., dict[str, Any]]) -> None:
    reported("designs_on_the_bench.py", 0, 30, "deep")


@pytest.mark.slow
def test_designs_on_the_engine(size: Callable[[int, int], range],
                               reported: Callable[..., dict[str, Any]]) -> None:
    numbers = size(3000, 3)
    counted = reported("designs_on_the_engine.py", numbers.start, numbers.stop)
    assert counted["designs"] == len(numbers)
    assert counted["faults"] == 0
    assert counted["solved"] > 0
