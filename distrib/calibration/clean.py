"""From a raw log to steady windows: medians by cylinder, with counts, spread and what was left out.

Rules (limits in `mapping.CleanRules`, common practice): steady speed and pressure for some seconds,
warm engine, no fuel cut; lambda shifted by the transport delay; saturated sensors and suspected
misfire left out and listed; trims and closed-loop corrections that were active removed, so that
the lambda handed on is the one every cylinder would show at the base map's equal fuel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from distrib.calibration.log import Log, fill_gaps
from distrib.calibration.mapping import CleanRules, LogMapping
from distrib.errors import InputError, Problem
from distrib.results import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Exclusion:
    """Something left out: what, where, how many samples or windows, why."""

    what: str
    where: str
    count: int
    why: str

    def __str__(self) -> str:
        return f"{self.what}, {self.where}: {self.count} left out ({self.why})"


@dataclass(frozen=True)
class Windows:
    """W steady windows and N cylinders.

    `lambda_read` (W, N) medians as read, `lambda_base` (W, N) with active trims and corrections
    removed; `scatter` standard deviation inside the window, `count` samples used. `trim_percent`
    (W, N) active trim. NaN where a cylinder was left out. `lines` (W, 2) first and last line.
    """

    cylinders: tuple[int, ...]
    start_s: FloatArray
    stop_s: FloatArray
    lines: IntArray
    rpm: FloatArray
    pressure_pa: FloatArray
    lambda_read: FloatArray
    lambda_base: FloatArray
    scatter: FloatArray
    count: IntArray
    trim_percent: FloatArray
    exclusions: tuple[Exclusion, ...]
    notes: tuple[str, ...]


def steady_windows(log: Log, mapping: LogMapping) -> Windows:
    """Steady windows of a log. InputError when none is found, with what stood in the way."""
    from distrib.calibration.windows import steady_stretches

    rules = mapping.rules
    rpm, pressure = fill_gaps(log.rpm), fill_gaps(log.pressure_pa)
    usable, out = _usable(log, mapping, rpm, pressure)
    most = int((log.time_s[-1] - log.time_s[0]) / rules.shortest_s) + 2
    stretches = np.empty((most, 2), dtype=np.int64)
    found = steady_stretches(
        log.time_s, rpm, pressure, usable, 2.0 * rules.rpm_within, 2.0 * rules.pressure_within_pa,
        rules.shortest_s, rules.longest_s, stretches,
    )
    if found == 0:
        reasons = "; ".join(str(e) for e in out) or "speed or pressure never held still"
        raise InputError([Problem(
            "log", f"no steady window of {rules.shortest_s:g} s",
            f"speed within {rules.rpm_within:g} rpm and pressure within "
            f"{rules.pressure_within_pa / 1000:g} kPa", reasons, str(log.path), None, "steady",
        )])
    return _measure(log, mapping, rpm, pressure, stretches[:found], out)


def _usable(
    log: Log, mapping: LogMapping, rpm: FloatArray, pressure: FloatArray
) -> tuple[BoolArray, list[Exclusion]]:
    """Rows that may belong to a window, and what was left out of the others."""
    rules = mapping.rules
    usable = np.isfinite(rpm) & np.isfinite(pressure)
    out: list[Exclusion] = []

    def drop(mask: BoolArray, what: str, why: str) -> None:
        nonlocal usable
        lost = int(np.count_nonzero(mask & usable))
        if lost:
            usable = usable & ~mask
            out.append(Exclusion(what, "rows of the log", lost, why))

    coolant = log.others.get("coolant")
    if coolant is not None:
        drop(fill_gaps(coolant) < rules.coolant_from_k, "warm-up",
             f"coolant below {rules.coolant_from_k - 273.15:g} degC")
    cut = log.others.get("fuel_cut")
    if cut is not None:
        drop(fill_gaps(cut) == mapping.channels["fuel_cut"].cut_when, "fuel cut", "flag set")
    pulse = log.others.get("pulse")
    if pulse is not None:
        off = np.zeros(len(rpm), dtype=np.bool_)
        for row in pulse:
            off |= fill_gaps(row) <= 0.0
        drop(off, "fuel cut", "an injector pulse of zero")
    drop(rpm <= 0.0, "engine stopped", "speed is zero")
    return usable, out


def _measure(
    log: Log, mapping: LogMapping, rpm: FloatArray, pressure: FloatArray, stretches: IntArray,
    out: list[Exclusion],
) -> Windows:
    """Medians of every window."""
    rules = mapping.rules
    w, n = len(stretches), len(log.cylinders)
    start, stop = log.time_s[stretches[:, 0]], log.time_s[stretches[:, 1] - 1]
    low = np.searchsorted(log.time_s, start + rules.delay_s, side="left")
    high = np.searchsorted(log.time_s, stop + rules.delay_s, side="right")
    read = np.full((w, n), np.nan)
    scatter = np.full((w, n), np.nan)
    count = np.zeros((w, n), dtype=np.int64)
    trim = np.zeros((w, n))
    loop = np.zeros((w, n))
    saturated = np.zeros((w, n), dtype=np.int64)
    for k in range(w):
        piece = log.lambda_[:, low[k] : high[k]]
        beyond = (piece <= rules.lambda_low) | (piece >= rules.lambda_high)
        good = np.isfinite(piece) & ~beyond
        saturated[k] = np.count_nonzero(beyond, axis=1)
        count[k] = np.count_nonzero(good, axis=1)
        for c in range(n):
            if count[k, c] >= rules.least_samples:
                values = piece[c][good[c]]
                read[k, c] = np.median(values)
                scatter[k, c] = np.std(values)
        rows = slice(int(stretches[k, 0]), int(stretches[k, 1]))
        trim[k] = _median(log.trim_percent, rows)
        loop[k] = _median(log.loop_percent, rows)
    out.extend(_leave_out(log, rules, read, scatter, count, saturated))
    base = read * (1.0 + trim / 100.0) * (1.0 + loop / 100.0)
    return Windows(
        log.cylinders, start, stop,
        np.stack([log.line[stretches[:, 0]], log.line[stretches[:, 1] - 1]], axis=1),
        np.array([np.median(rpm[a:b]) for a, b in stretches]),
        np.array([np.median(pressure[a:b]) for a, b in stretches]),
        read, base, scatter, count, trim, tuple(out), log.notes,
    )


def _median(values: FloatArray, rows: slice) -> FloatArray:
    if values.shape[1] == 1:
        return values[:, 0]
    return np.asarray(np.median(values[:, rows], axis=1), dtype=np.float64)


def _leave_out(
    log: Log, rules: CleanRules, read: FloatArray, scatter: FloatArray, count: IntArray,
    saturated: IntArray,
) -> list[Exclusion]:
    """Blank the windows of a cylinder that cannot be trusted (in place) and list them."""
    out: list[Exclusion] = []
    for c, cylinder in enumerate(log.cylinders):
        where = f"cylinder {cylinder}"
        if saturated[:, c].any():
            out.append(Exclusion(
                "saturated sensor", where, int(saturated[:, c].sum()),
                f"lambda not between {rules.lambda_low:g} and {rules.lambda_high:g}",
            ))
        mostly = saturated[:, c] > count[:, c]
        rough = scatter[:, c] > rules.misfire_scatter
        few = (count[:, c] < rules.least_samples) & ~mostly
        for mask, what, why in (
            (mostly, "window with a saturated sensor", "more than half of its samples"),
            (rough, "window with suspected misfire",
             f"scatter above {rules.misfire_scatter:g} lambda; a misfire reads lean"),
            (few, "window with few samples", f"fewer than {rules.least_samples}"),
        ):
            if mask.any():
                out.append(Exclusion(what, where, int(mask.sum()), why))
                read[mask, c] = np.nan
    return out


@dataclass(frozen=True)
class Cells:
    """Windows gathered in cells of speed by pressure: arrays (R, C, N), NaN where nothing fell.

    `lambda_base` is the median over windows, `spread` the largest minus smallest window, `windows`
    how many, `sigma` the standard error of the cell (never below `floor` x lambda), `trim_percent`
    the median trim that was active.
    """

    cylinders: tuple[int, ...]
    rpm: FloatArray
    pressure_pa: FloatArray
    lambda_base: FloatArray
    spread: FloatArray
    sigma: FloatArray
    windows: IntArray
    trim_percent: FloatArray
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
    lam, spread, sigma, trim = (np.full(shape, np.nan) for _ in range(4))
    number = np.zeros(shape, dtype=np.int64)
    for i in range(shape[0]):
        for j in range(shape[1]):
            at = (rows == i) & (columns == j)
            inside = windows.lambda_base[at]
            if at.any():
                trim[i, j] = np.median(windows.trim_percent[at], axis=0)
            for c in range(shape[2]):
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
        trim, unplaced,
    )


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
