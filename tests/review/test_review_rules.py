"""Every rule fires when it must, stays quiet on a sound case, and explains itself."""

from __future__ import annotations

from pathlib import Path

import pytest
from review_cases import both, part, plenum, runners, shares, sound, top
from review_firing import FIRING, STILL_QUIET, Fire, lean

from distrib.errors import InputError
from distrib.review import RULES, review
from distrib.review.catalogue import rule
from distrib.review.rules import Limits, Rule
from distrib.review.run import evaluate
from distrib.review.subject import Subject

ROOT = Path(__file__).parents[2]
IDS = [r.id for r in RULES]
SOUND_SHARES = (
    shares(chance_lean=0.0),
    shares((-1.0, -0.5, 0.5, 1.0), "bench"),
)
VALUE_RTOL = 2e-3
"""Hand-worked values carry the digits of the table's expressions; plate coefficients four."""


def fire_id(fire: Fire) -> str:
    return f"{fire.rule}-{fire.verdict}"


@pytest.mark.parametrize("rule_id", IDS)
def test_sound_case_keeps_the_rule_quiet(rule_id: str) -> None:
    finding = evaluate(rule(rule_id), Subject(sound(), SOUND_SHARES))
    assert (finding.verdict, finding.todo) == ("ok", ""), finding.text


@pytest.mark.parametrize("rule_id,change", STILL_QUIET)
def test_other_sound_designs_keep_the_rule_quiet(rule_id: str, change: object) -> None:
    finding = evaluate(rule(rule_id), Subject(change(sound()), SOUND_SHARES))  # type: ignore[operator]
    assert finding.verdict == "ok", finding.text


@pytest.mark.parametrize("fire", FIRING, ids=fire_id)
def test_rule_fires(fire: Fire) -> None:
    case = fire.change(sound())
    finding = evaluate(rule(fire.rule), Subject(case, fire.shares))
    assert finding.verdict == fire.verdict, finding.text
    assert finding.todo
    if fire.value is not None:
        assert finding.value == pytest.approx(fire.value, rel=VALUE_RTOL)
    if fire.verdict == "missing":
        assert "missing on the drawing" in finding.text and finding.value is None


def test_every_rule_has_a_firing_case() -> None:
    fired = {(f.rule, f.verdict) for f in FIRING}
    assert {name for name, _ in fired} == set(IDS)
    lacking = [r.id for r in RULES if r.hard is not None and (r.id, "change") not in fired]
    lacking += [r.id for r in RULES if r.limit is not None and (r.id, "ask") not in fired]
    assert lacking == []


@pytest.mark.parametrize("item", RULES, ids=IDS)
def test_rule_explains_itself(item: Rule) -> None:
    assert item.title and item.checks and item.why and item.todo and item.origin.text
    assert item.origin.kind in (
        "published", "computed", "common practice", "from memory", "own estimate",
    )  # fmt: skip
    assert (item.limit is None) == (item.sense == "report")
    if item.hard is not None and item.limit is not None:
        assert Limits(item.limit, None, item.sense).beyond(item.hard, item.limit)


def test_ids_are_unique_and_plain() -> None:
    assert len(set(IDS)) == len(IDS)
    assert all(i == i.lower() and " " not in i for i in IDS)


def test_override_is_used_and_shown() -> None:
    limit = _override("area-ratio", 0.9)
    case = both(plenum(0.090), limit)(sound())
    finding = review(case, SOUND_SHARES).finding("area-ratio")
    assert finding.verdict == "ok" and finding.value == pytest.approx(0.790, abs=1e-3)
    assert (finding.limit, finding.standard_limit, finding.overridden) == (0.9, 0.7, True)
    assert finding.override_reason == "bench data at hand"


def test_beyond_an_override_is_a_change() -> None:
    case = both(plenum(0.090), _override("area-ratio", 0.75))(sound())
    assert review(case, SOUND_SHARES).finding("area-ratio").verdict == "change"


def test_override_of_a_rule_without_hard_limit_asks() -> None:
    case = _override("dead-length-long", 0.5)(sound())
    assert review(case, SOUND_SHARES).finding("dead-length-long").verdict == "ask"


def test_bad_overrides_are_all_named() -> None:
    case = both(_override("area-ration", 0.9), _override("marks", 1.0), _override("gasket", 1.0))(
        sound()
    )
    with pytest.raises(InputError) as caught:
        review(case)
    assert len(caught.value.problems) == 2
    text = str(caught.value)
    assert "area-ratio" in text and "a rule that has a limit" in text


