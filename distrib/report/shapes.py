"""Flat shapes of a drawing in millimetres of the real thing, and the three views made of them.

Views follow third-angle projection: the plan (from above) stands over the side view (seen from
the back, the side away from the head), the end view (seen from the far end) to the right of it.
Shapes are listed back to front; a filled shape covers what lies behind it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from distrib.report.metal import Body, Metal, Plate, Tube, half_size_at
from distrib.results import FloatArray

Layer = Literal["PLENUM", "WALL", "RUNNER", "INJECTOR", "ENTRY", "PLATE", "CENTRE", "HIDDEN",
                "SECTION", "DIMENSION", "TEXT"]
LAYERS: Final[tuple[Layer, ...]] = (
    "PLENUM", "WALL", "RUNNER", "INJECTOR", "ENTRY", "PLATE", "CENTRE", "HIDDEN", "SECTION",
    "DIMENSION", "TEXT")
Side = Literal["plan", "side", "end"]

LAYER_OF: Final[dict[str, Layer]] = {"runner": "RUNNER", "injector": "INJECTOR"}

MM: Final = 1000.0
FLAT: Final = 0.15
"""Below this share of a unit vector a direction counts as seen end on."""


@dataclass(frozen=True)
class Stroke:
    """A polyline (n, 2), closed or open, filled with paper or with the hue of its cylinder."""

    points: FloatArray
    layer: Layer
    closed: bool = False
    filled: bool = False
    cylinder: int | None = None
    dark: bool = False


@dataclass(frozen=True)
class Oval:
    """A circle or ellipse: half axes along and across the direction `angle_deg`."""

    centre: tuple[float, float]
    half_along: float
    half_across: float
    angle_deg: float
    layer: Layer
    filled: bool = False
    cylinder: int | None = None
    dark: bool = False


@dataclass(frozen=True)
class Label:
    """Text at a point; `size` in points of print, alignment in matplotlib's words."""

    at: tuple[float, float]
    text: str
    size: float = 8.0
    ha: str = "center"
    va: str = "center"
    bold: bool = False
    angle_deg: float = 0.0
    cylinder: int | None = None
    layer: Layer = "TEXT"
    boxed: bool = False
    """Whether paper is laid under the text, because it stands on lines."""


Shape = Stroke | Oval | Label
_AXES: Final[dict[Side, tuple[int, int, int, float]]] = {
    "plan": (0, 1, 2, 1.0), "side": (0, 2, 1, -1.0), "end": (1, 2, 0, 1.0)}


def extents(shapes: Sequence[Shape]) -> tuple[float, float, float, float]:
    """Left, bottom, right, top (mm) of all lines and ovals; labels count by their anchor only."""
    points: list[FloatArray] = []
    for shape in shapes:
        if isinstance(shape, Stroke):
            points.append(shape.points)
        elif isinstance(shape, Oval):
            turn = math.radians(shape.angle_deg)
            half = np.array([
                math.hypot(shape.half_along * math.cos(turn), shape.half_across * math.sin(turn)),
                math.hypot(shape.half_along * math.sin(turn), shape.half_across * math.cos(turn))])
            points.append(np.array([shape.centre - half, shape.centre + half]))
        else:
            points.append(np.array([shape.at]))
    every = np.vstack(points)
    (left, bottom), (right, top) = every.min(axis=0), every.max(axis=0)
    return float(left), float(bottom), float(right), float(top)


def moved(shapes: Sequence[Shape], du: float, dv: float) -> list[Shape]:
    """The shapes shifted by (du, dv) millimetres."""
    out: list[Shape] = []
    for shape in shapes:
        if isinstance(shape, Stroke):
            out.append(replace(shape, points=shape.points + np.array([du, dv])))
        elif isinstance(shape, Oval):
            out.append(replace(shape, centre=(shape.centre[0] + du, shape.centre[1] + dv)))
        else:
            out.append(replace(shape, at=(shape.at[0] + du, shape.at[1] + dv)))
    return out


