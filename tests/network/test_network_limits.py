"""Closed forms: at what rate a header of N laterals tends to its limit, and the regain of a run.

The printed values themselves stand in `distrib.verification.topics.manifold` and are walked by
the test of published checks.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from distrib.network.lanes import station_block
from distrib.vectors import LANES
from distrib.verification import headers

RATE_ATOL = 0.15
"""Observed order against 1: between 16 and 32 laterals the next term b/N^2 is up to a tenth."""


def order(value: Any, limit: float) -> float:
    """Observed order between 16 and 32 laterals."""
    errors = [abs(value(n) - limit) for n in (16, 32)]
    return math.log2(errors[0] / errors[1])


@pytest.mark.parametrize("end", [0, -1])
def test_friction_free_header_tends_to_the_cosine_law_as_one_over_n(end: int) -> None:
    m = math.sqrt(1.0 / 1.5)
    limit = {0: m / math.tan(m), -1: m / math.sin(m)}[end]
    assert order(lambda n: headers.continuous(n, 1.0, 0.0)[end], limit) == pytest.approx(
        1.0, abs=RATE_ATOL)


def test_laminar_header_tends_to_the_cosh_law_as_one_over_n() -> None:
    limit = 1.0 / math.tanh(1.0)  # u(0)/u_mean = m coth m, m = 1

    def first(n: int) -> float:
        ladder = headers.capillary_ladder(n, 1.0 / n**2)
        return float(headers.relative(headers.lateral_flows(
            ladder, headers.CAPILLARY_SMOOTHING))[0])

    assert order(first, limit) == pytest.approx(1.0, abs=RATE_ATOL)


def test_friction_makes_flow_fall_and_regain_makes_it_rise_towards_the_dead_end() -> None:
    rising = headers.continuous(8, 1.0, 0.0)
    falling = headers.continuous(8, 0.0, 1.0)
    assert np.all(np.diff(rising) > 0.0)
    assert np.all(np.diff(falling) < 0.0)


def test_quadratic_ladder_obeys_its_recursion() -> None:
    """q_i^2 - q_(i+1)^2 = k Q_(i+1)^2 with Q the flow past lateral i+1 on, exact for any k."""
    k = 0.02
    lateral, header = 1e-3, 1e-2
    q = headers.lateral_flows(headers.end_fed(
        6, lateral, header, run=headers.STILL_RUN, mouth={"k_vv": 0.0}, lateral_k=0.5,
        segment_friction=k * 1.5 * (header / lateral) ** 2))
    beyond = np.cumsum(q[::-1])[::-1][1:]
    # 1e-5: density varies by 5e-6 over 5 kPa on 1 GPa
    np.testing.assert_allclose(q[:-1] ** 2 - q[1:] ** 2, k * beyond**2, rtol=1e-5)


@pytest.mark.parametrize("run, printed", [  # lateral share 0.1, 0.25, 0.5, 1
    ((0.5, -1.5, 1.0, 0.0), (1.21053, 1.14286, 1.0, 0.5)),
    ((0.4, -0.8, 0.4, 0.0), (0.978947, 0.942857, 0.866667, 0.6)),
    ((0.36, -0.98, 0.62, 0.03), (1.03624, 1.05314, 0.96651, 0.64)),
])
def test_station_regains_what_its_run_loss_implies(
    run: tuple[float, ...], printed: tuple[float, ...]
) -> None:
    """Static rise over the fall of head, closed form evaluated outside (Bassett, Idelchik,
    Rennels); heads of an incompressible stream, h = W^2."""
    for share, expected in zip((0.1, 0.25, 0.5, 1.0), printed, strict=True):
        w = np.zeros(44 * LANES)
        left, right = 1.0, 1.0 - share
        w[1 * LANES], w[5 * LANES] = left**2, right**2
        w[8 * LANES], w[9 * LANES] = left, right
        w[10 * LANES:14 * LANES:LANES] = run
        w[14 * LANES] = 2.0
        station_block.py_func(w, 1)
        rise = -w[20 * LANES]  # the residual with both static pressures zero
        assert rise / (left**2 - right**2) == pytest.approx(expected, rel=1e-5)
