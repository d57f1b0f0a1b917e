"""A filled trim sheet read back, as a spreadsheet may have saved it: semicolons, decimal commas,
byte-order mark, blanks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from distrib.calibration.layout import (
    MISSING,
    Layout,
    cell_number,
    find_layout,
    shown,
    split_line,
    table_lines,
)
from distrib.calibration.sheet import COLUMNS
from distrib.errors import InputError, Problem
from distrib.fuelling.trims import BASES
from distrib.numerals import NumeralError
from distrib.results import FloatArray


@dataclass(frozen=True)
class FilledSheet:
    """A sheet read back: M rows as written, with what was measured (NaN where left blank).

    `heading` holds the remarks above the table, `level` the level of its band."""

    path: Path
    heading: Mapping[str, str]
    level: float
    cylinder: np.ndarray[Any, np.dtype[np.int64]]
    rpm: FloatArray
    pressure_pa: FloatArray
    deviation_percent: FloatArray
    low_percent: FloatArray
    high_percent: FloatArray
    trim_shown: FloatArray
    trim_on: tuple[str, ...]
    total_pulse_s: FloatArray
    dead_time_s: FloatArray
    trim_in_engine_percent: FloatArray
    lambda_measured: FloatArray
    egt_degc: FloatArray
    notes: tuple[str, ...]


LOW_LAMBDA: Final = 0.4
HIGH_LAMBDA: Final = 2.0
"""Lambdas between which a typed reading lies; beyond stands an air-fuel ratio, or a slip."""
LARGEST_TRIM: Final = 50.0
"""Percent beyond which a trim in the engine is a slip of the pen."""
_NUMBERS: Final = (
    "cylinder", "rpm", "pressure_kpa_abs", "deviation_percent", "low_percent", "high_percent",
    "trim_percent", "total_pulse_ms", "dead_time_ms", "trim_in_engine_percent", "lambda_measured",
    "egt_degc",
)


def read_sheet(path: str | Path) -> FilledSheet:
    """Read a filled sheet. InputError lists every cell that is no number, with line and column.

    A lambda typed without the trim that was in the engine is refused: the new trim depends on it.
    """
    layout = find_layout(Path(path), COLUMNS, units_row=False)
    lines = table_lines(layout)
    problems: list[Problem] = []
    columns: dict[str, list[float]] = {name: [] for name in _NUMBERS}
    notes: list[str] = []
    basis: list[str] = []
    numbers: list[int] = []
    for at in range(layout.header_line, len(lines)):
        if not lines[at].strip(" \t,;|"):
            continue
        cells = split_line(lines[at], layout.delimiter)
        if len(cells) != len(layout.names):
            problems.append(Problem(
                "line", f"{len(cells)} cells", f"{len(layout.names)} as in the header",
                "a decimal comma inside a comma-separated file splits a number",
                str(layout.path), at + 1, "width",
            ))
            continue
        numbers.append(at + 1)
        for name in _NUMBERS:
            where = layout.names.index(name)
            columns[name].append(_cell(cells[where], _column(layout, name), at + 1, layout.path,
                                       problems))
        notes.append(cells[layout.names.index("notes")])
        basis.append(cells[layout.names.index("trim_on")])
        if basis[-1] not in BASES:
            problems.append(Problem(_column(layout, "trim_on"), shown(basis[-1]), ", ".join(BASES),
                                    "", str(layout.path), at + 1, "cell"))
    data = {name: np.array(values) for name, values in columns.items()}
    if not problems:
        problems = _sheet_problems(data, basis, numbers, layout)
    if problems:
        raise InputError(problems)
    heading = dict(_remark(line) for line in layout.metadata if ":" in line)
    return FilledSheet(
        layout.path, heading, _level(heading, layout.path), data["cylinder"].astype(np.int64),
        data["rpm"], data["pressure_kpa_abs"] * 1e3, data["deviation_percent"], data["low_percent"],
        data["high_percent"], data["trim_percent"], tuple(basis), data["total_pulse_ms"] / 1e3,
        data["dead_time_ms"] / 1e3, data["trim_in_engine_percent"], data["lambda_measured"],
        data["egt_degc"], tuple(notes),
    )


def _remark(line: str) -> tuple[str, str]:
    key, _, value = line.strip().strip('"').lstrip("#").partition(":")
    return key.strip(), value.strip().rstrip(",;")


def _level(heading: Mapping[str, str], path: Path) -> float:
    """Level of the band by the remark above the table; 0.9, the sheet's own, without one."""
    text = heading.get("band level") or "0.9"
    try:
        level = cell_number(text)
    except (NumeralError, ValueError):
        level = 0.0
    if not 0.0 < level < 1.0:
        raise InputError([Problem("# band level", shown(text), "a number between 0 and 1", "",
                                  str(path), None, "cell")])
    return level


