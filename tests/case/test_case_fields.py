"""The description of the format holds itself: examples, defaults, limits, rare tables."""

from __future__ import annotations

import math
import tomllib
from typing import Any

import jsonschema
import pytest

from distrib.case.fields import Spec, specs
from distrib.case.jsonschema import json_schema
from distrib.case.read import read_text, read_tree
from distrib.case.readers import read_value
from distrib.case.schema import Case, Given
from distrib.case.tables import Table, tables, top_specs
from distrib.case.template import example, starter
from distrib.case.values import Context, choices_of
from distrib.errors import InputError
from distrib.units import Quantity


def _all() -> list[tuple[Table | None, str, Spec]]:
    found: list[tuple[Table | None, str, Spec]] = [(None, a, s) for a, s in top_specs().items()]
    queue = list(tables())
    for table in queue:
        queue += table.children
        found += [(table, a, s) for a, s in specs(table.model).items()]
        found += [(table, "", s) for s in table.extra]
    return found


FIELDS = _all()
IDS = [f"{t.key if t else 'top'}.{s.key}" for t, _, s in FIELDS]


@pytest.mark.parametrize(("table", "attribute", "spec"), FIELDS, ids=IDS)
def test_example_is_read(table: Table | None, attribute: str, spec: Spec) -> None:
    model = table.model if table is not None else Case
    words = choices_of(model, attribute) if spec.kind == "choice" else ()
    raw = tomllib.loads(f"x = {example(spec)}")["x"]
    assert read_value(spec, raw, Context(choices=words)) is not None


@pytest.mark.parametrize(("table", "attribute", "spec"), FIELDS, ids=IDS)
def test_default_lies_within_the_limits(table: Table | None, attribute: str, spec: Spec) -> None:
    model = table.model if table is not None else Case
    field = model.model_fields.get(attribute)
    if field is None or field.is_required() or spec.low is None or spec.high is None:
        return
    default = field.get_default(call_default_factory=True)
    values = default if isinstance(default, tuple) else (default,)
    numbers = [v for v in values if isinstance(v, int | float)]
    assert all(spec.low <= number <= spec.high for number in numbers)


def test_every_meaning_is_there_and_keys_are_unique() -> None:
    assert all(spec.meaning and spec.key == spec.key.lower() for _, _, spec in FIELDS)
    for table in tables():
        names = table.names()
        assert len(names) == len(set(names))


def _tree(layout: str = "inline-4", entry: str = "side") -> dict[str, Any]:
    return tomllib.loads(starter(layout, entry))


def test_rare_tables_and_keys() -> None:
    tree = _tree()
    tree["entry"] |= {
        "kind": "ducted",
        "at": "192 mm",
        "tilt": "-10 deg",
        "loss": {"value": 1.1, "sigma": 0.2},
        "diffuser": {"length": "60 mm", "exit_diameter": "70 mm"},
        "baffle": {"open_fraction": 0.5, "at": "100 mm", "loss": 2.0},
    }
    tree["plenum"] |= {"regain": {"value": 0.8, "sigma": 0.1}, "volume": "3 L"}
    tree["limits"] = {
        "lean_percent": {"value": 4, "reason": "measured engine"},
        "duty_max": "90 percent",
    }
    tree["losses"] = {"branch": "static"}
    tree["review"] = [{"rule": "area-ratio", "limit": 0.8, "reason": "bench data"}]
    tree["drawing"] = {
        "marks": ["view"],
        "service": [{"name": "servo", "place": "runner", "cylinder": 2}],
    }
    tree["structure"] = {"material": "sheet", "test_pressure": "2 bar gauge", "relief": True}
    tree["search"] = {
        "plenum.length": {"low": "380 mm", "high": "16 in"},
        "runners.mouth": {"choices": ["rounded", "bell"]},
    }
    tree["bench"] = {"head": "fitted", "valve_lift": "8 mm", "depression": "7 kPa"}
    jsonschema.validate(tree, json_schema())
    case = read_tree(tree)
    entry = case.entries[0]
    assert entry.kind == "ducted" and entry.at_m == pytest.approx(0.192)
    assert entry.tilt_deg == -10.0
    assert entry.loss == Given(value=1.1, sigma=0.2)
    assert entry.diffuser is not None and entry.diffuser.exit_diameter_m == pytest.approx(0.07)
    assert entry.baffle is not None and entry.baffle.loss == Given(value=2.0)
    assert case.plenums[0].regain == Given(value=0.8, sigma=0.1)
    assert case.limits.lean_percent == 4.0
    assert case.limits.reasons == (("lean_percent", "measured engine"),)
    assert case.limits.duty_max == pytest.approx(0.9)
    assert case.losses.branch == "static" and case.losses.run == "auto"
    assert case.review[0].limit == 0.8
    assert case.drawing is not None and case.drawing.services[0].cylinder == 2
    assert case.structure is not None
    gauge = case.structure.test_pressure_pa
    assert gauge is not None and gauge == pytest.approx(200e3 + 101300.0)
    first, second = case.search
    assert (first.low, first.high) == pytest.approx((0.38, 16 * 0.0254))
    assert (first.low_text, first.high_text) == ("380 mm", "16 in")
    assert second.choices == ("rounded", "bell")
    assert case.bench.valve_lift_m == pytest.approx(0.008)
    assert case.bench.depression_pa == pytest.approx(7000.0)


