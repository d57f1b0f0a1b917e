"""What makes each rule fire: (rule, verdict expected, change of the sound case, shares).

A rule with a hard limit must stand here with `change`, a rule with a limit alone with `ask`, and
a rule that can find its figure missing with `missing`.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from review_cases import (
    STATIONS_M,
    Change,
    both,
    entry,
    injector,
    part,
    plenum,
    runner,
    runners,
    same,
    shares,
    throttle,
    top,
    two_plenums,
    valve,
)

from distrib.case import schema
from distrib.results import Shares
from distrib.review.rules import Verdict


class Fire(NamedTuple):
    """One spoiled case and the verdict that the rule must give."""

    rule: str
    verdict: Verdict
    change: Change
    shares: tuple[Shares, ...] = (shares(),)
    value: float | None = None
    """Value worked by hand from the spoiled dimensions, in the rule's unit."""


def service(name: str, place: str, cylinder: int | None = None) -> Change:
    """One service port only."""
    port = schema.Service(name=name, place=place, cylinder=cylinder)  # type: ignore[arg-type]
    return part("drawing", services=(port,))


def center(**values: object) -> Change:
    """A center entry above the second mouth."""
    return entry(**{"kind": "center", "end": None, "at_m": 0.172, "diffuser": None, **values})


def taper(end_m: float) -> Change:
    """Plenum that narrows straight to a diameter at its far end."""
    start = schema.Section(
        at_m=0.0, area_m2=np.pi / 4 * 0.1**2, perimeter_m=np.pi * 0.1, diameter_m=0.1
    )
    end = schema.Section(
        at_m=0.406,
        area_m2=np.pi / 4 * end_m**2,
        perimeter_m=np.pi * end_m,
        diameter_m=end_m,
    )
    return plenum(sections=(start, end))


def wide_open_bore(bore_m: float) -> Change:
    """Throttle and pipe of one bore."""
    return both(throttle(bore_m=bore_m), entry(diameter_m=bore_m))


def lean(percent: float, chance: float | None = None, sure: float = 0.9) -> tuple[Shares, ...]:
    """Cylinder 4 with so much more air than the mean."""
    rest = -percent / 3.0
    return (shares((rest, rest, rest, percent), "engine", chance, sure),)


WANTED = part("conditions", wanted_rpm=(2000.0, 2500.0))

DRAWING: Final = (
    Fire("marks", "missing", part("drawing", marks=("view",))),
    Fire("marks", "missing", top(drawing=None)),
    Fire("firing-neighbours", "ask", part("engine", firing_order=(1, 2, 3, 4)), value=3.0),
    Fire("flange-thickness", "ask", part("structure", flange_thickness_m=0.008), value=8.0),
    Fire("flange-thickness", "change", part("structure", flange_thickness_m=0.005), value=5.0),
    Fire("flange-thickness", "missing", part("structure", flange_thickness_m=None)),
    Fire("flange-flatness", "ask", part("structure", flange_flatness_m=0.00015), value=0.15),
    Fire("flange-flatness", "change", part("structure", flange_flatness_m=0.0003), value=0.3),
    Fire("flange-flatness", "missing", part("structure", flange_flatness_m=None)),
    Fire("machined-after-weld", "change", part("structure", machined_after_weld=False)),
    Fire("machined-after-weld", "missing", part("structure", machined_after_weld=None)),
    Fire("flange-bolts", "change", part("structure", bolts_both_sides=False)),
    Fire("flange-bolts", "missing", top(structure=None)),
    Fire("bolt-span", "ask", part("structure", bolt_span_m=0.120), value=10.0),
    Fire("bolt-span", "change", part("structure", bolt_span_m=0.180), value=15.0),
    Fire("bolt-span", "missing", part("structure", bolt_span_m=None)),
    Fire("gasket", "ask", part("drawing", gasket_larger_m=0.0005), value=0.5),
    Fire("gasket", "ask", part("drawing", gasket_larger_m=0.003), value=3.0),
    Fire("gasket", "change", part("drawing", gasket_larger_m=-0.001), value=-1.0),
    Fire("gasket", "missing", part("drawing", gasket=None)),
    Fire("brackets", "missing", part("drawing", brackets=None)),
    Fire("thermal-growth", "missing", part("drawing", thermal_growth=None)),
    Fire("clearance", "ask", part("drawing", clearance_m=0.010), value=10.0),
    Fire("clearance", "change", part("drawing", clearance_m=0.003), value=3.0),
    Fire("clearance", "change", part("drawing", engine_roll_m=0.020)),
    Fire("clearance", "missing", part("drawing", clearance_m=None)),
    Fire("cleaning", "missing", part("drawing", cleaning=None)),
    Fire("road-use", "missing", top(use="road")),
)

