"""A drawing sheet of a case: views placed, dimensioned and scaled; shapes in mm of the real thing.

The scale is the first of the usual ones at which everything fits. Text and gaps keep their size on
paper, so their size in mm of the real thing follows the scale.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from distrib.errors import InputError, Problem
from distrib.fuelling.verdict import Verdict
from distrib.report.dimensions import characters, room, scale_bar
from distrib.report.metal import metal_of
from distrib.report.numbers import both, millimetres
from distrib.report.planview import column_block, row_block
from distrib.report.schedule import entry_lines, runner_columns, wrap
from distrib.report.shapes import Label, Shape, moved

if TYPE_CHECKING:
    from distrib.case.schema import Case, Entry

SCALES: Final = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 15.0, 20.0, 25.0)
PAPERS_MM: Final[dict[str, tuple[float, float]]] = {
    "A3": (420.0, 297.0), "A4": (297.0, 210.0), "Letter": (279.4, 215.9), "Tabloid": (431.8, 279.4)}
MARGIN_MM: Final = 9.0
GAP_MM: Final = 9.0
LINE_MM: Final = 3.6
SMALL: Final = 7.5
SIDE_BY_SIDE: Final = ("Each plenum is drawn by itself; the case does not say how they lie to each "
                       "other.")
READABLE: Final = 8.0
TALLER: Final = 1.17
NO_ROOM: Final = "Runner table and notes left out: no room on this sheet. A larger one has them."


@dataclass(frozen=True)
class Sheet:
    """Shapes in mm of the real thing, the drawn field, scale 1:`scale`, notes in words.

    `field` is left, bottom, right, top in mm of the real thing; the picture is that field divided
    by `scale` on paper.
    """

    title: str
    shapes: tuple[Shape, ...]
    field: tuple[float, float, float, float]
    scale: float
    notes: tuple[str, ...]

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height on paper."""
        left, bottom, right, top = self.field
        return (right - left) / self.scale, (top - bottom) / self.scale


def drawing_sheet(
    case: Case, verdicts: Mapping[int, Verdict] | None = None, paper: str = "A3",
) -> Sheet:
    """A whole sheet for print: views, sections, runner table, notes and title.

    `paper` is one of `PAPERS_MM` (landscape). Where runner table and notes leave the views less
    than 1:10, they are left out and the sheet says so; `notes` still holds the notes. Raises
    InputError when the case does not fit at the smallest scale, KeyError for an unknown paper.
    """
    width, height = PAPERS_MM[paper]
    inner = width - 2 * MARGIN_MM
    tries = [(scale, True) for scale in SCALES if scale <= 10.0]
    for scale, with_text in [*tries, *((scale, False) for scale in SCALES)]:
        shapes, notes = _whole(case, verdicts, scale, inner, with_text)
        left, bottom, right, top = room(shapes, scale)
        if (right - left) / scale <= inner and (top - bottom) / scale <= height - 2 * MARGIN_MM:
            middle = (left + right) / 2.0, (bottom + top) / 2.0
            half = width * scale / 2.0, height * scale / 2.0
            field = (middle[0] - half[0], middle[1] - half[1],
                     middle[0] + half[0], middle[1] + half[1])
            return Sheet(case.title, tuple(shapes), field, scale, tuple(notes))
    raise InputError([Problem("paper", paper, f"a sheet on which the drawing fits at 1:"
                              f"{SCALES[-1]:g} at the smallest", "try A3 or Tabloid")])


def report_sheets(
    case: Case, verdicts: Mapping[int, Verdict] | None = None, width_mm: float = 178.0,
    height_mm: float = 215.0,
) -> tuple[Sheet, ...]:
    """One sheet per plenum for a page, as large as it fits; the notes come as text.

    Each is `width_mm` wide and at most `height_mm` high, by TALLER times as much where it would
    be smaller than 1:READABLE otherwise. Raises InputError when a plenum does not fit at the
    smallest scale.
    """
    return tuple(_page_sheet(case, plenum.name, verdicts, width_mm, height_mm)
                 for plenum in case.plenums)


def _page_sheet(
    case: Case, plenum: str, verdicts: Mapping[int, Verdict] | None, width_mm: float,
    height_mm: float,
) -> Sheet:
    metal = metal_of(case, plenum)
    tries = [(scale, height_mm) for scale in SCALES if scale <= READABLE]
    for scale, most in [*tries, *((scale, TALLER * height_mm) for scale in SCALES)]:
        for shapes in (row_block(case, metal, verdicts, scale),
                       column_block(case, metal, verdicts, scale, width_mm)):
            left, _, _, top = room(shapes, scale)
            shapes += _heading(case, scale, left, top + 5.0 * scale, width_mm)
            left, bottom, right, top = room(shapes, scale)
            shapes += scale_bar(left, bottom - 6.0 * scale, scale)
            bottom = room(shapes, scale)[1]
            if (right - left) / scale > width_mm or (top - bottom) / scale > most:
                continue
            pad = 1.5 * scale
            field = (left - pad, bottom - pad, left - pad + width_mm * scale, top + pad)
            notes = (*metal.notes, *((SIDE_BY_SIDE,) if len(case.plenums) > 1 else ()))
            return Sheet(case.title, tuple(shapes), field, scale, notes)
    raise InputError([Problem(f"plenum {plenum}", f"{1000 * metal.body.length_m:.0f} mm long",
                              f"what fits {width_mm:g} x {height_mm:g} mm at 1:{SCALES[-1]:g}")])