def test_valves_injectors_and_pairs() -> None:
    tree = _tree()
    valve = tree["engine"]["intake_valve"]
    valve["discharge_coefficient"] = 0.6
    valve["lift_table"] = [["0 deg", "0 mm"], ["121 deg", valve["max_lift"]], ["242 deg", "0 mm"]]
    tree["fuel"]["injector"] |= {"static_flow": "95 lb/h", "dead_time": "1 ms"}
    case = read_tree(tree)
    intake, injector = case.engine.intake_valve, case.fuel.injector
    assert intake is not None and intake.discharge_coefficient == ((0.0, 0.6),)
    assert intake.lift_table is not None and intake.lift_table[1][0] == 121.0
    assert injector is not None and injector.static_flow_m3_s is None
    # pound and hour by definition: 0.45359237 kg, 3600 s
    assert injector.static_flow_kg_s == pytest.approx(95 * 0.45359237 / 3600)
    assert injector.dead_time_s == ((14.0, 0.001),)


def test_injector_flow_kind_is_a_quantity() -> None:
    spec = Spec("static_flow", "injector flow", "flow", "1000 cc/min", 1e-4, 0.1)
    found = read_value(spec, "1000 cc/min", Context())
    assert isinstance(found, Quantity) and found.kind == "volume flow"


def test_plenum_and_entry_may_be_one_table_or_a_list() -> None:
    one = _tree()
    many = _tree()
    many["plenum"], many["entry"] = [many["plenum"]], [many["entry"]]
    left_out = {"tree", "sha256"}
    assert read_tree(one).model_dump(exclude=left_out) == read_tree(many).model_dump(
        exclude=left_out
    )


def test_runner_overrides_only_what_it_gives() -> None:
    tree = _tree()
    tree["runner"] = [{"cylinder": 2, "station": "150 mm", "bends": []}]
    case = read_tree(tree)
    assert case.runner(2).station_m == pytest.approx(0.150)
    assert case.runner(1).station_m == pytest.approx(0.053)
    assert case.runner(2).length_m == case.runner(1).length_m
    assert case.runner(2).bends == ()
    assert len(case.runner(1).bends) == 1


def test_two_rows_may_share_a_station() -> None:
    tree = _tree("v6", "side")
    tree["runners"]["stations"] = ["80 mm", "80 mm", "190 mm", "190 mm", "300 mm", "300 mm"]
    assert len(read_tree(tree).runners) == 6
    for item in tree["runner"]:
        item["row"] = "left"
    with pytest.raises(InputError, match="must not overlap"):
        read_tree(tree)


def test_cases_are_frozen() -> None:
    case = read_text(starter("inline-3", "side"))
    with pytest.raises(ValueError, match="frozen"):
        case.engine.bore_m = 0.1  # type: ignore[misc]
    assert math.isfinite(case.engine.bore_m)
