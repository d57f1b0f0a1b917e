"""A sheet that somebody wrote on is not written over, unless the new one carries all of it on."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Final

import numpy as np

from distrib.calibration.entries import Entries
from distrib.calibration.sheet import FIRST_LINE, TrimTable
from distrib.calibration.sheet_read import read_sheet
from distrib.errors import InputError, Problem

HEAD_BYTES: Final = 400
"""Bytes in which a sheet says what it is, whatever a spreadsheet put before it."""
Entry = tuple[str, ...]


def is_sheet(path: Path) -> bool:
    """Whether a file is there that says of itself that it is a trim sheet."""
    try:
        with path.open("rb") as stream:
            head = stream.read(HEAD_BYTES)
    except OSError:
        return False
    return FIRST_LINE.lstrip("# ").encode() in head.replace(b"\0", b"")


def check_not_lost(option: str, path: str | Path, table: TrimTable | None) -> None:
    """InputError when writing to `path` would lose what somebody wrote on a sheet there.

    `table` is the sheet to be written, None for anything else. A sheet that cannot be read counts
    as written on: a slip of the pen is no reason to lose the rest.
    """
    file = Path(path)
    if not is_sheet(file):
        return
    try:
        found = read_sheet(file)
    except InputError:
        lost = "entries that cannot be read"
    else:
        cells = [(f"{r:.6g}", f"{p / 1e3:.6g}", str(c)) for r, p, c in zip(
            found.rpm, found.pressure_pa, found.cylinder, strict=True)]
        old = {e for run in (found.entries, *found.runs) for e in _entries(run, cells)}
        number = len(old - _carried(table))
        if not number:
            return
        lost = f"{number} rows of entries"
    raise InputError([Problem(
        option, f'"{path}", a trim sheet with {lost}', "a file that holds no entries",
        "a filled sheet is never written over: name another file")])


def _carried(table: TrimTable | None) -> set[Entry]:
    """Entries on the new sheet, this run's and earlier ones."""
    if table is None or table.measured is None:
        return set()
    out: set[Entry] = set()
    for i, j in table.cells():
        cells = [(f"{table.rpm[i]:.6g}", f"{table.pressure_pa[j] / 1e3:.6g}", str(c))
                 for c in table.cylinders]
        for run in (*table.measured.runs, table.measured.pending):
            out |= set(_entries(run.at((i, j)), cells))
    return out


def _entries(run: Entries, cells: list[tuple[str, str, str]]) -> Iterable[Entry]:
    """Rows of a run in which something is written, with their cell and cylinder."""
    for k in np.flatnonzero(run.written()):
        yield (*cells[k], *run.cells(int(k)))
