"""Trims over speed and manifold pressure, one small CSV table for each cylinder.

Speeds stand down, absolute pressures across, as in the tables of targets, which read the file
`target.csv` of these back. A cell that is not on the sheet, or refused, is blank.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

import numpy as np

from distrib.calibration.sheet import TrimTable, number
from distrib.calibration.targets import CORNER

Cell = Callable[[int, int], str]


def matrices(table: TrimTable) -> dict[str, str]:
    """File names with their text: trims of every cylinder, base map, target, lambda as read."""
    out = {"base_map.csv": _matrix(table, lambda i, j: number(table.base_percent[i, j], 1, True)),
           "target.csv": _matrix(table, lambda i, j: number(table.target_at(i, j), 4))}
    for c, cylinder in enumerate(table.cylinders):
        out[f"trim_cylinder_{cylinder}.csv"] = _matrix(table, _trim(table, c))
        if table.measured is not None:
            out[f"lambda_cylinder_{cylinder}.csv"] = _matrix(table, _read(table, c))
    return out


def _trim(table: TrimTable, c: int) -> Cell:
    return lambda i, j: number(table.trim_shown[i, j, c], 1, True)


def _read(table: TrimTable, c: int) -> Cell:
    assert table.measured is not None
    lam = table.measured.lambda_read
    return lambda i, j: number(lam[i, j, c], 3)


def _matrix(table: TrimTable, cell: Cell) -> str:
    shown = np.zeros((len(table.rpm), len(table.pressure_pa)), dtype=np.bool_)
    for i, j in table.cells():
        shown[i, j] = True
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([CORNER, *(f"{p / 1e3:.6g}" for p in table.pressure_pa)])
    for i, rpm in enumerate(table.rpm):
        writer.writerow([f"{rpm:.6g}", *(cell(i, j) if shown[i, j] else ""
                                         for j in range(len(table.pressure_pa)))])
    return out.getvalue()
