"""Case files that nobody meant: accepted and solved, or refused in words, soon and in little room.

Full size: 100 000 mutants. The limits of two seconds and 500 MB are the project's own requirement.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

FULL = 100_000


@pytest.mark.slow
def test_mutated_cases(size: Callable[[int, int], range],
                       reported: Callable[..., dict[str, Any]]) -> None:
    numbers = size(FULL, 200)
    counted = reported("mutated_cases.py", numbers.start, numbers.stop)
    assert counted["faults"] == 0
    assert counted["accepted"] + counted["refused"] + counted["no solution"] == len(numbers)
    assert counted["accepted"] > 0.05 * len(numbers)  # else the mutants try the reader only
    assert counted["refused"] > 0.05 * len(numbers)


@pytest.mark.slow
def test_small_files_that_would_exhaust_a_machine(
        reported: Callable[..., dict[str, Any]]) -> None:
    counted = reported("mutated_cases.py", "hostile")
    assert counted["faults"] == counted["accepted"] == counted["no solution"] == 0
