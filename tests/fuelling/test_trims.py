"""Trim policies, caps, bases, verdicts: worked examples and the rules that keep trims safe."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from distrib import fuelling as f
from distrib.fuelling import trims as t

AIR = np.array([1.03, 0.99, 0.98, 1.0])


def test_percent_on_total_pulse_example() -> None:
    # 2 ms total, 1 ms dead: +5 % total is +10 % fuel
    assert t.convert_percent(5.0, "total pulse", "fuel", 2e-3, 1e-3) == pytest.approx(10.0)
    assert t.convert_percent(10.0, "fuel", "total pulse", 2e-3, 1e-3) == pytest.approx(5.0)
    assert t.convert_percent(4.0, "effective pulse", "fuel", 2e-3, 1e-3) == pytest.approx(4.0)
    with pytest.raises(ValueError, match="nothing is injected"):
        t.convert_percent(5.0, "fuel", "total pulse", 1e-3, 1e-3)
    with pytest.raises(ValueError, match="allowed: fuel, effective pulse, total pulse"):
        t.convert_percent(5.0, "duty", "fuel", 2e-3, 1e-3)  # type: ignore[arg-type]


def test_predicted_default_is_richen_only_half_step() -> None:
    plan = f.plan(AIR, policy="richen-only")
    assert plan.trim_percent[0].tolist() == pytest.approx(
        [0.5 * max(a / np.mean(AIR) - 1.0, 0.0) * 100 for a in AIR]
    )
    assert plan.trim_percent.min() == 0.0
    assert plan.mean_percent[0] > 0.0
    assert t.STARTING_POINT in plan.cautions


@pytest.mark.parametrize("policy", ["sum-to-zero", "to-target"])
def test_what_takes_fuel_off_is_only_for_measured_data(policy: t.Policy) -> None:
    with pytest.raises(t.TrimError, match="on a prediction alone"):
        f.plan(AIR, policy=policy)


def test_predicted_anchor_raises_the_base_map_only() -> None:
    predicted = f.plan(AIR, policy="anchor-leanest")
    assert predicted.base_percent[0] == pytest.approx(1.5)
    assert np.all(predicted.trim_percent == 0.0)


def test_caps_warnings_and_refusal() -> None:
    wide = np.array([1.09, 0.97, 0.97, 0.97])
    plan = f.plan(wide, policy="richen-only", step=1.0)
    assert plan.trim_percent[0, 0] == 5.0 and plan.capped[0, 0] and plan.warned[0, 0]
    assert any("measure that cylinder first" in c for c in plan.cautions)
    bad = f.plan(np.array([1.12, 0.96, 0.96, 0.96]), policy="richen-only")
    assert bad.refused[0] and np.isnan(bad.trim_percent).all()
    assert any("fault or re-work" in c for c in bad.cautions)


def test_a_point_without_solution_is_refused_but_no_fault() -> None:
    both = np.array([AIR, np.full(4, np.nan)])
    plan = f.plan(both, policy="richen-only")
    assert plan.refused.tolist() == [False, True] and not plan.capped[1].any()
    assert not any("fault" in c for c in plan.cautions)


def test_override_of_a_limit_is_recorded() -> None:
    loose = f.limits({"richen_cap_percent": "measured last season"}, richen_cap_percent=6.0)
    assert loose.overridden() == (
        "richen_cap_percent is 6 instead of 5: measured last season",
    )
    assert loose.origin("richen_cap_percent") == "set in the case: measured last season"
    assert f.DEFAULT_LIMITS.overridden() == ()


@pytest.mark.parametrize("mode", ["batch", "paired"])
def test_batch_and_paired_are_refused_with_reason(mode: str) -> None:
    with pytest.raises(t.TrimError, match=f"{mode} injection fires several injectors"):
        f.check_injection(mode)
    f.check_injection("sequential")


@given(
    st.lists(st.floats(0.92, 1.08), min_size=3, max_size=8),
    st.floats(0.05, 1.0),
    st.sampled_from(["richen-only", "anchor-leanest"]),
)
def test_prediction_never_takes_fuel_away(air: list[float], step: float, policy: str) -> None:
    plan = f.plan(air, policy=policy, step=step)  # type: ignore[arg-type]
    good = ~plan.refused
    total = (1 + plan.base_percent[:, None] / 100) * (1 + plan.trim_percent / 100)
    assert np.all(total[good] >= 1.0 - 1e-12)
    assert np.all(plan.trim_percent[good] <= 5.0 + 1e-12)


def test_sign_flips_in_words() -> None:
    cells = np.zeros((2, 2, 3))
    cells[0, 0, 1], cells[1, 0, 1] = 2.0, -1.5
    cells[0, 0, 2], cells[0, 1, 2] = 0.2, -2.0
    found = f.sign_flips(cells, "rpm", [3000, 4000], "kPa", [100, 200])
    assert len(found) == 1
    assert found[0].startswith("cylinder 2: +2.0 % at rpm 3000 but -1.5 % at rpm 4000 (kPa 100)")
    cells[0, 0, 2] = 1.0
    assert any("kPa 200 (rpm 3000)" in x for x in
               f.sign_flips(cells, "rpm", [3000, 4000], "kPa", [100, 200]))


def test_verdicts_follow_chance_then_figure() -> None:
    deviation = np.array([3.5, 2.0, 0.5, 0.5, -3.5, 0.0, np.nan])
    chance = np.array([0.6, 0.3, 0.12, 0.05, 0.0, 0.0, 0.0])
    assert f.verdicts(deviation, chance).tolist() == [
        "lean", "watch", "watch", "even", "rich", "even", ""
    ]
    assert f.verdicts(deviation[:3]).tolist() == ["lean", "watch", "even"]
    # a figure above the limit whose band says "less than half" is watched, not lean
    assert f.verdicts(3.1, 0.45) == "watch"


def test_words_say_which_way_lean_goes() -> None:
    assert f.words("lean") == "more air at equal fuel: lean"
    assert f.words("rich") == "less air at equal fuel: rich"
    assert f.side(-0.1) == "less air at equal fuel: rich side"
