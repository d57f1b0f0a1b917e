"""Measured rounds: worked examples by hand, each bar of the lock, and twenty rounds with noise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from distrib import fuelling as f
from distrib.fuelling.lock import Bar
from distrib.fuelling.trims import Policy
from distrib.results import FloatArray

from .simulated import sound

POLICIES = f.MEASURED_POLICIES


def run(
    lam: list[float], trim: list[float] | None = None, exhaust: list[float] | None = None,
    knock: list[float] | None = None,
) -> f.Run:
    """One cell; no trims, no exhaust temperature and no knock entry unless given."""
    n = len(lam)
    nan = [float("nan")] * n
    return f.Run(*(np.array([v], dtype=np.float64) for v in (
        lam, trim or [0.0] * n, exhaust or nan, knock or nan)))


RICH = [0.80, 0.80, 0.80, 0.768]  # cylinder 4 rich by 4 %
COOL = [1100.0, 1100.0, 1100.0, 1072.0]  # 7 K cooler for each percent
QUIET = [0.0] * 4


def twice(lam: list[float] = RICH, exhaust: list[float] = COOL, knock: list[float] = QUIET,
          target: float = 0.80, policy: Policy = "to-target") -> f.Round:
    one = run(lam, exhaust=exhaust, knock=knock)
    other = replace(one, exhaust_k=one.exhaust_k + 1.0)  # a run of its own reads a little different
    return f.next_round(one, target, policy=policy, before=other)


@pytest.mark.parametrize("policy", POLICIES)
def test_base_map_far_off_comes_first(policy: Policy) -> None:
    """Mean 1.00 at target 0.80: 1.00/0.80 - 1 = 25 % more fuel for all, no trim is touched, though
    the reading of 0.951 is the richest of the four."""
    made = f.next_round(run([0.951, 1.01, 1.02, 1.019]), 0.80, policy=policy)
    assert made.base_fault.all() and made.trims.base_percent == pytest.approx([25.0])
    assert np.all(made.trims.trim_percent == 0.0) and made.held.all()


@pytest.mark.parametrize("policy", POLICIES)
def test_at_target_nothing_moves_and_half_a_step_adds(policy: Policy) -> None:
    """0.828 at target 0.80 is 3.5 % lean: half a step is 1.75 %. The anchor raises the base by it;
    sum-to-zero gives half of the mean's 0.875 % to all and half of the rest to cylinder 3."""
    made = f.next_round(run([0.8] * 4), 0.80, policy=policy)
    assert not made.trims.trim_percent.any() and not made.trims.base_percent.any()
    made = f.next_round(run([0.8, 0.8, 0.828, 0.8]), 0.80, policy=policy)
    third, base = made.trims.trim_percent[0, 2], made.trims.base_percent[0]
    expected = {"richen-only": (1.75, 0.0), "to-target": (1.75, 0.0), "anchor-leanest": (0.0, 1.75),
                "sum-to-zero": (50.0 * (1.035 / 1.00875 - 1.0), 0.4375)}[policy]
    assert (third, base) == pytest.approx(expected)
    assert not np.delete(made.trims.trim_percent[0], 2).any()


def test_new_trim_from_old_worked_example() -> None:
    """Old +2 %, measured 0.824 against 0.80: 1.02 x 1.03 - 1 = 5.06 %, stopped at the cap of 5."""
    made = f.next_round(run([0.824, 0.8], [2.0, 0.0]), 0.80, policy="to-target", step=1.0)
    assert made.trims.needed_percent[0, 0] == pytest.approx(5.06)
    assert made.trims.trim_percent[0, 0] == 5.0 and made.trims.capped[0, 0]


def test_fuel_comes_off_by_half_a_step_where_all_agree_twice() -> None:
    """4 % rich: need 0.96, half of it is 2 % off; richen-only takes nothing."""
    made = twice()
    assert made.lock.open.tolist() == [[False, False, False, True]]
    assert made.trims.trim_percent[0] == pytest.approx([0.0, 0.0, 0.0, -2.0])
    assert not twice(policy="richen-only").trims.trim_percent.any()


@pytest.mark.parametrize("change, bar", [
    ({"knock": [0.0, 1.0, 0.0, 0.0]}, Bar.KNOCK),
    ({"exhaust": [1100.0, 1100.0, 1100.0, 1106.0]}, Bar.HOT),
    ({"exhaust": [1100.0, 1100.0, 1100.0, 1095.0]}, Bar.NOT_COOL),
    ({"exhaust": [1100.0, float("nan"), 1100.0, 1072.0]}, Bar.NO_EXHAUST),
    ({"knock": [0.0, float("nan"), 0.0, 0.0]}, Bar.NO_KNOCK_ENTRY),
    ({"lam": [x + 0.2 for x in RICH], "target": 1.0}, Bar.NEAR_STOICHIOMETRIC),
    ({"lam": [0.8, 0.8, 0.8, 0.793]}, Bar.NOT_RICH),
])
def test_each_bar_of_one_run(change: dict[str, object], bar: Bar) -> None:
    """Cylinder 4 is 4 % rich: its exhaust must be at least 5 x 4 - 5 = 15 K below the others'."""
    made = twice(**change)  # type: ignore[arg-type]
    assert made.lock.bar[0, 3] == bar
    assert not made.trims.trim_percent.any() and not made.lock.open.any()