GEOMETRY: Final = (
    Fire("area-ratio", "ask", plenum(0.090), value=4 * 0.040**2 / 0.090**2),
    Fire("area-ratio", "change", plenum(0.075), value=4 * 0.040**2 / 0.075**2),
    Fire("last-section", "ask", taper(0.040)),
    Fire("last-section", "change", taper(0.030)),
    Fire("volume", "ask", plenum(0.065)),
    Fire("dead-length-short", "ask", plenum(length_m=0.386), value=0.25),
    Fire("dead-length-short", "change", plenum(length_m=0.366), value=-0.25),
    Fire("dead-length-long", "ask", plenum(length_m=0.436), value=1.5),
    Fire("roof-clearance", "ask", runner(2, roof_clearance_m=0.030), value=0.75),
    Fire("roof-clearance", "change", runner(2, roof_clearance_m=0.010), value=0.25),
    Fire("roof-clearance", "missing", runner(2, roof_clearance_m=None)),
    Fire("wall-clearance", "ask", runner(4, wall_clearance_m=0.012), value=0.3),
    Fire("wall-clearance", "change", runner(4, wall_clearance_m=0.004), value=0.1),
    Fire("wall-clearance", "missing", runner(4, wall_clearance_m=None)),
    Fire("lip-gap", "ask", runner(2, station_m=STATIONS_M[2] - 0.0575), value=0.5),
    Fire("lip-gap", "change", runner(2, station_m=STATIONS_M[2] - 0.050), value=-7.0),
)

ENTRY: Final = (
    Fire("throttle-loss", "ask", throttle(bore_m=0.050, discharge_coefficient=0.7)),
    Fire("throttle-loss", "change", throttle(bore_m=0.040, discharge_coefficient=0.6)),
    Fire("throttle-mach", "ask", throttle(bore_m=0.048)),
    Fire("throttle-mach", "change", throttle(bore_m=0.040)),
    Fire("cone-angle", "ask", entry(diffuser=schema.Diffuser(length_m=0.06, exit_diameter_m=0.1))),
    Fire(
        "cone-angle",
        "change",
        entry(diffuser=schema.Diffuser(length_m=0.0125, exit_diameter_m=0.1)),
        value=90.0,
    ),
    Fire("entry-dump", "ask", entry(diffuser=None, diameter_m=0.055)),
    Fire("entry-dump", "change", entry(diffuser=None, diameter_m=0.042)),
    Fire("first-mouth", "ask", both(entry(diffuser=None), throttle(to_plenum_m=0.0)), value=0.8),
    Fire("first-mouth", "ask", entry(diffuser=None), value=0.8),
    Fire(
        "first-mouth",
        "change",
        both(entry(diffuser=None), throttle(to_plenum_m=0.0), runner(1, station_m=0.035)),
        value=0.2,
    ),
    Fire("jet-sees-mouth", "ask", center(aim_deg=30.0), value=30.0),
    Fire("jet-sees-mouth", "change", center(aim_deg=0.0), value=0.0),
    Fire("center-position", "ask", center(at_m=0.172), value=0.5),
    Fire("center-position", "change", center(at_m=0.080), value=1.5),
    Fire("balance-tube", "ask", two_plenums(0.034)),
    Fire("balance-tube", "change", two_plenums(0.024)),
    Fire("shaft-direction", "ask", both(center(), throttle(shaft="across"))),
    Fire("part-throttle", "ask", throttle(plate_angle_deg=40.0), value=40.0),
    Fire("baffle", "ask", entry(baffle=schema.Baffle(open_fraction=0.4)), value=0.4),
)

