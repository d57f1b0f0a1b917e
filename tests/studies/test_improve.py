"""The search finds the optimum where the optimum is known."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from header_model import PORTS, header
from numpy.typing import NDArray
from scipy import stats

from distrib.errors import InputError, NoSolution
from distrib.studies.front import spaced
from distrib.studies.improve import describe, improve
from distrib.studies.objective import Limit, Search
from distrib.studies.plan import Dimension

Array = NDArray[np.float64]
TAPER = (Dimension("area", bounds=(8.0, 20.0)), Dimension("ratio", bounds=(0.05, 1.5)))


def taper(points: Array) -> tuple[Array, Array]:
    spread, air = header(points[:, 0], points[:, 1])
    return spread[:, None], air[:, None]


def test_the_constructed_header_is_uniform_at_the_closed_form_taper() -> None:
    spread, air = header(np.array([8.0, 12.0, 20.0]), np.full(3, 1.0 / PORTS))
    np.testing.assert_allclose(spread, 0.0, atol=1e-9)
    # W = Q/A with Q = N sqrt(1 - W^2): Q = N A/sqrt(A^2 + N^2)
    area = np.array([8.0, 12.0, 20.0])
    np.testing.assert_allclose(air, 6.0 * area / np.hypot(area, 6.0), rtol=1e-12)
    assert header(np.array([8.0]), np.array([1.0]))[0][0] > 10.0


def test_search_finds_the_uniform_taper() -> None:
    search = Search(TAPER, np.array([10.0, 1.0]), taper, most_air_loss_percent=10.0,
                    evaluations=3000)
    found = improve(search)
    assert found.best[1] == pytest.approx(1.0 / PORTS, abs=1e-4)
    assert found.best_spread_percent < 0.01 and found.best_air_loss_percent <= 10.0
    assert found.start_spread_percent == pytest.approx(float(taper(search.start[None])[0][0, 0]))
    # The taper alone does it: at area 10 it costs 1 - 6*10/hypot(10, 6)/5.566 = 7.6 % of the air.
    assert [c.dimension for c in found.changes] == ["ratio"]
    assert found.few_changes[0] == 10.0 and found.changes[0].share_of_gain > 0.97
    assert found.changes[0].air_loss_after_percent == pytest.approx(7.56, abs=0.1)
    assert found.evaluations < 3600
    tight = improve(dataclasses.replace(search, most_air_loss_percent=5.0))
    assert [c.dimension for c in tight.changes] == ["area", "ratio"]
    assert tight.changes[-1].air_loss_after_percent <= 5.0


def test_same_seed_same_result() -> None:
    search = Search(TAPER, np.array([10.0, 1.0]), taper, evaluations=400)
    first, second = improve(search), improve(search)
    assert first.best.tobytes() == second.best.tobytes()
    assert first.archive.points.tobytes() == second.archive.points.tobytes()
    other = improve(dataclasses.replace(search, seed=2))
    assert other.archive.points.tobytes() != first.archive.points.tobytes()


def test_robust_search_prefers_the_wide_valley() -> None:
    """A narrow valley of depth 0 at 0.2 and a wide one of depth 1 at 0.7. With a scatter of 0.05
    of the made dimension, the 90 % quantile in the wide one is 1 + 2 z(0.95) 0.05 at exactly 0.7
    (|d| below its 90 % quantile), far below that of the narrow one."""
    scatter = stats.norm.ppf((np.arange(200) + 0.5) / 200, scale=0.05)

    def evaluate(points: Array) -> tuple[Array, Array]:
        x = points[:, :1] + scatter
        return np.minimum(200.0 * np.abs(x - 0.2), 1.0 + 2.0 * np.abs(x - 0.7)), np.ones_like(x)

    dimension = (Dimension("x", bounds=(0.0, 1.0)),)
    robust = improve(Search(dimension, np.array([0.5]), evaluate, evaluations=1500))
    assert robust.best[0] == pytest.approx(0.7, abs=0.01)
    expected = 1.0 + 2.0 * 0.05 * stats.norm.ppf(0.95)
    assert robust.best_spread_percent == pytest.approx(expected, abs=0.02)

    def nominal(points: Array) -> tuple[Array, Array]:
        x = points[:, :1]
        return np.minimum(200.0 * np.abs(x - 0.2), 1.0 + 2.0 * np.abs(x - 0.7)), np.ones_like(x)

    plain = improve(Search(dimension, np.array([0.5]), nominal, evaluations=1500))
    assert plain.best[0] == pytest.approx(0.2, abs=1e-3)


def two_figures(points: Array) -> tuple[Array, Array]:
    """Spread 1 + x^2 and air loss (x - 2)^2 percent of what x = 2 gives: front 0 <= x <= 2."""
    x = points[:, :1]
    return 1.0 + x**2, 1.0 - (x - 2.0) ** 2 / 100.0


def test_front_is_the_closed_form_front() -> None:
    search = Search((Dimension("x", bounds=(-5.0, 5.0)),), np.array([2.0]), two_figures,
                    most_air_loss_percent=4.0, evaluations=2000)
    found = improve(search)
    x = found.archive.points[found.front, 0]
    assert x.min() == pytest.approx(0.0, abs=0.01) and x.max() == pytest.approx(2.0, abs=0.01)
    spread, loss = found.archive.spread[found.front], found.archive.air_loss[found.front]
    np.testing.assert_allclose(np.sqrt(spread - 1.0) + np.sqrt(np.abs(loss)), 2.0, atol=0.02)
    assert found.picked.size == 5 and found.picked[0] == found.front[0]


def test_air_limit_binds_where_it_must() -> None:
    """At most 1 % loss: (x - 2)^2 = 1 at x = 1, spread 2."""
    found = improve(Search((Dimension("x", bounds=(-5.0, 5.0)),), np.array([2.0]), two_figures,
                           most_air_loss_percent=1.0, evaluations=1500))
    assert found.best[0] == pytest.approx(1.0, abs=0.005)
    assert found.best_air_loss_percent <= 1.0


def bowl(points: Array) -> tuple[Array, Array]:
    """Spread 10 + sum w (x - 1)^2: each dimension's part of the gain is w / sum w."""
    spread = 10.0 + ((points - 1.0) ** 2) @ np.array([0.1, 5.0, 3.0, 0.0])
    return spread[:, None], np.ones((points.shape[0], 1))


