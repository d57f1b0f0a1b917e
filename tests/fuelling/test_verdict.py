"""A cylinder out of which air flows has no mixture: neither rich nor a lambda below zero."""

from __future__ import annotations

import numpy as np

from distrib.fuelling.lambda_ import lambda_at_equal_fuel
from distrib.fuelling.verdict import side, verdicts, words


def test_backward_flow_is_no_rich_cylinder() -> None:
    share = np.array([0.6, 0.5, 0.0, -0.1])
    deviation = 100.0 * (4.0 * share - 1.0)
    found = verdicts(deviation)
    assert found.tolist() == ["lean", "lean", "backward", "backward"]
    assert verdicts(deviation, np.zeros(4)).tolist()[2:] == ["backward", "backward"]
    assert "flows back" in words("backward") and side(-140.0) == "air flows back"


def test_backward_flow_has_no_lambda() -> None:
    """By hand: lambda = target x air over mean, for the cylinders that have any."""
    found = lambda_at_equal_fuel([0.6, 0.5, 0.0, -0.1], 0.9)
    np.testing.assert_allclose(found[:2], [0.9 * 2.4, 0.9 * 2.0], rtol=1e-14)
    assert np.isnan(found[2:]).all()
    following = lambda_at_equal_fuel([0.6, 0.5, 0.0, -0.1], 0.9, air_following_fraction=1.0)
    np.testing.assert_allclose(following[:2], 0.9, rtol=1e-14)  # fuel divides as the air does
    assert np.isnan(following[2:]).all()
