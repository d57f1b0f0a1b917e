"""First lines, tables and comparison of an answer: one figure drives every word."""

from __future__ import annotations

import dataclasses
import json
import re
from pathlib import Path
from typing import Any

import fake_engine
import numpy as np
import pytest
from fake_engine import answered, hill
from hypothesis import given
from hypothesis import strategies as st

from distrib.answer import Answer
from distrib.answer.speeds import SCAN_RPM
from distrib.case.read import read_case
from distrib.case.schema import Case
from distrib.cli.app import main
from distrib.fuelling.verdict import RANK
from distrib.report.answer_words import (
    band_words,
    first_lines,
    percent,
    speed_table,
    what_was_solved,
    worst_table,
)
from distrib.report.compare_words import (
    by_speed_table,
    design_lines,
    differences,
    filling_line,
    pair_sentences,
)
from distrib.studies.designs import compared

CASES = Path(__file__).parents[2] / "cases"
SIDE, CENTER = str(CASES / "inline5_side.toml"), str(CASES / "inline5_center.toml")
WANTED = (4500.0, 7000.0)
"""The wanted band of the demo case; its speeds go from 2500 to 7200 rev/min."""


@pytest.fixture(scope="module")
def case() -> Case:
    found = read_case(SIDE)
    assert found.conditions.wanted_rpm == WANTED
    assert (min(found.conditions.rpm), max(found.conditions.rpm)) == (2500.0, 7200.0)
    return found


def number(text: str) -> float:
    """The first signed figure in percent of a sentence."""
    found = re.search(r"([+-]\d+\.\d) %", text)
    assert found is not None, text
    return float(found.group(1))


def test_headline_names_the_gravest_cylinder_its_speed_band_and_trim(case: Case) -> None:
    found = answered(case, hill({2: 2.4, 5: 4.0}))
    first, second, *_ = first_lines(found)
    assert re.fullmatch(r"Cylinder 5 runs lean near 6000 rpm: \+4\.0 % air \(90 % band \+\d\.\d to "
                        r"\+\d\.\d\)\. Start there with \+2\.0 % fuel, then measure\.", first)
    # 2.4 % is above the watch limit and its chance of passing the lean one is above a tenth
    assert "cylinder 2 near 6000 rpm (+2.4 %)" in second
    low, high = found.band_percent[found.headline, 4]
    assert f"band +{low:.1f} to +{high:.1f}" in first


def test_lean_goes_before_more_air_that_is_only_watched(case: Case) -> None:
    """The gravest verdict speaks first, whatever the size of the figure."""
    found = answered(case, hill({1: 3.6, 5: 4.0}))
    graver = tuple(dataclasses.replace(w, verdict="watch") if w.cylinder == 5 else w
                   for w in found.worst)
    first, second, *_ = first_lines(dataclasses.replace(found, worst=graver))
    assert first.startswith("Cylinder 1 runs lean") and second.startswith("Watch cylinder 5")
    watched = tuple(dataclasses.replace(w, verdict="even" if w.cylinder == 1 else w.verdict)
                    for w in graver)
    assert first_lines(dataclasses.replace(found, worst=watched))[0].startswith(
        "Cylinder 5 could run lean near 6000 rpm")


def test_all_that_run_lean_are_listed_once(case: Case) -> None:
    lines = first_lines(answered(case, hill({1: 4.5, 3: 3.8, 5: 4.0})))
    assert lines[0].startswith("Cylinder 1 runs lean")
    assert lines[1] == ("Also lean: cylinder 5 near 6000 rpm (+4.0 %) and cylinder 3 near 6000 rpm "
                        "(+3.8 %).")


def test_nobody_grave_is_said_and_never_called_safe(case: Case) -> None:
    found = answered(case, hill({3: 0.2}), 0.05)
    even = dataclasses.replace(found, worst=tuple(
        dataclasses.replace(w, verdict="even") for w in found.worst))
    line = first_lines(even)[0]
    assert line.startswith("No cylinder stands out as lean: the most is cylinder 3 near 6000 rpm, "
                           "+0.2 % air (90 % band ")
    assert line.endswith("Measure all the same.")
    assert "safe" not in line and "fuel" not in line


