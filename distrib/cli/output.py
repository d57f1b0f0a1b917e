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

    Columns whose cells are all numbers (signs and percent signs allowed) stand to the right. A
    terminal too narrow for the columns gets a paragraph for each row; a table without rows says so.
    """
    if not rows:
        print(f"{title}: none" if title else "none")
        return
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
    """Print a remark on standard error, so that piped output stays clean.

    A terminal gets it wrapped to its width; words are not broken, so that a path can be copied.
    What does not print (in the name of a file, say) is shown as an escape.
    """
    from distrib.errors import printable

    text = "\n".join(printable(line) for line in text.split("\n"))
    if sys.stderr.isatty():
        import shutil
        import textwrap

        columns = max(shutil.get_terminal_size().columns, 40)
        text = "\n".join(
            line for part in text.splitlines()
            for line in textwrap.wrap(part, columns, subsequent_indent="  ",
                                      break_on_hyphens=False, break_long_words=False) or [""])
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
    """A table with borders where no word has to be cut for it, else one paragraph a row."""
    import os

    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    # without a colour system no control codes are written at all, bold and italic included
    console = Console(color_system=None) if os.environ.get("NO_COLOR") else Console()
    widths = column_widths(columns, cells, right, console.width - 3 * len(columns) - 1)
    if widths is None:
        print(records(title, columns, cells, console.width))
        return
    made = Table(title=title or None, title_justify="left")
    for name, flush, width in zip(columns, right, widths, strict=True):
        made.add_column(str(name), justify="right" if flush else "left", width=width,
                        overflow="fold")
    for row in cells:
        made.add_row(*(Text(text) for text in row))
    console.print(made)


def column_widths(
    columns: Sequence[str], cells: Sequence[Sequence[str]], right: Sequence[bool], room: int
) -> list[int] | None:
    """Widths of columns that share `room` characters without breaking a word or a number.

    What is left after that is shared alike, to each as much as it can use. None where the
    room is too small.
    """
    least, whole = [], []
    for i, (name, number) in enumerate(zip(columns, right, strict=True)):
        texts = [row[i] for row in cells]
        words = [*str(name).split(), *(texts if number else " ".join(texts).split())]
        least.append(max((len(word) for word in words), default=1))
        whole.append(max((len(text) for text in (str(name), *texts)), default=1))
    left = room - sum(least)
    if left < 0:
        return None
    widths = list(least)
    wanting = sorted(range(len(least)), key=lambda i: whole[i] - least[i])
    for place, i in enumerate(wanting):
        more = min(whole[i] - least[i], left // (len(wanting) - place))
        widths[i] += more
        left -= more
    return widths


def records(
    title: str, columns: Sequence[str], cells: Sequence[Sequence[str]], width: int
) -> str:
    """The rows as paragraphs of `name: value`, no line longer than `width`; nothing is lost."""
    import textwrap

    def lines(text: str, lead: str, hang: str) -> list[str]:
        return textwrap.wrap(text, width, initial_indent=lead, subsequent_indent=hang,
                             break_on_hyphens=False) or [lead.rstrip()]

    out = lines(title, "", "") if title else []
    for row in cells:
        out += lines(f"{columns[0]}: {row[0]}", "  ", "    ")
        rest = "; ".join(f"{name}: {text}" for name, text in zip(columns[1:], row[1:], strict=True)
                         if text)
        out += lines(rest, "    ", "    ") if rest else []
    return "\n".join(out)
