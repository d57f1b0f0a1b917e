"""The metal of a case in three dimensions, as far as the case describes it: body and tubes, SI.

Axes: x along the plenum from the cylinder-1 end, y across towards the cylinder head (the way a
runner with face `side` leaves), z up. Surfaces are inside surfaces. Where the case is silent the
shape is drawn by a stated convention, and the convention is returned as a note for the sheet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from distrib.report.injectors import injector_symbol
from distrib.report.numbers import both
from distrib.results import FloatArray

if TYPE_CHECKING:
    from distrib.case.schema import Bend, Case, Entry, Plenum, Runner

Role = Literal["runner", "entry", "duct", "balance", "injector"]

ARC_STEPS: Final = 12
NOTE_BENDS: Final = (
    "The case does not say in which plane a runner bends: bends are drawn in the end view, "
    "with equal straight lengths between them.")
NOTE_STRAIGHT: Final = (
    "Runner bends need more centre line than the runner has: drawn straight at true length.")
NOTE_AREA: Final = "Sections given by area only are drawn as circles of that area."
NOTE_CENTRED: Final = "Sections are drawn centred on one axis; the case does not place them."
NOTE_PLATE: Final = "The case does not place the throttle plate along its pipe."
NOTE_ENTRY_BENDS: Final = "The entry pipe is drawn straight; its bends are listed."
NOTE_SHORTENED: Final = "The entry pipe is cut short on the drawing; its true length is written."
NOTE_WALL: Final = (
    "The second line round the plenum is its outside, at the thinnest wall of {wall}; runners and "
    "pipes are drawn by their inside.")
NOTE_REENTRANT: Final = "A re-entrant mouth without roof clearance is drawn half a diameter inside."


@dataclass(frozen=True)
class Body:
    """Inside of a plenum: half width (y) and half height (z) over x, all (S,), metres."""

    name: str
    length_m: float
    x_m: FloatArray
    half_y_m: FloatArray
    half_z_m: FloatArray
    round: bool
    wall_m: float = 0.0
    """Thickness of the wall all round; 0 where the case does not give it."""


@dataclass(frozen=True)
class Tube:
    """A tube along a centre line (n, 3) with radii (n,), from the plenum outwards, metres."""

    role: Role
    name: str
    cylinder: int | None
    points_m: FloatArray
    radii_m: FloatArray
    inside_m: float = 0.0
    """How much of the centre line, from its start, lies inside the plenum."""
    cut_short: bool = False
    number: int | None = None
    """Cylinder that a runner or an injector belongs to, in whatever hue it is drawn."""


@dataclass(frozen=True)
class Plate:
    """A throttle plate: centre (3,), unit axis of the pipe (3,), unit shaft (3,), metres."""

    centre_m: FloatArray
    axis: FloatArray
    shaft: FloatArray
    bore_m: float
    angle_deg: float


@dataclass(frozen=True)
class Metal:
    """One plenum with what is fixed to it."""

    body: Body
    runners: tuple[Tube, ...]
    entries: tuple[Tube, ...]
    plates: tuple[Plate, ...]
    notes: tuple[str, ...]
    injectors: tuple[Tube, ...] = ()


def metal_of(case: Case, plenum_name: str) -> Metal:
    """The metal of one plenum of the case; raises KeyError for an unknown name."""
    plenum = case.plenum(plenum_name)
    wall = None if case.structure is None else case.structure.wall_thickness_m
    body = _body(plenum, wall or 0.0)
    notes: list[str] = [NOTE_CENTRED]
    if plenum.shape == "area":
        notes.append(NOTE_AREA)
    if wall:
        notes.append(NOTE_WALL.format(wall=both(wall)))
    own = [r for r in case.runners if r.plenum == plenum_name]
    runners = tuple(_runner(body, item, notes) for item in own)
    injectors = _injectors(case, own, runners, notes)
    toward = _mouth_direction(own)
    entries: list[Tube] = []
    plates: list[Plate] = []
    for entry in case.entries:
        if entry.plenum == plenum_name:
            tubes, plate = _entry(body, entry, toward, notes)
            entries += tubes
            plates += [plate] if plate is not None else []
    return Metal(body, runners, tuple(entries), tuple(plates), tuple(dict.fromkeys(notes)),
                 injectors)


def _half_sizes(plenum: Plenum) -> tuple[FloatArray, FloatArray]:
    """Half width and half height of every given section."""
    half_y, half_z = [], []
    for section in plenum.sections:
        if section.width_m is not None and section.height_m is not None:
            half_y.append(section.width_m / 2.0)
            half_z.append(section.height_m / 2.0)
        else:
            diameter = section.diameter_m or math.sqrt(4.0 * section.area_m2 / math.pi)
            half_y.append(diameter / 2.0)
            half_z.append(diameter / 2.0)
    return np.array(half_y), np.array(half_z)


def _body(plenum: Plenum, wall_m: float) -> Body:
    """Outline of the plenum from end to end, with doubled stations where it steps."""
    at = np.array([section.at_m for section in plenum.sections])
    half_y, half_z = _half_sizes(plenum)
    if plenum.profile == "step" and at.size > 1:
        starts, ends = at.copy(), np.append(at[1:], plenum.length_m)
        starts[0] = 0.0
        x = np.column_stack([starts, ends]).ravel()
        half_y, half_z = np.repeat(half_y, 2), np.repeat(half_z, 2)
    else:
        inner = (at > 0.0) & (at < plenum.length_m)
        x = np.concatenate([[0.0], at[inner], [plenum.length_m]])
        half_y, half_z = np.interp(x, at, half_y), np.interp(x, at, half_z)
    return Body(plenum.name, plenum.length_m, x, half_y, half_z, plenum.shape != "rectangle",
                wall_m)


def half_size_at(body: Body, x_m: float) -> tuple[float, float]:
    """Half width and half height (m) of the body at x; at a step, those of the part beyond it."""
    index = int(np.searchsorted(body.x_m, x_m, side="right")) - 1
    index = min(max(index, 0), body.x_m.size - 2)
    x0, x1 = body.x_m[index], body.x_m[index + 1]
    t = 0.0 if x1 <= x0 else (min(max(x_m, x0), x1) - x0) / (x1 - x0)
    return (float(body.half_y_m[index] + t * (body.half_y_m[index + 1] - body.half_y_m[index])),
            float(body.half_z_m[index] + t * (body.half_z_m[index + 1] - body.half_z_m[index])))


def _leaving(runner: Runner) -> FloatArray:
    """Unit vector square to the wall that the runner leaves by."""
    if runner.face == "side":
        return np.array([0.0, -1.0 if runner.row == "left" else 1.0, 0.0])
    return {"back": np.array([0.0, -1.0, 0.0]), "floor": np.array([0.0, 0.0, -1.0]),
            "top": np.array([0.0, 0.0, 1.0])}[runner.face]


def _turn(runner: Runner) -> FloatArray:
    """The way the bends of a runner turn it on the drawing: down, or away from a two-row plenum."""
    if runner.face in ("side", "back"):
        return np.array([0.0, 0.0, -1.0])
    return np.array([0.0, -1.0 if runner.row == "left" else 1.0, 0.0])


def _injectors(
    case: Case, runners: list[Runner], tubes: tuple[Tube, ...], notes: list[str],
) -> tuple[Tube, ...]:
    """Symbols of the injectors on these runners, where the case places them."""
    out = []
    for runner, tube in zip(runners, tubes, strict=True):
        symbol, said = injector_symbol(case, runner, tube.points_m, _turn(runner))
        notes += said
        if symbol is not None:
            out.append(Tube("injector", f"injector {runner.cylinder}", runner.cylinder,
                            symbol.points_m, symbol.radii_m, inside_m=symbol.spray_m,
                            number=runner.cylinder))
    return tuple(out)


def _mouth_direction(runners: list[Runner]) -> FloatArray | None:
    """Mean way to the mouths across the plenum; None when the rows leave opposite ways."""
    total = np.sum([_leaving(r) for r in runners], axis=0) if runners else np.zeros(3)
    length = float(np.linalg.norm(total))
    return None if length < 1e-9 else np.asarray(total / length)


def _row_offset(body: Body, runner: Runner) -> float:
    """Sideways place (y) of a mouth in the floor, roof or back of a two-row plenum."""
    if runner.row == "single" or runner.face in ("side", "back"):
        return 0.0
    half_y, _ = half_size_at(body, runner.station_m)
    return -0.5 * half_y if runner.row == "left" else 0.5 * half_y


def _runner(body: Body, runner: Runner, notes: list[str]) -> Tube:
    """Centre line from mouth to flange, with the flare of the mouth in the radii."""
    out = _leaving(runner)
    half_y, half_z = half_size_at(body, runner.station_m)
    half = half_y if abs(out[1]) > 0.5 else half_z
    depth = 0.0
    if runner.roof_clearance_m is not None and runner.roof_clearance_m < 2.0 * half:
        depth = 2.0 * half - runner.roof_clearance_m
    elif runner.mouth == "re-entrant" and runner.roof_clearance_m is None:
        depth = 0.5 * runner.diameter_m
        notes.append(NOTE_REENTRANT)
    mouth = np.array([runner.station_m, _row_offset(body, runner), 0.0]) + out * (half - depth)
    lean = math.radians(runner.angle_deg)
    first = np.array([math.cos(lean), 0.0, 0.0]) + math.sin(lean) * out
    turn = _turn(runner)
    fine = runner.mouth_radius_m * (1.0 - np.cos(np.linspace(0.0, math.pi / 2.0, 9)[1:]))
    points, along = _centre_line(mouth, first, turn, runner.length_m, runner.bends, fine, notes)
    flare, taper = _flare(runner, along)
    return Tube("runner", f"runner {runner.cylinder}", runner.cylinder, points, flare + taper,
                inside_m=depth / math.sin(lean), number=runner.cylinder)


def _centre_line(
    start: FloatArray, first: FloatArray, turn: FloatArray, length_m: float,
    bends: tuple[Bend, ...], fine: FloatArray, notes: list[str],
) -> tuple[FloatArray, FloatArray]:
    """Points (n, 3) of a centre line and the length run at each (n,); bends turn towards `turn`.

    `fine` holds lengths near the mouth where a point is wanted for the flare.
    """
    arcs = [(math.radians(bend.angle_deg), bend.radius_m) for bend in bends]
    straight = length_m - sum(angle * radius for angle, radius in arcs)
    if bends:
        notes.append(NOTE_BENDS if straight >= 0.0 else NOTE_STRAIGHT)
    if straight < 0.0:
        arcs, straight = [], length_m
    piece = straight / (len(arcs) + 1)
    across = turn - np.dot(turn, first) * first
    across = across / np.linalg.norm(across)
    near = [s for s in fine if 0.0 < s < piece]
    points = [start, *(start + first * s for s in near)]
    along = [0.0, *near]
    heading, place, run = first, start, 0.0
    for angle, radius in [*arcs, (0.0, 0.0)]:
        place, run = place + heading * piece, run + piece
        points.append(place)
        along.append(run)
        if angle == 0.0:
            continue
        centre, side, ahead = place + across * radius, -across, heading
        for t in np.linspace(0.0, angle, ARC_STEPS + 1)[1:]:
            points.append(centre + radius * (math.cos(t) * side + math.sin(t) * ahead))
            along.append(run + radius * t)
        heading = math.cos(angle) * ahead - math.sin(angle) * side
        across = -(math.cos(angle) * side + math.sin(angle) * ahead)
        place, run = points[-1], along[-1]
    return np.array(points), np.array(along)


def _flare(runner: Runner, along: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Added radius of the mouth (n,) and radius of the tapered runner (n,) at each length run."""
    taper = 0.5 * np.interp(along, [0.0, runner.length_m],
                            [runner.diameter_m, runner.end_diameter_m])
    radius = runner.mouth_radius_m
    if radius <= 0.0 or runner.mouth in ("sharp", "re-entrant"):
        return np.zeros_like(along), taper
    inside = np.clip(radius - along, 0.0, radius)
    added = inside if runner.mouth == "bevelled" else radius - np.sqrt(radius**2 - inside**2)
    return added, taper