def test_without_draws_there_is_no_band_in_words_or_table(case: Case) -> None:
    found = answered(case, hill({5: 4.0}), draws=0)
    assert "+4.0 % air (no band)" in first_lines(found)[0]
    assert first_lines(found)[-1].endswith("no draws.")
    names = [c.name for c in worst_table(found).columns]
    assert {row[names.index("90 % band")] for row in worst_table(found).rows} == {"-"}
    assert {row[-2] for row in speed_table(found).rows} == {"-"}


def test_more_outside_the_wanted_band_is_said(case: Case) -> None:
    inside = answered(case, hill({5: 4.0}, 6000.0))
    assert not any("Outside" in line for line in first_lines(inside))
    outside = first_lines(answered(case, hill({4: 5.0}, 3500.0)))
    assert "Outside the wanted band cylinder 4 has more: +5.0 % near 3500 rpm." in outside
    assert "near 3500 rpm" not in outside[0]  # the headline stays in the wanted band


def test_outside_the_band_is_silent_where_it_has_less(case: Case) -> None:
    def two(case: Case, rpm: Any) -> Any:
        return hill({5: 4.0}, 6000.0, 300.0)(case, rpm) + hill({4: 3.9}, 3500.0, 300.0)(case, rpm)

    assert not any("Outside" in line for line in first_lines(answered(case, two)))


def test_worst_at_the_end_of_the_speeds_warns(case: Case) -> None:
    """Without a wanted band all speeds count, and the worst may lie at their end."""
    free = case.model_copy(update={"conditions": case.conditions.model_copy(
        update={"wanted_rpm": None})})
    edge = first_lines(answered(free, hill({5: 4.0}, 7200.0)))
    assert any(line == ("The worst lies at the end of the speeds given (2500 to 7200 rpm): beyond "
                        "may be worse. Give more speeds.") for line in edge)
    middle = first_lines(answered(free, hill({5: 4.0}, 5000.0)))
    assert not any("beyond may be worse" in line for line in middle)


def test_a_need_that_is_refused_gets_no_figure(case: Case) -> None:
    assert case.limits.refuse_percent < 14.0
    line = first_lines(answered(case, hill({5: 14.0})))[0]
    assert line.startswith("Cylinder 5 runs lean near 6000 rpm: +14.0 % air")
    assert line.endswith("No trim: a need this large is a fault or a matter of the metal.")


def test_injection_that_cannot_trim_a_cylinder_asks_for_measurement(case: Case) -> None:
    batch = case.model_copy(update={"fuel": case.fuel.model_copy(update={"injection": "batch"})})
    found = answered(batch, hill({5: 4.0}))
    assert found.trims is None and found.no_trims
    assert first_lines(found)[0].endswith("Measure it before load.")
    names = [c.name for c in worst_table(found).columns]
    assert {row[names.index("start trim")] for row in worst_table(found).rows} == {"-"}


def test_what_was_solved_says_design_charge_speeds_and_draws(case: Case) -> None:
    found = answered(case, hill({5: 4.0}), draws=40)
    gauge = (case.conditions.charge_pressure_pa - case.conditions.ambient_pressure_pa) / 1e5
    assert what_was_solved(found) == (
        f"{case.title} (invented): inline-5, side entry, {gauge:.2f} bar gauge, 2500 to 7200 rpm, "
        "40 draws.")


@pytest.mark.parametrize(("value", "plain", "signed"), [
    (0.0, "0.0", "0.0"), (0.01, "under 0.1", "under 0.1"), (0.049, "under 0.1", "under 0.1"),
    (-0.01, "above -0.1", "above -0.1"), (0.06, "0.1", "+0.1"), (-0.06, "-0.1", "-0.1"),
    (3.14, "3.1", "+3.1"), (float("nan"), "-", "-")])
