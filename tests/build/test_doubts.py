"""Doubts about laws in the results: each once, in short words, equal ones together."""

from __future__ import annotations

from typing import Any

import pytest
from bench_designs import SIDE, design, entry

from distrib.build.bench import solve_bench
from distrib.build.choices import Chosen
from distrib.build.laws import LawBook, places_words
from distrib.errors import InputError


def warnings(**settings: Any) -> tuple[str, ...]:
    return solve_bench(design(**settings)).warnings


def test_a_plain_design_has_no_stretched_law() -> None:
    said = warnings(mouth="sharp", mouth_radius="0 mm", losses={"jet": "none"})
    assert said == ("entry entry: its jet is left out by losses.jet",)


def test_equal_doubts_of_several_runners_are_one_line() -> None:
    said = warnings(bends=[{"angle": "6 deg", "radius": "90 mm"}])
    (line,) = [w for w in said if "bend.rennels" in w]
    assert line.startswith("runners 1 to 4: bend.rennels used beyond its range (angle 6, holds 10")
    said = warnings(runner=[{"cylinder": 1, "bends": [{"angle": "6 deg", "radius": "90 mm"}]},
                            {"cylinder": 3, "bends": [{"angle": "4 deg", "radius": "90 mm"}]}])
    (line,) = [w for w in said if "bend.rennels" in w]
    assert line.startswith("runners 1 and 3: bend.rennels used beyond its range (angle 4 to 6")


def test_each_warning_stands_once_and_weak_laws_share_a_line() -> None:
    said = warnings(wall_clearance="8 mm", roof_clearance="30 mm", angle="25 deg")
    assert len(said) == len(set(said))
    weak = [w for w in said if w.startswith("thin evidence")]
    assert sum("own estimate" in w for w in weak) == 1
    assert any("shroud.wall" in w and "jet-side.recovered" in w for w in weak)
    (angle,) = [w for w in said if "branch.composite" in w]
    assert angle.startswith("runners 1 to 4 mouth: ")
    assert all(len(w) < 200 for w in said)


def test_places() -> None:
    assert places_words(["runner 2 mouth", "runner 1 mouth", "entry x", "runner 2 mouth"]) == (
        "runners 1 and 2 mouth, entry x")
    assert places_words(["runner 1", "runner 3", "runner 4"]) == "runners 1, 3 and 4"
    assert places_words(["runner 5"]) == "runner 5"


def test_a_refused_point_is_an_error_that_names_place_and_law() -> None:
    book = LawBook(Chosen())
    with pytest.raises(InputError, match=r"here.*bend\.rennels"):
        book.value("here", "bend.rennels", None, angle_deg=200.0, radius_over_d=1.0, friction=0.02)


def cone(length: str, bore: str = "80 mm") -> tuple[str, ...]:
    return warnings(entries=[entry(kind="side", end="cylinder-1", diameter="55 mm", diffuser={
        "length": length, "exit_diameter": bore})])


def test_a_cone_beyond_the_stall_line_warns() -> None:
    """Full angle 2 atan((80 - 55)/2/L) against 17.2 (L/55)^-0.5: the two cross between
    L = 120 mm (11.9 and 11.6 degrees) and 131 mm (10.9 and 11.1 degrees), computed by hand."""
    assert any("entry entry diffuser: widens by 25 deg" in w for w in cone("56 mm"))
    assert any("stall line" in w for w in cone("120 mm"))
    assert not any("stall line" in w for w in cone("131 mm"))


def test_a_plenum_that_widens_too_fast_along_the_stream_warns_and_the_other_way_does_not() -> None:
    funnel = {"length": "390 mm", "profile": "linear", "sections": [
        {"at": "0 mm", "diameter": "66 mm"}, {"at": "100 mm", "diameter": "110 mm"}]}
    assert any("plenum main: widens by 25 deg" in w for w in warnings(plenum=funnel))
    from_far = [entry(kind="side", end="far")]
    assert not any("stall" in w for w in warnings(plenum=funnel, entries=from_far))
    assert not any("stall" in w for w in warnings(entries=[entry(**SIDE)]))
