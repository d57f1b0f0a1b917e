"""The outline of a drawing as DXF: millimetres, one unit to one millimetre, one layer per kind."""

from __future__ import annotations

import io
from typing import Final

from distrib.report.dimensions import POINT_MM
from distrib.report.shapes import LAYERS, Label, Layer, Oval, Stroke
from distrib.report.sheet import Sheet

COLOURS: Final[dict[Layer, int]] = {
    "PLENUM": 7, "WALL": 8, "RUNNER": 5, "INJECTOR": 4, "ENTRY": 3, "PLATE": 6, "CENTRE": 8,
    "HIDDEN": 9, "SECTION": 1, "DIMENSION": 8, "TEXT": 7}
LINES: Final[dict[Layer, str]] = {"CENTRE": "CENTER", "HIDDEN": "DASHED"}


def dxf_bytes(sheet: Sheet) -> bytes:
    """The sheet as DXF R2010 text at full size, identical for identical sheets.

    Lines, circles, ellipses and text only; hidden lines are not removed where a part covers
    another, since a cutting program needs whole outlines.
    """
    from ezdxf._options import options
    from ezdxf.enums import TextEntityAlignment
    from ezdxf.filemanagement import new

    keep = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        document = new("R2010", setup=("linetypes",), units=4)
        for layer in LAYERS:
            document.layers.add(layer, color=COLOURS[layer],
                                linetype=LINES.get(layer, "CONTINUOUS"))
        space = document.modelspace()
        for shape in sheet.shapes:
            if isinstance(shape, Stroke):
                space.add_lwpolyline(shape.points.tolist(), close=shape.closed,
                                     dxfattribs={"layer": shape.layer})
            elif isinstance(shape, Oval):
                _oval(space, shape)
            elif isinstance(shape, Label):
                _text(space, shape, sheet.scale, TextEntityAlignment)
        stream = io.StringIO()
        document.write(stream)
    finally:
        options.write_fixed_meta_data_for_testing = keep
    return stream.getvalue().encode("utf-8")


def _oval(space: object, shape: Oval) -> None:
    """A circle, or an ellipse with its longer axis first as the format wants it."""
    import math

    add = space
    attributes = {"layer": shape.layer}
    if abs(shape.half_along - shape.half_across) < 1e-6:
        add.add_circle(shape.centre, shape.half_along, dxfattribs=attributes)  # type: ignore[attr-defined]
        return
    long, short, angle = shape.half_along, shape.half_across, math.radians(shape.angle_deg)
    if short > long:
        long, short, angle = short, long, angle + math.pi / 2.0
    add.add_ellipse(shape.centre, (long * math.cos(angle), long * math.sin(angle)),  # type: ignore[attr-defined]
                    ratio=max(short / long, 1e-6), dxfattribs=attributes)


def _text(space: object, shape: Label, scale: float, alignment: object) -> None:
    names = {("left", "bottom"): "BOTTOM_LEFT", ("left", "top"): "TOP_LEFT",
             ("left", "center"): "MIDDLE_LEFT", ("center", "bottom"): "BOTTOM_CENTER",
             ("center", "top"): "TOP_CENTER", ("center", "center"): "MIDDLE_CENTER",
             ("right", "center"): "MIDDLE_RIGHT"}
    entity = space.add_text(  # type: ignore[attr-defined]
        shape.text, height=0.72 * shape.size * POINT_MM * scale, rotation=shape.angle_deg,
        dxfattribs={"layer": shape.layer})
    entity.set_placement(shape.at, align=getattr(alignment, names[(shape.ha, shape.va)]))
