"""Parts of the engine and its conditions: engine, valves, bench, fuel. All values SI."""

from __future__ import annotations

from typing import Annotated, Literal

from distrib.case.fields import Part, Spec

Layout = Literal["inline-3", "inline-4", "inline-5", "inline-6", "v6", "v8", "flat-4", "flat-6"]


class Valve(Part):
    """One kind of valve of one cylinder.

    Intake: `opens_deg` before top dead centre, `closes_deg` after bottom dead centre.
    Exhaust: `opens_deg` before bottom dead centre, `closes_deg` after top dead centre.
    """

    count: Annotated[int, Spec("count", "integer", "valves of this kind per cylinder", "2", 1, 3)]
    diameter_m: Annotated[
        float, Spec("diameter", "length", "head diameter of one valve", "33 mm", 0.01, 0.08)
    ]
    max_lift_m: Annotated[float, Spec("max_lift", "length", "greatest lift", "10 mm", 0.001, 0.03)]
    opens_deg: Annotated[
        float,
        Spec(
            "opens",
            "angle",
            "intake: before top dead centre; exhaust: before bottom dead centre",
            "12 deg",
            -60,
            120,
        ),
    ]
    closes_deg: Annotated[
        float,
        Spec(
            "closes",
            "angle",
            "intake: after bottom dead centre; exhaust: after top dead centre",
            "52 deg",
            -60,
            120,
        ),
    ]
    stem_diameter_m: Annotated[
        float,
        Spec(
            "stem_diameter",
            "length",
            "stem diameter",
            "6 mm",
            0,
            0.015,
            why="usual for this size (common practice, no source)",
        ),
    ] = 6e-3
    discharge_coefficient: Annotated[
        tuple[tuple[float, float], ...],
        Spec(
            "discharge_coefficient",
            "pairs",
            "of the valve area: one number, or pairs of lift over diameter and coefficient",
            "0.65",
            0.05,
            1.0,
            why="middle of the usual range of bench figures (common practice, no source)",
        ),
    ] = ((0.0, 0.65),)
    lift_table: Annotated[
        tuple[tuple[float, float], ...] | None,
        Spec(
            "lift_table",
            "lift table",
            "pairs of crank angle after opening and lift, instead of a smooth curve",
            '[["0 deg", "0 mm"], ["120 deg", "10 mm"], ["240 deg", "0 mm"]]',
        ),
    ] = None


class PortFlow(Part):
    """Bench flow of one port of the head, at a depression and a valve lift."""

    flow_m3_s: Annotated[
        float, Spec("flow", "volume flow", "flow of one port", "210 cfm", 0.001, 1)
    ]
    depression_pa: Annotated[
        float,
        Spec("depression", "depression", "depression it was measured at", "28 inH2O", 100, 5e4),
    ]
    lift_m: Annotated[
        float, Spec("lift", "length", "valve lift it was measured at", "10 mm", 0.0005, 0.03)
    ]


class Engine(Part):
    """The engine. Every cylinder has the same bore, stroke, valves."""

    layout: Annotated[Layout, Spec("layout", "choice", "arrangement of the cylinders", "inline-5")]
    cylinders: int
    bore_m: Annotated[float, Spec("bore", "length", "cylinder bore", "82.5 mm", 0.03, 0.2)]
    stroke_m: Annotated[float, Spec("stroke", "length", "piston stroke", "92.8 mm", 0.02, 0.25)]
    rod_m: Annotated[
        float,
        Spec(
            "rod",
            "length",
            "rod length between centres",
            "144 mm",
            0.04,
            0.5,
            why="usual ratio (common practice, no source)",
            derived="1.6 times the stroke",
        ),
    ]
    compression_ratio: Annotated[
        float, Spec("compression_ratio", "number", "geometric", "9.3", 5, 20)
    ]
    firing_order: Annotated[
        tuple[int, ...],
        Spec(
            "firing_order", "integers", "cylinders in the order they fire", "[1, 2, 4, 5, 3]", 1, 8
        ),
    ]
    firing_intervals_deg: Annotated[
        tuple[float, ...],
        Spec(
            "firing_intervals",
            "angles",
            "crank angle from each firing to the next",
            '["144 deg", "144 deg", "144 deg", "144 deg", "144 deg"]',
            0,
            720,
            why="even firing",
            derived="720 deg over the number of cylinders",
        ),
    ]
    intake_valve: Valve | None = None
    exhaust_valve: Valve | None = None
    exhaust_pressure_pa: Annotated[
        float,
        Spec(
            "exhaust_pressure",
            "pressure",
            "mean pressure behind the exhaust valves",
            "1.4 bar gauge",
            5e4,
            1e6,
            why="of the usual order for a turbocharged or a free-breathing engine (from memory)",
            derived="charge pressure when boosted, else 5 kPa above ambient",
        ),
    ]
    port_flow: PortFlow | None = None


