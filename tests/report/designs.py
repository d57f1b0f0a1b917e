"""Invented designs for the tests of drawings and reports, built without a case file."""

from __future__ import annotations

import math
from typing import Any

from distrib.case.drawing import Drawing, Structure
from distrib.case.schema import (
    BalanceTube,
    Bench,
    Bend,
    Case,
    Conditions,
    Diffuser,
    Engine,
    Entry,
    Fuel,
    Plenum,
    Runner,
    Section,
    Throttle,
    Valve,
)


def round_section(at: float, diameter: float) -> Section:
    return Section(at_m=at, area_m2=math.pi * diameter**2 / 4, perimeter_m=math.pi * diameter,
                   diameter_m=diameter)


def flat_section(at: float, width: float, height: float) -> Section:
    return Section(at_m=at, area_m2=width * height, perimeter_m=2 * (width + height),
                   width_m=width, height_m=height)


def engine(layout: str, order: tuple[int, ...]) -> Engine:
    valve = Valve(count=2, diameter_m=0.032, max_lift_m=0.0095, opens_deg=10, closes_deg=48)
    return Engine(layout=layout, cylinders=len(order), bore_m=0.081, stroke_m=0.0928,
                  rod_m=0.144, port_length_m=0.095, compression_ratio=9.3, firing_order=order,
                  firing_intervals_deg=(720.0 / len(order),) * len(order),
                  intake_valve=valve, exhaust_valve=valve, exhaust_pressure_pa=2.2e5)


def runner(cylinder: int, station: float, **more: Any) -> Runner:
    values: dict[str, Any] = {
        "length_m": 0.30, "diameter_m": 0.042, "end_diameter_m": 0.040, "mouth": "bell",
        "mouth_radius_m": 0.010, "bends": (Bend(angle_deg=40, radius_m=0.075),)}
    return Runner(cylinder=cylinder, station_m=station, **{**values, **more})


def side_entry(**more: Any) -> Entry:
    values: dict[str, Any] = {
        "name": "entry", "kind": "side", "end": "cylinder-1", "at_m": 0.0, "aim_deg": 90.0,
        "diameter_m": 0.070, "length_m": 0.22,
        "diffuser": Diffuser(length_m=0.08, exit_diameter_m=0.084),
        "throttle": Throttle(bore_m=0.070, plate_angle_deg=90.0)}
    return Entry(**{**values, **more})


def center_entry(**more: Any) -> Entry:
    values: dict[str, Any] = {
        "name": "entry", "kind": "center", "at_m": 0.215, "face": "top", "aim_deg": 90.0,
        "diameter_m": 0.070, "length_m": 0.16, "throttle": Throttle(bore_m=0.070)}
    return Entry(**{**values, **more})


def case(**parts: Any) -> Case:
    """An inline five with a side entry unless told otherwise."""
    values: dict[str, Any] = {
        "title": "Inline five, side entry", "invented": True, "cylinder_1_end": "front",
        "view": "from the intake side, cylinder 1 to the left", "use": "competition",
        "engine": engine("inline-5", (1, 2, 4, 5, 3)),
        "conditions": Conditions(rpm=(6500.0,), ambient_pressure_pa=101325.0,
                                 ambient_temperature_k=298.15, charge_pressure_pa=2.2e5,
                                 charge_temperature_k=318.15, boosted=True),
        "plenums": (Plenum(length_m=0.430, shape="round",
                           sections=(round_section(0.0, 0.092), round_section(0.430, 0.070))),),
        "entries": (side_entry(),),
        "runners": tuple(runner(n, 0.043 + 0.086 * (n - 1)) for n in range(1, 6)),
        "bench": Bench(depression_pa=6970.0, head="removed"),
        "fuel": Fuel(kind="gasoline", lambda_target=0.80, injection="sequential"),
        "sha256": "0" * 64}
    return Case(**{**values, **parts})


def detailed_case() -> Case:
    """The inline five with wall, injectors, tap and sensor."""
    return case(title="Inline five with what the drawing says",
                structure=Structure(wall_thickness_m=0.004),
                drawing=Drawing(injector_to_valve_m=0.120, injector_aim="valve",
                                pressure_tap_at_m=0.15, temperature_sensor_at_m=0.28))


def center_case() -> Case:
    return case(title="Inline five, center entry", entries=(center_entry(),),
                plenums=(Plenum(length_m=0.430, shape="rectangle",
                                sections=(flat_section(0.0, 0.090, 0.080),)),))


def v8_case() -> Case:
    left = tuple(runner(2 * i + 1, 0.06 + 0.11 * i, row="left", face="floor", length_m=0.2,
                        bends=(Bend(angle_deg=30, radius_m=0.08),)) for i in range(4))
    right = tuple(runner(2 * i + 2, 0.08 + 0.11 * i, row="right", face="floor", length_m=0.2,
                         bends=(Bend(angle_deg=30, radius_m=0.08),)) for i in range(4))
    return case(title="V8, one box, entry at the front",
                engine=engine("v8", (1, 8, 4, 3, 6, 5, 7, 2)), runners=left + right,
                plenums=(Plenum(length_m=0.47, shape="rectangle",
                                sections=(flat_section(0.0, 0.20, 0.11),)),),
                entries=(side_entry(diameter_m=0.09, diffuser=None,
                                    throttle=Throttle(bore_m=0.09)),))


def two_plenum_case() -> Case:
    front = tuple(runner(n, 0.05 + 0.09 * (n - 1), plenum="front") for n in (1, 2, 3))
    rear = tuple(runner(n, 0.05 + 0.09 * (n - 4), plenum="rear") for n in (4, 5, 6))
    box = {"length_m": 0.28, "shape": "round", "profile": "step",
           "sections": (round_section(0.0, 0.085), round_section(0.15, 0.07))}
    return case(title="Inline six, two plenums joined", runners=front + rear,
                engine=engine("inline-6", (1, 5, 3, 6, 2, 4)),
                plenums=(Plenum(name="front", **box), Plenum(name="rear", **box)),
                entries=(side_entry(name="one", plenum="front"),
                         side_entry(name="two", plenum="rear", end="far", at_m=0.28)),
                balance_tubes=(BalanceTube(from_plenum="front", from_at_m=0.2, to_plenum="rear",
                                           to_at_m=0.08, diameter_m=0.04, length_m=0.15),))


def ducted_case() -> Case:
    return case(title="Inline four, ducted entry", engine=engine("inline-4", (1, 3, 4, 2)),
                runners=tuple(runner(n, 0.05 + 0.094 * (n - 1), face="floor", bends=(),
                                     angle_deg=75.0, roof_clearance_m=0.06)
                              for n in range(1, 5)),
                plenums=(Plenum(length_m=0.39, shape="rectangle",
                                sections=(flat_section(0.0, 0.10, 0.09),)),),
                entries=(side_entry(kind="ducted", end="far", at_m=0.195, diffuser=None,
                                    offset_m=-0.02),))