def _jet(entry: Entry, toward: FloatArray | None) -> FloatArray:
    """Unit vector of the stream of a center entry: wall, aim to the mouths, tilt along x."""
    square = {"top": np.array([0.0, 0.0, -1.0]), "back": np.array([0.0, 1.0, 0.0]),
              "floor": np.array([0.0, 0.0, 1.0])}[entry.face]
    jet = square
    if toward is not None:
        to_mouths = math.atan2(toward[2], toward[1])
        usual = math.atan2(square[2], square[1]) - to_mouths
        usual = (usual + math.pi) % (2.0 * math.pi) - math.pi
        angle = to_mouths + math.copysign(math.radians(entry.aim_deg), usual or -1.0)
        jet = np.array([0.0, math.cos(angle), math.sin(angle)])
        if float(np.dot(jet, square)) < 0.2:
            jet = square
    tilt = math.radians(entry.tilt_deg)
    return np.asarray(math.cos(tilt) * jet + np.array([math.sin(tilt), 0.0, 0.0]))


def _entry(
    body: Body, entry: Entry, toward: FloatArray | None, notes: list[str],
) -> tuple[list[Tube], Plate | None]:
    """Pipe with its cone (and inner duct) and the throttle plate of one entry."""
    shift = entry.offset_m * (toward if toward is not None else np.array([0.0, 1.0, 0.0]))
    tubes: list[Tube] = []
    if entry.kind == "center":
        flow = _jet(entry, toward)
        half_y, half_z = half_size_at(body, entry.at_m)
        wall = {"top": np.array([0.0, 0.0, half_z]), "back": np.array([0.0, -half_y, 0.0]),
                "floor": np.array([0.0, 0.0, -half_z])}[entry.face]
        start = np.array([entry.at_m, 0.0, 0.0]) + wall + shift
    else:
        at_far = entry.end == "far"
        flow = np.array([-1.0 if at_far else 1.0, 0.0, 0.0])
        start = np.array([body.length_m if at_far else 0.0, 0.0, 0.0]) + shift
    if entry.kind == "ducted":
        inner = np.array([entry.at_m, start[1], start[2]])
        tubes.append(Tube("duct", entry.name, None, np.array([start, inner]),
                          np.full(2, entry.diameter_m / 2.0),
                          inside_m=abs(float(inner[0] - start[0]))))
    pipe, plate_at = _entry_pipe(body, entry, start, flow, notes)
    tubes.append(pipe)
    if entry.bends:
        notes.append(NOTE_ENTRY_BENDS)
    plate = None
    if entry.throttle is not None:
        if entry.throttle.to_plenum_m is None:
            notes.append(NOTE_PLATE)
        plate = _plate(entry, plate_at, flow)
    return tubes, plate


