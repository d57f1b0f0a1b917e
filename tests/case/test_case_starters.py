"""Starters, schema, reference page, writing, changes, names by content."""

from __future__ import annotations

import json
import tomllib
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from distrib.case.change import case_hash, to_toml, with_changes
from distrib.case.jsonschema import json_schema, schema_text
from distrib.case.parameters import parameter
from distrib.case.read import read_case, read_text
from distrib.case.reference import reference_page
from distrib.case.schema import Case
from distrib.case.starters import STARTERS
from distrib.case.tables import Table, tables
from distrib.case.template import ENTRY_KINDS, starter
from distrib.case.toml_text import dumps
from distrib.errors import InputError

CASES = sorted((Path(__file__).parent.parent.parent / "cases").glob("*.toml"))
ALL = [(layout, entry) for layout in STARTERS for entry in ENTRY_KINDS]


def _same(a: Case, b: Case) -> bool:
    left_out = {"path", "sha256", "tree"}
    return a.model_dump(exclude=left_out) == b.model_dump(exclude=left_out)


def test_every_layout_has_a_starter() -> None:
    assert set(STARTERS) == {
        *("inline-3", "inline-4", "inline-5", "inline-6", "v6", "v8", "flat-4", "flat-6")
    }


@pytest.mark.parametrize(("layout", "entry"), ALL)
def test_starter_reads_and_assumes_nothing_but_limits(layout: str, entry: str) -> None:
    case = read_text(starter(layout, entry))
    assert case.engine.layout == layout
    assert {e.kind for e in case.entries} == {entry}
    assert [item.field for item in case.assumed] == ["limits"]
    assert case.invented


@pytest.mark.parametrize(("layout", "entry"), ALL)
def test_round_trip_through_toml(layout: str, entry: str) -> None:
    case = read_text(starter(layout, entry))
    again = read_text(to_toml(case))
    assert _same(case, again)
    assert case_hash(case) == case_hash(again)


@pytest.mark.parametrize(("layout", "entry"), ALL)
def test_commented_fields_of_the_starter_are_fields(layout: str, entry: str) -> None:
    """Every optional `# key = example` line holds a key and an example that TOML reads."""
    lines = [line for line in starter(layout, entry).split("\n") if line.startswith("# ")]
    shown = [line[2:] for line in lines if " = " in line and line[2:3].islower()]
    keys = {spec.key for table in _all_tables() for spec in _specs(table)}
    for line in shown:
        if "dp = -r d" in line or line.startswith(("take-off", "static", "axial")):
            continue
        assert next(iter(tomllib.loads(line))) in keys, line


def _all_tables() -> list[Table]:
    found = list(tables())
    for table in found:
        found += table.children
    return found


def _specs(table: Table) -> list[Any]:
    return [spec for key in table.names() if (spec := table.spec(key)) is not None]


def test_flat_starter_has_two_plenums_and_a_tube() -> None:
    case = read_text(starter("flat-6", "center"))
    assert [p.name for p in case.plenums] == ["left", "right"]
    assert len(case.entries) == 2
    assert len(case.balance_tubes) == 1
    vee = read_text(starter("v8", "side"))
    assert {r.row for r in vee.runners} == {"left", "right"}
    assert len(vee.plenums) == 1


def test_published_schema_is_in_step() -> None:
    published = resources.files("distrib.case").joinpath("case.schema.json").read_text("utf-8")
    assert published == schema_text()


def test_schema_is_valid_and_takes_every_good_case() -> None:
    schema = json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for layout, entry in ALL:
        validator.validate(tomllib.loads(starter(layout, entry)))
    for path in CASES:
        validator.validate(tomllib.loads(path.read_text("utf-8")))


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        ("bore", 86),
        ("bore", "86"),
        ("layout", "inline-7"),
        ("strok", "86 mm"),
        ("firing_order", [9]),
    ],
)
def test_schema_refuses_what_an_editor_can_see(name: str, wrong: Any) -> None:
    tree = tomllib.loads(starter("inline-4", "side"))
    tree["engine"][name] = wrong
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(json_schema()).validate(tree)


