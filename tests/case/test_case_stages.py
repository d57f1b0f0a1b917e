"""Sets of injectors in the case file: what is read, what follows from it, what stays as it was."""

from __future__ import annotations

import tomllib

import jsonschema
import pytest

from distrib.case.change import case_hash, to_toml, with_changes
from distrib.case.jsonschema import json_schema
from distrib.case.read import read_text
from distrib.case.reference import reference_page
from distrib.case.schema import Case
from distrib.case.template import starter
from distrib.errors import InputError

SETS = """
[[fuel.stage]]
name = "lower"
place = "near valve"
share = "50 percent"

[[fuel.stage]]
name = "upper"
place = "runner"
share = 0.2
count = 8

[fuel.stage.injector]
static_flow = "10 g/s"
at_pressure = "4 bar"
rail_pressure = "4 bar"
dead_time = "0.9 ms"

[[fuel.stage]]
name = "shower"
place = "before throttle"
share = 0.3
"""


def text(sets: str = SETS, fraction: str = "") -> str:
    """The starter of the inline four with sets; `fraction` replaces its air-following line."""
    plain = starter("inline-4", "side")
    line = next(x for x in plain.split("\n") if x.startswith("air_following_fraction"))
    return plain.replace(line, fraction) + sets


def staged() -> Case:
    return read_text(text())


def test_sets_are_read_and_the_rest_follows() -> None:
    """Half near the valve, a fifth in the runner, three tenths before the throttle: 0.3 follows."""
    case = staged()
    lower, upper, shower = case.fuel.stages
    assert (lower.name, lower.place, lower.share, lower.count) == ("lower", "near valve", 0.5, 4)
    assert (lower.trimmed, upper.trimmed, shower.trimmed) == (True, False, False)
    assert lower.injector is None
    assert upper.count == 8
    assert upper.injector is not None
    assert upper.injector.static_flow_kg_s == pytest.approx(0.010)
    assert shower.count is None
    assert case.fuel.air_following_fraction == pytest.approx(0.3)


def test_what_is_assumed_is_listed() -> None:
    """The number of injectors of the lower set is; the fraction follows from the sets, so not."""
    fields = [item.field for item in staged().assumed]
    assert "fuel.stage[1].count" in fields
    assert not [f for f in fields if "air_following" in f or "trimmed" in f]


def test_a_fraction_that_agrees_is_taken() -> None:
    assert read_text(text(fraction="air_following_fraction = 0.3")).fuel.air_following_fraction \
        == 0.3


@pytest.mark.parametrize("place", ["near valve", "runner"])
def test_a_set_in_the_runner_may_be_trimmed_when_the_file_says_so(place: str) -> None:
    sets = SETS.replace('place = "near valve"', f'place = "{place}"\ntrimmed = true')
    assert read_text(text(sets)).fuel.stages[0].trimmed


def test_round_trip_and_changes_by_name_or_number() -> None:
    case = staged()
    again = read_text(to_toml(case))
    assert again.fuel == case.fuel
    assert case_hash(again) == case_hash(case)
    moved = with_changes(case, {"fuel.stage.1.share": 0.4, "fuel.stage.shower.share": 0.4,
                                "fuel.stage.upper.injector.rail_pressure": "5 bar"})
    assert moved.fuel.air_following_fraction == pytest.approx(0.4)
    assert moved.fuel.stages[1].injector is not None
    assert moved.fuel.stages[1].injector.rail_pressure_pa == 5e5
    assert case_hash(moved) != case_hash(case)
    with pytest.raises(InputError, match=r"= 0\.9; allowed: shares of all sets that sum to 1"):
        with_changes(case, {"fuel.stage.1.share": 0.4})


def test_a_case_without_sets_keeps_its_name() -> None:
    """The SHA-256 over the content as it was before sets existed: their field is left out of it."""
    import hashlib
    import json

    case = read_text(starter("inline-4", "side"))
    assert case.fuel.stages == ()
    before = case.model_dump(mode="json", exclude={
        *("title", "note", "invented", "path", "sha256", "assumed", "tree", "search", "review")})
    del before["fuel"]["stages"]
    by_hand = hashlib.sha256(json.dumps(before, sort_keys=True).encode()).hexdigest()
    assert case_hash(case) == by_hand


def test_schema_page_and_starter_know_the_sets() -> None:
    jsonschema.Draft202012Validator(json_schema()).validate(tomllib.loads(text()))
    page = reference_page()
    assert "## `[[fuel.stage]]`" in page
    assert "## `[fuel.stage.injector]`" in page
    plain = starter("inline-4", "side")
    line = next(x for x in plain.split("\n") if "fuel.stage" in x)
    assert line.startswith("# [[fuel.stage]]")
    assert len(line) <= 100
    assert read_text(plain).fuel.stages == ()
