"""What commands print and write: tables, notes, JSON."""

from __future__ import annotations

import dataclasses
import json
import math
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any


def emit_json(target: str, obj: Any) -> None:
    """Write `obj` as JSON to a file, or to standard output for "-"; says what it wrote.

    Arrays become lists, dataclasses and models objects, not-a-number and infinities null.
    """
    text = json.dumps(plain(obj), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    if target == "-":
        sys.stdout.write(text)
        return
    from distrib.files import write_text_atomic

    write_text_atomic(target, text)
    wrote(target)


def plain(obj: Any) -> Any:
    """`obj` in types that JSON knows; raises TypeError for what has no JSON form."""
    if obj is None or isinstance(obj, bool | str | int):
        return obj
    if isinstance(obj, float):
        return obj if math.isfinite(obj) else None
    if isinstance(obj, Mapping):
        return {str(key): plain(value) for key, value in obj.items()}
    if dataclasses.is_dataclass(obj) and not isinstance(obj, type):
        return {f.name: plain(getattr(obj, f.name)) for f in dataclasses.fields(obj)}
    if isinstance(obj, Path):
        return str(obj)
    for method in ("tolist", "model_dump"):
        if hasattr(obj, method):
            return plain(getattr(obj, method)())
    if isinstance(obj, Sequence | set | frozenset):
        return [plain(item) for item in obj]
    raise TypeError(f"no JSON form for {type(obj).__name__}")


def table(title: str, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """Print a table: by rich on a terminal, as aligned plain text when piped.

    Columns whose cells are all numbers (signs and percent signs allowed) stand to the right.
    """
    cells = [[_cell(value) for value in row] for row in rows]
    right = [bool(cells) and all(_is_number(row[i]) for row in cells) for i in range(len(columns))]
    if sys.stdout.isatty():
        _rich_table(title, columns, cells, right)
        return
    widths = [max(len(str(name)), *(len(r[i]) for r in cells), 0) for i, name in enumerate(columns)]
    if title:
        print(title)
    for row in [[str(name) for name in columns], ["-" * width for width in widths], *cells]:
        parts = [
            text.rjust(width) if flush else text.ljust(width)
            for text, width, flush in zip(row, widths, right, strict=True)
        ]
        print("  ".join(parts).rstrip())
    print()


def note(text: str) -> None:
    """Print a remark on standard error, so that piped output stays clean."""
    print(text, file=sys.stderr)


def wrote(path: str | Path) -> None:
    """Say that a file was written."""
    note(f"wrote {path}")


def _cell(value: Any) -> str:
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}"
    return str(value)


def _is_number(text: str) -> bool:
    try:
        float(text.replace("%", "").replace("+/-", "").strip() or "x")
    except ValueError:
        return text == "-"
    return True


def _rich_table(
    title: str, columns: Sequence[str], cells: list[list[str]], right: list[bool]
) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    made = Table(title=title or None, title_justify="left")
    for name, flush in zip(columns, right, strict=True):
        made.add_column(str(name), justify="right" if flush else "left")
    for row in cells:
        made.add_row(*(Text(text) for text in row))
    Console().print(made)