FOUR = tuple(Dimension(f"d{i}", "mm", bounds=(-2.0, 2.0)) for i in range(4))


def test_few_changes_name_what_buys_most() -> None:
    found = improve(Search(FOUR, np.zeros(4), bowl, evaluations=4000))
    assert [c.dimension for c in found.changes] == ["d1", "d2"]
    assert found.changes[0].share_of_gain == pytest.approx(5.0 / 8.1, abs=0.01)
    assert found.changes[1].share_of_gain == pytest.approx(8.0 / 8.1, abs=0.01)
    assert found.few_changes[[0, 3]].tolist() == [0.0, 0.0]
    assert found.changes[0].before == "0.0 mm" and str(found.changes[0].after).endswith(" mm")
    assert describe(FOUR, found.few_changes)["d0"] == "0.0 mm"


def test_envelope_is_kept_and_the_optimum_lies_on_it() -> None:
    """d1 + d2 <= 0.5 with weights 5 and 3: by Lagrange d1 = 1 - 1.5*3/8, d2 = 1 - 1.5*5/8."""
    limit = Limit("d1 + d2", np.array([0.0, 1.0, 1.0, 0.0]), 0.5)
    seen: list[float] = []

    def watched(points: Array) -> tuple[Array, Array]:
        seen.append(float((points[:, 1] + points[:, 2]).max()))
        return bowl(points)

    found = improve(Search(FOUR, np.zeros(4), watched, limits=(limit,), evaluations=5000))
    assert max(seen) <= 0.5
    assert found.best[1] == pytest.approx(1.0 - 1.5 * 3.0 / 8.0, abs=0.03)
    assert found.best[2] == pytest.approx(1.0 - 1.5 * 5.0 / 8.0, abs=0.03)
    with pytest.raises(InputError, match="the present design breaks d1"):
        improve(Search(FOUR, np.ones(4), bowl, limits=(limit,)))


