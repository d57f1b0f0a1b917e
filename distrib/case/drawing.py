"""What drawing and shop say beside the flow path: structure, services, sensors. All values SI."""

from __future__ import annotations

from typing import Annotated, Literal

from distrib.case.fields import Part, Spec


class Structure(Part):
    """What the plenum is made of, as far as the drawing says; None means missing on the drawing."""

    material: Annotated[
        str | None, Spec("material", "text", "sheet material", "5083-H111 aluminium")
    ] = None
    yield_pa: Annotated[
        float | None,
        Spec("yield_strength", "stress", "yield strength of the parent sheet", "125 MPa", 1e6, 2e9),
    ] = None
    weld_factor: Annotated[
        float | None,
        Spec("weld_factor", "number", "strength beside a weld over parent strength", "0.7", 0.1, 1),
    ] = None
    wall_thickness_m: Annotated[
        float | None, Spec("wall_thickness", "length", "thinnest wall", "4 mm", 0.0005, 0.05)
    ] = None
    panel_width_m: Annotated[
        float | None,
        Spec(
            "panel_width", "length", "largest unsupported flat panel, short side", "70 mm", 0.001, 1
        ),
    ] = None
    panel_length_m: Annotated[
        float | None, Spec("panel_length", "length", "its long side", "300 mm", 0.001, 5)
    ] = None
    lid: Annotated[
        Literal["none", "welded", "bolted"] | None,
        Spec("lid", "choice", "how the lid is held", "welded"),
    ] = None
    lid_width_m: Annotated[
        float | None, Spec("lid_width", "length", "lid width under pressure", "90 mm", 0.001, 1)
    ] = None
    lid_length_m: Annotated[
        float | None, Spec("lid_length", "length", "lid length under pressure", "430 mm", 0.001, 5)
    ] = None
    lid_bolts: Annotated[
        int | None, Spec("lid_bolts", "integer", "bolts of the lid", "14", 2, 100)
    ] = None
    joint: Annotated[
        Literal["full penetration", "both sides", "one side"] | None,
        Spec("joint", "choice", "weld of the seams", "full penetration"),
    ] = None
    flange_thickness_m: Annotated[
        float | None, Spec("flange_thickness", "length", "head flange", "12 mm", 0.002, 0.05)
    ] = None
    flange_flatness_m: Annotated[
        float | None,
        Spec("flange_flatness", "length", "flatness after welding", "0.1 mm", 0, 0.005),
    ] = None
    bolts_both_sides: Annotated[
        bool | None,
        Spec("bolts_both_sides", "boolean", "bolts on both sides of every port", "true"),
    ] = None
    test_pressure_pa: Annotated[
        float | None, Spec("test_pressure", "pressure", "proof pressure", "2.5 bar gauge", 5e4, 2e6)
    ] = None
    test_medium: Annotated[
        Literal["water", "air"] | None, Spec("test_medium", "choice", "proof medium", "water")
    ] = None
    relief: Annotated[
        bool | None, Spec("relief", "boolean", "relief valve or burst panel fitted", "true")
    ] = None
    youngs_modulus_pa: Annotated[
        float | None,
        Spec(
            "youngs_modulus",
            "stress",
            "modulus of elasticity of the sheet",
            "70 GPa",
            1000000000.0,
            400000000000.0,
        ),
    ] = None
    panel_edges: Annotated[
        Literal["clamped", "supported"] | None,
        Spec("panel_edges", "choice", "how the edges of the largest panel are held", "clamped"),
    ] = None
    panel_welded: Annotated[
        bool | None,
        Spec("panel_welded", "boolean", "the edges of the largest panel are welds", "true"),
    ] = None
    lid_bolt_diameter_m: Annotated[
        float | None,
        Spec("lid_bolt_diameter", "length", "thread of the lid bolts", "6 mm", 0.002, 0.03),
    ] = None
    lid_bolt_class: Annotated[
        Literal["8.8", "10.9", "12.9"] | None,
        Spec("lid_bolt_class", "choice", "strength class of the lid bolts", "8.8"),
    ] = None
    bolt_span_m: Annotated[
        float | None,
        Spec("bolt_span", "length", "largest distance between flange bolts", "80 mm", 0.005, 0.5),
    ] = None
    machined_after_weld: Annotated[
        bool | None,
        Spec(
            "machined_after_weld",
            "boolean",
            "flange and throttle faces machined after welding",
            "true",
        ),
    ] = None


class Service(Part):
    """One service port (servo, breather, purge, water, nitrous)."""

    name: Annotated[str, Spec("name", "text", "what it serves", "brake servo")]
    place: Annotated[
        Literal["before throttle", "plenum centre", "plenum end", "runner"],
        Spec("place", "choice", "where it is", "plenum centre"),
    ]
    cylinder: Annotated[
        int | None, Spec("cylinder", "integer", "cylinder, when it is on a runner", "1", 1, 8)
    ] = None


