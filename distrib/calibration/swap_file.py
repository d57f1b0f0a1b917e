"""Swap tests as a typed sheet: one row per run and cylinder, parts by their serial texts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Final

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
from distrib.calibration.sheet_read import HIGH_LAMBDA, LARGEST_TRIM, LOW_LAMBDA
from distrib.calibration.swap import SwapRun
from distrib.errors import InputError, Problem
from distrib.numerals import NumeralError

COLUMNS: Final = ("run", "cylinder", "lambda", "injector", "sensor", "trim_percent")


@dataclass(frozen=True)
class SwapSheet:
    """Runs of a swap test; `injectors` and `sensors` are the serials behind the part numbers."""

    runs: tuple[SwapRun, ...]
    names: tuple[str, ...]
    injectors: tuple[str, ...]
    sensors: tuple[str, ...]


def read_swap(path: str | Path, cylinders: int) -> SwapSheet:
    """Read a sheet with the columns run, cylinder, lambda, injector, sensor, trim_percent.

    InputError lists every fault with line and column: numbers, cylinders that are missing or
    stand twice in a run, a part that sits on two cylinders of one run or changes its name.
    """
    layout = find_layout(Path(path), COLUMNS, units_row=False)
    problems: list[Problem] = []
    rows = _rows(layout, cylinders, problems)
    names = tuple(dict.fromkeys(r[0] for r in rows))
    injectors = tuple(sorted({r[3] for r in rows}))
    sensors = tuple(sorted({r[4] for r in rows}))
    if not problems:
        problems = _whole(rows, names, cylinders, injectors, sensors, str(path))
    if problems:
        raise InputError(problems)
    runs = []
    for name in names:
        own = sorted((r for r in rows if r[0] == name), key=lambda r: r[1])
        runs.append(SwapRun(
            np.array([r[2] for r in own]), np.array([injectors.index(r[3]) for r in own]),
            np.array([sensors.index(r[4]) for r in own]), np.array([r[5] for r in own]),
        ))
    return SwapSheet(tuple(runs), names, injectors, sensors)


_Row = tuple[str, int, float, str, str, float, int]


def _rows(layout: Layout, cylinders: int, problems: list[Problem]) -> list[_Row]:
    """(run, cylinder, lambda, injector, sensor, trim, line) of every line that reads."""
    out: list[_Row] = []
    for at, line in enumerate(table_lines(layout)[layout.header_line:], layout.header_line + 1):
        if not line.strip(" \t,;|"):
            continue
        cells = split_line(line, layout.delimiter)
        if len(cells) != len(layout.names):
            problems.append(Problem("line", f"{len(cells)} cells", f"{len(layout.names)} as in the "
                                    "header", "", str(layout.path), at, "cell"))
            continue
        row = _row(layout, cells, at, cylinders, problems)
        if row is not None:
            out.append(row)
    return out


def _row(
    layout: Layout, cells: list[str], line: int, cylinders: int, problems: list[Problem]
) -> _Row | None:
    """One line; None after noting that its cylinder is none of the engine."""
    text = {name: cells[layout.names.index(name)] for name in COLUMNS}

    def bad(name: str, read: str, allowed: str, hint: str = "") -> None:
        where = f'column {layout.names.index(name) + 1} "{name}"'
        problems.append(Problem(where, read, allowed, hint, str(layout.path), line, "cell"))

    def number(name: str, low: float, high: float, allowed: str, hint: str = "") -> float:
        if text[name].lower() in MISSING:
            return float("nan")
        try:
            value = cell_number(text[name])
        except (NumeralError, ValueError):
            bad(name, shown(text[name]), allowed)
            return float("nan")
        if not low <= value <= high:
            bad(name, f"{value:g}", allowed, hint if value > high else "")
        return value

    cylinder = number("cylinder", 1, cylinders, f"a cylinder from 1 to {cylinders}")
    lam = number("lambda", LOW_LAMBDA, HIGH_LAMBDA,
                 f"lambda from {LOW_LAMBDA:g} to {HIGH_LAMBDA:g}, or a blank",
                 "an air-fuel ratio? Divide by the scale of the display")
    trim = number("trim_percent", -LARGEST_TRIM, LARGEST_TRIM,
                  f"percent from -{LARGEST_TRIM:g} to {LARGEST_TRIM:g}")
    if text["trim_percent"].lower() in MISSING:
        bad("trim_percent", "a blank", "the trim that was active, 0 if none")
    for name in ("run", "injector", "sensor"):
        if not text[name]:
            bad(name, "a blank", "a name or serial")
    if not (math.isfinite(cylinder) and cylinder.is_integer()):
        if text["cylinder"].lower() in MISSING or math.isfinite(cylinder):
            bad("cylinder", shown(text["cylinder"]), f"a cylinder from 1 to {cylinders}")
        return None
    return (text["run"], int(cylinder), lam, text["injector"], text["sensor"], trim, line)


def _whole(
    rows: list[_Row], names: tuple[str, ...], cylinders: int, injectors: tuple[str, ...],
    sensors: tuple[str, ...], file: str,
) -> list[Problem]:
    """What is wrong with the runs as a whole."""
    problems = []
    for name in names:
        own = [r for r in rows if r[0] == name]
        last = own[-1][6]
        found = [r[1] for r in own]
        for c in range(1, cylinders + 1):
            if found.count(c) != 1:
                problems.append(Problem(f'run "{name}"', f"cylinder {c} {found.count(c)} times",
                                        "each cylinder once", "", file, last, "swap"))
        for what, column in (("injector", 3), ("sensor", 4)):
            parts = [r[column] for r in own]
            for part in sorted(set(parts)):
                if parts.count(part) > 1:
                    problems.append(Problem(
                        f'run "{name}"', f'{what} "{part}" on {parts.count(part)} cylinders',
                        "each part on one cylinder", "", file, last, "swap"))
    for what, serials in (("injectors", injectors), ("sensors", sensors)):
        if len(serials) != cylinders and not problems:
            problems.append(Problem(
                what, f"{len(serials)} serials: {', '.join(serials)}",
                f"the same {cylinders} in every run", "", file, None, "swap"))
    return problems