def test_percentages_to_a_tenth(value: float, plain: str, signed: str) -> None:
    assert (percent(value), percent(value, True)) == (plain, signed)


@given(st.floats(-50.0, 50.0).filter(lambda x: x != 0.0))
def test_what_is_not_zero_is_never_written_as_zero(value: float) -> None:
    for sign in (False, True):
        text = percent(value, sign)
        assert not re.fullmatch(r"[+-]?0(\.0*)?", text), text
        assert text.startswith(("-", "above")) == (value < 0.0)


def test_band_words_need_both_ends() -> None:
    assert band_words(-0.24, 3.06) == "90 % band -0.2 to +3.1"
    assert band_words(float("nan"), 3.0) == band_words(1.0, float("nan")) == "no band"


@given(st.lists(st.floats(-8.0, 8.0), min_size=5, max_size=5),
       st.sampled_from([2500.0, 4000.0, 5200.0, 6000.0, 7200.0]))
def test_words_follow_the_figure_whatever_it_is(peaks: list[float], top: float) -> None:
    """Band holds the figure, who is named has the gravest verdict, the trim follows the sign."""
    found = answered(read_case(SIDE), hill(dict(enumerate(peaks, 1)), top),
                     rpm=[2500.0, 4500.0, 6000.0, 7000.0], draws=20)
    line = first_lines(found)[0]
    named = next(w for w in found.worst if f"cylinder {w.cylinder} " in line.lower())
    gravest = max(RANK[w.verdict] for w in found.worst)  # type: ignore[index]
    if gravest >= RANK["watch"]:
        assert RANK[named.verdict] == gravest  # type: ignore[index]
        assert named.deviation_percent == max(
            w.deviation_percent for w in found.worst if RANK[w.verdict] == gravest)  # type: ignore[index]
        assert found.rpm[found.headline] == named.rpm
        assert line.startswith(f"Cylinder {named.cylinder} ")
    else:
        assert line.startswith("No cylinder stands out")
        assert named.deviation_percent == max(w.deviation_percent for w in found.worst)
    for i, w in enumerate(found.worst):
        assert WANTED[0] <= w.rpm <= WANTED[1]
        assert w.low_percent <= w.deviation_percent <= w.high_percent
        assert w.deviation_percent == found.engine.deviation_percent[w.point, i]
        assert w.verdict == found.verdict[w.point, i]
        assert w.trim_percent is not None and not w.trim_percent < 0.0  # a prediction only adds
    assert found.trims is not None
    needed, deviation = found.trims.needed_percent, found.engine.deviation_percent
    sure = np.abs(deviation) > 0.05
    assert (np.sign(needed)[sure] == np.sign(deviation)[sure]).all()


def test_table_has_every_cylinder_at_its_own_worst_speed(case: Case) -> None:
    def two(case: Case, rpm: Any) -> Any:
        return hill({5: 4.0}, 6000.0, 300.0)(case, rpm) + hill({2: 3.0}, 5000.0, 300.0)(case, rpm)

    table = worst_table(answered(case, two))
    rows = {row[0]: row for row in table.rows}
    assert list(rows) == ["1", "2", "3", "4", "5"]
    assert rows["5"][2:4] == ("6000", "+4.0") and rows["2"][3] == "+3.0"
    assert abs(float(rows["2"][2]) - 5000.0) <= 0.5 * SCAN_RPM
    assert rows["5"][-1].startswith("LEAN") and rows["5"][5] == "+2.0"
    assert rows["1"][1] == f"{1000 * min(r.station_m for r in case.runners):.0f}"
    assert table.title == "Each cylinder at its worst solved speed of the wanted band"