RUNNERS: Final = (
    Fire("bell-radius", "ask", runner(3, mouth_radius_m=0.006), value=0.15),
    Fire("bell-radius", "change", runners(mouth="sharp", mouth_radius_m=0.0), value=0.0),
    Fire("bells-alike", "ask", runner(3, mouth_radius_m=0.0105), value=0.05),
    Fire("bells-alike", "change", runner(3, mouth="sharp")),
    Fire("bells-alike", "change", runner(3, mouth_radius_m=0.0165), value=0.2),
    Fire("clearances-alike", "ask", runner(4, wall_clearance_m=0.012), value=0.325),
    Fire("clearances-alike", "missing", runner(4, wall_clearance_m=None)),
    Fire("length-equality", "ask", runner(4, length_m=0.336), value=100 * 16 / 324),
    Fire("length-equality", "change", runner(4, length_m=0.420), value=100 * 100 / 345),
    Fire(
        "bend-radius",
        "ask",
        runner(2, bends=(schema.Bend(angle_deg=45.0, radius_m=0.050),)),
        value=1.25,
    ),
    Fire(
        "bend-radius",
        "change",
        runner(2, bends=(schema.Bend(angle_deg=45.0, radius_m=0.030),)),
        value=0.75,
    ),
    Fire(
        "turning-equality",
        "ask",
        runner(1, bends=(schema.Bend(angle_deg=60.0, radius_m=0.070),)),
        value=15.0,
    ),
    Fire(
        "turning-equality",
        "change",
        runner(1, bends=(schema.Bend(angle_deg=95.0, radius_m=0.070),)),
        value=50.0,
    ),
    Fire("take-off-angle", "ask", runners(angle_deg=60.0), value=30.0),
    Fire("runner-diffusion", "ask", runner(1, end_diameter_m=0.090)),
    Fire("runner-diffusion", "change", runner(1, length_m=0.060, end_diameter_m=0.060)),
    Fire("runner-taper", "ask", runners(end_diameter_m=0.032), value=56.25),
    Fire("runner-taper", "change", runners(end_diameter_m=0.025), value=156.0),
    Fire("areas-alike", "ask", runner(1, end_diameter_m=0.0386)),
    Fire("areas-alike", "change", runner(1, diameter_m=0.043)),
    Fire("port-match", "ask", runner(1, flange_step_m=0.001), value=1.0),
    Fire("port-match", "change", runner(1, flange_step_m=0.002), value=2.0),
    Fire("port-match", "missing", top(tree={})),
    Fire("runner-mach", "ask", runners(end_diameter_m=0.033)),
    Fire("runner-mach", "change", runners(end_diameter_m=0.027)),
)

FLOW: Final = (
    Fire("plenum-mach", "ask", plenum(0.058)),
    Fire("plenum-mach", "change", plenum(0.045)),
    Fire("valve-mach", "ask", valve(diameter_m=0.0285)),
    Fire("valve-mach", "change", valve(diameter_m=0.025)),
    Fire("valve-mach", "missing", part("engine", intake_valve=None)),
    Fire("runner-tuning", "ask", WANTED),
    Fire("runner-tuning", "missing", part("conditions", wanted_rpm=None)),
    Fire("spread", "ask", same, (shares((-3.0, 0.0, 0.0, 3.0)),), 6.0),
    Fire("spread", "change", same, (shares((-5.0, 0.0, 0.0, 5.0)),), 10.0),
    Fire("spread", "ask", same, ()),
    Fire("spread", "change", same, (*lean(0.5), shares((-6.0, 0.0, 0.0, 6.0), "engine")), 12.0),
    Fire("lean-risk", "ask", same, lean(2.0), 2.0),
    Fire("lean-risk", "change", same, lean(4.0), 4.0),
    Fire("lean-risk", "ask", same, lean(1.0, chance=0.2), 1.0),
    Fire("lean-risk", "change", same, lean(1.0, chance=0.6), 1.0),
    Fire("lean-risk", "ask", same, ()),
    Fire(
        "lean-risk",
        "change",
        same,
        (*lean(0.5), shares((-1.2, -1.2, -1.1, 3.5), "engine")),
        3.5,
    ),
    Fire("bench-spread", "ask", same, (shares((-8.0, -2.0, 2.0, 8.0), "bench"),), 16.0),
    Fire("rank-certainty", "ask", same, lean(0.5, chance=0.0, sure=0.3), 0.3),
)

