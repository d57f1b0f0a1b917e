"""Text on paper: widths as the PDF writer will set them, line breaks, column widths."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from distrib.report.grid import Table

if TYPE_CHECKING:
    from matplotlib.font_manager import FontProperties

CELL_PAD_IN: Final = 0.05
SLACK_IN: Final = 1e-6


@lru_cache(maxsize=4)
def _font(bold: bool) -> Any:
    """The face that figures use, and its file opened for measuring."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    face = FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")
    return get_font(findfont(face, fallback_to_default=False))


@lru_cache(maxsize=4096)
def _advance(glyph: str, bold: bool) -> float:
    """Advance of one glyph over the type size."""
    font = _font(bold)
    font.set_size(100.0, 72.0)
    return float(font.load_char(ord(glyph)).linearHoriAdvance) / 65536.0 / 100.0


def width_in(text: str, size: float, bold: bool = False) -> float:
    """Width in inches of one line of type `size` (points), without kerning."""
    return sum(_advance(glyph, bold) for glyph in text) * size / 72.0


def break_lines(text: str, size: float, room_in: float, bold: bool = False) -> list[str]:
    """Lines no wider than `room_in` inches; a word that is wider still is cut."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        for piece in _pieces(word, size, room_in, bold):
            longer = f"{line} {piece}" if line else piece
            if line and width_in(longer, size, bold) > room_in + SLACK_IN:
                lines.append(line)
                line = piece
            else:
                line = longer
    return [*lines, line] if line else (lines or [""])


def _pieces(word: str, size: float, room_in: float, bold: bool) -> list[str]:
    pieces: list[str] = []
    rest = word
    while width_in(rest, size, bold) > room_in + SLACK_IN and len(rest) > 1:
        count = max(1, int(len(rest) * room_in / width_in(rest, size, bold)))
        while count > 1 and width_in(rest[:count], size, bold) > room_in:
            count -= 1
        pieces.append(rest[:count])
        rest = rest[count:]
    return [*pieces, rest]


def column_widths(table: Table, size: float, room_in: float) -> list[float]:
    """Width in inches of every column so that the table fits `room_in`.

    Each column gets its natural width where all fit; else each keeps its longest word and the
    rest of the room goes by what each still wants.
    """
    natural, least = [], []
    for index, column in enumerate(table.columns):
        cells = [row[index] for row in table.rows]
        pad = 2.0 * CELL_PAD_IN + (0.35 if column.blank else 0.0)
        heads = [column.name, column.unit_line]
        natural.append(pad + max([*(width_in(t, size, True) for t in heads),
                                  *(width_in(t, size, index == 0) for t in cells)]))
        words = [w for t in heads for w in t.split()]
        longest = [width_in(w, size, True) for w in words]
        longest += [width_in(w, size, index == 0) for t in cells for w in t.split()]
        least.append(min(pad + max(longest, default=0.2), 0.3 * room_in))
    if sum(natural) <= room_in:
        return natural
    spare = max(0.0, room_in - sum(least))
    wants = [max(0.0, n - low) for n, low in zip(natural, least, strict=True)]
    widths = [low + spare * want / (sum(wants) or 1.0)
              for low, want in zip(least, wants, strict=True)]
    shrink = min(1.0, room_in / sum(widths))
    return [w * shrink for w in widths]


def heading_lines(table: Table, widths: Sequence[float], size: float) -> list[list[str]]:
    """Heading of every column as lines: the name broken to the width, then the unit."""
    out = []
    for column, width in zip(table.columns, widths, strict=True):
        lines = break_lines(column.name, size, width - 2.0 * CELL_PAD_IN, True)
        if column.unit:
            lines += break_lines(column.unit_line, size, width - 2.0 * CELL_PAD_IN)
        out.append(lines)
    return out


def font_of(size: float, bold: bool) -> FontProperties:
    """Font for a text artist."""
    from matplotlib.font_manager import FontProperties

    return FontProperties(family="DejaVu Sans", size=size, weight="bold" if bold else "normal")
