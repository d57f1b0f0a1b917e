"""Parts of the metal: plenum, entry, runner, balance tube. All values SI."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Literal

from distrib.case.fields import Part, Spec

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

ROUGHNESS_M = 0.02e-3
WHY_ROUGHNESS = "rolled sheet and tube with ground welds (common practice, no source)"


class Given(Part):
    """A loss coefficient that the case gives instead of a law; sigma is one standard deviation."""

    value: float
    sigma: float | None = None


class Bend(Part):
    """One bend of a pipe; the radius is that of the centre line."""

    angle_deg: Annotated[float, Spec("angle", "angle", "turning of the stream", "45 deg", 0, 180)]
    radius_m: Annotated[
        float, Spec("radius", "length", "radius of the centre line", "70 mm", 0.005, 2)
    ]


class Section(Part):
    """Cross-section of a plenum at one axial position."""

    at_m: float
    area_m2: float
    perimeter_m: float
    width_m: float | None = None
    height_m: float | None = None
    diameter_m: float | None = None


class Plenum(Part):
    """One plenum; x runs from the cylinder-1 end (0) to the far end (length_m)."""

    name: Annotated[str, Spec("name", "text", "name that entries and runners refer to", "main")] = (
        "main"
    )
    length_m: Annotated[
        float, Spec("length", "length", "inside length along the axis", "430 mm", 0.02, 5)
    ]
    shape: Annotated[
        Literal["round", "rectangle", "area"],
        Spec(
            "shape",
            "choice",
            "round: diameter; rectangle: width and height; area: area and perimeter",
            "round",
        ),
    ] = "round"
    sections: tuple[Section, ...]
    profile: Annotated[
        Literal["linear", "step"],
        Spec(
            "profile",
            "choice",
            "between two sections: straight taper or a step at the next one",
            "linear",
        ),
    ] = "linear"
    roughness_m: Annotated[
        float, Spec("roughness", "length", "wall roughness", "0.02 mm", 0, 2e-3, why=WHY_ROUGHNESS)
    ] = ROUGHNESS_M
    volume_m3: Annotated[
        float | None,
        Spec(
            "volume",
            "volume",
            "inside volume when it is more than the section times the length",
            "2.4 L",
            1e-5,
            1,
        ),
    ] = None
    regain: Annotated[
        Given | None,
        Spec(
            "regain",
            "loss",
            "static regain r in dp = -r d(rho W^2/2), instead of a law",
            "0.8",
            -1,
            2,
        ),
    ] = None

    def _interpolate(self, x: ArrayLike, values: list[float]) -> NDArray[np.float64]:
        import numpy as np

        at = np.array([s.at_m for s in self.sections])
        data = np.array(values)
        x = np.asarray(x, dtype=float)
        if self.profile == "step":
            index = np.clip(np.searchsorted(at, x, side="right") - 1, 0, at.size - 1)
            return np.asarray(data[index])
        return np.asarray(np.interp(x, at, data))

    def area_m2(self, x: ArrayLike) -> NDArray[np.float64]:
        """Cross-section area at axial positions x (m), same shape as x.

        With `profile` linear the linear dimension (the root of the area) runs straight between
        two sections; with `step` a section holds until the next one begins.
        """
        return self._interpolate(x, [math.sqrt(s.area_m2) for s in self.sections]) ** 2

    def perimeter_m(self, x: ArrayLike) -> NDArray[np.float64]:
        """Wetted perimeter at axial positions x (m)."""
        return self._interpolate(x, [s.perimeter_m for s in self.sections])

    def hydraulic_diameter_m(self, x: ArrayLike) -> NDArray[np.float64]:
        """Hydraulic diameter 4 A / perimeter at axial positions x (m)."""
        import numpy as np

        return np.asarray(4.0 * self.area_m2(x) / self.perimeter_m(x))


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
            "shaft along the row of mouths, or across it: then the plate throws the stream to one end",
            "along",
            why="the plate then does not prefer one end of the row",
        ),
    ] = "along"
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
            "side: at one end, along the axis; center: across the axis; ducted: comes from one end, discharges inside",
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
        ),
    ]
    face: Annotated[
        Literal["top", "back", "floor"],
        Spec("face", "choice", "wall that a center entry sits on", "top"),
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
        ),
    ] = 90.0
    offset_m: Annotated[
        float,
        Spec(
            "offset",
            "length",
            "offset of the jet axis from the plenum axis, + towards the mouths",
            "0 mm",
            -0.5,
            0.5,
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
            "length of the pipe from charge pressure to the plenum",
            "250 mm",
            0,
            5,
        ),
    ]
    bends: tuple[Bend, ...] = ()
    roughness_m: Annotated[
        float, Spec("roughness", "length", "wall roughness", "0.02 mm", 0, 2e-3, why=WHY_ROUGHNESS)
    ] = ROUGHNESS_M
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


class Runner(Part):
    """One runner: the part of `[runners]` merged with that of its own `[[runner]]`."""

    cylinder: Annotated[int, Spec("cylinder", "integer", "cylinder it feeds", "1", 1, 8)]
    plenum: Annotated[str, Spec("plenum", "text", "name of the plenum it leaves", "main")] = "main"
    station_m: Annotated[
        float,
        Spec(
            "station",
            "length",
            "axial position of the mouth, from the cylinder-1 end",
            "45 mm",
            0,
            5,
        ),
    ]
    row: Annotated[
        Literal["left", "right", "single"],
        Spec("row", "choice", "row of mouths on a two-row plenum", "single"),
    ] = "single"
    face: Annotated[
        Literal["side", "floor", "back", "top"],
        Spec("face", "choice", "wall of the plenum that the runner leaves by", "side"),
    ] = "side"
    length_m: Annotated[
        float,
        Spec(
            "length", "length", "length of the centre line, mouth to port flange", "320 mm", 0.01, 2
        ),
    ]
    diameter_m: Annotated[
        float, Spec("diameter", "length", "inside diameter behind the mouth", "42 mm", 0.01, 0.12)
    ]
    end_diameter_m: Annotated[
        float,
        Spec(
            "end_diameter",
            "length",
            "inside diameter at the port flange",
            "40 mm",
            0.01,
            0.12,
            why="same as the mouth: straight runner",
        ),
    ]
    mouth: Annotated[
        Literal["sharp", "re-entrant", "rounded", "bevelled", "bell"],
        Spec("mouth", "choice", "shape of the mouth", "bell"),
    ]
    mouth_radius_m: Annotated[
        float,
        Spec(
            "mouth_radius",
            "length",
            "edge radius (rounded, bell) or width of the bevel",
            "10 mm",
            0,
            0.1,
        ),
    ] = 0.0
    angle_deg: Annotated[
        float,
        Spec(
            "angle",
            "angle",
            "take-off angle: 90 square; less than 90 leans so that flow coming from x = 0 turns less",
            "90 deg",
            20,
            160,
        ),
    ] = 90.0
    bends: tuple[Bend, ...] = ()
    roughness_m: Annotated[
        float, Spec("roughness", "length", "wall roughness", "0.02 mm", 0, 2e-3, why=WHY_ROUGHNESS)
    ] = ROUGHNESS_M
    roof_clearance_m: Annotated[
        float | None, Spec("roof_clearance", "length", "mouth to the opposite wall", "80 mm", 0, 1)
    ] = None
    wall_clearance_m: Annotated[
        float | None,
        Spec(
            "wall_clearance", "length", "mouth edge to the nearest end wall or floor", "20 mm", 0, 1
        ),
    ] = None
    flange_step_m: Annotated[
        float,
        Spec(
            "flange_step",
            "length",
            "step at the port flange, + faces the flow",
            "0 mm",
            -0.02,
            0.02,
            why="matched ports",
        ),
    ] = 0.0
    entry_loss: Annotated[
        Given | None,
        Spec(
            "entry_loss",
            "loss",
            "loss of the mouth on the runner velocity head, instead of a law",
            "0.1",
            0,
            10,
        ),
    ] = None
    loss: Annotated[
        Given | None,
        Spec(
            "loss", "loss", "loss of the runner on its velocity head, instead of laws", "0.3", 0, 50
        ),
    ] = None


class BalanceTube(Part):
    """Tube between two plenums."""

    from_plenum: Annotated[str, Spec("from_plenum", "text", "plenum at one end", "left")]
    from_at_m: Annotated[float, Spec("from_at", "length", "axial position there", "200 mm", 0, 5)]
    to_plenum: Annotated[str, Spec("to_plenum", "text", "plenum at the other end", "right")]
    to_at_m: Annotated[float, Spec("to_at", "length", "axial position there", "200 mm", 0, 5)]
    diameter_m: Annotated[float, Spec("diameter", "length", "inside diameter", "40 mm", 0.005, 0.2)]
    length_m: Annotated[float, Spec("length", "length", "length", "180 mm", 0.001, 3)]
    loss: Annotated[
        Given | None,
        Spec("loss", "loss", "loss on its velocity head, instead of laws", "1.5", 0, 100),
    ] = None
