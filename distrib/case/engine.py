"""Parts of the engine: valves, port flow, crank. All values SI."""

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
    port_length_m: Annotated[
        float,
        Spec(
            "port_length",
            "length",
            "passage in the head from the runner's flange to the valve seat",
            "95 mm",
            0,
            0.4,
            why="usual proportion (from memory)",
            derived="1.15 times the bore",
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