def view(metal: Metal, side: Side) -> list[Shape]:
    """One orthographic view of a plenum and what is fixed to it, true to scale, in mm."""
    u, v, w, sign = _AXES[side]
    runners = _distinct(metal.runners, u, v) if side == "end" else list(metal.runners)
    injectors = _distinct(metal.injectors, u, v) if side == "end" else list(metal.injectors)
    covered = [i for i in injectors if _covered(i, metal.runners, u, v, w, sign)]
    on = {i.number: i for i in injectors if not any(i is c for c in covered)}
    tubes = [*metal.entries, *runners]
    middle = metal.body.length_m / 2.0 if w == 0 else 0.0
    depth = {id(t): sign * (float(t.points_m[:, w].mean()) - middle) for t in tubes}
    tubes.sort(key=lambda t: depth[id(t)])
    behind = [t for t in tubes if depth[id(t)] < -1e-9]
    front = [t for t in tubes if depth[id(t)] >= -1e-9]
    shapes: list[Shape] = []
    for tube in covered:
        shapes += _tube(tube, u, v, w)
    for tube in behind:
        shapes += _fitted(tube, on, u, v, w)
        shapes += _stream(tube, u, v, w, sign)
    plates = [(sign * (float(p.centre_m[w]) - middle) < -1e-9, p) for p in metal.plates]
    for plate in (p for is_behind, p in plates if is_behind):
        shapes += _plate(plate, u, v, w)
    shapes += _body(metal.body, side)
    for tube in behind:
        shapes += _mouth(tube, u, v, w)
    for tube in front:
        shapes += _fitted(tube, on, u, v, w)
    for tube in tubes:
        shapes += _inner(tube, u, v, w)
    for tube in tubes:
        shapes += _centre(tube, u, v)
    for tube in covered:
        shapes += _dashed(tube, u, v)
    for tube in injectors:
        shapes += _inner(tube, u, v, w)
    for tube in front:
        shapes += _stream(tube, u, v, w, sign)
    for plate in (p for is_behind, p in plates if not is_behind):
        shapes += _plate(plate, u, v, w)
    return shapes


def _distinct(runners: Sequence[Tube], u: int, v: int) -> list[Tube]:
    """Tubes that stand apart in this view; of those within 15 mm the last covers the rest."""
    kept: list[Tube] = []
    for tube in reversed(runners):
        ends = tube.points_m[[0, -1]][:, [u, v]]
        if all(float(np.abs(ends - k.points_m[[0, -1]][:, [u, v]]).max()) > 0.015 for k in kept):
            kept.append(replace(tube, cylinder=None))
    return kept


def _covered(injector: Tube, runners: Sequence[Tube], u: int, v: int, w: int,
             sign: float) -> bool:
    """Whether an injector lies behind its runner: by depth, at the nearest points of its line."""
    line = next((r.points_m for r in runners if r.number == injector.number), None)
    if line is None:
        return False
    outside = injector.points_m[_run(injector) > injector.inside_m - 1e-9]
    away = np.linalg.norm(outside[:, None, [u, v]] - line[None, :, [u, v]], axis=-1)
    gap = outside[:, w] - line[away.argmin(axis=1), w]
    return bool(sign * float(gap.mean()) < -1e-6)


def _fitted(tube: Tube, on: Mapping[int | None, Tube], u: int, v: int, w: int) -> list[Shape]:
    """A tube, and on a runner the injector that it does not cover."""
    shapes = _tube(tube, u, v, w)
    if tube.role == "runner" and tube.number in on:
        shapes += _tube(on[tube.number], u, v, w)
    return shapes


def _dashed(tube: Tube, u: int, v: int) -> list[Shape]:
    """The part of a tube outside the plenum as a dashed outline."""
    _, _, points, radii = _split(tube)
    outline = _edges(points, radii, u, v)
    return [] if outline is None else [Stroke(outline, "HIDDEN", closed=True)]


def _body(body: Body, side: Side) -> list[Shape]:
    """Outline of the plenum, with its outside where the wall is known; in the end view its largest
    and its far section."""
    wall = body.wall_m
    if side != "end":
        half = body.half_y_m if side == "plan" else body.half_z_m
        edge = np.column_stack([body.x_m, half]) * MM
        outline = np.vstack([edge, (edge * [1.0, -1.0])[::-1]])
        reach = max(0.03 * body.length_m, 2.0 * wall)
        axis = np.array([[-reach, 0.0], [body.length_m + reach, 0.0]]) * MM
        return [*_outside(body, half), Stroke(outline, "PLENUM", closed=True, filled=True),
                Stroke(axis, "CENTRE")]
    largest = int(np.argmax(body.half_y_m * body.half_z_m))
    half_y, half_z = float(body.half_y_m[largest]), float(body.half_z_m[largest])
    shapes = [section_shape(body, half_y, half_z)]
    if wall > 0.0:
        shapes.insert(0, section_shape(body, half_y + wall, half_z + wall, "WALL"))
    if abs(body.half_y_m[-1] - body.half_y_m[largest]) > 5e-4:
        shapes.append(section_shape(body, float(body.half_y_m[-1]), float(body.half_z_m[-1])))
    return shapes


def _outside(body: Body, half_m: FloatArray) -> list[Shape]:
    """Outside of the plenum seen from the side: one wall beyond the inside all round."""
    wall = body.wall_m
    if wall <= 0.0:
        return []
    x = body.x_m.copy()
    x[0], x[-1] = -wall, body.length_m + wall
    edge = np.column_stack([x, half_m + wall]) * MM
    return [Stroke(np.vstack([edge, (edge * [1.0, -1.0])[::-1]]), "WALL", closed=True,
                   filled=True)]


