"""Parts of an entry: pipe, throttle, diffuser, baffle. All values SI."""

from __future__ import annotations

from typing import Annotated, Literal

from distrib.case.design import ROUGHNESS_M, WHY_ROUGHNESS, Bend, Given
from distrib.case.fields import Part, Spec


class Diffuser(Part):
    """Conical widening between the entry pipe and the plenum."""

    length_m: Annotated[float, Spec("length", "length", "axial length", "90 mm", 0.001, 1)]
    exit_diameter_m: Annotated[
        float,
        Spec("exit_diameter", "length", "diameter where it meets the plenum", "80 mm", 0.01, 0.5),
    ]


class Throttle(Part):
    """Butterfly throttle in the entry pipe; plate angle 0 is closed, 90 wide open."""

    bore_m: Annotated[float, Spec("bore", "length", "bore at the plate", "70 mm", 0.015, 0.2)]
    shaft_diameter_m: Annotated[
        float,
        Spec(
            "shaft_diameter",
            "length",
            "shaft diameter",
            "8 mm",
            0,
            0.03,
            why="usual for this size (common practice, no source)",
        ),
    ] = 8e-3
    plate_angle_deg: Annotated[
        float,
        Spec(
            "plate_angle",
            "angle",
            "opening of the plate from the square position: 90 is wide open",
            "90 deg",
            0,
            90,
            why="wide open: the full-load case",
        ),
    ] = 90.0
    closed_angle_deg: Annotated[
        float,
        Spec(
            "closed_angle",
            "angle",
            "angle of the plate when it touches the bore",
            "6 deg",
            0,
            20,
            why="usual for butterfly plates (common practice, no source)",
        ),
    ] = 6.0
    shaft: Annotated[
        Literal["along", "across"],
        Spec(
            "shaft",
            "choice",
            "along the row of mouths, or across it: the plate then throws the stream to one end",
            "along",
            why="the plate then does not prefer one end of the row",
        ),
    ] = "along"
    throws: Annotated[
        Literal["cylinder-1", "far"] | None,
        Spec(
            "throws",
            "choice",
            "end of the row that a part-open plate with its shaft across throws the stream to",
            "far",
        ),
    ] = None
    to_plenum_m: Annotated[
        float | None,
        Spec("to_plenum", "length", "plate to the plenum wall or diffuser", "60 mm", 0, 2),
    ] = None
    discharge_coefficient: Annotated[
        float | None,
        Spec(
            "discharge_coefficient",
            "number",
            "of the open area, instead of a law",
            "0.85",
            0.1,
            1.0,
        ),
    ] = None


class Baffle(Part):
    """Perforated plate in the plenum or over the entry."""

    open_fraction: Annotated[
        float, Spec("open_fraction", "number", "open area over whole area", "0.45", 0.05, 1.0)
    ]
    at_m: Annotated[
        float | None,
        Spec("at", "length", "axial position; left out: over the entry", "20 mm", 0, 5),
    ] = None
    loss: Annotated[
        Given | None,
        Spec(
            "loss",
            "loss",
            "loss coefficient on the approach velocity, instead of a law",
            "2.5",
            0,
            1000,
        ),
    ] = None


class Supply(Part):
    """What feeds an entry: the pipe from cooler, filter or air box to the throttle."""

    length_m: Annotated[
        float,
        Spec(
            "length",
            "length",
            "pipe from the cooler or air box to the entry; 0: the entry opens into still air",
            "700 mm",
            0,
            5,
        ),
    ]
    diameter_m: Annotated[
        float | None,
        Spec("diameter", "length", "inside diameter; left out: that of the entry", "63 mm",
             0.015, 0.3),
    ] = None
    volume_m3: Annotated[
        float | None,
        Spec("volume", "volume", "cooler or air box at its far end; left out: too large to matter",
             "6 l", 1e-4, 1),
    ] = None


class Entry(Part):
    """Where air enters a plenum.

    `at_m` is filled for a side entry too (0 or the plenum length). `tilt_deg` leans the jet
    along the axis (0 square, + towards the far end). `aim_deg` is the angle between the jet
    and the way to the runner mouths: 0 straight at them, 90 across, 180 away.
    """

    name: Annotated[str, Spec("name", "text", "name of the entry", "entry")] = "entry"
    plenum: Annotated[str, Spec("plenum", "text", "name of the plenum it feeds", "main")] = "main"
    kind: Annotated[
        Literal["side", "center", "ducted"],
        Spec(
            "kind",
            "choice",
            "side: at one end, along the axis; center: across; ducted: from one end, ends inside",
            "side",
        ),
    ]
    end: Annotated[
        Literal["cylinder-1", "far"] | None,
        Spec(
            "end",
            "choice",
            "end of the plenum that a side or ducted entry comes from",
            "cylinder-1",
        ),
    ] = None
    at_m: Annotated[
        float,
        Spec(
            "at",
            "length",
            "axial position of a center entry, or where a duct discharges",
            "215 mm",
            0,
            5,
            derived="the end it is at, for a side entry",
        ),
    ]
    face: Annotated[
        Literal["top", "back", "floor"],
        Spec("face", "choice", "wall of a center entry; must be given for one", "top"),
    ] = "top"
    tilt_deg: Annotated[
        float,
        Spec(
            "tilt",
            "angle",
            "lean of the jet along the axis, + towards the far end",
            "0 deg",
            -80,
            80,
            why="square to the axis",
        ),
    ] = 0.0
    aim_deg: Annotated[
        float,
        Spec(
            "aim",
            "angle",
            "angle between the jet and the way to the mouths: 0 at them, 90 across, 180 away",
            "90 deg",
            0,
            180,
            why="from the walls that entry and runners are on",
            derived="0 opposite the runners, 180 on their wall, else 90",
        ),
    ]
    offset_m: Annotated[
        float,
        Spec(
            "offset",
            "length",
            "offset of the jet axis from the plenum axis, + towards the mouths",
            "0 mm",
            -0.5,
            0.5,
            why="on the plenum axis",
        ),
    ] = 0.0
    diameter_m: Annotated[
        float,
        Spec(
            "diameter",
            "length",
            "inside diameter where it meets the plenum (before a diffuser)",
            "70 mm",
            0.015,
            0.3,
        ),
    ]
    length_m: Annotated[
        float,
        Spec(
            "length",
            "length",
            "length of the pipe that belongs to the manifold, up to the plenum",
            "250 mm",
            0,
            5,
        ),
    ]
    bends: tuple[Bend, ...] = ()
    roughness_m: Annotated[
        float, Spec("roughness", "length", "wall roughness", "0.02 mm", 0, 2e-3, why=WHY_ROUGHNESS)
    ] = ROUGHNESS_M
    supply: Supply | None = None
    diffuser: Diffuser | None = None
    throttle: Throttle | None = None
    baffle: Baffle | None = None
    loss: Annotated[
        Given | None,
        Spec(
            "loss",
            "loss",
            "loss of the whole entry on its velocity head, instead of laws",
            "1.2",
            0,
            100,
        ),
    ] = None
    jet: Annotated[
        Given | None,
        Spec(
            "jet",
            "loss",
            "strength of its jet at the mouths: a factor on the jet law, 1 is the law, 0 no jet",
            "1.0",
            0,
            5,
        ),
    ] = None
