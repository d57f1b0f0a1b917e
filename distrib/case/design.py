"""Parts of the metal: plenum, runner, balance tube. All values SI; entries are in `entry`."""

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
            derived="follows from the dimensions given",
        ),
    ]
    sections: tuple[Section, ...]
    profile: Annotated[
        Literal["linear", "step"],
        Spec(
            "profile",
            "choice",
            "between two sections: straight taper or a step at the next one",
            "linear",
            why="straight taper between the sections given",
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
        Spec(
            "face",
            "choice",
            "wall of the plenum that the runner leaves by",
            "side",
            why="runners leave by the wall that faces the engine",
        ),
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
            why="straight runner",
            derived="diameter at the mouth",
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
            "take-off angle: 90 square; below 90 flow that comes from x = 0 turns less",
            "90 deg",
            20,
            160,
            why="square take-off",
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