def _entry_pipe(
    body: Body, entry: Entry, start: FloatArray, flow: FloatArray, notes: list[str],
) -> tuple[Tube, FloatArray]:
    """The outer pipe, its cone nearest the plenum, and where its plate is drawn.

    The length of the pipe does not include the cone.
    """
    radius = entry.diameter_m / 2.0
    cone = entry.diffuser.length_m if entry.diffuser is not None else 0.0
    longest = max(3.5 * entry.diameter_m, 0.7 * body.length_m)
    cut = entry.length_m > longest
    if cut:
        notes.append(NOTE_SHORTENED)
    length = max(min(entry.length_m, longest), 0.05 * entry.diameter_m)
    along, radii = [0.0, length], [radius, radius]
    if entry.diffuser is not None:
        along = [0.0, cone, cone + length]
        radii = [entry.diffuser.exit_diameter_m / 2.0, radius, radius]
    points = start - np.array(along)[:, None] * flow
    tube = Tube("entry", entry.name, None, points, np.array(radii), cut_short=cut)
    given = None if entry.throttle is None else entry.throttle.to_plenum_m
    before = 0.55 * length if given is None else min(given, length)
    return tube, np.asarray(start - (cone + before) * flow)


def _plate(entry: Entry, centre: FloatArray, flow: FloatArray) -> Plate | None:
    """The throttle plate. A shaft along the row lies along x on a center entry; on a side entry it
    lies level, because that too throws the stream at roof and floor rather than at one end."""
    throttle = entry.throttle
    if throttle is None:
        return None
    along = throttle.shaft == "along"
    if entry.kind == "center":
        wanted = np.array([1.0, 0.0, 0.0] if along else [0.0, 1.0, 0.0])
    else:
        wanted = np.array([0.0, 1.0, 0.0] if along else [0.0, 0.0, 1.0])
    shaft = wanted - np.dot(wanted, flow) * flow
    if np.linalg.norm(shaft) < 0.3:
        shaft = np.array([0.0, 0.0, 1.0])
    return Plate(centre, flow, shaft / np.linalg.norm(shaft), throttle.bore_m,
                 throttle.plate_angle_deg)
