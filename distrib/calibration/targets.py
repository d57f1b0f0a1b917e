"""Target lambda over speed and manifold pressure: a small table in a CSV file.

The corner cell says what the edges are, "rpm / kPa absolute"; speeds stand down, pressures across.
Between the points it is linear in both; outside them nothing is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import numpy as np

from distrib.calibration.layout import cell_number, read_head, shown, split_line
from distrib.calibration.sheet_read import HIGH_TARGET, LOW_TARGET
from distrib.errors import InputError, Problem
from distrib.numerals import NumeralError
from distrib.results import FloatArray

CORNER: Final = "rpm / kPa absolute"


@dataclass(frozen=True)
class Targets:
    """Target lambda (R, C) at speeds (R,), rpm, and absolute manifold pressures (C,)."""

    path: Path
    rpm: FloatArray
    pressure_pa: FloatArray
    lambda_target: FloatArray

    def at(self, rpm: Any, pressure_pa: Any) -> FloatArray:
        """Targets of P cells. InputError for every cell that lies outside the table."""
        speed, pressure = (np.asarray(v, dtype=np.float64) for v in (rpm, pressure_pa))
        out = np.full(speed.shape, np.nan)
        problems = []
        for k, (n, p) in enumerate(zip(speed, pressure, strict=True)):
            i, u = _place(self.rpm, n)
            j, v = _place(self.pressure_pa, p)
            if i < 0 or j < 0:
                problems.append(Problem(
                    "targets", f"a cell at {n:g} rpm, {p / 1e3:.4g} kPa",
                    f"{self.rpm[0]:g} to {self.rpm[-1]:g} rpm, {self.pressure_pa[0] / 1e3:.4g} to "
                    f"{self.pressure_pa[-1] / 1e3:.4g} kPa",
                    "no target is made up beyond the table", str(self.path)))
                continue
            part = self.lambda_target[i:i + 2, j:j + 2]
            row = part[0] if len(part) == 1 else (1.0 - u) * part[0] + u * part[1]
            out[k] = row[0] if len(row) == 1 else (1.0 - v) * row[0] + v * row[1]
        if problems:
            raise InputError(problems)
        return out


def _place(points: FloatArray, value: float) -> tuple[int, float]:
    """Index below a value and the part of the way to the next; -1 outside."""
    near = 1e-6 * abs(float(points[-1]))
    if not points[0] - near <= value <= points[-1] + near:
        return -1, 0.0
    if len(points) == 1:
        return 0, 0.0
    i = int(np.clip(np.searchsorted(points, value, side="right") - 1, 0, len(points) - 2))
    return i, float(np.clip((value - points[i]) / (points[i + 1] - points[i]), 0.0, 1.0))


def read_targets(path: str | Path) -> Targets:
    """Read a table of targets; InputError lists every cell that is none, with its line."""
    file = Path(path)
    _, encoding, _ = read_head(file)
    codec = {"cp1252": "cp1252", "utf-16": "utf-16"}.get(encoding, "utf-8-sig")
    text = file.read_bytes().decode(codec, errors="replace")
    lines = [(k, line) for k, line in enumerate(text.splitlines(), start=1)
             if line.strip(" \t,;|") and not line.lstrip('" ').startswith("#")]
    problems: list[Problem] = []

    def bad(where: str, read: str, allowed: str, line: int | None = None, hint: str = "") -> None:
        problems.append(Problem(where, read, allowed, hint, str(file), line, "cell"))

    delimiter = next((d for d in (";", "\t", "|", ",") if lines and d in lines[0][1]), ",")
    rows = [(k, split_line(line, delimiter)) for k, line in lines]
    if len(rows) < 2 or " ".join(rows[0][1][0].lower().split()) != CORNER.lower():
        bad("corner", shown(rows[0][1][0]) if rows else "nothing",
            f'"{CORNER}", then pressures; below it speeds with their lambda',
            rows[0][0] if rows else None)
        raise InputError(problems)

    def value(cell: str, where: str, line: int, low: float, high: float) -> float:
        try:
            found = cell_number(cell)
        except (NumeralError, ValueError):
            found = float("nan")
        if not low <= found <= high:
            bad(where, shown(cell), f"a number from {low:g} to {high:g}", line)
            return float("nan")
        return found

    head = rows[0][1]
    pressure = [value(c, "pressure", rows[0][0], 5.0, 1000.0) for c in head[1:]]
    rpm, table = [], []
    for line, cells in rows[1:]:
        if len(cells) != len(head):
            bad("line", f"{len(cells)} cells", f"{len(head)} as in the header", line)
            continue
        rpm.append(value(cells[0], "rpm", line, 100.0, 20000.0))
        table.append([value(c, "lambda", line, LOW_TARGET, HIGH_TARGET) for c in cells[1:]])
    for name, values in (("rpm", rpm), ("pressure", pressure)):
        if not problems and any(b <= a for a, b in pairwise(values)):
            bad(name, ", ".join(f"{v:g}" for v in values), "rising numbers")
    if not pressure:
        bad("pressure", "none", "at least one pressure beside the corner", rows[0][0])
    if problems:
        raise InputError(problems)
    return Targets(file, np.array(rpm), np.array(pressure) * 1e3, np.array(table))
