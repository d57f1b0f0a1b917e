"""Dimension lines, scale bar and text sizes of a drawing, in mm of the real thing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Literal

import numpy as np

from distrib.report.numbers import inches, millimetres
from distrib.report.shapes import Label, Shape, Stroke, extents

POINT_MM: Final = 25.4 / 72.0
GLYPH: Final = 0.59
"""Mean advance of a glyph over the type size, DejaVu Sans; bold needs 12 % more."""


def measure_text(label: Label, scale: float) -> tuple[float, float, float, float]:
    """Room a label takes (left, bottom, right, top) in mm of the real thing; an estimate."""
    size = label.size * POINT_MM * scale
    width = len(label.text) * GLYPH * size * (1.12 if label.bold else 1.0)
    height = 1.15 * size
    if round(label.angle_deg) % 180 == 90:
        width, height = height, width
    x, y = label.at
    left = {"left": x, "center": x - width / 2.0, "right": x - width}[label.ha]
    bottom = {"bottom": y, "center": y - height / 2.0, "top": y - height}[label.va]
    return left, bottom, left + width, bottom + height


def room(shapes: Sequence[Shape], scale: float) -> tuple[float, float, float, float]:
    """Extents of shapes (left, bottom, right, top) with the room their text takes."""
    boxes = [measure_text(s, scale) for s in shapes if isinstance(s, Label)]
    drawn = [s for s in shapes if not isinstance(s, Label)]
    if drawn:
        boxes.append(extents(drawn))
    every = np.array(boxes)
    return (float(every[:, 0].min()), float(every[:, 1].min()),
            float(every[:, 2].max()), float(every[:, 3].max()))


def characters(size: float, width_mm: float) -> int:
    """How many characters of type `size` (points) fit into a width on paper."""
    return max(20, int(width_mm / (GLYPH * POINT_MM * size)))


def dimension(
    start: tuple[float, float], end: tuple[float, float], offset: float, scale: float,
    spill: Literal["left", "right"] | None = None,
) -> list[Shape]:
    """A level dimension between two points: extension lines, arrows, mm above and [in] below.

    `offset` is how far (mm on paper, negative below) the line lies from the points. Where the
    length is too short for its text, the text moves out to the side `spill`, or stands upright.
    """
    y = start[1] + offset * scale
    length = end[0] - start[0]
    sense = math.copysign(1.0, offset)
    out: list[Shape] = []
    for x in (start[0], end[0]):
        out.append(Stroke(np.array([[x, start[1] + sense * 1.0 * scale],
                                    [x, y + sense * 1.2 * scale]]), "DIMENSION"))
    out.append(Stroke(np.array([[start[0], y], [end[0], y]]), "DIMENSION"))
    tip, half = min(1.9 * scale, 0.3 * length), 0.45 * scale
    for x, way in ((start[0], 1.0), (end[0], -1.0)):
        head = np.array([[x, y], [x + way * tip, y + half], [x + way * tip, y - half]])
        out.append(Stroke(head, "DIMENSION", closed=True, filled=True, dark=True))
    upper, lower = millimetres(length / 1000.0), f"[{inches(length / 1000.0)}]"
    middle = (start[0] + end[0]) / 2.0
    sizes = [s for s in (7.5, 6.5) if length / scale >= len(lower) * GLYPH * s * POINT_MM + 0.6]
    if sizes:
        size = sizes[0]
    elif spill is not None:
        size = 7.5
        beyond = 0.5 * length + (0.6 + 0.5 * len(lower) * GLYPH * size * POINT_MM) * scale
        middle += beyond if spill == "right" else -beyond
        sizes = [size]
    if sizes:
        out.append(Label((middle, y + 0.5 * scale), upper, size, va="bottom", layer="DIMENSION"))
        out.append(Label((middle, y - 0.7 * scale), lower, size, va="top", layer="DIMENSION"))
    else:
        out.append(Label((middle, y - 1.6 * scale), f"{upper} {lower}", 7.5, va="top",
                         angle_deg=90.0, layer="DIMENSION"))
    return out


def scale_bar(left: float, base: float, scale: float) -> list[Shape]:
    """Two bars of known length, 100 mm and 4 in, so that a copy of any size can be measured."""
    out: list[Shape] = []
    for row, (length, pieces, text) in enumerate(((100.0, 5, "100 mm"), (101.6, 4, "4 in"))):
        y = base - row * 4.2 * scale
        for piece in range(pieces):
            x0, x1 = left + length * piece / pieces, left + length * (piece + 1) / pieces
            box = np.array([[x0, y], [x1, y], [x1, y + 1.3 * scale], [x0, y + 1.3 * scale]])
            out.append(Stroke(box, "DIMENSION", closed=True, filled=True, dark=piece % 2 == 0))
        out.append(Label((left + length + 2.0 * scale, y + 0.65 * scale), text, 7.5, ha="left"))
    return out
