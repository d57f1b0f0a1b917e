"""Parts of a case beside metal and engine: limits, choice of laws, band, structure, drawing."""

from __future__ import annotations

from typing import Annotated, Literal

from distrib.case.fields import Part, Spec


class Limits(Part):
    """Limits of verdicts and trims; defaults are common practice. `reasons` holds (name, why)."""

    lean_percent: Annotated[
        float,
        Spec("lean_percent", "number", "deviation from which a cylinder is lean", "3", 0.1, 20),
    ] = 3.0
    watch_percent: Annotated[
        float, Spec("watch_percent", "number", "deviation from which it is watched", "1.5", 0.1, 20)
    ] = 1.5
    rich_percent: Annotated[
        float, Spec("rich_percent", "number", "deviation below which it is rich", "-3", -20, -0.1)
    ] = -3.0
    richen_cap_percent: Annotated[
        float,
        Spec("richen_cap_percent", "number", "greatest predicted trim that adds fuel", "5", 0, 15),
    ] = 5.0
    prediction_cap_percent: Annotated[
        float,
        Spec("prediction_cap_percent", "number", "greatest predicted trim either way", "3", 0, 15),
    ] = 3.0
    measured_cap_percent: Annotated[
        float, Spec("measured_cap_percent", "number", "greatest trim from measurement", "5", 0, 15)
    ] = 5.0
    warn_percent: Annotated[
        float, Spec("warn_percent", "number", "trim that is warned of", "8", 0, 20)
    ] = 8.0
    refuse_percent: Annotated[
        float,
        Spec("refuse_percent", "number", "trim that is refused: fault or rework", "10", 0, 25),
    ] = 10.0
    duty_max: Annotated[
        float, Spec("duty_max", "fraction", "greatest injector duty", "0.85", 0.3, 1)
    ] = 0.85
    reasons: tuple[tuple[str, str], ...] = ()


class LossChoice(Part):
    """Names of laws in the losses registry; `auto` lets the build choose and say which."""

    branch: Annotated[str, Spec("branch", "text", "dividing take-off", "auto")] = "auto"
    run: Annotated[str, Spec("run", "text", "straight run past a take-off", "auto")] = "auto"
    friction: Annotated[str, Spec("friction", "text", "wall friction", "auto")] = "auto"
    entrance: Annotated[str, Spec("entrance", "text", "runner mouth", "auto")] = "auto"
    bend: Annotated[str, Spec("bend", "text", "bends", "auto")] = "auto"
    expansion: Annotated[str, Spec("expansion", "text", "widening", "auto")] = "auto"
    contraction: Annotated[str, Spec("contraction", "text", "narrowing", "auto")] = "auto"
    throttle: Annotated[str, Spec("throttle", "text", "throttle plate", "auto")] = "auto"
    baffle: Annotated[str, Spec("baffle", "text", "perforated plate", "auto")] = "auto"
    jet: Annotated[str, Spec("jet", "text", "jet of the entry", "auto")] = "auto"


class Uncertainty(Part):
    """How the band is sampled."""

    samples: Annotated[
        int, Spec("samples", "integer", "samples of the band", "2000", 100, 200000)
    ] = 2000
    seed: Annotated[int, Spec("seed", "integer", "seed of the sampler", "1", 0, 2**31 - 1)] = 1
    tolerance_m: Annotated[
        float,
        Spec("tolerance", "length", "standard deviation of made dimensions", "0.1 mm", 0, 0.005),
    ] = 0.1e-3


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


class SearchRange(Part):
    """One parameter that `improve` may change: a range (SI and as typed) or a list of choices."""

    parameter: str
    kind: str
    low: float | None = None
    high: float | None = None
    low_text: str = ""
    high_text: str = ""
    choices: tuple[str, ...] = ()
