"""Fast, strict reader of the mapped columns of a large text table.

Reads in blocks, so that the memory is that of the result and one block, and reports every cell
that is not a number with its line and column. Nothing is skipped without being listed.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO, Final

import numpy as np

from distrib.calibration.layout import MISSING, Layout, shown, split_line
from distrib.errors import InputError, Problem
from distrib.files import open_to_read
from distrib.results import FloatArray, IntArray

BLOCK_BYTES: Final = 16 << 20
BAD_LIMIT: Final = 4096
SHOWN_PROBLEMS: Final = 25
COMMENT: Final = re.compile(r'[ \t"]*(?://|%|!|\*|#(?!REF|N/A|DIV|VALUE|NAME|NUM|NULL))')
"""Beginning of a comment line; a spreadsheet's faults begin with # too and are none."""
MARKER_CELLS: Final = 2
"""Texts on a line that can be a marker; more of them are taken for a fault."""
CLOCK: Final = re.compile(r"(?:.*[T ])?[0-9]{1,2}(?::[0-9]{1,2}){1,2}(?:[.,][0-9]+)?")
GROUPS: Final = re.compile(r"[+-]?[0-9]{1,3}(?:[ '.,\u00a0\u202f][0-9]{3})+(?:[.,][0-9]+)?")


@dataclass(frozen=True)
class Table:
    """Numbers of the wanted columns: `data` (M, R) in the order of `names`; NaN where blank.

    `line` (R,) is the line of the file each row stands on. `notes` says what was left out.
    """

    path: Path
    names: tuple[str, ...]
    data: FloatArray
    line: IntArray
    units: tuple[str, ...] | None
    notes: tuple[str, ...]

    def column(self, name: str) -> FloatArray:
        """One column (R,); KeyError for a name that was not wanted."""
        try:
            column: FloatArray = self.data[self.names.index(name)]
        except ValueError:
            raise KeyError(name) from None
        return column


@dataclass(frozen=True)
class Numerals:
    """How numbers are written: decimal sign, mark of thousands or "", the column of clock times."""

    decimal: str = "."
    thousands: str = ""
    clock: str | None = None


def read_table(
    layout: Layout, wanted: Sequence[str], numerals: Numerals | None = None
) -> Table:
    """Read the columns `wanted` of a table found by `layout.find_layout`.

    InputError lists up to 25 cells that are no numbers (line, column name, what stood there), and
    lines with the wrong number of cells. Left out and noted: a last line that was cut off, the
    header or units row when it stands again, comments and lines of nothing but text.
    """
    how = numerals or Numerals()
    if how.decimal == layout.delimiter:
        raise InputError([Problem(
            "file.decimal", f'"{how.decimal}"', "a sign other than the delimiter", "",
            str(layout.path), None, "decimal",
        )])
    stream, size = _open(layout)
    names = tuple(dict.fromkeys(wanted))
    with stream:
        return _read(layout, names, how, stream, size)


def _open(layout: Layout) -> tuple[BinaryIO, int]:
    if layout.encoding == "utf-16":
        text = layout.path.read_bytes().decode("utf-16", errors="replace").encode("utf-8")
        stream: BinaryIO = io.BytesIO(text)
        size = len(text)
    else:
        stream = open_to_read(layout.path)
        size = layout.path.stat().st_size
    stream.seek(layout.start_byte)
    return stream, size - layout.start_byte


def _target(layout: Layout, names: Sequence[str]) -> IntArray:
    target = np.full(len(layout.names), -1, dtype=np.int64)
    for k, name in enumerate(names):
        target[layout.names.index(name)] = k
    return target