def test_reference_page_names_every_key() -> None:
    page = reference_page()
    for table in _all_tables():
        for spec in _specs(table):
            assert f"| `{spec.key}` |" in page
    json.dumps(page)


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_demo_cases_round_trip(path: Path) -> None:
    case = read_case(path)
    assert _same(case, read_text(to_toml(case)))


def test_changes_of_every_kind() -> None:
    case = read_text(starter("flat-6", "side"))
    new = with_changes(
        case,
        {
            "plenum.left.length": "362 mm",
            "plenum.2.diameter": 0.078,
            "runners.length": "300 mm",
            "runner.3.length": "285 mm",
            "entry.left throttle.throttle.plate_angle": 60.0,
            "conditions.charge_pressure": 120e3,
            "conditions.charge_temperature": "313.15 K",
            "fuel.lambda_target": 0.85,
            "engine.intake_valve.opens": 20,
            "conditions.rpm": [4000, 5000],
            "balance_tube.diameter": "45 mm",
            "bench.open_runners": [1, 2],
        },
    )
    assert new.plenum("left").length_m == pytest.approx(0.362)
    assert new.plenum("right").sections[0].diameter_m == 0.078
    assert new.runner(3).length_m == pytest.approx(0.285)
    assert new.runner(4).length_m == pytest.approx(0.3)
    throttles = [entry.throttle for entry in new.entries]
    assert [t.plate_angle_deg for t in throttles if t is not None] == [60.0, 90.0]
    assert new.conditions.charge_pressure_pa == 120e3
    assert new.conditions.boosted
    assert new.conditions.charge_temperature_k == 313.15
    assert new.engine.intake_valve is not None and new.engine.intake_valve.opens_deg == 20.0
    assert new.conditions.rpm == (4000.0, 5000.0)
    assert new.balance_tubes[0].diameter_m == pytest.approx(0.045)
    assert new.bench.open_runners == (1, 2)
    assert case.runner(3).length_m == pytest.approx(0.29)  # the old case is as it was
    assert case_hash(new) != case_hash(case)
    assert _same(new, read_text(to_toml(new)))


def test_none_takes_a_value_out() -> None:
    case = read_text(starter("inline-4", "side"))
    new = with_changes(case, {"engine.rod": None})
    assert "engine.rod" in [item.field for item in new.assumed]


def test_changes_that_break_the_case_are_refused() -> None:
    case = read_text(starter("inline-4", "side"))
    for change, word in (
        ({"plenum.length": "200 mm"}, "inside the plenum"),
        ({"plenum.lenght": "400 mm"}, 'nearest: "length"'),
        ({"plenun.length": "400 mm"}, 'nearest: "plenum"'),
        ({"plenum.upper.length": "400 mm"}, "only one plenum"),
        ({"runner.length": "400 mm"}, "runner.3.length"),
        ({"entry": "400 mm"}, "a value, one of"),
    ):
        with pytest.raises(InputError) as caught:
            with_changes(case, change)
        assert word in str(caught.value)


def test_hash_sees_the_design_and_not_the_notes() -> None:
    case = read_text(starter("inline-4", "side"))
    assert case_hash(with_changes(case, {"note": "other", "title": "T"})) == case_hash(case)
    assert case_hash(with_changes(case, {"runners.length": "0.27 m"})) == case_hash(case)
    assert case_hash(with_changes(case, {"runner.2.length": "271 mm"})) != case_hash(case)


def test_every_key_of_the_format_can_be_named() -> None:
    assert parameter("plenum.sections.2.diameter").spec.kind == "length"
    assert parameter("runner.3.bends.1.angle").spec.kind == "angle"
    assert parameter("title").spec.kind == "text"
    assert parameter("runners.mouth").choices[0] == "sharp"


VALUES = st.recursive(
    st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=12,
)


@given(st.dictionaries(st.text(), VALUES, max_size=4))
def test_any_tree_is_written_as_toml_that_reads_back(tree: dict[str, Any]) -> None:
    assert tomllib.loads(dumps(tree)) == tree
