"""Steady windows gathered into cells of speed by pressure, with counts and spread."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from distrib.calibration.clean import Windows
from distrib.errors import InputError, Problem
from distrib.results import FloatArray, IntArray


@dataclass(frozen=True)
class Cells:
    """Windows gathered in cells of speed by pressure: arrays (R, C, N), NaN where nothing fell.

    `lambda_base` is the median over windows, `spread` the largest minus smallest window, `windows`
    how many, `samples` the readings in them, `sigma` the standard error of the cell (never below
    `floor` x lambda), `trim_percent` the median trim that was active; `egt_k` and `pulse_s` medians
    of exhaust temperature and pulse, `lambda_read` of lambda as read, `knock` the highest reading.
    """

    cylinders: tuple[int, ...]
    rpm: FloatArray
    pressure_pa: FloatArray
    lambda_base: FloatArray
    spread: FloatArray
    sigma: FloatArray
    windows: IntArray
    samples: IntArray
    trim_percent: FloatArray
    egt_k: FloatArray
    pulse_s: FloatArray
    lambda_read: FloatArray
    knock: FloatArray
    unplaced: int


def into_cells(
    windows: Windows, rpm: tuple[float, ...], pressure_pa: tuple[float, ...], floor: float = 0.005
) -> Cells:
    """Gather windows into the nearest cell whose centre is within half a cell.

    `floor` is the repeatability of one cell, as a share of lambda (common practice about 0.5 to
    1 %). Windows farther away than half the distance to the next centre stay unplaced.
    """
    rows, columns = _nearest(windows.rpm, rpm), _nearest(windows.pressure_pa, pressure_pa)
    shape = (len(rpm), len(pressure_pa), len(windows.cylinders))
    lam, spread, sigma, trim, egt, pulse, read, knock = (
        np.full(shape, np.nan) for _ in range(8))
    number, samples = (np.zeros(shape, dtype=np.int64) for _ in range(2))
    for i in range(shape[0]):
        for j in range(shape[1]):
            at = (rows == i) & (columns == j)
            inside = windows.lambda_base[at]
            if at.any():
                trim[i, j] = np.median(windows.trim_percent[at], axis=0)
            for c in range(shape[2]):
                egt[i, j, c] = _median_of(windows.egt_k[at, c])
                pulse[i, j, c] = _median_of(windows.pulse_s[at, c])
                read[i, j, c] = _median_of(windows.lambda_read[at, c])
                noted = windows.knock[at, c]
                knock[i, j, c] = np.max(noted[np.isfinite(noted)], initial=-np.inf)
                samples[i, j, c] = windows.count[at, c][np.isfinite(inside[:, c])].sum()
                values = inside[np.isfinite(inside[:, c]), c]
                number[i, j, c] = len(values)
                if len(values) == 0:
                    continue
                lam[i, j, c] = np.median(values)
                spread[i, j, c] = np.ptp(values)
                error = np.std(values, ddof=1) / np.sqrt(len(values)) if len(values) > 1 else 0.0
                sigma[i, j, c] = max(float(error), floor * lam[i, j, c])
    unplaced = int(np.count_nonzero((rows < 0) | (columns < 0)))
    return Cells(
        windows.cylinders, np.asarray(rpm), np.asarray(pressure_pa), lam, spread, sigma, number,
        samples, trim, egt, pulse, read, np.where(np.isfinite(knock), knock, np.nan), unplaced,
    )


def for_cylinders(cells: Cells, cylinders: tuple[int, ...], file: str) -> Cells:
    """The cells with these cylinders in this order, NaN (and no windows) for one without a sensor.

    InputError when the log has a cylinder that is not among them, naming the mapping `file`.
    """
    extra = sorted(set(cells.cylinders) - set(cylinders))
    if extra:
        raise InputError([Problem(
            "channels.lambda.cylinders", f"cylinders {', '.join(map(str, extra))}",
            f"cylinders of the case: {', '.join(map(str, cylinders))}", "", file, None, "mapping")])
    at = [cylinders.index(c) for c in cells.cylinders]

    def placed(values: FloatArray) -> FloatArray:
        out = np.full((*values.shape[:2], len(cylinders)), np.nan)
        out[..., at] = values
        return out

    def counted(values: IntArray) -> IntArray:
        out = np.zeros((*values.shape[:2], len(cylinders)), dtype=np.int64)
        out[..., at] = values
        return out

    return Cells(
        cylinders, cells.rpm, cells.pressure_pa, placed(cells.lambda_base), placed(cells.spread),
        placed(cells.sigma), counted(cells.windows), counted(cells.samples),
        placed(cells.trim_percent), placed(cells.egt_k), placed(cells.pulse_s),
        placed(cells.lambda_read), placed(cells.knock), cells.unplaced)


def _median_of(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")


def _nearest(values: FloatArray, centres: tuple[float, ...]) -> IntArray:
    """Index of the nearest centre, or -1 beyond half the distance to its neighbour."""
    c = np.asarray(centres, dtype=np.float64)
    if len(c) == 1:
        return np.where(np.abs(values - c[0]) <= 0.1 * abs(c[0]), 0, -1).astype(np.int64)
    index = np.abs(values[:, None] - c[None, :]).argmin(axis=1)
    order = np.sort(c)
    reach = np.array([
        0.5 * np.min(np.abs(order[order != centre] - centre), initial=np.inf) for centre in c
    ])
    return np.where(np.abs(values - c[index]) <= reach[index], index, -1).astype(np.int64)