def _read(
    layout: Layout, names: tuple[str, ...], how: Numerals, stream: BinaryIO, size: int
) -> Table:
    from distrib.calibration.parse_kernel import parse_block

    target = _target(layout, names)
    width = len(target)
    out: FloatArray = np.empty((len(names), 0))
    line_of_row: IntArray = np.empty(0, dtype=np.int64)
    bad: IntArray = np.empty((BAD_LIMIT + width, 5), dtype=np.int64)
    row, line = 0, layout.first_line - 1
    rest, read_bytes = b"", 0
    problems: list[Problem] = []
    notes: list[str] = []
    said = _Left()
    clock = -1 if how.clock is None else layout.names.index(how.clock)
    while True:
        piece = stream.read(BLOCK_BYTES)
        last = len(piece) < BLOCK_BYTES
        block = rest + piece
        if last and block and not block.endswith(b"\n"):
            block, cut = _finish(layout, block, width)
            if cut:
                notes.append("the last line is cut off in the middle and was left out")
        stop = len(block) if last else block.rfind(b"\n") + 1
        buf = np.frombuffer(block, dtype=np.uint8)
        start = 0
        while start < stop:
            if row == out.shape[1] or read_bytes == 0:
                out, line_of_row = _grow(out, line_of_row, row, block[:stop], size, read_bytes)
            row, line, used, n_bad = parse_block(
                buf[start:stop], stop - start, ord(layout.delimiter), ord(how.decimal),
                ord(how.thousands or "\0"), clock, width, target, out, line_of_row, row, line, bad,
                0,
            )
            if n_bad:
                _explain(layout, bad[:n_bad], block, start, width, how, problems, said)
            start += used
            read_bytes += used
            if len(problems) >= SHOWN_PROBLEMS:
                raise InputError([*problems[:SHOWN_PROBLEMS], _more(layout)])
        rest = block[stop:]
        if last:
            break
    if problems:
        raise InputError(problems)
    row = _drop(out, line_of_row, row, said)
    if row == 0:
        raise InputError([Problem(
            "file", "a header but no data lines", "at least one data line", "",
            str(layout.path), layout.header_line, "file",
        )])
    return Table(
        layout.path, names, out[:, :row], line_of_row[:row], layout.units,
        (*layout.notes, *notes, *said.notes()),
    )


def _finish(layout: Layout, block: bytes, width: int) -> tuple[bytes, bool]:
    """Close the last line, or leave it out when it has fewer cells than the header."""
    at = block.rfind(b"\n") + 1
    cells = block[at:].count(layout.delimiter.encode()) + 1
    if block[at:].strip() and cells < width:
        return block[:at], True
    return block + b"\n", False


def _grow(
    out: FloatArray, line_of_row: IntArray, row: int, block: bytes, size: int, read_bytes: int
) -> tuple[FloatArray, IntArray]:
    """Room for the rows still expected, from the mean length of the lines seen so far."""
    if read_bytes == 0:
        lines = max(block.count(b"\n"), 1)
        room = int(size / len(block) * lines * 1.05) + 16 if block else 16
    else:
        room = int(row * max(size / read_bytes, 1.0) * 1.05) + 1024
    room = max(room, row + 1024)
    if room <= out.shape[1]:
        return out, line_of_row
    fresh = np.empty((out.shape[0], room))
    fresh[:, :row] = out[:, :row]
    lines_fresh = np.empty(room, dtype=np.int64)
    lines_fresh[:row] = line_of_row[:row]
    return fresh, lines_fresh


@dataclass
class _Left:
    """Lines left out while reading, by kind, and those with a text for no value."""

    lines: dict[str, list[int]] = field(default_factory=dict)
    missing: list[int] = field(default_factory=list)

    def dropped(self) -> list[int]:
        """Every line that was left out."""
        return [line for lines in self.lines.values() for line in lines]

    def notes(self) -> tuple[str, ...]:
        """What was left out, in words."""
        out = []
        for kind, lines in self.lines.items():
            told = ", ".join(map(str, lines[:5])) + (", ..." if len(lines) > 5 else "")
            out.append(f"{len(lines)} lines left out, {kind}: line{'s' * (len(lines) > 1)} {told}")
        if self.missing:
            out.append(f"{len(self.missing)} cells hold a text for no value (first on line "
                       f"{self.missing[0]})")
        return tuple(out)


