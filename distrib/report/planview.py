"""The views of one plenum with their marks and dimensions, placed on a sheet or on a page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from distrib.fuelling.verdict import Verdict
from distrib.report.dimensions import GLYPH, POINT_MM, dimension, room
from distrib.report.metal import Metal, Tube, half_size_at
from distrib.report.numbers import inches, millimetres
from distrib.report.palette import VERDICT_STYLES
from distrib.report.schedule import distances_m
from distrib.report.shapes import (
    MM,
    Label,
    Oval,
    Shape,
    Side,
    Stroke,
    body_section,
    extents,
    moved,
    view,
)
from distrib.results import FloatArray

if TYPE_CHECKING:
    from distrib.case.schema import Case, Plenum, Runner, Section

GAP_MM: Final = 8.0
BALLOON_MM: Final = 3.1
TEXT: Final = 7.5


def row_block(
    case: Case, metal: Metal, verdicts: Mapping[int, Verdict] | None, scale: float,
) -> list[Shape]:
    """For a wide sheet: plan over side view; sections and end view to the right of them."""
    plan, side, end, sections = _parts(case, metal, verdicts, scale)
    gap = GAP_MM * scale
    _, low, _, high = room(plan, scale)
    side_box = room(side, scale)
    shift = low - gap - side_box[3]
    out = plan + moved(side, 0.0, shift)
    right = room(out, scale)[2] + 1.3 * gap
    section_box, end_box = room(sections, scale), room(end, scale)
    placed = moved(sections, right - section_box[0], high - section_box[3])
    drop = min(shift, high - (section_box[3] - section_box[1]) - gap - end_box[3])
    if end_box[3] + drop < low - 0.3 * gap:  # below the plan: as near to the side view as it goes
        right = side_box[2] + 1.3 * gap
    return out + placed + moved(end, right - end_box[0], drop)


def column_block(
    case: Case, metal: Metal, verdicts: Mapping[int, Verdict] | None, scale: float,
    width_mm: float,
) -> list[Shape]:
    """For a page: plan, side view, then end view and sections beside it or below it."""
    plan, side, end, sections = _parts(case, metal, verdicts, scale)
    gap = GAP_MM * scale
    left, low, _, _ = room(plan, scale)
    side_box = room(side, scale)
    out = plan + moved(side, 0.0, low - gap - side_box[3])
    left, floor, _, _ = room(out, scale)
    end_box, section_box = room(end, scale), room(sections, scale)
    out += moved(end, left - end_box[0], floor - gap - end_box[3])
    beside = (end_box[2] - end_box[0] + section_box[2] - section_box[0]) / scale + GAP_MM
    if beside <= width_mm:
        x, y = left + end_box[2] - end_box[0] + gap, floor - gap
    else:
        x, y = left, room(out, scale)[1] - gap
    return out + moved(sections, x - section_box[0], y - section_box[3])


def _parts(
    case: Case, metal: Metal, verdicts: Mapping[int, Verdict] | None, scale: float,
) -> tuple[list[Shape], list[Shape], list[Shape], list[Shape]]:
    """Plan, side view, end view and sections of one plenum, each about its own origin."""
    plenum = case.plenum(metal.body.name)
    runners = [r for r in case.runners if r.plenum == plenum.name]
    suffix = f" {plenum.name}" if len(case.plenums) > 1 else ""
    plan = view(metal, "plan") + _cylinder_marks(metal, "plan", verdicts, scale)
    plan += _distance_marks(metal, distances_m(case), scale)
    plan += _station_dimensions(runners, plenum, room(plan, scale)[1], scale)
    plan += _balance_marks(case, metal, scale) + _baffles(case, metal, scale)
    plan += _caption(plan, f"PLAN{suffix}, from above", scale)
    left_row = [r.cylinder for r in runners if r.row == "left"]
    side = view(metal, "side") + _cylinder_marks(
        metal, "side", verdicts, scale, left_row or [r.cylinder for r in runners])
    side += _section_marks(plenum, metal, scale) + _sensor_marks(case, metal, scale)
    side += dimension((0.0, room(side, scale)[1]), (plenum.length_m * MM, 0.0), -5.0, scale)
    side += _caption(side, f"SIDE{suffix}, from the {'left row' if left_row else 'back'}", scale)
    end = view(metal, "end") + _cylinder_marks(metal, "end", None, scale)
    end += _caption(end, f"END{suffix}, from the far end", scale)
    return plan, side, end, _sections(plenum, metal, suffix, scale)


def _caption(shapes: list[Shape], text: str, scale: float) -> list[Shape]:
    left, _, _, top = room(shapes, scale)
    return [Label((left, top + 2.0 * scale), text, 8.0, ha="left", va="bottom", bold=True)]


def _spot(
    metal: Metal, tube: Tube, side: Side, scale: float,
) -> tuple[FloatArray, FloatArray]:
    """Where a cylinder number stands, and which way it lies from its runner (zero: on it).

    Beyond the flange and the injector, but on the mouth where the runner leaves along the line of
    sight.
    """
    u, v, w = {"plan": (0, 1, 2), "side": (0, 2, 1), "end": (1, 2, 0)}[side]
    line = tube.points_m[:, [u, v]] * MM
    first = tube.points_m[1] - tube.points_m[0]
    if abs(float(first[w])) > 0.5 * float(np.linalg.norm(first)):
        return line[0], np.zeros(2)
    reach = line[-1] - line[-2]
    way = reach / max(float(np.linalg.norm(reach)), 1e-9)
    beyond = 0.0
    for injector in metal.injectors:
        if injector.cylinder == tube.cylinder:
            ahead = (injector.points_m[:, [u, v]] * MM - line[-1]) @ way + injector.radii_m * MM
            beyond = max(0.0, float(ahead.max()))
    return line[-1] + way * (beyond + (BALLOON_MM + 1.4) * scale), way


def _cylinder_marks(
    metal: Metal, side: Side, verdicts: Mapping[int, Verdict] | None, scale: float,
    seen: Sequence[int] | None = None,
) -> list[Shape]:
    """Balloons with cylinder number and verdict letter; numbers that coincide stand in a list.

    `seen`: the cylinders to number, those of the row in front; None: all.
    """
    places: list[tuple[FloatArray, FloatArray, list[int]]] = []
    for tube in metal.runners:
        if tube.cylinder is None or (seen is not None and tube.cylinder not in seen):
            continue
        spot, way = _spot(metal, tube, side, scale)
        near = [p for p in places if np.hypot(*(p[0] - spot)) < 2.0 * BALLOON_MM * scale]
        if near:
            near[0][2].append(tube.cylinder)
        else:
            places.append((spot, way, [tube.cylinder]))
    out: list[Shape] = []
    for spot, way, cylinders in places:
        at = float(spot[0]), float(spot[1])
        if len(cylinders) > 1:
            text = ranges(cylinders)
            text = f"cyl. {text}" if side == "end" else text
            ha = "center" if abs(way[0]) < 0.3 or len(places) > 1 else (
                "left" if way[0] > 0.0 else "right")
            if not way.any():
                wide = 0.5 * len(text) * GLYPH * POINT_MM * 9.0 * scale + 1.2 * scale
                out.append(Oval(at, wide, 0.8 * BALLOON_MM * scale, 0.0, "TEXT", filled=True))
            out.append(Label(at, text, 8.0, bold=True, ha=ha))
            continue
        number = cylinders[0]
        letter = VERDICT_STYLES[verdicts[number]].letter if verdicts else ""
        radius = BALLOON_MM * scale
        out.append(Oval(at, radius, radius, 0.0, "TEXT", filled=True))
        out.append(Label(at, f"{number}{letter}", 8.5 if letter else 9.0, bold=True,
                         cylinder=number))
    return out


def _distance_marks(
    metal: Metal, distances: Mapping[int, float], scale: float,
) -> list[Shape]:
    """Distance from the entry (mm) beside every cylinder number of the plan."""
    out: list[Shape] = []
    for tube in metal.runners:
        if tube.cylinder is None:
            continue
        spot, way = _spot(metal, tube, "plan", scale)
        outward = np.array([0.0, -1.0 if spot[1] < 0.0 else 1.0])
        side = way if way.any() else outward
        at = spot + side * (BALLOON_MM + 0.5) * scale
        steep = abs(float(side[1])) > 0.7
        out.append(Label(
            (float(at[0]), float(at[1])), millimetres(round(distances[tube.cylinder], 3)), 7.0,
            ha="center" if steep else "left" if side[0] > 0 else "right",
            va="center" if not steep else "bottom" if side[1] > 0 else "top",
            boxed=not way.any()))
    return out


def ranges(numbers: Sequence[int]) -> str:
    """`1-5`, or `1, 3, 5`: three and more numbers in a row stand as a range."""
    parts: list[str] = []
    run: list[int] = []
    for number in [*sorted(numbers), None]:
        if run and number != run[-1] + 1:
            parts += [f"{run[0]}-{run[-1]}"] if len(run) > 2 else [str(n) for n in run]
            run = []
        if number is not None:
            run.append(number)
    return ", ".join(parts)


def _station_dimensions(
    runners: list[Runner], plenum: Plenum, low: float, scale: float,
) -> list[Shape]:
    """Chains of stations below the plan, one chain for each row, from end to end."""
    out: list[Shape] = []
    rows = [row for row in ("single", "left", "right") if any(r.row == row for r in runners)]
    for row in rows:
        stations = sorted({r.station_m for r in runners if r.row == row})
        points = [0.0, *(s * MM for s in stations), plenum.length_m * MM]
        base = room(out, scale)[1] if out else low
        chain: list[Shape] = []
        spans = [(a, b) for a, b in pairwise(points) if b - a > 0.05]
        for number, (first, second) in enumerate(spans):
            spill: Literal["left", "right"] | None = (
                "left" if number == 0 else "right" if number == len(spans) - 1 else None)
            chain += dimension((first, base), (second, base), -5.0, scale, spill)
        if row != "single":
            chain.append(Label((room(chain, scale)[2] + 1.5 * scale, base - 5.0 * scale),
                               f"{row} row", TEXT, ha="left"))
        out += chain
    return out


def _section_letters(plenum: Plenum) -> list[tuple[str, Section]]:
    """Letters of the sections that the case gives."""
    return [(chr(ord("A") + i), s) for i, s in enumerate(plenum.sections)]


def _section_marks(plenum: Plenum, metal: Metal, scale: float) -> list[Shape]:
    """Where the sections lie: thick strokes with letters above and below the side view."""
    out: list[Shape] = []
    body = metal.body
    reach = (float(body.half_z_m.max()) + body.wall_m) * MM + 3.0 * scale
    for letter, section in _section_letters(plenum):
        x = min(max(section.at_m, 0.0), body.length_m) * MM
        for sense, va in ((1.0, "bottom"), (-1.0, "top")):
            ends = np.array([[x, sense * reach], [x, sense * (reach - 2.2 * scale)]])
            out.append(Stroke(ends, "SECTION"))
            out.append(Label((x, sense * (reach + 0.6 * scale)), letter, 8.0, va=va, bold=True))
    return out


def _section_words(letter: str, section: Section) -> list[str]:
    """Place, size in both systems and area of one section."""
    if section.width_m is not None and section.height_m is not None:
        size = [f"{millimetres(section.width_m)} x {millimetres(section.height_m)} mm",
                f"[{inches(section.width_m)} x {inches(section.height_m)} in]"]
    elif section.diameter_m is not None:
        size = [f"diameter {millimetres(section.diameter_m)} mm",
                f"[{inches(section.diameter_m)} in]"]
    else:
        size = ["given by area"]
    area = f"{section.area_m2 * 1e4:.1f} cm² [{section.area_m2 / 6.4516e-4:.2f} in²]"
    return [f"{letter} at {millimetres(section.at_m)} mm", *size, area]


def _sections(plenum: Plenum, metal: Metal, suffix: str, scale: float) -> list[Shape]:
    """The given cross-sections side by side on one axis, with sizes and area below."""
    out: list[Shape] = []
    shapes = [body_section(metal.body, min(max(s.at_m, 0.0), plenum.length_m))
              for _, s in _section_letters(plenum)]
    floor = min(extents([shape])[1] for shape in shapes)
    x = 0.0
    for shape, (letter, section) in zip(shapes, _section_letters(plenum), strict=True):
        left, _, right, _ = extents([shape])
        lines = _section_words(letter, section)
        text = max(len(t) for t in lines) * GLYPH * POINT_MM * TEXT * scale
        wide = max(right - left, text)
        middle = x + wide / 2.0
        out += moved([shape], middle - (left + right) / 2.0, 0.0)
        for index, line in enumerate(lines):
            out.append(Label((middle, floor - (2.0 + 3.4 * index) * scale), line, TEXT, va="top"))
        x += wide + 3.0 * scale
    return out + _caption(out, f"SECTIONS{suffix}", scale)


def _balance_marks(case: Case, metal: Metal, scale: float) -> list[Shape]:
    """Balance tubes that end in this plenum: a dashed circle and where the tube leads."""
    out: list[Shape] = []
    for tube in case.balance_tubes:
        for own, at, other in ((tube.from_plenum, tube.from_at_m, tube.to_plenum),
                               (tube.to_plenum, tube.to_at_m, tube.from_plenum)):
            if own == metal.body.name:
                radius = tube.diameter_m / 2.0 * MM
                out.append(Oval((at * MM, 0.0), radius, radius, 0.0, "HIDDEN"))
                low = -half_size_at(metal.body, at)[0] * MM + 0.7 * scale
                if low + 3.2 * scale < -radius:
                    out.append(Label((at * MM, low), f"to {other}", 7.0, va="bottom"))
                else:  # no room below the circle: beside it and any entry, above the centre line
                    ends = [radius, *((e.at_m - at + e.diameter_m / 2.0) * MM
                                      for e in case.entries if e.plenum == own and
                                      e.kind != "side" and abs(e.at_m - at) < e.diameter_m)]
                    out.append(Label((at * MM + max(ends) + 0.8 * scale, 0.6 * scale),
                                     f"to {other}", 7.0, ha="left", va="bottom"))
    return out


def _baffles(case: Case, metal: Metal, scale: float) -> list[Shape]:
    """Perforated plates across the plenum, dashed, with their open share."""
    out: list[Shape] = []
    for entry in case.entries:
        baffle = entry.baffle
        if entry.plenum != metal.body.name or baffle is None or baffle.at_m is None:
            continue
        x, (half, _) = baffle.at_m * MM, half_size_at(metal.body, baffle.at_m)
        out.append(Stroke(np.array([[x, -half * MM], [x, half * MM]]), "HIDDEN"))
        out.append(Label((x + 0.8 * scale, -0.6 * half * MM),
                         f"baffle, {100.0 * baffle.open_fraction:.0f} % open", 7.0, ha="left"))
    return out


def _sensor_marks(case: Case, metal: Metal, scale: float) -> list[Shape]:
    """Pressure tap P and air temperature sensor T where the drawing notes place them."""
    if case.drawing is None or metal.body.name != case.plenums[0].name:
        return []
    out: list[Shape] = []
    for letter, at in (("P", case.drawing.pressure_tap_at_m),
                       ("T", case.drawing.temperature_sensor_at_m)):
        if at is not None:
            wall = (half_size_at(metal.body, at)[1] + metal.body.wall_m) * MM
            radius, place = 1.9 * scale, (at * MM, wall + 4.2 * scale)
            out.append(Stroke(np.array([[at * MM, wall], [at * MM, place[1]]]), "TEXT"))
            out.append(Oval(place, radius, radius, 0.0, "TEXT", filled=True))
            out.append(Label(place, letter, 7.0))
    return out