FUEL: Final = (
    Fire("injection-mode", "ask", part("fuel", injection="batch")),
    Fire("fuel-in-plenum", "ask", part("fuel", air_following_fraction=0.3), value=30.0),
    Fire("fuel-in-plenum", "change", part("fuel", air_following_fraction=0.8), value=80.0),
    Fire("injector-duty", "ask", part("fuel", injector=injector(8.0e-6))),
    Fire("injector-duty", "change", part("fuel", injector=injector(6.5e-6))),
    Fire("injector-duty", "missing", part("fuel", injector=None)),
)

SERVICES: Final = (
    Fire("injector-aim", "change", part("drawing", injector_aim="wall")),
    Fire("injector-aim", "change", part("drawing", injectors_alike=False)),
    Fire("injector-aim", "ask", part("drawing", injector_aim="mouth")),
    Fire("injector-aim", "missing", part("drawing", injector_aim=None)),
    Fire("injector-aim", "missing", part("drawing", injectors_alike=None)),
    Fire("injector-distance", "ask", part("drawing", injector_to_valve_m=0.2), value=200.0),
    Fire("injector-distance", "missing", part("drawing", injector_to_valve_m=None)),
    Fire("service-ports", "change", service("purge", "runner", 2)),
    Fire("service-ports", "ask", service("brake servo", "plenum end")),
    Fire("service-ports", "ask", part("drawing", services_complete=None)),
    Fire("service-ports", "missing", part("drawing", services=(), services_complete=None)),
    Fire("pressure-tap", "ask", part("drawing", pressure_tap_at_m=0.060), value=0.8),
    Fire("pressure-tap", "change", part("drawing", pressure_tap_at_m=0.015), value=0.2),
    Fire("pressure-tap", "ask", part("drawing", pressure_tap_at_m=0.390)),
    Fire("pressure-tap", "missing", part("drawing", pressure_tap_at_m=None)),
    Fire("temperature-sensor", "ask", part("drawing", temperature_sensor_at_m=0.390)),
    Fire("temperature-sensor", "missing", part("drawing", temperature_sensor_at_m=None)),
    Fire("heat-soak", "change", part("drawing", temperature_sensor_soaked=True)),
    Fire("heat-soak", "missing", part("drawing", temperature_sensor_soaked=None)),
    Fire("lambda-bosses", "change", part("drawing", lambda_bosses="none")),
    Fire("lambda-bosses", "ask", part("drawing", lambda_bosses="collector")),
    Fire("lambda-bosses", "missing", part("drawing", lambda_bosses=None)),
    Fire("exhaust-bosses", "change", part("drawing", temperature_bosses="none")),
    Fire("exhaust-bosses", "ask", part("drawing", temperature_bosses="collector")),
    Fire("exhaust-bosses", "missing", part("drawing", temperature_bosses=None)),
    Fire("boss-distance", "change", part("drawing", bosses_alike=False)),
    Fire("boss-distance", "missing", part("drawing", bosses_alike=None)),
    Fire("plenum-taps", "ask", part("drawing", plenum_taps=1), value=1.0),
    Fire("plenum-taps", "missing", part("drawing", plenum_taps=None)),
    Fire("test-plan", "missing", part("drawing", test_plan=None)),
    Fire("test-plan", "missing", part("drawing", acceptance=None)),
    Fire(
        "leak-pressure",
        "ask",
        part("drawing", leak_test_pressure_pa=101325.0 + 1.05 * 98675.0),
        value=1.05,
    ),
    Fire(
        "leak-pressure",
        "change",
        part("drawing", leak_test_pressure_pa=101325.0 + 2.0 * 98675.0),
        value=2.0,
    ),
    Fire("leak-pressure", "missing", part("drawing", leak_test_pressure_pa=None)),
)