def _column(layout: Layout, name: str) -> str:
    """A column for a message: where it stands and its name."""
    return f'column {layout.names.index(name) + 1} "{name}"'


def _cell(text: str, where: str, line: int, path: Path, problems: list[Problem]) -> float:
    if text.strip().lower() in MISSING:
        return float("nan")
    try:
        return cell_number(text)
    except (NumeralError, ValueError) as error:
        hint = error.hint if isinstance(error, NumeralError) else ""
        problems.append(Problem(
            where, shown(text), "a number or a blank",
            hint.replace(" {unit}", ""), str(path), line, "cell",
        ))
        return float("nan")


def _sheet_problems(
    data: Mapping[str, FloatArray], basis: list[str], lines: list[int], layout: Layout
) -> list[Problem]:
    """Rows that cannot be used as filled in."""
    problems = []
    if not lines:
        return [Problem("file", "no rows", "the rows of the sheet", "",
                        str(layout.path))]
    for k, line in enumerate(lines):
        def bad(where: str, read: str, allowed: str, hint: str = "", at: int = line) -> None:
            problems.append(Problem(_column(layout, where), read, allowed, hint,
                                    str(layout.path), at, "sheet"))

        for name in ("cylinder", "rpm", "pressure_kpa_abs"):
            if not np.isfinite(data[name][k]):
                bad(name, "a blank", "the number that the sheet was written with")
        if basis[k] != basis[0]:
            bad("trim_on", f'"{basis[k]}"', f'"{basis[0]}" as in the first row',
                "one sheet, one basis")
        number = data["cylinder"][k]
        if np.isfinite(number) and not (number.is_integer() and 1 <= number <= 99):
            bad("cylinder", f"{number:g}", "the number of a cylinder")
        lam = data["lambda_measured"][k]
        if np.isfinite(lam):
            if not LOW_LAMBDA <= lam <= HIGH_LAMBDA:
                bad("lambda_measured", f"{lam:g}",
                    f"lambda from {LOW_LAMBDA:g} to {HIGH_LAMBDA:g}",
                    "an air-fuel ratio? Divide by the scale of the display"
                    if lam > HIGH_LAMBDA else "")
            now = data["trim_in_engine_percent"][k]
            if not np.isfinite(now):
                bad("trim_in_engine_percent", "a blank beside a measured lambda",
                    "the trim that was active, 0 if none")
            elif abs(now) > LARGEST_TRIM:
                bad("trim_in_engine_percent", f"{now:g}",
                    f"percent from -{LARGEST_TRIM:g} to {LARGEST_TRIM:g}")
            if basis[k] == "total pulse" and not (
                data["total_pulse_ms"][k] > data["dead_time_ms"][k] > 0.0
            ):
                bad("total_pulse_ms", f'{data["total_pulse_ms"][k]:g} ms with '
                    f'{data["dead_time_ms"][k]:g} ms dead time',
                    "a pulse longer than its dead time, for a percent on total pulse")
    return problems
