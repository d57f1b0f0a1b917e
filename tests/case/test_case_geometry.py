"""Sizes that follow from a case, against closed forms and independent sums."""

from __future__ import annotations

import math

import numpy as np
import pytest

from distrib.case import geometry
from distrib.case.change import with_changes
from distrib.case.read import read_text
from distrib.case.schema import Case
from distrib.case.template import starter


def _case(layout: str, entry: str) -> Case:
    return read_text(starter(layout, entry))


def test_displacement_and_clearance() -> None:
    case = _case("inline-6", "side")
    swept = 6 * math.pi / 4 * 0.086**2 * 0.086  # bore and stroke of the starter, 86 mm each
    assert geometry.displacement_m3(case) == pytest.approx(swept, rel=1e-12)
    total = geometry.cylinder_volume_m3(case) + geometry.clearance_volume_m3(case)
    ratio = total / geometry.clearance_volume_m3(case)
    assert ratio == pytest.approx(case.engine.compression_ratio, rel=1e-12)


def test_distance_from_a_side_entry() -> None:
    case = _case("inline-4", "side")
    stations = np.array([r.station_m for r in case.runners])
    assert geometry.distance_from_entry_m(case) == pytest.approx(stations)
    far = with_changes(case, {"entry.end": "far"})
    assert geometry.distance_from_entry_m(far) == pytest.approx(0.385 - stations)


def test_distance_from_a_center_entry_is_symmetric() -> None:
    found = geometry.distance_from_entry_m(_case("inline-6", "center"))
    assert found == pytest.approx(found[::-1])
    assert found.min() == pytest.approx(0.048)


def test_distance_through_a_balance_tube() -> None:
    case = _case("flat-4", "side")
    tree = dict(case.tree)
    tree["entry"] = [item for item in tree["entry"] if item["plenum"] == "left"]
    from distrib.case.read import read_tree

    one = read_tree(tree)
    tube = one.balance_tubes[0]
    own = {c: one.runner(c) for c in (1, 2, 3, 4)}
    expected = [
        own[c].station_m
        if own[c].plenum == "left"
        else tube.from_at_m + tube.length_m + abs(own[c].station_m - tube.to_at_m)
        for c in (1, 2, 3, 4)
    ]
    assert geometry.distance_from_entry_m(one) == pytest.approx(expected)


def test_stations_are_sorted_along_the_axis() -> None:
    case = _case("v6", "side")
    found = [r.station_m for r in geometry.stations(case, "main")]
    assert found == sorted(found)
    assert len(found) == 6


def test_area_ratio() -> None:
    case = _case("inline-5", "side")
    assert geometry.area_ratio(case, "main") == pytest.approx(5 * 42.0**2 / 86.0**2)


def test_volume_of_a_taper_is_that_of_a_frustum() -> None:
    case = _case("inline-5", "side")
    tree = dict(case.tree)
    plenum = {k: v for k, v in tree["plenum"].items() if k != "diameter"}
    plenum["sections"] = [
        {"at": "0 mm", "diameter": "95 mm"},
        {"at": "460 mm", "diameter": "70 mm"},
    ]
    from distrib.case.read import read_tree

    tapered = read_tree({**tree, "plenum": plenum}).plenums[0]
    frustum = math.pi * 0.46 / 12 * (0.095**2 + 0.095 * 0.07 + 0.07**2)
    assert geometry.plenum_volume_m3(tapered) == pytest.approx(frustum, rel=1e-12)
    x = np.linspace(0, 0.46, 20001)
    numeric = np.trapezoid(tapered.area_m2(x), x)
    assert geometry.plenum_volume_m3(tapered) == pytest.approx(numeric, rel=1e-8)


def test_stated_volume_wins_over_the_sections() -> None:
    case = with_changes(_case("inline-5", "side"), {"plenum.volume": "3.1 L"})
    assert geometry.total_plenum_volume_m3(case) == pytest.approx(3.1e-3)


def test_firing_angles_follow_the_order() -> None:
    case = _case("inline-4", "side")  # 1-3-4-2, even
    assert geometry.firing_angle_deg(case) == pytest.approx([0, 540, 180, 360])
    odd = with_changes(case, {"engine.firing_intervals": [90.0, 270.0, 90.0, 270.0]})
    assert geometry.firing_angle_deg(odd) == pytest.approx([0, 450, 90, 360])