def _drop(out: FloatArray, line_of_row: IntArray, row: int, left: _Left) -> int:
    """Take rows of lines that were left out from the arrays, in place; rows that stay."""
    lines = left.dropped()
    keep = ~np.isin(line_of_row[:row], lines) if lines else np.ones(0, dtype=np.bool_)
    if not lines or keep.all():
        return row
    number = int(keep.sum())
    for column in out:
        column[:number] = column[:row][keep]
    line_of_row[:number] = line_of_row[:row][keep]
    return number


def _no_data(layout: Layout, text: str) -> str:
    """Why a line that could not be read holds no data; empty where it might.

    A marker is a line of one or two texts, with at most its time beside them.
    """
    if COMMENT.match(text):
        return "a comment"
    cells = split_line(text, layout.delimiter)
    if cells == list(layout.names):
        return "the header again"
    if layout.units is not None and cells == list(layout.units):
        return "the row of units again"
    filled = [c for c in cells if c.lower() not in MISSING]
    words = [c for c in filled if c[:1].isalpha()]
    numbers = len(filled) - len(words)
    if 1 <= len(words) <= MARKER_CELLS and numbers == 0:
        return "a marker"
    alone = len(cells) == len(layout.names) >= len(filled) + MARKER_CELLS
    return "a marker" if alone and len(words) == 1 and numbers == 1 and filled[1] in words else ""


def _explain(
    layout: Layout, bad: Any, block: bytes, start: int, width: int, how: Numerals,
    problems: list[Problem], left: _Left,
) -> None:
    """Turn noted places into problems; cells that say "no value" stay NaN."""
    file = str(layout.path)
    codec = "utf-8" if layout.encoding != "cp1252" else "cp1252"
    verdict: dict[int, str] = {}
    for kind, line, column, a, b in bad.tolist():
        if kind != 1 and block[start + a : start + b].decode(codec, "replace").lower() in MISSING:
            left.missing.append(line)
            continue
        if line not in verdict:
            first = block.rfind(b"\n", 0, start + a) + 1
            end = block.find(b"\n", start + a)
            text = block[first : end if end >= 0 else len(block)].decode(codec, errors="replace")
            verdict[line] = _no_data(layout, text)
            if verdict[line]:
                left.lines.setdefault(verdict[line], []).append(line)
        if verdict[line]:
            continue
        if kind == 1:
            problems.append(Problem(
                "line", f"{column} cells", f"{width} cells as in the header",
                f"line {layout.header_line} is the header", file, line, "width",
            ))
            continue
        text = block[start + a : start + b].decode(codec, errors="replace")
        name = layout.names[column]
        problems.append(Problem(
            f'column {column + 1} "{name}"', shown(text),
            "a time of day" if name == how.clock else "a number or a blank",
            _hint(text, how), file, line, "cell",
        ))


def _hint(text: str, how: Numerals) -> str:
    if CLOCK.fullmatch(text) and how.clock is None:
        return 'clock times? Set unit = "clock" for that channel in the mapping'
    if "," in text and how.decimal == "." and text.replace(",", "", 1).lstrip("+-").isdigit():
        return ('decimal comma? Set decimal = "," under [file] in the mapping; for thousands set '
                'thousands = ","')
    if "." in text and how.decimal == "," and text.replace(".", "", 1).lstrip("+-").isdigit():
        return ('decimal point? Set decimal = "." under [file] in the mapping; for thousands set '
                'thousands = "."')
    if GROUPS.fullmatch(text):
        return 'thousands? Set thousands under [file] in the mapping: "space", "\'", "," or "."'
    return ""


def _more(layout: Layout) -> Problem:
    return Problem(
        "file", "more faults of this kind", "numbers", "the list stops here", str(layout.path)
    )
