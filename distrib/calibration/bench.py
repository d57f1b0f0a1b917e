"""Flow-bench sheets: each runner's effective area from typed rows, with repeats and leakage.

Flows are turned into effective area `A = m/flux(p, T, depression)`, the area of an ideal nozzle
that would pass them. That frees them from room state, depression and compressibility, so that
sheets of different days and the model compare directly.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from distrib.calibration.bench_mapping import BenchMapping, Column, Configuration
from distrib.calibration.clean import Exclusion
from distrib.calibration.layout import (
    LARGEST,
    MISSING,
    Layout,
    find_layout,
    shown,
    split_line,
    table_lines,
)
from distrib.constants import R_DRY_AIR
from distrib.engine.rig import mass_flux
from distrib.errors import InputError, Problem

TOTALS: Final = frozenset(
    {"total", "totals", "sum", "mean", "average", "avg", "spread", "max", "min"}
)
ONE_AT_A_TIME: Final = (
    "one runner at a time shows runner and mouth loss only: it cannot show header imbalance, since "
    "the plenum never carries the flow of the others. The test that would: plenum fed through its "
    "entry, all runners open, each metered without adding resistance to it alone"
)
_LABEL: Final = re.compile(r"(?:#|cyl(?:inder)?|runner|r|no\.?|port)?\s*[#_-]?\s*(\d{1,2})")
_INCHES: Final = re.compile(r"""\s*(?:"|in|inch|inches|in\.?\s*h2o|"\s*h2o)\s*$""", re.IGNORECASE)


@dataclass(frozen=True)
class BenchTest:
    """One runner in one setting, averaged over repeats.

    `effective_area_m2` and its relative standard error; `flow_kg_s` as measured; `lines` of the
    sheet it came from.
    """

    configuration: Configuration
    runner: int
    lift_m: float | None
    depression_pa: float
    flow_kg_s: float
    effective_area_m2: float
    relative_sigma: float
    repeats: int
    lines: tuple[int, ...]


@dataclass(frozen=True)
class BenchSheet:
    """The tests of one sheet, what was left out, and what to be wary of."""

    path: Path
    tests: tuple[BenchTest, ...]
    exclusions: tuple[Exclusion, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def runner_number(label: str, names: Any) -> int | None:
    """Cylinder of a runner label ("1", "#1", "cyl1", "R1", or a mapped name); None if unknown."""
    text = label.strip().lower()
    if text in names:
        return int(names[text])
    found = _LABEL.fullmatch(text)
    return int(found.group(1)) if found else None


def read_bench(path: str | Path, mapping: BenchMapping, cylinders: int) -> BenchSheet:
    """Read a bench sheet of an engine with so many cylinders.

    InputError lists every cell that cannot be read with line and column. Blank flows (not tested)
    and rows of totals are left out and listed; repeats, side by side or in rows, are averaged.
    """
    options = mapping.file
    layout = find_layout(
        Path(path), mapping.wanted(), delimiter=options.delimiter,
        header_row=options.header_row, units_row=options.units_row,
    )
    sheet = _Sheet(layout, mapping, cylinders)
    sheet.read()
    if sheet.problems:
        raise InputError(sheet.problems)
    tests = sheet.averaged()
    if not tests:
        raise InputError([Problem(
            "file", "no row with a flow", "at least one tested runner", "", str(path),
            layout.header_line, "file",
        )])
    cautions = []
    if not any(t.configuration == "all-open" for t in tests):
        cautions.append(ONE_AT_A_TIME)
    if any(t.configuration == "one-open" for t in tests):
        cautions.append("rows with the others open to the room say little more than blocked ones "
                        "and are not used in a fit")
    return BenchSheet(Path(path), tests, tuple(sheet.exclusions), layout.notes, tuple(cautions))


class _Sheet:
    """One pass over the rows of a sheet."""

    def __init__(self, layout: Layout, mapping: BenchMapping, cylinders: int) -> None:
        self.layout, self.mapping, self.cylinders = layout, mapping, cylinders
        self.problems: list[Problem] = []
        self.exclusions: list[Exclusion] = []
        self.rows: dict[tuple[Any, ...], list[tuple[float, float, float, int]]] = {}

    def read(self) -> None:
        lines = table_lines(self.layout)
        for number in range(self.layout.first_line, len(lines) + 1):
            line = lines[number - 1]
            if not line.strip(" \t,;|"):
                continue
            cells = split_line(line, self.layout.delimiter)
            width = len(self.layout.names)
            if len(cells) > width and not any(cells[width:]):
                cells = cells[:width]
            if len(cells) != width:
                self.problem(number, "line", f"{len(cells)} cells", f"{width} as in the header")
                continue
            self.row(number, cells)

    def problem(self, line: int, where: str, read: str, allowed: str, hint: str = "") -> None:
        self.problems.append(
            Problem(where, read, allowed, hint, str(self.layout.path), line, "cell")
        )

    def cell(self, cells: Sequence[str], name: str) -> tuple[str, str]:
        """Text of a named column and how to name it in a message."""
        at = self.layout.names.index(name)
        return cells[at], f'column {at + 1} "{name}"'

    def number(self, line: int, cells: Sequence[str], column: Column) -> float | None:
        """SI value of a cell; None for a blank or after noting a problem."""
        text, where = self.cell(cells, column.name)
        if text.lower() in MISSING:
            return None
        plain = _INCHES.sub("", text) if column.unit.lower().startswith("in") else text
        mark = self.mapping.file.decimal
        other = "," if mark == "." else "."
        try:
            if other in plain:
                raise ValueError
            value = float(plain.replace(mark, "."))
        except ValueError:
            hint = f'decimal sign? The mapping says "{mark}"' if other in plain else ""
            self.problem(line, where, shown(text), f"a number in {column.unit}, or a blank", hint)
            return None
        if not abs(value) <= LARGEST:
            self.problem(line, where, shown(text), "a finite number")
            return None
        return value * column.scale + column.offset

    def row(self, line: int, cells: list[str]) -> None:
        """Read one row into `rows`, or list why not."""
        m = self.mapping
        label, where = self.cell(cells, m.runner_column)
        if label.strip().lower() in TOTALS or label.strip() == "":
            self.exclusions.append(
                Exclusion(f'row "{label or "blank"}"', f"line {line}", 1, "no single runner")
            )
            return
        runner = runner_number(label, m.runner_names)
        if runner is None or not 1 <= runner <= self.cylinders:
            self.problem(line, where, shown(label), f"a runner from 1 to {self.cylinders}",
                         "name it under columns.runner.names in the mapping")
            return
        config = self.configuration(line, cells)
        flows = [self.number(line, cells, c) for c in m.flow]
        state = {name: self.quantity(line, cells, name) for name in
                 ("depression", "temperature", "barometer", "lift", "leak")}
        flows_read = [f for f in flows if f is not None]
        if config is None:
            return
        if not flows_read:
            self.exclusions.append(Exclusion(f"runner {runner}", f"line {line}", 1, "not tested"))
            return
        self.keep(line, runner, config, flows_read, state)

    def configuration(self, line: int, cells: Sequence[str]) -> Configuration | None:
        m = self.mapping
        if m.configuration_column is None:
            return m.configuration
        text, where = self.cell(cells, m.configuration_column)
        found = m.configuration_names.get(text.lower())
        if found is None:
            self.problem(line, where, shown(text), ", ".join(
                f'"{k}"' for k in m.configuration_names) or "a mapped configuration",
                "add it under columns.configuration.names")
        return found

    def quantity(self, line: int, cells: Sequence[str], name: str) -> float | None:
        column = self.mapping.columns.get(name)
        if column is None:
            return self.mapping.values.get(name)
        value = self.number(line, cells, column)
        if value is None and name in ("depression", "temperature", "barometer"):
            text, where = self.cell(cells, column.name)
            if text.lower() in MISSING:
                self.problem(line, where, "a blank", f"the {name} of this row")
        return value

    def keep(
        self, line: int, runner: int, config: Configuration, flows: list[float],
        state: dict[str, float | None],
    ) -> None:
        depression, temperature, barometer = (
            state[k] for k in ("depression", "temperature", "barometer")
        )
        if depression is None or temperature is None or barometer is None:
            return
        if temperature <= 0.0 or barometer <= 0.0:
            self.problem(line, "room state", f"{temperature:g} K, {barometer:g} Pa", "above zero")
            return
        flux = float(mass_flux(barometer, temperature, depression))
        if not np.isfinite(flux):
            self.problem(line, "depression", f"{depression:g} Pa at {barometer:g} Pa",
                         "above zero and below the critical depression")
            return
        density = self.density(barometer, temperature)
        leak = 0.0 if self.mapping.leak_subtracted else (state["leak"] or 0.0)
        for flow in flows:
            mass = (flow - leak) * density
            if mass <= 0.0:
                self.problem(line, "flow", f"{flow:g} with leak {leak:g}", "more flow than leak")
                continue
            key = (config, runner, state["lift"], round(depression, 3))
            self.rows.setdefault(key, []).append((mass / flux, mass, depression, line))

    def density(self, barometer: float, temperature: float) -> float:
        """Factor from the flow read (SI) to kg/s."""
        if self.mapping.mass_flow:
            return 1.0
        if self.mapping.standard is not None:
            return self.mapping.standard[0] / (R_DRY_AIR * self.mapping.standard[1])
        return barometer / (R_DRY_AIR * temperature)

    def averaged(self) -> tuple[BenchTest, ...]:
        out = []
        for (config, runner, lift, _), found in self.rows.items():
            area = np.array([f[0] for f in found])
            mean = float(area.mean())
            error = float(area.std(ddof=1) / np.sqrt(len(area)) / mean) if len(area) > 1 else 0.0
            sigma = max(error, self.mapping.repeatability / np.sqrt(len(area)))
            out.append(BenchTest(
                config, runner, lift, float(np.mean([f[2] for f in found])),
                float(np.mean([f[1] for f in found])), mean, sigma, len(area),
                tuple(dict.fromkeys(f[3] for f in found)),
            ))
        return tuple(out)