class Drawing(Part):
    """What the drawing shows beside the flow path; None means missing on the drawing."""

    marks: Annotated[
        tuple[str, ...],
        Spec(
            "marks",
            "texts",
            "what is marked: cylinder 1, view, firing order, inlet end",
            '["cylinder 1", "view", "firing order", "inlet end"]',
        ),
    ] = ()
    services: tuple[Service, ...] = ()
    pressure_tap_at_m: Annotated[
        float | None,
        Spec("pressure_tap_at", "length", "axial position of the pressure tap", "215 mm", 0, 5),
    ] = None
    temperature_sensor_at_m: Annotated[
        float | None,
        Spec(
            "temperature_sensor_at",
            "length",
            "axial position of the air temperature sensor",
            "260 mm",
            0,
            5,
        ),
    ] = None
    injector_to_valve_m: Annotated[
        float | None,
        Spec("injector_to_valve", "length", "injector tip to valve", "110 mm", 0.005, 1),
    ] = None
    injector_aim: Annotated[
        Literal["valve", "wall", "mouth"] | None,
        Spec("injector_aim", "choice", "what the spray hits", "valve"),
    ] = None
    injectors_alike: Annotated[
        bool | None, Spec("injectors_alike", "boolean", "same distance and aim for all", "true")
    ] = None
    lambda_bosses: Annotated[
        Literal["each port", "collector", "none"] | None,
        Spec("lambda_bosses", "choice", "mixture sensors", "each port"),
    ] = None
    temperature_bosses: Annotated[
        Literal["each port", "collector", "none"] | None,
        Spec("temperature_bosses", "choice", "exhaust temperature probes", "each port"),
    ] = None
    clearance_m: Annotated[
        float | None,
        Spec("clearance", "length", "smallest clearance to bonnet, strut, steering", "18 mm", 0, 1),
    ] = None
    brackets: Annotated[
        str | None,
        Spec("brackets", "text", "stays and brackets", "one stay at the far end, rubber bush"),
    ] = None
    test_plan: Annotated[
        str | None,
        Spec(
            "test_plan",
            "text",
            "leak and proof test, bench report, acceptance",
            "water 2.5 bar gauge, then air 0.7 bar gauge",
        ),
    ] = None
    gasket: Annotated[
        str | None, Spec("gasket", "text", "gasket and its bore", "1.5 mm, bore 41 mm")
    ] = None
    services_complete: Annotated[
        bool | None,
        Spec("services_complete", "boolean", "the list of service ports is complete", "true"),
    ] = None
    temperature_sensor_soaked: Annotated[
        bool | None,
        Spec(
            "temperature_sensor_soaked",
            "boolean",
            "hot metal warms the air temperature sensor",
            "false",
        ),
    ] = None
    bosses_alike: Annotated[
        bool | None,
        Spec("bosses_alike", "boolean", "all bosses at the same distance from the valve", "true"),
    ] = None
    plenum_taps: Annotated[
        int | None,
        Spec("plenum_taps", "integer", "static pressure taps along the plenum", "3", 0, 50),
    ] = None
    leak_test_pressure_pa: Annotated[
        float | None,
        Spec(
            "leak_test_pressure",
            "pressure",
            "leak test by air",
            "0.7 bar gauge",
            50000.0,
            1000000.0,
        ),
    ] = None
    acceptance: Annotated[
        str | None, Spec("acceptance", "text", "what the tests must show", "no bubbles in 5 min")
    ] = None
    bench_report: Annotated[
        bool | None,
        Spec("bench_report", "boolean", "a bench report belongs to the delivery", "true"),
    ] = None
    gasket_larger_m: Annotated[
        float | None,
        Spec(
            "gasket_larger",
            "length",
            "gasket hole beyond the port, all round",
            "0.5 mm",
            -0.01,
            0.01,
        ),
    ] = None
    thermal_growth: Annotated[
        str | None,
        Spec(
            "thermal_growth",
            "text",
            "how pipe and stays let the plenum grow",
            "hose at the throttle",
        ),
    ] = None
    engine_roll_m: Annotated[
        float | None,
        Spec("engine_roll", "length", "movement of the engine at the clearance", "12 mm", 0, 0.1),
    ] = None
    cleaning: Annotated[
        bool | None,
        Spec("cleaning", "boolean", "cleaning and deburring are on the drawing", "true"),
    ] = None
    road_note: Annotated[
        str | None,
        Spec(
            "road_note", "text", "road use: what was found about local law", "type approval needed"
        ),
    ] = None


class ReviewLimit(Part):
    """A limit of one review rule that this case sets otherwise, and why."""

    rule: Annotated[str, Spec("rule", "text", "id of the rule", "area-ratio")]
    limit: Annotated[
        float, Spec("limit", "number", "limit instead of the usual one", "0.8", -1e9, 1e9)
    ]
    reason: Annotated[str, Spec("reason", "text", "why", "bench data of this plenum exist")]