def _whole(
    case: Case, verdicts: Mapping[int, Verdict] | None, scale: float, width_mm: float,
    with_text: bool,
) -> tuple[list[Shape], list[str]]:
    """Heading, plenums from left to right and then downwards, table and notes, scale bar."""
    shapes: list[Shape] = []
    notes: list[str] = []
    x = floor = lowest = 0.0
    for plenum in case.plenums:
        metal = metal_of(case, plenum.name)
        block = row_block(case, metal, verdicts, scale)
        left, bottom, right, top = room(block, scale)
        if x > 0.0 and (x + right - left) / scale > width_mm:
            x, floor = 0.0, lowest - GAP_MM * scale
        shapes += moved(block, x - left, floor - top)
        lowest = min(lowest, floor - (top - bottom))
        x += right - left + 2.0 * GAP_MM * scale
        notes += metal.notes
    if len(case.plenums) > 1:
        notes.append(SIDE_BY_SIDE)
    notes = list(dict.fromkeys(notes))
    _, bottom, right, top = room(shapes, scale)
    if with_text:
        shapes += _text_block(case, notes, scale, (right, bottom - 7.0 * scale, top), width_mm)
    else:
        shapes.append(Label((0.0, bottom - 7.0 * scale), NO_ROOM, SMALL, ha="left", va="top"))
    shapes += scale_bar(0.0, room(shapes, scale)[1] - 6.0 * scale, scale)
    shapes += _heading(case, scale, 0.0, top + 5.0 * scale, width_mm)
    return shapes, notes


def _heading(case: Case, scale: float, left: float, base: float, width_mm: float) -> list[Shape]:
    """Title, cylinder-1 end, entry and view: what a reader must know before any number."""
    words = (f"Cylinder 1 at the {case.cylinder_1_end} of the engine, left in plan and side view.",
             "; ".join(_entry_words(entry, len(case.entries) > 1) for entry in case.entries),
             f"Seen: {case.view or 'not stated in the case'}.",
             f"Third-angle projection, full-size scale 1:{scale:g}."
             + (" The design is invented." if case.invented else ""),
             "Inside dimensions, mm above the line and [in] below it.",
             "In the plan, at each cylinder number: its distance from the entry in mm.")
    body = [line for text in words for line in wrap(text, characters(8.5, width_mm))]
    title = shortened(case.title, characters(13.0 * 1.12, width_mm))
    shapes: list[Shape] = []
    for index, line in enumerate(reversed(body)):
        shapes.append(Label((left, base + index * 4.2 * scale), line, 8.5, ha="left", va="bottom"))
    shapes.append(Label((left, base + (len(body) * 4.2 + 0.8) * scale), title, 13.0, ha="left",
                        va="bottom", bold=True))
    return shapes


def shortened(text: str, most: int) -> str:
    """The text, cut with an ellipsis where it has more than `most` characters."""
    return text if len(text) <= most else text[: most - 1] + "…"


def _entry_words(entry: Entry, named: bool) -> str:
    place = {"side": f"side entry at the {entry.end} end",
             "ducted": f"ducted entry from the {entry.end} end, discharges at "
                       f"{millimetres(entry.at_m)} mm",
             "center": f"center entry on the {entry.face} at {millimetres(entry.at_m)} mm"}
    text = f"{place[entry.kind]}, bore {both(entry.diameter_m)}"
    return f"Entry {entry.name}: {text}" if named else text[0].upper() + text[1:]


def _text_block(
    case: Case, notes: list[str], scale: float, place: tuple[float, float, float],
    width_mm: float,
) -> list[Shape]:
    """Runner table below the views; entry lines with notes right of the views where they fit,
    else beside the table, else below it. `place`: right edge and bottom of the views, their top.
    """
    right, below, top = place
    out: list[Shape] = []
    x, line = 0.0, LINE_MM * scale
    for heading, cells in runner_columns(case):
        out.append(Label((x, below), heading, SMALL, ha="left", va="top", bold=True))
        for index, cell in enumerate(cells):
            out.append(Label((x, below - (index + 1) * line), cell, SMALL, ha="left", va="top"))
        x += max(len(c) for c in [heading, *cells]) * 1.6 * scale + 3.0 * scale
    texts = [*entry_lines(case), *notes]
    gap = 5.0 * scale
    ends = below - (len(case.runners) + 2) * line
    for left, high, low in ((right + gap, top, below + gap), (x + gap, below, -math.inf),
                            (0.0, ends, -math.inf)):
        wide = width_mm - left / scale
        lines = [part for text in texts for part in wrap(text, characters(SMALL, wide))]
        if left == 0.0 or (wide > 75.0 and high - len(lines) * line >= low):
            break
    for index, part in enumerate(lines):
        out.append(Label((left, high - index * line), part, SMALL, ha="left", va="top"))
    return out