def section_shape(body: Body, half_y_m: float, half_z_m: float, layer: Layer = "PLENUM") -> Shape:
    """A cross-section of the plenum about its axis, in mm."""
    y, z = half_y_m * MM, half_z_m * MM
    if body.round:
        return Oval((0.0, 0.0), y, z, 0.0, layer, filled=True)
    corners = np.array([[-y, -z], [y, -z], [y, z], [-y, z]])
    return Stroke(corners, layer, closed=True, filled=True)


def body_section(body: Body, x_m: float) -> Shape:
    """The cross-section of the plenum at x, in mm."""
    return section_shape(body, *half_size_at(body, x_m))


def _run(tube: Tube) -> FloatArray:
    steps = np.linalg.norm(np.diff(tube.points_m, axis=0), axis=1)
    return np.asarray(np.concatenate([[0.0], np.cumsum(steps)]))


def _tangents(points: FloatArray) -> FloatArray:
    ahead = np.gradient(points, axis=0)
    return np.asarray(ahead / np.linalg.norm(ahead, axis=1)[:, None])


def _edges(points: FloatArray, radii: FloatArray, u: int, v: int) -> FloatArray | None:
    """Closed outline (n, 2) of a tube seen from the side, or None when it is seen end on."""
    tangents = _tangents(points)[:, [u, v]]
    size = np.linalg.norm(tangents, axis=1)
    good = size > FLAT
    if good.sum() < 2:
        return None
    normal = tangents[good][:, ::-1] * [-1.0, 1.0] / size[good][:, None]
    flat = points[good][:, [u, v]]
    offset = normal * radii[good][:, None]
    return np.asarray(np.vstack([flat + offset, (flat - offset)[::-1]]) * MM)


def _end_oval(tube: Tube, index: int, u: int, v: int, w: int, layer: Layer,
              filled: bool) -> list[Shape]:
    """The end of a tube as an oval; nothing where the end is seen edge on."""
    tangent = _tangents(tube.points_m)[index]
    radius = float(tube.radii_m[index]) * MM
    across = radius * abs(float(tangent[w]))
    if across < 0.03 * radius:
        return []
    angle = math.degrees(math.atan2(tangent[v], tangent[u])) + 90.0
    centre = tube.points_m[index][[u, v]] * MM
    return [Oval((float(centre[0]), float(centre[1])), radius, across, angle, layer,
                 filled=filled, cylinder=tube.cylinder)]


