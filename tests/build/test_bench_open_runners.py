"""Blocked runners on the rig: no share, no deviation, and the open ones share what flows."""

from __future__ import annotations

import numpy as np

from distrib.build.bench import solve_bench
from distrib.case.read import read_case


def test_blocked_runners_have_no_share() -> None:
    case = read_case("cases/inline5_side.toml")
    two = solve_bench(case, open_runners=[2, 4])
    assert np.isnan(two.share[0, [0, 2, 4]]).all()
    assert np.isnan(two.deviation_percent[0, [0, 2, 4]]).all()
    assert abs(np.nansum(two.share[0]) - 1.0) < 1e-12
    assert abs(np.nansum(two.deviation_percent[0])) < 1e-9
    # m = 0 is solved, not set: what is left is rounding
    assert np.all(np.abs(two.air_kg_s[0, [0, 2, 4]]) < 1e-15 * two.air_kg_s[0].max())
    assert int(two.leanest_cylinder[0]) in (2, 4)


def test_one_runner_at_a_time_shows_no_header_imbalance() -> None:
    """Equal runners, one open at a time: nearly equal flows (common practice, no source); the
    rig with all of them open spreads by tens of percent."""
    case = read_case("cases/inline5_side.toml")
    alone = np.array([np.nanmax(solve_bench(case, open_runners=[c]).air_kg_s[0])
                      for c in (1, 2, 3, 4, 5)])
    together = solve_bench(case)
    assert np.ptp(alone) / alone.mean() < 0.1 * together.spread_percent[0] / 100.0