@pytest.mark.parametrize("within", [False, True])
def test_what_review_refuses_is_never_proposed(within: bool) -> None:
    def refuses(point: Array) -> tuple[str, ...]:
        return ("too near the flange",) if point[1] > 0.5 else ()

    found = improve(Search(FOUR, np.zeros(4), bowl, refuses=refuses, refuses_within=within,
                           evaluations=3000))
    proposed = np.vstack([found.archive.points[found.front], found.best, found.few_changes])
    assert (proposed[:, 1] <= 0.5).all()
    assert found.best[1] == pytest.approx(0.5, abs=0.05)
    assert bool(found.refused) != within
    assert all(why == ("too near the flange",) for _, why in found.refused)
    with pytest.raises(NoSolution, match="refused: never"):
        improve(Search(FOUR, np.zeros(4), bowl, refuses=lambda p: ("never",), evaluations=200))


def test_a_costly_check_is_asked_only_of_what_would_be_proposed() -> None:
    asked: list[float] = []

    def finally_refuses(point: Array) -> tuple[str, ...]:
        asked.append(float(point[1]))
        return ("too near the flange, as the model shows",) if point[1] > 0.5 else ()

    found = improve(Search(FOUR, np.zeros(4), bowl, refuses=lambda p: (), refuses_within=True,
                           refuses_finally=finally_refuses, evaluations=1000))
    proposed = np.vstack([found.archive.points[found.front], found.best, found.few_changes])
    assert (proposed[:, 1] <= 0.5).all() and found.refused
    assert len(asked) < found.evaluations


def test_levels_and_choices_are_searched() -> None:
    dims = (Dimension("mouth", choices=("sharp", "bell", "rounded")),
            Dimension("bore", levels=(30.0, 35.0, 40.0)), Dimension("x", bounds=(0.0, 1.0)))

    def evaluate(points: Array) -> tuple[Array, Array]:
        assert set(points[:, 0]) <= {0.0, 1.0, 2.0} and set(points[:, 1]) <= {30.0, 35.0, 40.0}
        spread = 1.0 + np.array([5.0, 0.0, 2.0])[points[:, 0].astype(int)]
        spread = spread + np.abs(points[:, 1] - 35.0) + (points[:, 2] - 0.25) ** 2
        return spread[:, None], np.ones((points.shape[0], 1))

    found = improve(Search(dims, np.array([0.0, 30.0, 0.9]), evaluate, evaluations=1500))
    assert describe(dims, found.best)["mouth"] == "bell" and found.best[1] == 35.0
    assert found.best[2] == pytest.approx(0.25, abs=0.01)


def test_end_of_range_is_said_and_nothing_better_too() -> None:
    found = improve(Search((Dimension("x", bounds=(0.0, 1.0)),), np.array([0.5]),
                           lambda p: (2.0 + p, np.ones_like(p)), evaluations=300))
    assert found.best[0] == pytest.approx(0.0, abs=1e-3)
    assert "x ends at the low end of its range" in found.cautions[0]
    still = improve(Search((Dimension("x", bounds=(0.0, 1.0)),), np.array([0.5]),
                           lambda p: (2.0 + np.abs(p - 0.5), np.ones_like(p)), evaluations=300))
    assert still.cautions[-1].startswith("nothing that may be proposed within these ranges")
    assert still.changes == ()


def test_points_without_solution_are_no_candidates() -> None:
    def evaluate(points: Array) -> tuple[Array, Array]:
        spread = (points - 1.0) ** 2
        return np.where(points > 0.5, np.nan, spread), np.ones_like(points)

    found = improve(Search((Dimension("x", bounds=(-2.0, 2.0)),), np.array([0.0]), evaluate,
                           evaluations=800))
    assert found.best[0] == pytest.approx(0.5, abs=0.01) and found.best[0] <= 0.5
    with pytest.raises(NoSolution, match="present design has no solution"):
        improve(Search((Dimension("x", bounds=(-2.0, 2.0)),), np.array([1.0]), evaluate))


def test_spaced_keeps_both_ends() -> None:
    t = np.linspace(0.0, 1.0, 101) ** 3
    figures = np.stack([t, 1.0 - t], axis=1)
    picked = spaced(figures, np.arange(101), 5)
    np.testing.assert_allclose(figures[picked, 0], [0.0, 0.25, 0.5, 0.75, 1.0], atol=0.02)