def test_every_speed_has_a_row_also_one_without_solution(case: Case) -> None:
    found = answered(case, hill({5: 4.0}, unsolved_rpm=(5500.0,)), rpm=[4500.0, 5500.0, 6000.0])
    table = speed_table(found)
    assert [row[0] for row in table.rows] == ["4500", "5500", "6000"]
    assert table.rows[1][1:] == (*["-"] * 5, "no solution", "-", "-")
    assert table.rows[2][5] == "+4.0 L" and table.rows[2][1] == "-1.0 E"


def pair(case: Case, mine: dict[int, float], other: dict[int, float], *,
         sigma: float = 0.1, **more: Any) -> list[Answer]:
    """Two designs on the same draws; the second gets another title."""
    second = case.model_copy(update={"title": "Another design"})
    return [answered(one, hill(peaks, **more), sigma, rpm=[4500.0, 5500.0, 6000.0])
            for one, peaks in ((case, mine), (second, other))]


def comparisons(found: list[Answer]) -> list[Any]:
    by_name = {str(i): one for i, one in enumerate(found)}
    return [compared(by_name), compared(by_name, everywhere=True)]


def test_more_even_design_is_named_with_both_worsts_and_the_chance(case: Case) -> None:
    found = pair(case, {5: 8.0}, {5: 1.0})
    overall, by_speed = comparisons(found)
    assert pair_sentences(found, overall) == [
        "B is more even than A: worst spread 1.2 % against 10.0 % (chance over 99 %)."]
    assert design_lines(found)[1] == ("B  Another design: worst 1.2 % at 6000 rpm; cylinder 5 leans"
                                      " most, +1.0 % near 6000 rpm")
    last = by_speed_table(found, by_speed).rows[-1]
    assert last == ("6000", "10.0", "1.2", "5 +8.0", "5 +1.0", "B  over 99 %")


def test_designs_alike_cannot_be_told_apart(case: Case) -> None:
    found = pair(case, {5: 2.0}, {5: 2.0})
    overall, by_speed = comparisons(found)
    assert pair_sentences(found, overall)[0].startswith(
        "Cannot tell A and B apart: worst spread 2.5 % against 2.5 %")
    assert {row[-1] for row in by_speed_table(found, by_speed).rows} == {"cannot tell"}


def test_a_speed_without_solution_leaves_the_others_compared(case: Case) -> None:
    found = pair(case, {5: 8.0}, {5: 1.0}, unsolved_rpm=(5500.0,))
    overall, by_speed = comparisons(found)
    assert pair_sentences(found, overall)[0].startswith("B is more even than A")
    rows = by_speed_table(found, by_speed).rows
    assert rows[1] == ("5500", "-", "-", "-", "-", "no solution")
    assert rows[2][-1] == "B  over 99 %"


def test_filling_and_engines_that_differ_are_said(case: Case) -> None:
    found = pair(case, {5: 2.0}, {5: 2.0})
    assert filling_line(found) == "B fills 0.0 % less on average: too little to measure."
    more = dataclasses.replace(found[1], engine=dataclasses.replace(
        found[1].engine, volumetric_efficiency=1.04 * found[1].engine.volumetric_efficiency))
    assert filling_line([found[0], more]) == "B fills 4.0 % more on average."
    assert differences(found) == ""
    other = case.model_copy(update={"engine": case.engine.model_copy(update={"bore_m": 0.08})})
    assert "The engines differ (engine.bore)" in differences(
        [found[0], dataclasses.replace(found[1], case=other)])


