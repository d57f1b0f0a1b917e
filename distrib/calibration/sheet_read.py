"""A filled trim sheet read back, as a spreadsheet may have saved it: semicolons, decimal commas,
byte-order mark, blanks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from distrib.calibration.entries import (
    BLANKS,
    Entries,
    entries_from,
    run_columns,
    runs_on,
)
from distrib.calibration.layout import (
    MISSING,
    Layout,
    cell_number,
    find_layout,
    shown,
    split_line,
    table_lines,
)
from distrib.calibration.sheet import BASE_COLUMN, COLUMNS, TARGET_COLUMN
from distrib.errors import InputError, Problem
from distrib.fuelling.trims import BASES
from distrib.numerals import NumeralError
from distrib.results import FloatArray


@dataclass(frozen=True)
class FilledSheet:
    """A sheet read back: M rows as written, with what was measured (NaN where left blank).

    `heading` holds the remarks above the table, `level` the level of its band. `entries` are those
    of this run, `runs` those of earlier ones, the oldest first. `target` lambda and `base_percent`,
    what the base map was to be moved by: NaN where the sheet has no such column.
    """

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
    target: FloatArray
    base_percent: FloatArray
    entries: Entries
    runs: tuple[Entries, ...]

    @property
    def lambda_measured(self) -> FloatArray:
        """Lambda typed for this run, (M,)."""
        return self.entries.lambda_measured

    @property
    def trim_in_engine_percent(self) -> FloatArray:
        """Trim typed for this run, (M,), on the basis of the sheet."""
        return self.entries.trim_percent


LOW_LAMBDA: Final = 0.4
HIGH_LAMBDA: Final = 2.0
"""Lambdas between which a typed reading lies; beyond stands an air-fuel ratio, or a slip."""
LARGEST_TRIM: Final = 50.0
"""Percent beyond which a trim in the engine is a slip of the pen."""
COLD_DEGC: Final = 100.0
HOT_DEGC: Final = 1300.0
"""Exhaust temperatures between which a typed reading lies; beyond it stands another unit, or an
open probe."""
LOW_TARGET: Final = 0.5
HIGH_TARGET: Final = 1.3
_NUMBERS: Final = (
    "cylinder", "rpm", "pressure_kpa_abs", "deviation_percent", "low_percent", "high_percent",
    "trim_percent", "total_pulse_ms", "dead_time_ms",
)
_TYPED: Final = ("trim_in_engine_percent", "lambda_measured", "egt_degc")


def read_sheet(path: str | Path) -> FilledSheet:
    """Read a filled sheet. InputError lists every cell that is no number, with line and column.

    A lambda typed without the trim that was in the engine is refused: the new trim depends on it.
    """
    layout = find_layout(Path(path), COLUMNS, units_row=False)
    runs = runs_on(layout.names)
    typed = [*_TYPED, *(run_columns(k)[BLANKS.index(name)] for k in runs for name in _TYPED)]
    words = ["knock", "notes",
             *(run_columns(k)[BLANKS.index(name)] for k in runs for name in ("knock", "notes"))]
    extra = [name for name in (TARGET_COLUMN, BASE_COLUMN) if name in layout.names]
    problems: list[Problem] = []
    data, texts, lines = _columns(layout, [*_NUMBERS, *typed, *extra], ["trim_on", *words],
                                  problems)
    basis = texts["trim_on"]
    for text, line in zip(basis, lines, strict=True):
        if text not in BASES:
            problems.append(Problem(_column(layout, "trim_on"), shown(text), ", ".join(BASES),
                                    "", str(layout.path), line, "cell"))
    if not problems:
        problems = _sheet_problems(data, basis, lines, layout, runs)
    if problems:
        raise InputError(problems)
    heading = dict(_remark(line) for line in layout.metadata if ":" in line)
    blank = np.full(len(lines), np.nan)
    return FilledSheet(
        layout.path, heading, _level(heading, layout.path), data["cylinder"].astype(np.int64),
        data["rpm"], data["pressure_kpa_abs"] * 1e3, data["deviation_percent"], data["low_percent"],
        data["high_percent"], data["trim_percent"], tuple(basis), data["total_pulse_ms"] / 1e3,
        data["dead_time_ms"] / 1e3, data.get(TARGET_COLUMN, blank), data.get(BASE_COLUMN, blank),
        entries_from(data, texts, lambda name: name),
        tuple(entries_from(data, texts, dict(zip(BLANKS, run_columns(k), strict=True)).__getitem__)
              for k in runs))


def _columns(
    layout: Layout, numbers: list[str], words: list[str], problems: list[Problem]
) -> tuple[dict[str, FloatArray], dict[str, list[str]], list[int]]:
    """Columns as numbers and as texts, and the line of each row; notes what is no number."""
    lines = table_lines(layout)
    found: dict[str, list[float]] = {name: [] for name in numbers}
    texts: dict[str, list[str]] = {name: [] for name in words}
    rows: list[int] = []
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
        rows.append(at + 1)
        for name in numbers:
            where = layout.names.index(name)
            found[name].append(_cell(cells[where], _column(layout, name), at + 1, layout.path,
                                     problems))
        for name in words:
            texts[name].append(cells[layout.names.index(name)])
    return {name: np.array(values) for name, values in found.items()}, texts, rows


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
    data: Mapping[str, FloatArray], basis: list[str], lines: list[int], layout: Layout,
    runs: list[int],
) -> list[Problem]:
    """Rows that cannot be used as filled in."""
    problems: list[Problem] = []
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
        if TARGET_COLUMN in data:
            goal = data[TARGET_COLUMN][k]
            if not LOW_TARGET <= goal <= HIGH_TARGET:
                bad(TARGET_COLUMN, f"{goal:g}" if np.isfinite(goal) else "a blank",
                    f"lambda from {LOW_TARGET:g} to {HIGH_TARGET:g}")
        for names in (BLANKS, *map(run_columns, runs)):
            _typed_problems(data, k, dict(zip(BLANKS, names, strict=True)), basis[k], bad)
    return problems


def _typed_problems(
    data: Mapping[str, FloatArray], k: int, name: Mapping[str, str], basis: str,
    bad: Callable[..., None],
) -> None:
    """What a person typed for one run in one row."""
    lam, now, egt = (float(data[name[key]][k]) for key in (
        "lambda_measured", "trim_in_engine_percent", "egt_degc"))
    if np.isfinite(egt) and not COLD_DEGC <= egt <= HOT_DEGC:
        bad(name["egt_degc"], f"{egt:g}", f"degC from {COLD_DEGC:g} to {HOT_DEGC:g}",
            "degrees Fahrenheit, or an open probe? Leave it blank if in doubt")
    if np.isfinite(now) and abs(now) > LARGEST_TRIM:
        bad(name["trim_in_engine_percent"], f"{now:g}",
            f"percent from -{LARGEST_TRIM:g} to {LARGEST_TRIM:g}")
    if not np.isfinite(lam):
        return
    if not LOW_LAMBDA <= lam <= HIGH_LAMBDA:
        bad(name["lambda_measured"], f"{lam:g}", f"lambda from {LOW_LAMBDA:g} to {HIGH_LAMBDA:g}",
            "an air-fuel ratio? Divide by the scale of the display" if lam > HIGH_LAMBDA else "")
    if not np.isfinite(now):
        bad(name["trim_in_engine_percent"], "a blank beside a measured lambda",
            "the trim that was active, 0 if none")
    if basis == "total pulse" and not data["total_pulse_ms"][k] > data["dead_time_ms"][k] > 0.0:
        bad("total_pulse_ms", f'{data["total_pulse_ms"][k]:g} ms with '
            f'{data["dead_time_ms"][k]:g} ms dead time',
            "a pulse longer than its dead time, for a percent on total pulse")
