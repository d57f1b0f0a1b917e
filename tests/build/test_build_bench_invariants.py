"""The bench model of whole cases: batch = single, symmetry, units, one runner at a time."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from distrib.build.bench import solve_bench
from distrib.case.read import read_case
from distrib.errors import InputError

CASES = Path(__file__).parents[2] / "cases"
SAME = 1e-12
"""Relative, of air and shares: points of a batch start from its first solution, single points from
a linear guess; both stop at 1e-12 of the scales."""


@pytest.mark.parametrize("name", ["inline4_side", "inline5_center"])
def test_batch_of_depressions_equals_single_solves(name: str) -> None:
    case = read_case(CASES / f"{name}.toml")
    depressions = [500.0, 2500.0, 7000.0]
    together = solve_bench(case, depression_pa=depressions)
    for k, depression in enumerate(depressions):
        alone = solve_bench(case, depression_pa=depression)
        np.testing.assert_allclose(alone.share[0], together.share[k], rtol=SAME)
        np.testing.assert_allclose(alone.air_kg_s[0], together.air_kg_s[k], rtol=SAME)


@pytest.mark.parametrize("name", ["inline4_center", "inline5_center"])
def test_symmetric_design_has_symmetric_shares(name: str) -> None:
    share = solve_bench(read_case(CASES / f"{name}.toml")).share[0]
    np.testing.assert_allclose(share, share[::-1], rtol=1e-10)  # the requirement


def test_small_depressions_follow_the_square_root_law() -> None:
    """Flow goes with the root of the depression; 1 %: friction and density vary a little."""
    case = read_case(CASES / "inline4_side.toml")
    air = solve_bench(case, depression_pa=[500.0, 2000.0]).air_kg_s.sum(axis=1)
    assert air[1] / air[0] == pytest.approx(2.0, rel=1e-2)


def test_impossible_depression_and_unknown_runner_are_refused() -> None:
    case = read_case(CASES / "inline4_side.toml")
    with pytest.raises(InputError, match=r"above zero and up to .* half the ambient pressure"):
        solve_bench(case, depression_pa=2e5)
    with pytest.raises(InputError, match="some of the cylinders"):
        solve_bench(case, open_runners=[5])
