"""Operating conditions, bench, fuel and injector. All values SI."""

from __future__ import annotations

from typing import Annotated, Literal

from distrib.case.fields import Part, Spec


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
    wanted_rpm: Annotated[
        tuple[float, ...] | None,
        Spec(
            "wanted_rpm",
            "speeds",
            "lowest and highest speed of the wanted torque",
            "[4500, 6500]",
            100,
            20000,
        ),
    ] = None


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


class Stage(Part):
    """One of several sets of injectors that share the fuel of every cylinder.

    Sets in the plenum or before the throttle follow the air. `trimmed`: the set takes the trims of
    single cylinders. `count` injectors make up the set (None where nobody said so). A set at the
    cylinders without an injector of its own has that of the fuel.
    """

    name: Annotated[str, Spec("name", "text", "name of the set, for the sheet", "lower")]
    place: Annotated[
        Literal["near valve", "runner", "plenum", "before throttle"],
        Spec("place", "choice", "where the set sprays; the last two follow the air", "near valve"),
    ]
    share: Annotated[
        float,
        Spec("share", "fraction", "share of the fuel; all sets sum to 1", "0.6", 0.001, 1),
    ]
    trimmed: Annotated[
        bool,
        Spec(
            "trimmed",
            "boolean",
            "the trims of single cylinders act on this set",
            "true",
            derived="true near the valve, else false",
        ),
    ]
    count: Annotated[
        int | None,
        Spec(
            "count",
            "integer",
            "injectors in the set; must be given with an injector before or in the plenum",
            "4",
            1,
            32,
            why="a set at the cylinders has one injector for each (common practice, no source)",
            derived="one per cylinder near the valve and in the runner",
        ),
    ] = None
    injector: Injector | None = None


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
    stages: tuple[Stage, ...] = ()