def test_terminal_json_and_page_say_the_same(
        case: Case, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said, page = tmp_path / "s.json", tmp_path / "r.html"
    with fake_engine.faked(hill({2: 2.0, 5: 4.0})):
        assert main(["shares", SIDE, "--detail", "--json", str(said)]) == 0
        terminal = " ".join(capsys.readouterr().out.split())
        assert main(["report", SIDE, "-o", str(page), "--date", "none"]) == 0
        found = answered(case, hill({2: 2.0, 5: 4.0}))
    data = json.loads(said.read_text())
    text = page.read_text().replace("\u00a0", " ")
    for line in first_lines(found):
        assert line in terminal and line in text
    for row in worst_table(found).rows:
        assert " ".join(" ".join(row).split()) in terminal
    head, over = data["conditions"]["rpm"], data["over_speed"]
    at = over["rpm"].index(head)
    assert head == found.rpm[found.headline] == 6000.0
    leanest = max(data["cylinders"], key=lambda c: c["deviation_percent"])
    assert leanest["cylinder"] == data["leanest_cylinder"] == 5
    assert first_lines(found)[0].startswith("Cylinder 5 runs lean near 6000 rpm")
    assert leanest["verdict"] == "lean" and leanest["trim_percent"] == pytest.approx(
        found.trims.trim_percent[found.headline, 4])  # type: ignore[union-attr]
    assert f"Start there with {leanest['trim_percent']:+.1f} % fuel" in terminal
    for i, one in enumerate(data["cylinders"]):
        worst = data["worst"][i]
        assert one["cylinder"] == worst["cylinder"]
        for key in ("deviation_percent", "verdict", "trim_percent"):
            assert one[key] == over[key][at][i]
        assert one["band_percent"] == over["band_percent"][at][i]
        assert worst["deviation_percent"] == over["deviation_percent"][worst["point"]][i]
        assert worst["verdict"] == over["verdict"][worst["point"]][i]
        assert f"cylinder {one['cylinder']} " in text.lower()
    assert data["spread_percent"] == over["spread_percent"][at]
    # the page's trims and its table by cylinder are those of the same speed
    sheet = re.search(r"Fuel trims, starting point.*?</table>", text, re.DOTALL)
    assert sheet is not None
    shown = [[" ".join(c.split()) for c in re.findall(r"<t[hd][^>]*>([^<]*)", row)]
             for row in re.findall(r"<tr>(.*?)</tr>", sheet.group(0), re.DOTALL)]
    trims = {row[0]: row[3] for row in shown if row and row[0].isdigit()}
    assert {k: float(v) for k, v in trims.items()} == pytest.approx(
        {str(c["cylinder"]): c["trim_percent"] for c in data["cylinders"]}, abs=0.051)
    by_cylinder = re.search(r"engine model, 6000 rev/min.*?</table>", text, re.DOTALL)
    assert by_cylinder is not None
    for one in data["cylinders"]:
        assert f"{one['verdict']}: " in by_cylinder.group(0) or one["verdict"] == "even"


def test_compare_says_the_same_on_the_terminal_and_in_json(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = tmp_path / "c.json"

    def curve(case: Case, rpm: Any) -> Any:
        return hill({5: 4.0 if case.entries[0].kind == "side" else 1.0})(case, rpm)

    with fake_engine.faked(curve):
        assert main(["compare", SIDE, CENTER, "--json", str(said)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    data = json.loads(said.read_text())
    titles = [d["name"] for d in data["designs"]]
    assert data["more_even"] == titles[1] == read_case(CENTER).title
    assert data["chance"] == data["paired"]["chance_overall"][1][0] > 0.5
    assert out.startswith(data["sentences"][0])
    assert data["sentences"][0].startswith("B is more even than A: worst spread 1.2 % against 5.0")
    for one, spread in zip(data["designs"], (5.0, 1.25), strict=True):
        assert one["worst_spread_percent"] == pytest.approx(spread, abs=1e-6)
        assert one["worst_rpm"] == 6000.0
        top = max(s for s, n in zip(one["over_speed"]["spread_percent"], one["over_speed"]["rpm"],
                                    strict=True) if WANTED[0] <= n <= WANTED[1])
        assert top == one["worst_spread_percent"]
    speeds = data["by_speed"]
    assert speeds["rpm"] == data["designs"][0]["over_speed"]["rpm"]
    assert len(speeds["more_even"]) == len(speeds["chance"]) == len(speeds["rpm"])
    assert number(data["sentences"][0].replace("spread 1.2", "spread +1.2")) == 1.2