class Conditions(Part):
    """Operating conditions; `boosted` is true when the charge pressure is above ambient."""

    rpm: Annotated[
        tuple[float, ...],
        Spec("rpm", "speeds", "engine speeds", "[3000, 5000, 7000]", 100, 20000),
    ]
    ambient_pressure_pa: Annotated[
        float,
        Spec(
            "ambient_pressure",
            "absolute pressure",
            "outside pressure",
            "101.3 kPa absolute",
            4e4,
            1.2e5,
            why="standard atmosphere, ISO 2533",
            derived="101.325 kPa absolute",
        ),
    ]
    ambient_temperature_k: Annotated[
        float,
        Spec(
            "ambient_temperature",
            "temperature",
            "outside temperature",
            "22 degC",
            220,
            340,
            why="standard atmosphere, ISO 2533",
            derived="15 degC",
        ),
    ]
    relative_humidity: Annotated[
        float,
        Spec(
            "relative_humidity",
            "fraction",
            "of the outside air",
            "50 percent",
            0,
            1,
            why="dry air unless stated",
        ),
    ] = 0.0
    charge_pressure_pa: Annotated[
        float,
        Spec(
            "charge_pressure",
            "pressure",
            "total pressure before the throttle",
            "1.3 bar gauge",
            4e4,
            1e6,
            why="no boost stated",
            derived="ambient pressure",
        ),
    ]
    charge_temperature_k: Annotated[
        float,
        Spec(
            "charge_temperature",
            "temperature",
            "before the throttle; must be given when boosted",
            "45 degC",
            220,
            480,
            why="no boost: outside air",
            derived="ambient temperature when not boosted",
        ),
    ]
    boosted: bool


class Bench(Part):
    """How the steady rig is set: chosen runners open to one common depression."""

    depression_pa: Annotated[
        float,
        Spec(
            "depression",
            "depression",
            "depression behind the open runners",
            "10 inH2O",
            50,
            5e4,
            why="usual rig setting of 28 inH2O (common practice, no source)",
        ),
    ] = 28.0 * 249.08891
    head: Annotated[
        Literal["removed", "fitted"],
        Spec(
            "head",
            "choice",
            "bare manifold, or with the head and valves at a lift",
            "removed",
            why="bare manifold",
        ),
    ] = "removed"
    valve_lift_m: Annotated[
        float | None,
        Spec(
            "valve_lift",
            "length",
            "lift of all intake valves; must be given when the head is fitted",
            "10 mm",
            0.0005,
            0.03,
        ),
    ] = None
    open_runners: Annotated[
        tuple[int, ...] | None,
        Spec(
            "open_runners",
            "integers",
            "cylinders whose runners are open; left out: all",
            "[1, 2, 3, 4, 5]",
            1,
            8,
        ),
    ] = None


class Injector(Part):
    """One injector: static flow by mass or by volume, at a pressure difference."""

    static_flow_kg_s: Annotated[
        float | None,
        Spec(
            "static_flow",
            "injector flow",
            "static flow, by volume or by mass",
            "1000 cc/min",
            1e-4,
            0.1,
        ),
    ] = None
    static_flow_m3_s: float | None = None
    at_pressure_pa: Annotated[
        float,
        Spec(
            "at_pressure", "depression", "pressure difference of the static flow", "3 bar", 5e4, 2e6
        ),
    ]
    rail_pressure_pa: Annotated[
        float,
        Spec(
            "rail_pressure",
            "depression",
            "rail pressure above the port (difference) in use",
            "3 bar",
            5e4,
            3e6,
        ),
    ]
    dead_time_s: Annotated[
        tuple[tuple[float, float], ...],
        Spec(
            "dead_time",
            "dead time",
            "one time, or pairs of supply voltage and time",
            '[[12, "1.2 ms"], [14, "0.95 ms"]]',
            0,
            0.01,
        ),
    ] = ()


class Fuel(Part):
    """Fuel, target mixture and injection."""

    kind: Annotated[
        Literal["gasoline", "ethanol-blend", "methanol", "ethanol"],
        Spec("kind", "choice", "fuel", "gasoline"),
    ]
    ethanol_volume_fraction: Annotated[
        float, Spec("ethanol_volume_fraction", "fraction", "of an ethanol blend", "0.85", 0, 1)
    ] = 0.0
    lambda_target: Annotated[
        float,
        Spec("lambda_target", "number", "target mixture, 1 is stoichiometric", "0.80", 0.5, 1.3),
    ]
    injection: Annotated[
        Literal["sequential", "paired", "batch"],
        Spec(
            "injection",
            "choice",
            "only sequential injection can trim single cylinders",
            "sequential",
        ),
    ]
    injector: Injector | None = None
    air_following_fraction: Annotated[
        float,
        Spec(
            "air_following_fraction",
            "fraction",
            "share of the fuel that enters before or in the plenum and follows the air",
            "0",
            0,
            1,
            why="port injection: all fuel enters at the ports",
        ),
    ] = 0.0