def test_override_twice_is_refused() -> None:
    case = both(_override("gasket", 1.0), _override("gasket", 2.0))(sound())
    with pytest.raises(InputError, match="one limit for a rule"):
        review(case)


def test_lean_limits_of_the_case_are_used_and_shown() -> None:
    change = part(
        "limits",
        watch_percent=4.5,
        lean_percent=6.0,
        reasons=(("watch_percent", "rich base map"),),
    )
    finding = review(change(sound()), lean(4.0)).finding("lean-risk")
    assert finding.verdict == "ok" and finding.limit == 4.5
    assert finding.overridden and finding.override_reason == "rich base map"


def test_lean_is_said_in_words() -> None:
    text = review(sound(), lean(4.0)).finding("lean-risk").text
    assert "more air at equal fuel burns lean" in text and "cylinder 4" in text


@pytest.mark.parametrize(("part_of_one", "words"), [
    (0.0, "under 1 %"), (0.02, "2 %"), (0.09, "9 %"), (1.0, "over 99 %")])
def test_a_chance_from_samples_is_never_nought_or_all(part_of_one: float, words: str) -> None:
    text = review(sound(), lean(1.0, chance=part_of_one)).finding("lean-risk").text
    assert f"the chance of passing the lean limit is {words}" in text
    assert "by the band at 3000 rev/min" in text


def test_worst_speed_is_named() -> None:
    import dataclasses

    import numpy as np

    found = shares((-1.0, -1.0, 0.0, 2.0))
    steeper = np.array([[1.0], [1.5]]) * found.deviation_percent
    found = dataclasses.replace(found, deviation_percent=steeper,
                                spread_percent=np.array([3.0, 4.5]))
    result = review(sound(), (found,))
    spread, risk = result.finding("spread"), result.finding("lean-risk")
    assert spread.text.startswith("engine model: largest spread 4.5 % at 6500 rev/min")
    assert (spread.verdict, spread.value) == ("ask", 4.5)
    assert "engine model: cylinder 4 gets +3.0 % air at 6500 rev/min" in risk.text
    assert risk.value == pytest.approx(3.0)


def test_a_rig_figure_is_no_lean_risk_and_no_spread_of_the_engine() -> None:
    result = review(sound(), shares((-9.0, -1.0, 0.0, 10.0), "bench"))
    assert "no model has run" in result.finding("spread").text
    risk = result.finding("lean-risk")
    assert risk.verdict == "ask" and "lean risk is not known" in risk.text
    assert result.finding("bench-spread").value == pytest.approx(19.0)


def test_a_wide_band_takes_the_tenths_away() -> None:
    import dataclasses

    import numpy as np

    found = shares((-10.04, 0.0, 0.0, 10.04), "bench", chance_lean=0.5)
    text = review(sound(), found).finding("bench-spread").text
    assert "largest spread 20 % at 3000 rev/min (band 0 to 9 %)" in text  # the helper's own band
    assert found.band is not None
    narrow = dataclasses.replace(found, band=dataclasses.replace(
        found.band, spread_low_percent=np.array([19.5, 19.5]),
        spread_high_percent=np.array([20.6, 20.6])))
    text = review(sound(), narrow).finding("bench-spread").text
    assert "largest spread 20.1 % at 3000 rev/min (band 19.5 to 20.6 %)" in text


def test_rules_with_nothing_to_check_are_told_apart() -> None:
    result = review(sound(), SOUND_SHARES)
    idle = {f.id for f in result.idle}
    assert "balance-tube" in idle and "area-ratio" not in idle
    assert all(f.verdict == "ok" and f.text.startswith("does not apply") for f in result.idle)
    assert all(f.applies for f in result.findings if f.id not in idle)


def test_without_models_the_estimate_is_named() -> None:
    result = review(sound())
    assert "volumetric efficiency 1" in result.flow_basis and result.models == ()
    assert "no model has run" in result.finding("spread").text
    assert "engine model" in review(sound(), shares()).finding("plenum-mach").text


def test_engine_model_decides_the_tuned_speed() -> None:
    import dataclasses

    import numpy as np

    speeds = np.array([3000.0, 5000.0, 7000.0])
    filling = np.array([[0.9] * 4, [1.05] * 4, [0.95] * 4])
    found = dataclasses.replace(
        shares(),
        conditions={"rpm": speeds},
        volumetric_efficiency=filling,
    )
    finding = review(sound(), found).finding("runner-tuning")
    assert (finding.verdict, finding.value) == ("ok", 5000.0)
    slow = part("conditions", wanted_rpm=(2000.0, 2500.0))(sound())
    assert review(slow, found).finding("runner-tuning").verdict == "ask"


