"""The reader: what a good file becomes, what is assumed, where lines are, no traceback ever."""

from __future__ import annotations

import copy
import math
import random
import tomllib
from pathlib import Path
from typing import Any

import pytest

from distrib.case.locate import Locator
from distrib.case.read import read_case, read_text
from distrib.case.template import starter
from distrib.case.toml_text import dumps
from distrib.errors import InputError, Problem

CASES = Path(__file__).parent.parent.parent / "cases"

MINIMAL = """
title = "Smallest case"
cylinder_1_end = "front"
view = "from above"
use = "road"
[engine]
layout = "inline-4"
bore = "86 mm"
stroke = "86 mm"
compression_ratio = 10.5
firing_order = [1, 3, 4, 2]
[conditions]
rpm = [3000, 6000]
[plenum]
length = "390 mm"
diameter = "80 mm"
[entry]
kind = "side"
end = "far"
diameter = "2 1/2 in"
length = "150 mm"
[runners]
stations = ["54 mm", "148 mm", "242 mm", "336 mm"]
length = "300 mm"
diameter = "42 mm"
mouth = "bell"
mouth_radius = "9 mm"
[[runner]]
cylinder = 3
length = "11 3/4 in"
[fuel]
kind = "gasoline"
lambda_target = 0.9
injection = "sequential"
"""


def test_values_in_si() -> None:
    case = read_text(MINIMAL)
    assert case.engine.bore_m == pytest.approx(0.086, rel=1e-14)
    assert case.engine.cylinders == 4
    assert case.entries[0].diameter_m == pytest.approx(2.5 * 0.0254, rel=1e-14)
    assert case.entries[0].at_m == pytest.approx(0.39)
    assert [r.cylinder for r in case.runners] == [1, 2, 3, 4]
    assert case.runner(3).length_m == pytest.approx(11.75 * 0.0254, rel=1e-14)
    assert case.runner(2).length_m == pytest.approx(0.3, rel=1e-14)
    assert case.runner(3).station_m == pytest.approx(0.242, rel=1e-14)


def test_everything_left_out_is_written_down_with_its_reason() -> None:
    case = read_text(MINIMAL)
    fields = [item.field for item in case.assumed]
    assert fields == sorted(set(fields), key=fields.index)
    assert all(item.value and item.why for item in case.assumed)
    expected = {
        "limits",
        "uncertainty",
        "engine.rod",
        "engine.port_length",
        "engine.firing_intervals",
        "engine.exhaust_pressure",
        "conditions.ambient_pressure",
        "conditions.ambient_temperature",
        "conditions.relative_humidity",
        "conditions.charge_pressure",
        "conditions.charge_temperature",
        "plenum.roughness",
        "entry.roughness",
        "bench.depression",
        "bench.head",
        "fuel.air_following_fraction",
        "runners.end_diameter",
        "runners.face",
        "runners.angle",
        "runners.roughness",
        "runners.flange_step",
    }
    assert set(fields) == expected


def test_derived_values() -> None:
    case = read_text(MINIMAL)
    assert case.engine.rod_m == pytest.approx(1.6 * 0.086)
    assert case.engine.port_length_m == pytest.approx(1.15 * case.engine.bore_m)
    assert case.engine.firing_intervals_deg == (180.0,) * 4
    assert case.conditions.ambient_pressure_pa == 101325.0  # ISO 2533, sea level
    assert case.conditions.ambient_temperature_k == 288.15  # ISO 2533, sea level
    assert case.conditions.charge_pressure_pa == case.conditions.ambient_pressure_pa
    assert not case.conditions.boosted
    assert case.runner(1).end_diameter_m == case.runner(1).diameter_m


def test_gauge_pressure_is_above_the_ambient_of_the_case() -> None:
    text = MINIMAL.replace(
        "rpm = [3000, 6000]",
        'rpm = [3000, 6000]\nambient_pressure = "85 kPa absolute"\n'
        'charge_pressure = "1.2 bar gauge"\ncharge_temperature = "45 degC"',
    )
    case = read_text(text)
    assert case.conditions.charge_pressure_pa == pytest.approx(205e3, rel=1e-14)
    assert case.conditions.boosted
    assert case.engine.exhaust_pressure_pa == case.conditions.charge_pressure_pa


def test_demo_cases_differ_only_in_the_entry() -> None:
    for name in ("inline4", "inline5"):
        side, center = (read_case(CASES / f"{name}_{kind}.toml") for kind in ("side", "center"))
        assert side.invented and center.invented
        same = ("engine", "conditions", "plenums", "runners", "bench", "fuel", "limits", "losses")
        for part in same:
            assert getattr(side, part) == getattr(center, part), part
        assert side.entries[0].kind == "side"
        assert center.entries[0].kind == "center"
        assert side.entries[0].throttle == center.entries[0].throttle
        assert [a.field for a in side.assumed] == ["limits"]