STRUCTURE: Final = (
    Fire("structure-data", "missing", top(structure=None)),
    Fire(
        "panel-stress",
        "ask",
        part("structure", panel_width_m=0.1, panel_length_m=0.4, wall_thickness_m=0.0025),
        value=0.5 * 98675.0 * 40.0**2 / 87.5e6,
    ),
    Fire(
        "panel-stress",
        "change",
        part("structure", panel_width_m=0.1, panel_length_m=0.4, wall_thickness_m=0.002),
        value=0.5 * 98675.0 * 50.0**2 / 87.5e6,
    ),
    Fire("panel-stress", "missing", part("structure", panel_width_m=None)),
    Fire("panel-stress", "missing", part("structure", yield_pa=None)),
    Fire(
        "panel-deflection",
        "ask",
        part("structure", panel_width_m=0.12, panel_length_m=0.4, wall_thickness_m=0.0024),
        value=0.0284 * 98675.0 * 50.0**4 / 70e9,
    ),
    Fire(
        "panel-deflection",
        "change",
        part("structure", panel_width_m=0.15, panel_length_m=0.5, wall_thickness_m=0.002),
    ),
    Fire("panel-deflection", "missing", part("structure", wall_thickness_m=None)),
    Fire("shell-stress", "ask", part("structure", wall_thickness_m=0.0001)),
    Fire("shell-stress", "change", part("structure", wall_thickness_m=0.00005)),
    Fire("shell-stress", "missing", part("structure", wall_thickness_m=None)),
    Fire("lid-force", "ask", part("structure", lid_bolts=4, lid_bolt_diameter_m=0.003)),
    Fire("lid-force", "change", part("structure", lid_bolts=2, lid_bolt_diameter_m=0.003)),
    Fire("lid-force", "ask", part("structure", lid="welded", joint="both sides")),
    Fire("lid-force", "missing", part("structure", lid=None)),
    Fire("lid-force", "missing", part("structure", lid_bolts=None)),
    Fire("weld-factor", "ask", part("structure", weld_factor=0.8), value=0.8),
    Fire("weld-factor", "change", part("structure", weld_factor=1.0), value=1.0),
    Fire("weld-factor", "missing", part("structure", weld_factor=None)),
    Fire("joint", "change", part("structure", joint="one side")),
    Fire("joint", "missing", part("structure", joint=None)),
    Fire("proof-test", "change", part("structure", test_medium="air")),
    Fire("proof-test", "missing", part("structure", test_medium=None)),
    Fire(
        "proof-ratio",
        "ask",
        part("structure", test_pressure_pa=101325.0 + 1.1 * 98675.0),
        value=1.1,
    ),
    Fire(
        "proof-ratio",
        "change",
        part("structure", test_pressure_pa=101325.0 + 0.5 * 98675.0),
        value=0.5,
    ),
    Fire("proof-ratio", "missing", part("structure", test_pressure_pa=None)),
    Fire(
        "proof-stress",
        "ask",
        part("structure", test_pressure_pa=101325.0 + 0.95 * 87.5e6 / (0.4988 * 144.0)),
    ),
    Fire(
        "proof-stress",
        "change",
        part("structure", test_pressure_pa=101325.0 + 1.2 * 87.5e6 / (0.4988 * 144.0)),
    ),
    Fire("proof-stress", "missing", part("structure", test_pressure_pa=None)),
    Fire("backfire", "ask", part("structure", relief=False)),
    Fire("backfire", "missing", part("structure", relief=None)),
)

FIRING: Final = (
    *DRAWING,
    *GEOMETRY,
    *ENTRY,
    *RUNNERS,
    *FLOW,
    *FUEL,
    *SERVICES,
    *STRUCTURE,
)

STILL_QUIET: Final = (
    ("entry-dump", entry(diffuser=None)),
    ("cone-angle", entry(diffuser=None)),
    ("center-position", center(at_m=0.218)),
    ("balance-tube", two_plenums(0.090)),
    ("dead-length-short", two_plenums(0.090)),
    ("plenum-mach", two_plenums(0.090)),
    ("injector-duty", part("fuel", injector=injector(2.0e-5, by_mass=True))),
    ("shaft-direction", both(center(), throttle(shaft="along"))),
    ("jet-sees-mouth", center(aim_deg=90.0)),
    ("runner-diffusion", runners(end_diameter_m=0.044)),
    ("turning-equality", runner(1, angle_deg=98.0)),
    ("road-use", both(top(use="road"), part("drawing", road_note="approval applied for"))),
    ("clearance", part("drawing", engine_roll_m=0.012)),
    ("service-ports", part("drawing", services=())),
    ("lid-force", part("structure", lid="none")),
    ("lid-force", part("structure", lid="welded")),
    ("panel-stress", part("structure", panel_width_m=None, lid="none")),
    ("throttle-loss", entry(throttle=None)),
    ("proof-ratio", part("conditions", charge_pressure_pa=101325.0, boosted=False)),
    ("boss-distance", part("drawing", lambda_bosses=None, temperature_bosses=None)),
)
"""Designs beside the sound one that must not fire: (rule, change)."""
