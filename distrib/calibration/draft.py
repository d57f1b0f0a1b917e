"""A mapping to complete: what columns a log has, and the lines a mapping needs, with comments.

Nothing is decided here: column names that look like a channel stand beside it as candidates.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from distrib.calibration.layout import (
    DELIMITERS,
    MISSING,
    is_number,
    read_head,
    split_line,
)
from distrib.errors import InputError, Problem

HEAD_LINES: Final = 200
UNKNOWN: Final = "?"
"""What stands where the user has to fill in; a mapping that still holds it is refused."""
LONGEST: Final = 60
"""Characters of a cell in a comment."""


@dataclass(frozen=True)
class Columns:
    """Columns of a log: names, units row (blank texts without one), first values; how written."""

    path: Path
    names: tuple[str, ...]
    units: tuple[str, ...]
    first: tuple[str, ...]
    delimiter: str
    header_line: int
    decimal_comma: bool


def read_columns(path: str | Path) -> Columns:
    """Find the header of a log: the line of most names that numbers follow.

    InputError when no line is followed by numbers.
    """
    file = Path(path)
    head, encoding, _ = read_head(file)
    codec = {"cp1252": "cp1252", "utf-16": "utf-16"}.get(encoding, "utf-8-sig")
    lines = head.decode(codec, errors="replace").splitlines()[:HEAD_LINES]
    best: tuple[int, int, str] | None = None
    for delimiter in dict.fromkeys(DELIMITERS.values()):
        for k, line in enumerate(lines):
            cells = split_line(line, delimiter)
            names = [c for c in cells if c and not _numeric(c)]
            if len(cells) < 3 or len(names) < 0.8 * len(cells):
                continue
            follows = _data_after(lines, k, delimiter, len(cells))
            if follows is not None and (best is None or len(names) > best[0]):
                best = len(names), k, delimiter
    if best is None:
        raise InputError([Problem("file", "no line of names with numbers below it",
                                  "a header and data lines", "export the log as CSV", str(file))])
    _, at, delimiter = best
    data = _data_after(lines, at, delimiter, len(split_line(lines[at], delimiter)))
    assert data is not None
    names = split_line(lines[at], delimiter)
    units = split_line(lines[at + 1], delimiter) if data > at + 1 else [""] * len(names)
    first = split_line(lines[data], delimiter)
    comma = delimiter != "," and any("," in c for c in first if is_number(c))
    return Columns(file, tuple(names), tuple((*units, *[""] * len(names))[:len(names)]),
                   tuple((*first, *[""] * len(names))[:len(names)]), delimiter, at + 1, comma)


def _numeric(cell: str) -> bool:
    return is_number(cell) or cell[:1].isdigit()


def _data_after(lines: Sequence[str], at: int, delimiter: str, width: int) -> int | None:
    """Line of the first numbers within two lines after `at` of as many cells; None for none."""
    for k in range(at + 1, min(at + 3, len(lines))):
        cells = split_line(lines[k], delimiter)
        filled = [c for c in cells if c.lower() not in MISSING]
        if abs(len(cells) - width) <= 1 and filled and sum(map(_numeric, filled)) >= 0.5 * len(
                filled):
            return k
    return None


SINGLE: Final = (
    ("time", "s", ("time", "zeit"), 's, ms, or "clock" for times of day'),
    ("rpm", "rpm", ("rpm", "engine speed", "speed"), "rpm"),
    ("manifold_pressure", "kPa absolute", ("map", "manifold", "boost"),
     "a pressure with gauge or absolute"),
    ("coolant", "degC", ("coolant", "ect", "clt", "water"), "degC, degF or K"),
    ("intake_air", "degC", ("intake", "iat", "charge temp"), "degC, degF or K"),
    ("barometer", "kPa absolute", ("baro",), "a pressure, absolute"),
    ("throttle", "percent", ("throttle", "tps"), "percent"),
    ("battery", "", ("batt", "volt"), ""),
    ("fuel_pressure", "kPa", ("fuel p",), "a pressure difference"),
    ("exhaust_pressure", "kPa absolute", ("exhaust p", "back pressure"), "with gauge or absolute"),
)
BY_CYLINDER: Final = (
    ("lambda", "lambda", ("lambda", "afr", "mixture", "o2"),
     'lambda, or AFR with scale = the ratio of the display'),
    ("egt", "degC", ("egt", "exhaust t"), "degC, degF or K"),
    ("knock", "", ("knock",), "no unit; above zero counts as knock"),
    ("pulse", "ms", ("pulse", "inj"), "ms"),
)
NEEDED: Final = frozenset({"time", "rpm", "manifold_pressure", "lambda"})


def draft_mapping(columns: Columns) -> str:
    """The text of a mapping to complete."""
    delimiter = {v: k for k, v in DELIMITERS.items() if len(k) > 1}[columns.delimiter]
    out = [
        f"# Mapping of {_comment(columns.path.name)}. Replace every \"{UNKNOWN}\"; take the # away "
        "where a channel was logged.",
        "# Nothing is guessed: what looks like a channel is only named beside it.",
        f"# Columns, from line {columns.header_line}: name, unit in the file, first value",
        *(f"#   {json.dumps(name, ensure_ascii=False)}  {_comment(unit)}  {_comment(first)}"
          for name, unit, first in zip(columns.names, columns.units, columns.first, strict=True)),
        "", 'kind = "log"', "", "[file]", f'delimiter = "{delimiter}"',
        f'decimal = "{"," if columns.decimal_comma else "."}"',
        '# thousands = ","    # or "space", ".", "\'": only if numbers are written 3,000',
        "", "[channels]"]
    for name, unit, words, allowed in SINGLE:
        mark = "" if name in NEEDED else "# "
        text = f', unit = "{unit}"' if unit else ""
        out.append(f'{mark}{name} = {{ column = "{UNKNOWN}"{text} }}'
                   + _beside(columns, words, allowed))
    for name, unit, words, allowed in BY_CYLINDER:
        mark = "" if name in NEEDED else "# "
        text = f', unit = "{unit}"' if unit else ""
        out.append(f'{mark}{name} = {{ columns = ["{UNKNOWN}"], cylinders = [1]{text} }}'
                   + _beside(columns, words, allowed))
    out += [
        f'# fuel_cut = {{ column = "{UNKNOWN}", cut_when = 1 }}',
        "", "[state]    # while the log was taken",
        f'injection = "{UNKNOWN}"    # sequential, paired or batch',
        '# barometer = "100 kPa absolute"    # needed for a gauge pressure without its own channel',
        f'trims = "{UNKNOWN}"    # none, or {{ percent = [0, 0], cylinders = [1, 2], '
        'on = "fuel" }, or columns',
        f'closed_loop = "{UNKNOWN}"    # off; or {{ column = "name", unit = "percent" }}',
        "", "[cells]    # centres of the cells that trims are wanted for",
        "rpm = [3000, 4000, 5000]", 'pressure = ["100 kPa absolute", "200 kPa absolute"]', ""]
    return "\n".join(out)


def _beside(columns: Columns, words: Sequence[str], allowed: str) -> str:
    """Candidates and units as a comment."""
    found = [name for name in columns.names if any(w in name.lower() for w in words)]
    parts = [allowed] if allowed else []
    if found:
        parts.append("candidates: " + ", ".join(
            json.dumps(n, ensure_ascii=False) for n in found[:16]))
    return f"    # {_comment('; '.join(parts), 400)}" if parts else ""


def _comment(text: str, longest: int = LONGEST) -> str:
    """Text that stands in one comment line of TOML: no control signs, cut where it is long."""
    clean = "".join(c if c.isprintable() else " " for c in text)
    return clean if len(clean) <= longest else clean[:longest] + "..."
