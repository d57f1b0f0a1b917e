"""Swap tests as a typed sheet: one row per run and cylinder, parts by their serial texts."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from distrib.calibration.layout import MISSING, Layout, find_layout, split_line
from distrib.calibration.swap import SwapRun
from distrib.errors import InputError, Problem
from distrib.numerals import NumeralError, read_number

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
    codec = {"cp1252": "cp1252", "utf-16": "utf-16"}.get(layout.encoding, "utf-8-sig")
    lines = layout.path.read_bytes().decode(codec, errors="replace").splitlines()
    out: list[_Row] = []
    for at in range(layout.header_line, len(lines)):
        if not lines[at].strip(" \t,;|"):
            continue
        cells = split_line(lines[at], layout.delimiter)

        def bad(where: str, read: str, allowed: str, line: int = at + 1) -> None:
            problems.append(Problem(where, read, allowed, "", str(layout.path), line, "cell"))

        if len(cells) != len(layout.names):
            bad("line", f"{len(cells)} cells", f"{len(layout.names)} as in the header")
            continue
        text = {name: cells[layout.names.index(name)] for name in COLUMNS}
        values: dict[str, float] = {}
        for name in ("cylinder", "lambda", "trim_percent"):
            where = f'column {layout.names.index(name) + 1} "{name}"'
            if text[name].lower() in MISSING:
                values[name] = float("nan")
                continue
            try:
                values[name] = read_number(text[name])
            except (NumeralError, ValueError):
                bad(where, f'"{text[name]}"', "a number" if name == "cylinder" else
                    "a number or a blank")
                values[name] = 1.0
        number = values["cylinder"]
        if not (number == number and number.is_integer() and 1 <= number <= cylinders):
            bad("cylinder", f'"{text["cylinder"]}"', f"a cylinder from 1 to {cylinders}")
            continue
        if values["trim_percent"] != values["trim_percent"]:
            bad("trim_percent", "a blank", "the trim that was active, 0 if none")
        for name in ("run", "injector", "sensor"):
            if not text[name]:
                bad(name, "a blank", "a name or serial")
        out.append((text["run"], int(number), values["lambda"], text["injector"], text["sensor"],
                    values["trim_percent"], at + 1))
    return out


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
