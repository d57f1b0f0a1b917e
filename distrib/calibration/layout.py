"""Where the table starts in a text file: encoding, metadata lines, delimiter, header, units row.

Nothing is guessed: the header is the line that holds every column name the user mapped, and the
delimiter the one under which those names are whole cells. What was found is kept as notes.
"""

from __future__ import annotations

import codecs
import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from distrib.errors import InputError, Problem
from distrib.files import open_to_read, read_limited
from distrib.numerals import NumeralError, read_number

DELIMITERS: Final[dict[str, str]] = {
    "comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", ",": ",", ";": ";", "\t": "\t",
    "|": "|",
}
HEAD_BYTES: Final = 1 << 18
HEAD_LINES: Final = 400
LONGEST_LINE: Final = 1 << 17
"""Bytes of one of the first lines: what is longer may have been cut where the head ends."""
MISSING: Final = frozenset(
    {"", "-", "--", "---", "n/a", "na", "nan", "null", "none", "#n/a", "not tested", "n.a."}
)
"""Cell texts (lower case) that mean "no value"."""
MOST_BYTES: Final = 64 << 20
"""Size of a table that is read as a whole: a sheet that people have filled in."""
SHOWN_TEXT: Final = 40
"""Characters of a cell in a message."""
LARGEST: Final = 1e30
"""Numbers beyond this are faults: no figure of a bench or an engine comes near it."""


@dataclass(frozen=True)
class Layout:
    """What was found out about a text table before its numbers are read.

    `header_line` and `first_line` (of the data) count from 1; `start_byte` is where data begin.
    `encoding` is utf-8 or cp1252; UTF-16 files are turned into UTF-8 first.
    """

    path: Path
    encoding: str
    delimiter: str
    header_line: int
    first_line: int
    start_byte: int
    names: tuple[str, ...]
    units: tuple[str, ...] | None
    metadata: tuple[str, ...]
    notes: tuple[str, ...]


def shown(text: str) -> str:
    """A cell as a message shows it: in quotes, cut where it is long."""
    return f'"{text}"' if len(text) <= SHOWN_TEXT else f'"{text[:SHOWN_TEXT]}..."'


def cell_number(text: str) -> float:
    """Number of a typed cell, with point or comma; ValueError for anything else, and beyond
    LARGEST, where a figure of a bench or an engine cannot lie."""
    value = read_number(text)
    if not abs(value) <= LARGEST:
        raise ValueError(f"beyond {LARGEST:g}")
    return value


def split_line(line: str, delimiter: str) -> list[str]:
    """Cells of one line, blanks and quotes stripped; a delimiter inside quotes is text."""
    cells: list[str] = []
    cell: list[str] = []
    quoted = False
    for ch in line.rstrip("\r\n"):
        if ch == '"':
            if quoted or not "".join(cell).strip():
                quoted = not quoted
                continue
            cell.append(ch)
        elif ch == delimiter and not quoted:
            cells.append("".join(cell).strip())
            cell = []
        else:
            cell.append(ch)
    cells.append("".join(cell).strip())
    return cells


def table_lines(layout: Layout) -> list[str]:
    """All lines of a small table as text; index 0 is line 1 of the file."""
    codec = {"cp1252": "cp1252", "utf-16": "utf-16"}.get(layout.encoding, "utf-8-sig")
    text = read_limited(layout.path, MOST_BYTES).decode(codec, errors="replace")
    return text.replace("\r\n", "\n").split("\n")


def read_head(path: Path) -> tuple[bytes, str, str | None]:
    """First bytes of a file, the encoding for its text, and a note about a byte-order mark.

    InputError when the file is missing, empty, a folder or not text.
    """
    try:
        with open_to_read(path) as stream:
            head = stream.read(HEAD_BYTES)
    except IsADirectoryError:
        raise _file_error(path, "a folder", "a text file") from None
    except FileNotFoundError:
        raise _file_error(path, "no such file", "an existing file") from None
    except OSError as error:
        raise _file_error(path, error.strerror or "unreadable", "a readable file") from None
    if not head:
        raise _file_error(path, "an empty file", "a header line and data lines")
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return head, "utf-16", "UTF-16 with byte-order mark"
    note = "byte-order mark skipped" if head.startswith(codecs.BOM_UTF8) else None
    if b"\x00" in head:
        line = head[: head.index(b"\x00")].count(b"\n") + 1
        raise InputError([Problem(
            "file", "a binary file (zero bytes)", "a text table",
            "export the sheet as CSV; spreadsheets and logger binaries are not read", str(path),
            line, "file",
        )])
    if head.startswith(b"PK\x03\x04"):
        raise _file_error(path, "a compressed spreadsheet", "a text table", "export it as CSV")
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head, final=False)
    except UnicodeDecodeError:
        return head, "cp1252", "text is not UTF-8; read as Windows Latin"
    return head, "utf-8", note


def _file_error(path: Path, read: str, allowed: str, hint: str = "") -> InputError:
    return InputError([Problem("file", read, allowed, hint, file=str(path), code="file")])