def _split(tube: Tube) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Points and radii inside the plenum, then those outside it."""
    run = _run(tube)
    cut = np.array([np.interp(tube.inside_m, run, tube.points_m[:, k]) for k in range(3)])
    radius = float(np.interp(tube.inside_m, run, tube.radii_m))
    within, beyond = run < tube.inside_m - 1e-9, run > tube.inside_m + 1e-9
    return (np.vstack([tube.points_m[within], cut]), np.append(tube.radii_m[within], radius),
            np.vstack([cut, tube.points_m[beyond]]), np.append(radius, tube.radii_m[beyond]))


def _tube(tube: Tube, u: int, v: int, w: int) -> list[Shape]:
    """The part of a tube outside the plenum, filled, with its ends."""
    if tube.role == "duct":
        return []
    layer = LAYER_OF.get(tube.role, "ENTRY")
    _, _, points, radii = _split(tube)
    outside = Tube(tube.role, tube.name, tube.cylinder, points, radii, cut_short=tube.cut_short)
    outline = _edges(points, radii, u, v)
    shapes: list[Shape] = list(_end_oval(outside, 0, u, v, w, layer, filled=True))
    if outline is not None:
        shapes.append(Stroke(outline, layer, closed=True, filled=True, cylinder=tube.cylinder))
    shapes += _end_oval(outside, -1, u, v, w, layer, filled=True)
    if tube.cut_short and outline is not None:
        shapes += _break_mark(outside, u, v)
    return shapes


def _break_mark(tube: Tube, u: int, v: int) -> list[Shape]:
    """A zigzag across the outer end of a tube that is cut short on the drawing."""
    end = tube.points_m[-1][[u, v]] * MM
    along = (tube.points_m[-1] - tube.points_m[-2])[[u, v]]
    along = along / np.linalg.norm(along)
    across = np.array([-along[1], along[0]])
    radius = float(tube.radii_m[-1]) * MM
    t = np.array([-1.25, -0.25, -0.1, 0.1, 0.25, 1.25])
    bump = np.array([0.0, 0.0, 0.3, -0.3, 0.0, 0.0])
    mark = end + radius * (t[:, None] * across + bump[:, None] * along)
    return [Stroke(mark, "ENTRY")]


def _mouth(tube: Tube, u: int, v: int, w: int) -> list[Shape]:
    """The start of a tube that the plenum hides: dashed, mouth edge and throat."""
    shapes = _end_oval(tube, 0, u, v, w, "HIDDEN", filled=False)
    if tube.role == "runner" and shapes:
        throat = int(np.argmin(tube.radii_m[: max(2, tube.radii_m.size // 2)]))
        if tube.radii_m[0] - tube.radii_m[throat] > 5e-4:
            mouth = shapes[0]
            if isinstance(mouth, Oval):
                ratio = float(tube.radii_m[throat] / tube.radii_m[0])
                shapes.append(Oval(mouth.centre, mouth.half_along * ratio,
                                   mouth.half_across * ratio, mouth.angle_deg, "HIDDEN"))
    return shapes


def _inner(tube: Tube, u: int, v: int, w: int) -> list[Shape]:
    """The part of a tube inside the plenum: a bell that stands in it, a duct; dashed."""
    if tube.inside_m <= 0.0:
        return []
    points, radii, _, _ = _split(tube)
    if points.shape[0] < 2:
        return []
    outline = _edges(points, radii, u, v)
    return [] if outline is None else [Stroke(outline, "HIDDEN", closed=True)]


def _centre(tube: Tube, u: int, v: int) -> list[Shape]:
    """Centre line of a tube, or a cross where the tube is seen end on."""
    line = tube.points_m[:, [u, v]] * MM
    if float(np.linalg.norm(np.ptp(line, axis=0))) > 2.0:
        return [Stroke(line, "CENTRE")]
    reach = 1.2 * float(tube.radii_m.max()) * MM
    return [Stroke(line[0] + np.array([[-reach, 0.0], [reach, 0.0]]), "CENTRE"),
            Stroke(line[0] + np.array([[0.0, -reach], [0.0, reach]]), "CENTRE")]


def _stream(tube: Tube, u: int, v: int, w: int, sign: float) -> list[Shape]:
    """Arrow of the stream at the outer end of an entry; a cross or a dot when seen end on."""
    if tube.role != "entry":
        return []
    flow = tube.points_m[-2] - tube.points_m[-1]
    flow = flow / np.linalg.norm(flow)
    radius = float(tube.radii_m[-1]) * MM
    end = tube.points_m[-1][[u, v]] * MM
    flat = flow[[u, v]]
    if float(np.linalg.norm(flat)) < FLAT:
        if flow[w] * sign < 0.0:
            reach = 0.35 * radius
            return [Stroke(end + reach * np.array([[-1, -1], [1, 1]]), "ENTRY"),
                    Stroke(end + reach * np.array([[-1, 1], [1, -1]]), "ENTRY")]
        return [Oval((float(end[0]), float(end[1])), 0.18 * radius, 0.18 * radius, 0.0, "ENTRY",
                     filled=True, dark=True)]
    flat = flat / np.linalg.norm(flat)
    across = np.array([-flat[1], flat[0]])
    tip = end - 0.25 * radius * flat
    neck, tail = tip - 0.8 * radius * flat, tip - 2.2 * radius * flat
    head = np.array([tip, neck + 0.45 * radius * across, neck - 0.45 * radius * across])
    stem = np.array([tail - 0.16 * radius * across, neck - 0.16 * radius * across,
                     neck + 0.16 * radius * across, tail + 0.16 * radius * across])
    return [Stroke(stem, "ENTRY", closed=True, filled=True, dark=True),
            Stroke(head, "ENTRY", closed=True, filled=True, dark=True)]


def _plate(plate: Plate, u: int, v: int, w: int) -> list[Shape]:
    """The throttle plate as an oval or a line, and its shaft."""
    angle = math.radians(plate.angle_deg)
    normal = math.cos(angle) * plate.axis + math.sin(angle) * np.cross(plate.shaft, plate.axis)
    radius = plate.bore_m / 2.0 * MM
    centre = plate.centre_m[[u, v]] * MM
    across = radius * abs(float(normal[w]))
    turn = math.atan2(normal[v], normal[u]) + math.pi / 2.0
    shapes: list[Shape]
    if across < 0.04 * radius:
        arm = radius * np.array([math.cos(turn), math.sin(turn)])
        shapes = [Stroke(np.array([centre - arm, centre + arm]), "PLATE")]
    else:
        shapes = [Oval((float(centre[0]), float(centre[1])), radius, across,
                       math.degrees(turn), "PLATE")]
    shaft = plate.shaft[[u, v]] * radius * 1.3
    if float(np.linalg.norm(shaft)) > FLAT * radius:
        shapes.append(Stroke(np.array([centre - shaft, centre + shaft]), "PLATE"))
    else:
        shapes.append(Oval((float(centre[0]), float(centre[1])), 0.12 * radius, 0.12 * radius,
                           0.0, "PLATE", filled=True, dark=True))
    return shapes
