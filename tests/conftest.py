"""What all tests share: hypothesis without deadlines, and the demo cases.

numba's cache needs no care here: `distrib.kernels` keeps the machine code of each state of the
sources apart (tests/test_kernels.py), so an edited kernel never runs with an old law.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from distrib.case.schema import Case

CASES = Path(__file__).parent.parent / "cases"

# The first example of a property may compile kernels, so a deadline per example says nothing.
# A run of the CI draws the same examples every time; a run by hand draws new ones.
settings.register_profile("by hand", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "by hand")


def pytest_addoption(parser: pytest.Parser) -> None:
    """The size of the harness (tests/harness): a part of its full numbers."""
    parser.addoption("--harness", type=float, default=0.002, metavar="PART",
                     help="part of the full size of tests/harness that is run: 0.002 by default, "
                          "1 for all of it (hours)")
    parser.addoption("--harness-from", type=int, default=0, metavar="NUMBER",
                     help="number of the first random file or design, to go on where one stopped")


@pytest.fixture(scope="session")
def demo_path() -> Path:
    """File of one demo case: the boosted inline five fed from the side."""
    return CASES / "inline5_side.toml"


@pytest.fixture(scope="session")
def demo_case(demo_path: Path) -> Case:
    """One demo case as read: the boosted inline five fed from the side."""
    from distrib.case.read import read_case

    return read_case(demo_path)