@pytest.mark.parametrize("earlier, bar", [
    (None, Bar.NO_SECOND_RUN),
    (run([0.8, 0.8, 0.8, 0.795], exhaust=COOL, knock=QUIET), Bar.SECOND_NOT_RICH),
    (run(RICH, exhaust=COOL, knock=[2.0, 0.0, 0.0, 0.0]), Bar.KNOCK),
    (run(RICH, exhaust=[1100.0] * 4, knock=QUIET), Bar.SECOND_DIFFERS),
    (run(RICH, exhaust=COOL, knock=QUIET), Bar.SAME_READINGS),
    (run(RICH, [0.0, 0.0, 0.0, 1.0], [t + 1.0 for t in COOL], QUIET), Bar.TAKEN_OFF_SINCE),
])
def test_each_bar_of_the_run_before(earlier: f.Run | None, bar: Bar) -> None:
    made = f.next_round(run(RICH, exhaust=COOL, knock=QUIET), 0.80, policy="to-target",
                        before=earlier)
    assert made.lock.bar[0, 3] == bar and not made.trims.trim_percent.any()


def test_the_smaller_removal_of_two_runs_is_made() -> None:
    """The run before asked for 0.98, this one for 0.96: half of 2 % comes off."""
    earlier = run([0.8, 0.8, 0.8, 0.784], exhaust=[1100.0, 1100.0, 1100.0, 1086.0], knock=QUIET)
    made = f.next_round(run(RICH, exhaust=COOL, knock=QUIET), 0.80, policy="to-target",
                        before=earlier)
    assert made.trims.trim_percent[0, 3] == pytest.approx(-1.0)


@pytest.mark.parametrize("policy", POLICIES)
def test_base_map_comes_down_only_where_all_agree(policy: Policy) -> None:
    """All 4 % rich twice: half a step is 2 % off the base map, with one knock nothing is."""
    lam, exhaust = [0.768] * 4, [1100.0] * 4
    off = -2.0 if policy != "richen-only" else 0.0
    # the anchor and sum-to-zero too: mean beyond 2 % is a matter of the base map
    assert twice(lam, exhaust, policy=policy).trims.base_percent == pytest.approx([off])
    made = twice(lam, exhaust, [0.0, 0.0, 1.0, 0.0], policy=policy)
    assert made.trims.base_percent == [0.0] and made.base_fault.all()
    # one cylinder is not rich: the mean is, but the base map cannot come down
    made = twice([0.76, 0.76, 0.76, 0.80], [1100.0, 1100.0, 1100.0, 1135.0], policy=policy)
    assert made.base_fault.all() and made.trims.base_percent == [0.0]
    assert made.trims.trim_percent[0, 3] == 0.0


def test_a_need_beyond_the_limit_holds_the_cell() -> None:
    """12 % lean at cylinder 1, mean 1.75 % lean: a fault, not fuel; nothing is made of it."""
    made = f.next_round(run([0.896, 0.78, 0.79, 0.79]), 0.80, policy="to-target")
    assert made.trims.refused.all() and made.held.all() and not made.trims.trim_percent.any()


def test_trim_beyond_the_cap_goes_no_further_and_loses_nothing() -> None:
    made = f.next_round(run([0.82, 0.8, 0.79, 0.8], [6.0, 0.0, 0.0, 0.0]), 0.80,
                        policy="to-target")
    assert made.trims.trim_percent[0, 0] == 6.0 and made.trims.capped[0, 0]


@pytest.mark.parametrize("policy", POLICIES)
@pytest.mark.parametrize("fuel", [0.80, 0.96, 1.0, 1.03])
def test_twenty_rounds_reach_the_target_and_stay(policy: Policy, fuel: float) -> None:
    """Sound engines, lambda noise 0.3 %, exhaust 1.5 K, base map up to 20 % lean or 3 % rich.

    After ten rounds no cylinder is leaner than its target by more than the dead band of 1 % and
    three standard deviations of a reading, and none richer by more than that beside what the last
    digit of a trim and richen-only (which takes nothing off) leave.
    """
    rng = np.random.default_rng(7)
    air = np.exp(rng.normal(0.0, 0.012, (40, 4)))
    engine = sound(0.80, air, fuel, rng)
    before, history = None, []
    for _ in range(20):
        read = engine.read()
        made = f.next_round(read, engine.target, policy=policy, before=before)
        down = (made.trims.base_percent < 0.0)[:, None]  # such a run has had its answer
        before = replace(read, lambda_read=np.where(down, np.nan, read.lambda_read))
        engine.apply(made)
        history.append(engine.true_lambda() / 0.80 - 1.0)
    late: FloatArray = np.array(history[10:])
    allowed = 0.01 + 3.0 * 0.003
    assert late.max() < allowed
    if policy != "richen-only":
        assert late[-1].min() > -allowed - 0.001
        assert np.abs(late[-1].mean(axis=1)).max() < allowed
    first, last = np.array(history[10]), np.array(history[-1])
    assert np.all(last >= -allowed) or policy == "richen-only"
    assert np.abs(last - first).max() < 0.03  # what moved late came down to its target
