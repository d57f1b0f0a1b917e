"""What firing order does to symmetric metal is said with the result, and only there."""

from __future__ import annotations

from distrib.case.read import read_case
from distrib.cli.shares import firing_asymmetry
from distrib.cli.solved import solve_case


def test_symmetric_metal_says_what_firing_order_does() -> None:
    """1-2-4-5-3 is not its own mirror image (5-4-2-1-3), so the ends of the five differ; the
    four's 1-3-4-2 mirrored is 4-2-1-3, the same order, so its mirrored cylinders agree."""
    five = solve_case(read_case("cases/inline5_center.toml"), ("phased", "bench"), rpm=[7000.0],
                      sampled=False)
    four = solve_case(read_case("cases/inline4_center.toml"), ("phased", "bench"), rpm=[7000.0],
                      sampled=False)
    assert firing_asymmetry(five)["phased"] > 0.02
    assert firing_asymmetry(four)["phased"] < 0.001


def test_unsymmetric_metal_says_nothing() -> None:
    side = solve_case(read_case("cases/inline5_side.toml"), ("phased", "bench"), rpm=[7000.0],
                      sampled=False)
    assert firing_asymmetry(side) == {}
