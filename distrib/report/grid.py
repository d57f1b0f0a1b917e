"""A table as text: columns with units and ranks, fitted to a width, plain or comma-separated.

A table knows which of its columns matter most, so that a narrow terminal can leave the least ones
out and say so.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from distrib.report.numbers import NO_VALUE

Align = Literal["left", "right"]
GAP: Final = 2


@dataclass(frozen=True)
class Column:
    """Heading, unit, alignment and rank: rank 1 is always shown, 3 is left out first."""

    name: str
    unit: str = ""
    align: Align = "left"
    rank: int = 1
    blank: bool = False
    """Whether its cells are there to be written on."""

    @property
    def heading(self) -> str:
        """Name with its unit in brackets."""
        return f"{self.name} {self.unit_line}".rstrip()

    @property
    def unit_line(self) -> str:
        """The unit in brackets, or nothing."""
        return f"({self.unit})" if self.unit else ""


@dataclass(frozen=True)
class Table:
    """A table as text: title, columns, rows of as many cells, notes below it."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()

    def note_text(self) -> str:
        """The notes as sentences in one paragraph."""
        return " ".join(as_sentence(note) for note in self.notes)

    def widths(self) -> list[int]:
        """Widest text of each column; name and unit of the heading stand on two lines."""
        return [max([len(column.name), len(column.unit_line), *(len(r[i]) for r in self.rows)])
                for i, column in enumerate(self.columns)]


def as_sentence(text: str) -> str:
    """The text with a capital at its start and a full stop at its end."""
    stop = "" if text.endswith((".", "!", "?")) else "."
    return f"{text[:1].upper()}{text[1:]}{stop}"


def fit_columns(table: Table, width: int) -> Table:
    """The table without its least columns, so that it fits `width` characters.

    Columns of rank 3 go first, then rank 2, the rightmost of a rank first; rank 1 always stays.
    A note names what was left out.
    """
    keep = list(range(len(table.columns)))
    widths = table.widths()

    def total() -> int:
        return sum(widths[i] for i in keep) + GAP * (len(keep) - 1)

    gone: list[int] = []
    for rank in (3, 2):
        for index in reversed(range(len(table.columns))):
            if total() <= width:
                break
            if table.columns[index].rank == rank:
                keep.remove(index)
                gone.append(index)
    if not gone:
        return table
    names = ", ".join(dict.fromkeys(table.columns[i].name for i in sorted(gone)))
    return replace(
        table, columns=tuple(table.columns[i] for i in keep),
        rows=tuple(tuple(row[i] for i in keep) for row in table.rows),
        notes=(*table.notes, f"left out for lack of width: {names}"))


def plain_text(table: Table) -> str:
    """The table as aligned text without colour, for pipes and files."""
    widths = table.widths()

    def line(cells: Sequence[str]) -> str:
        parts = [cell.rjust(w) if c.align == "right" else cell.ljust(w)
                 for cell, w, c in zip(cells, widths, table.columns, strict=True)]
        return (" " * GAP).join(parts).rstrip()

    rule = "-" * (sum(widths) + GAP * (len(widths) - 1))
    lines = [table.title, line([c.name for c in table.columns])]
    if any(c.unit for c in table.columns):
        lines.append(line([c.unit_line for c in table.columns]))
    lines.append(rule)
    lines += [line(row) for row in table.rows]
    return "\n".join([*lines, *table.notes]) + "\n"


def to_csv(table: Table) -> str:
    """The table as comma-separated text, headings first; a lone dash becomes an empty cell."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([c.heading for c in table.columns])
    for row in table.rows:
        writer.writerow(["" if cell == NO_VALUE else cell for cell in row])
    return stream.getvalue()