def find_layout(
    path: Path,
    wanted: Sequence[str],
    *,
    delimiter: str | None = None,
    header_row: int | None = None,
    units_row: bool | None = None,
) -> Layout:
    """Find header and data of a table that holds the columns `wanted` (exact cell texts).

    InputError names columns that were not found with the nearest names, a column that stands
    twice, or a header row that is not there. A units row (first line below the header whose wanted
    cells are texts, not numbers) is recognised and noted, or forced by `units_row`.
    """
    head, encoding, note = read_head(path)
    notes = [note] if note else []
    raw, lines = _lines(path, head, encoding)
    choices = [delimiter] if delimiter else [",", ";", "\t", "|"]
    row, found, cells = _header(path, lines, wanted, choices, header_row)
    if delimiter is None:
        notes.append(f"delimiter {_name(found)}: the header's names are whole cells with it")
    for name in wanted:
        if cells.count(name) > 1:
            raise InputError([Problem(
                f'column "{name}"', f"{cells.count(name)} columns of that name",
                "names that stand once", "rename one in the header", str(path), row + 1, "column",
            )])
    first = row + 1
    while first < len(lines) and not lines[first].strip():
        first += 1
    units = None
    if first < len(lines):
        below = split_line(lines[first], found)
        if units_row or (units_row is None and _is_units(below, cells, wanted)):
            units = tuple(below)
            notes.append(f"line {first + 1} read as units row: {lines[first].strip()[:80]}")
            first += 1
    start = sum(len(line) for line in raw[:first])
    return Layout(
        path, encoding, found, row + 1, first + 1, start, tuple(cells), units,
        tuple(line.strip() for line in lines[:row] if line.strip()), tuple(notes),
    )


def _lines(path: Path, head: bytes, encoding: str) -> tuple[list[bytes], list[str]]:
    """First lines as bytes (of the UTF-8 text, for UTF-16) and as text, line ends kept."""
    if encoding == "utf-16":
        head = head.decode("utf-16", errors="replace").encode("utf-8")
    if b"\n" not in head and b"\r" in head:
        raise _file_error(
            path, "lines that end with a bare carriage return", "line feeds",
            "save the file again with usual line ends",
        )
    raw = [line + b"\n" for line in head.split(b"\n")]
    if len(raw) <= HEAD_LINES and len(raw[-1]) > LONGEST_LINE:
        raise InputError([Problem(
            "file", f"a line of more than {LONGEST_LINE:,} bytes",
            f"lines of up to {LONGEST_LINE:,} bytes, about 10,000 columns",
            "export fewer columns", str(path), len(raw), "file")])
    raw = raw[:HEAD_LINES]
    codec = "cp1252" if encoding == "cp1252" else "utf-8-sig"
    return raw, [line.decode(codec, errors="replace") for line in raw]


def _name(delimiter: str) -> str:
    return {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}[delimiter]


def _header(
    path: Path, lines: list[str], wanted: Sequence[str], choices: Sequence[str],
    header_row: int | None,
) -> tuple[int, str, list[str]]:
    """Row index, delimiter and cells of the header."""
    rows = range(len(lines)) if header_row is None else [header_row - 1]
    if header_row is not None and not 1 <= header_row <= len(lines):
        raise InputError([Problem(
            "file.header_row", str(header_row), f"1 to {len(lines)}", "", str(path), None, "header"
        )])
    best: tuple[int, int, str, list[str]] = (-1, 0, choices[0], [])
    for i in rows:
        for choice in choices:
            cells = split_line(lines[i], choice)
            hits = sum(name in cells for name in wanted)
            if hits == len(wanted):
                return i, choice, cells
            if hits > best[0]:
                best = (hits, i, choice, cells)
    hits, i, choice, cells = best
    raise InputError([
        Problem(
            f'column "{name}"', "no such column", "a name in the header line",
            _nearest(name, cells if hits > 0 else _all_cells(lines, choices)), str(path),
            i + 1 if hits > 0 else None, "column",
        )
        for name in wanted if name not in cells
    ])


def _all_cells(lines: list[str], choices: Sequence[str]) -> list[str]:
    return [cell for line in lines for choice in choices for cell in split_line(line, choice)]


def _nearest(name: str, cells: Sequence[str]) -> str:
    known = {cell.lower(): cell for cell in cells if cell and len(cell) < 60}
    near = difflib.get_close_matches(name.lower(), list(known), n=3, cutoff=0.5)
    if near:
        return "nearest: " + ", ".join(f'"{known[n]}"' for n in near)
    shown = ", ".join(f'"{c}"' for c in list(known.values())[:12])
    return f"the file has: {shown}" if shown else "the file has no header with text"


def _is_units(below: Sequence[str], header: Sequence[str], wanted: Sequence[str]) -> bool:
    """True when no wanted cell of the line is a number and at least one holds text."""
    texts = [below[header.index(n)] for n in wanted if header.index(n) < len(below)]
    filled = [t for t in texts if t.lower() not in MISSING]
    return bool(filled) and not any(is_number(t) for t in filled)


def is_number(text: str) -> bool:
    """True for a number written with point or comma."""
    try:
        read_number(text)
    except (NumeralError, ValueError):
        return False
    return True
