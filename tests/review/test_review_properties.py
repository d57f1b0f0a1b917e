"""What must hold for any design: no crash, one finding a rule, verdicts that follow the value."""

from __future__ import annotations

import math

from hypothesis import given, settings
from hypothesis import strategies as st
from review_cases import both, entry, part, plenum, runners, shares, sound, top

from distrib.review import RULES, review
from distrib.review.words import limit_text, number, value_text

DIAMETER = st.floats(0.02, 0.2)


@settings(max_examples=40, deadline=None)
@given(
    width=DIAMETER,
    bore=st.floats(0.03, 0.12),
    mouth=st.floats(0.02, 0.06),
    at=st.floats(0.0, 0.4),
    kind=st.sampled_from(["side", "center", "ducted"]),
    drop=st.sets(st.sampled_from(["structure", "drawing"])),
    boost=st.floats(1.0, 4.0),
)
def test_any_design_gets_one_finding_a_rule(
    width: float,
    bore: float,
    mouth: float,
    at: float,
    kind: str,
    drop: set[str],
    boost: float,
) -> None:
    case = both(
        plenum(width),
        entry(diameter_m=bore, at_m=at, kind=kind),
        runners(diameter_m=mouth),
        part("conditions", charge_pressure_pa=101325.0 * boost),
        top(**dict.fromkeys(drop)),
    )(sound())
    result = review(case, shares())
    assert [f.id for f in result.findings] == [r.id for r in RULES]
    for finding in result.findings:
        assert finding.verdict in ("ok", "ask", "change", "missing")
        assert finding.text and "nan" not in finding.text and " inf" not in finding.text
        assert (finding.verdict == "ok") == (finding.todo == "")
        assert value_text(finding) and limit_text(finding, in_full=True)


@settings(max_examples=30, deadline=None)
@given(wide=st.floats(0.04, 0.2), factor=st.floats(1.01, 2.0))
def test_a_wider_plenum_is_never_worse_on_area_and_speed(wide: float, factor: float) -> None:
    order = ("ok", "ask", "change")
    narrow = review(plenum(wide)(sound()), shares())
    broad = review(plenum(wide * factor)(sound()), shares())
    for rule_id in ("area-ratio", "plenum-mach", "last-section"):
        before, after = narrow.finding(rule_id), broad.finding(rule_id)
        assert order.index(after.verdict) <= order.index(before.verdict)


def test_numbers_carry_three_figures() -> None:
    assert number(0.123456, "-") == "0.123"
    assert number(5799.33, "rpm") == "5799 rpm"
    assert number(None, "mm") == "-"
    assert number(math.inf, "-") == "choked"