def test_points_that_did_not_converge_are_left_out() -> None:
    import dataclasses

    import numpy as np

    good = shares((-0.5, 0.0, 0.0, 0.5))
    spoiled = dataclasses.replace(
        good,
        converged=np.array([True, False]),
        deviation_percent=np.array([good.deviation_percent[0], [np.nan] * 4]),
        spread_percent=np.array([1.0, np.nan]),
        air_kg_s=np.array([good.air_kg_s[0], [np.nan] * 4]),
    )
    finding = review(sound(), spoiled).finding("spread")
    assert finding.value == pytest.approx(1.0)
    nothing = dataclasses.replace(spoiled, converged=np.array([False, False]))
    assert "no model has run" in review(sound(), nothing).finding("spread").text


def test_result_counts_and_order() -> None:
    result = review(both(plenum(0.075), top(structure=None))(sound()), SOUND_SHARES)
    assert result.failed
    assert sum(result.count(v) for v in ("ok", "ask", "change", "missing")) == len(RULES)
    verdicts = [f.verdict for f in result.ordered]
    assert verdicts == sorted(verdicts, key=["change", "missing", "ask", "ok"].index)
    assert any("licensed" in c for c in result.cautions)
    with pytest.raises(KeyError):
        result.finding("no-such-rule")


def test_structure_findings_carry_the_caution() -> None:
    spoiled = part("structure", panel_width_m=0.2, wall_thickness_m=0.002)(sound())
    finding = review(spoiled, SOUND_SHARES).finding("panel-stress")
    assert finding.verdict == "change" and "licensed engineer" in finding.todo


def _override(rule_id: str, limit: float):  # type: ignore[no-untyped-def]
    from distrib.case.schema import ReviewLimit

    made = ReviewLimit(rule=rule_id, limit=limit, reason="bench data at hand")
    return lambda case: case.model_copy(update={"review": (*case.review, made)})


def test_wall_of_a_box_is_the_panel_when_none_is_given() -> None:
    from distrib.case import schema

    box = schema.Section(at_m=0.0, area_m2=0.08 * 0.1, perimeter_m=0.36, width_m=0.08, height_m=0.1)
    case = both(
        part("structure", panel_width_m=None, panel_length_m=None),
        plenum(shape="rectangle", sections=(box,)),
    )(sound())
    finding = review(case, SOUND_SHARES).finding("panel-stress")
    stress = 0.5 * 98675.0 * (0.1 / 0.005) ** 2  # strip, long side 406 mm
    assert finding.value == pytest.approx(stress / 87.5e6, rel=2e-3)
    assert "whole plenum wall" in finding.text


def test_injector_duty_by_hand() -> None:
    """0.23 kg/s at lambda 0.8 and 14.575: 4.93 g/s of 14.9 g/s each, plus 1 ms of 18.5 ms."""
    finding = review(sound(), SOUND_SHARES).finding("injector-duty")
    fuel = 0.23 / 4.0 / (0.8 * 14.575)
    assert finding.value == pytest.approx(
        100.0 * (fuel / (2.0e-5 * 745.0) + 1e-3 * 6500.0 / 120.0), rel=5e-3
    )


@pytest.mark.parametrize("path", sorted((ROOT / "cases").glob("*.toml")), ids=lambda p: p.stem)
def test_every_demonstration_case_can_be_reviewed(path: Path) -> None:
    from distrib.case.read import read_case

    result = review(read_case(path))
    assert len(result.findings) == len(RULES)
    assert not any("nan" in f.text for f in result.findings)


@pytest.mark.parametrize("diameter,ratio,verdict", [(0.075, 1.44, "change"), (0.100, 0.81, "ask")])
def test_worked_example_of_a_two_litre_four(diameter: float, ratio: float, verdict: str) -> None:
    """End feed, 45 mm runners, 250 kPa, 50 degC, 7000 rpm; 75 mm plenum: 26 m/s (worked)."""
    case = both(
        plenum(diameter),
        runners(diameter_m=0.045),
        part(
            "conditions",
            rpm=(7000.0,),
            charge_pressure_pa=250e3,
            charge_temperature_k=323.15,
        ),
    )(sound())
    result = review(case)
    finding = result.finding("area-ratio")
    assert (finding.verdict, round(finding.value or 0.0, 2)) == (verdict, ratio)
    speed = (result.finding("plenum-mach").value or 0.0) * 360.4  # m/s of sound at 50 degC
    assert speed == pytest.approx(26.4 * (0.075 / diameter) ** 2, rel=0.01)