def test_aim_of_a_center_entry_follows_from_the_walls() -> None:
    base = MINIMAL.replace(
        'kind = "side"\nend = "far"', 'kind = "center"\nat = "195 mm"\nface = "F"'
    )
    for face, runner_face, aim in (
        ("top", "side", 90.0),
        ("back", "side", 0.0),
        ("top", "floor", 0.0),
        ("floor", "floor", 180.0),
    ):
        text = base.replace('"F"', f'"{face}"').replace(
            'mouth = "bell"', f'mouth = "bell"\nface = "{runner_face}"'
        )
        case = read_text(text)
        assert case.entries[0].aim_deg == aim
        assert "entry.aim" in [item.field for item in case.assumed]


def test_plenum_shapes() -> None:
    boxed = read_text(MINIMAL.replace('diameter = "80 mm"', 'width = "70 mm"\nheight = "72 mm"', 1))
    section = boxed.plenums[0].sections[0]
    assert boxed.plenums[0].shape == "rectangle"
    assert section.area_m2 == pytest.approx(0.07 * 0.072)
    assert boxed.plenums[0].hydraulic_diameter_m(0.1) == pytest.approx(4 * 0.07 * 0.072 / 0.284)
    area = read_text(MINIMAL.replace('diameter = "80 mm"', 'area = "56 cm2"', 1))
    assert area.plenums[0].sections[0].perimeter_m == pytest.approx(2 * math.sqrt(math.pi * 5.6e-3))
    assert "plenum.perimeter" in [item.field for item in area.assumed]


def test_tapered_and_stepped_sections() -> None:
    sections = (
        'sections = [{ at = "0 mm", diameter = "90 mm" }, { at = "390 mm", diameter = "60 mm" }]'
    )
    base = MINIMAL.replace('end = "far"', 'end = "cylinder-1"')
    taper = read_text(base.replace('diameter = "80 mm"', sections, 1)).plenums[0]
    assert taper.area_m2([0.0, 0.195, 0.39]) == pytest.approx(
        [math.pi / 4 * d * d for d in (0.09, 0.075, 0.06)]
    )
    text = base.replace('diameter = "80 mm"', sections + '\nprofile = "step"', 1)
    step = read_text(text.replace('"390 mm", diameter', '"200 mm", diameter')).plenums[0]
    assert step.area_m2([0.1, 0.3]) == pytest.approx([math.pi / 4 * d * d for d in (0.09, 0.06)])


def test_lines_of_every_kind_of_place() -> None:
    text = (
        'a = "x # y"  # c\n"odd key".b = 1\n[t]\nlist = [1,\n  2, # ]\n  3]\n'
        'long = """\n[no]\nk = 1 \\""" """\n[[r]]\nc = 1\n[[r.s]]\nd = 1\n[[r]]\nc = 2\n'
        "s = [\n  {d = 1},\n  {d = 2},\n]\n[t.u]\ne.f = { g = [[1], [2]] }\n"
    )
    tomllib.loads(text)
    locator = Locator(text)
    expected = {
        ("a",): 1,
        ("odd key", "b"): 2,
        ("t",): 3,
        ("t", "list", 2): 6,
        ("t", "long"): 7,
        ("r", 0, "c"): 11,
        ("r", 0, "s", 0, "d"): 13,
        ("r", 1, "c"): 15,
        ("r", 1, "s", 1, "d"): 18,
        ("r", 1, "missing"): 14,
        ("t", "u", "e", "f", "g", 1): 21,
        ("nowhere",): None,
    }
    assert {path: locator.line(path) for path in expected} == expected


JUNK: tuple[Any, ...] = (
    0, -1, 3.5, 1e30, math.nan, math.inf, True, "", "x", "12", "12 mm", "-3 mm", "1,250 mm",
    "2 7/8 in", "18 psi", "18 psi gauge", "28 inH2O", "0 deg", [], {}, [[]], [{}], [1], ["a"],
    {"value": 1}, {"value": "x"}, {"low": 1, "high": 2}, [["0 deg", "0 mm"]], "side", "center",
    {"at": "5 mm"}, "é\u0000",
)  # fmt: skip


def _places(tree: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = []
    for key, value in tree.items() if isinstance(tree, dict) else enumerate(tree):
        found.append((*path, key))
        if isinstance(value, dict | list):
            found += _places(value, (*path, key))
    return found


def test_damaged_cases_never_end_in_a_traceback() -> None:
    random_ = random.Random(20)
    kinds = (("inline-5", "side"), ("flat-4", "center"), ("v6", "side"))
    bases = [tomllib.loads(starter(layout, entry)) for layout, entry in kinds]
    refused = 0
    for _ in range(400):
        tree = copy.deepcopy(random_.choice(bases))
        for _ in range(random_.randint(1, 4)):
            *way, last = random_.choice(_places(tree))
            node: Any = tree
            for step in way:
                node = node[step]
            if random_.random() < 0.2:
                del node[last]
            else:
                node[last] = copy.deepcopy(random_.choice(JUNK))
        problems: tuple[Problem, ...] = ()
        try:
            read_text(dumps(tree), "damaged.toml")
        except InputError as error:
            refused += 1
            problems = error.problems
        assert all(problem.allowed and problem.where for problem in problems)
    assert 300 < refused < 400
