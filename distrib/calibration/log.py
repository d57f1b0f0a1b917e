"""Engine logs: the mapped channels as SI arrays, in cylinder order.

Cylinders stand on the first axis here (one contiguous column each); time on the last.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from distrib.calibration.layout import Layout, find_layout
from distrib.calibration.mapping import CYLINDER_KINDS, KINDS, Channel, LogMapping
from distrib.calibration.reader import Table, read_table
from distrib.errors import InputError, Problem
from distrib.results import FloatArray, IntArray
from distrib.units import UnitError, parse

LOG_WARNINGS: Final = (
    "equal exhaust temperature is not equal mixture: the peak differs by cylinder, and rich and "
    "lean of it read the same",
    "exhaust pressure bends wideband readings: rich reads richer, lean reads leaner",
    "a misfire and a leak near a sensor read lean",
    "a collector sensor hides spread: one cylinder lean and one rich average out",
)
"""What every import of an engine log says. From trade practice and maintenance pages."""


@dataclass(frozen=True)
class Log:
    """One engine log in SI. `lambda_` (N, R) in the order of `cylinders`.

    `others` holds the further mapped channels by name, (R,) or (N, R). `trim_percent` are the trims
    active while logging, on fuel; `loop_percent` the closed-loop correction: both (N, R) or (N, 1).
    `line` (R,) are lines of the file.
    """

    path: Path
    cylinders: tuple[int, ...]
    time_s: FloatArray
    rpm: FloatArray
    pressure_pa: FloatArray
    lambda_: FloatArray
    trim_percent: FloatArray
    loop_percent: FloatArray
    others: Mapping[str, FloatArray]
    line: IntArray
    notes: tuple[str, ...]
    warnings: tuple[str, ...]


def read_log(path: str | Path, mapping: LogMapping) -> Log:
    """Read the mapped channels of an engine log; InputError with file, line and column.

    Checks that time increases, that units written in the file do not contradict the mapping, and
    removes nothing: cleaning is `clean.steady_windows`.
    """
    options = mapping.file
    layout = find_layout(
        Path(path), mapping.columns(), delimiter=options.delimiter,
        header_row=options.header_row, units_row=options.units_row,
    )
    _check_units(layout, mapping)
    table = read_table(layout, mapping.columns(), options.decimal)
    barometer = _barometer(table, mapping)
    single: dict[str, FloatArray] = {}
    by_cylinder: dict[str, FloatArray] = {}
    cylinders = tuple(sorted(mapping.channels["lambda"].cylinders))
    for name, channel in mapping.channels.items():
        if channel.cylinders:
            by_cylinder[name] = _by_cylinder(table, channel, cylinders)
        else:
            single[name] = _si(table, channel, 0, barometer)
    time = single.pop("time")
    _check_time(time, table)
    lam = by_cylinder.pop("lambda")
    trims = _trims(mapping, table, cylinders, by_cylinder.get("pulse"))
    loop = _loop(mapping, table, cylinders)
    return Log(
        Path(path), cylinders, time, single.pop("rpm"), single.pop("manifold_pressure"), lam,
        trims, loop, {**single, **by_cylinder}, table.line, table.notes, LOG_WARNINGS,
    )


def _si(
    table: Table, channel: Channel, index: int, barometer: FloatArray | float | None
) -> FloatArray:
    """One column in SI; works in place on the table's memory, each column is used once."""
    values = table.column(channel.columns[index])
    if channel.scale == 1.0 and channel.offset == 0.0 and not channel.gauge:
        return values
    out = values * channel.scale
    out += channel.offset
    if channel.gauge and barometer is not None:
        out += barometer
    return np.asarray(out, dtype=np.float64)


def _by_cylinder(table: Table, channel: Channel, cylinders: tuple[int, ...]) -> FloatArray:
    """(N, R) in cylinder order; NaN rows for cylinders the channel does not cover."""
    out = np.empty((len(cylinders), len(table.line)))
    for k, cylinder in enumerate(cylinders):
        covered = cylinder in channel.cylinders
        out[k] = _si(table, channel, channel.cylinders.index(cylinder), None) if covered else np.nan
    return out


def _barometer(table: Table, mapping: LogMapping) -> FloatArray | float | None:
    channel = mapping.channels.get("barometer")
    if channel is None:
        return mapping.barometer_pa
    return fill_gaps(_si(table, channel, 0, mapping.barometer_pa))


def fill_gaps(values: FloatArray) -> FloatArray:
    """Blanks filled with the last value before them (a slower channel repeats until the next)."""
    known = np.isfinite(values)
    if known.all() or not known.any():
        return values
    index = np.where(known, np.arange(len(values)), 0)
    np.maximum.accumulate(index, out=index)
    return np.asarray(values[index], dtype=np.float64)


def _check_time(time: FloatArray, table: Table) -> None:
    bad = np.flatnonzero(~np.isfinite(time))
    if len(bad):
        raise _row_error(table, int(bad[0]), "time", "a blank", "a time in every line")
    back = np.flatnonzero(np.diff(time) < 0.0)
    if len(back):
        row = int(back[0]) + 1
        raise _row_error(
            table, row, "time", f"{time[row]:g} s after {time[row - 1]:g} s",
            "times that increase", "two logs in one file? Split them",
        )


def _row_error(table: Table, row: int, where: str, read: str, allowed: str, hint: str = ""
               ) -> InputError:
    return InputError([
        Problem(where, read, allowed, hint, str(table.path), int(table.line[row]), "cell")
    ])


def _check_units(layout: Layout, mapping: LogMapping) -> None:
    """A units row that names another unit than the mapping is a contradiction, not a hint.

    Texts of the units row that are no unit known here are passed over.
    """
    if layout.units is None or mapping.file.ignore_units:
        return
    problems = []
    kinds = {**KINDS, **CYLINDER_KINDS}
    for channel in mapping.channels.values():
        kind = kinds[channel.name]
        if kind == "plain":
            continue
        for column in channel.columns:
            at = layout.names.index(column)
            written = layout.units[at].strip("[]() ") if at < len(layout.units) else ""
            wrong = _other_scale if kind == "mixture" else _contradicts
            if written and wrong(written, channel, kind):
                problems.append(Problem(
                    f'column {at + 1} "{column}"', f"unit {layout.units[at]} in the file",
                    f"the unit of the mapping ({channel.unit})",
                    'correct one of them, or set units_row = "ignore" under [file]',
                    str(layout.path), layout.first_line - 1, "unit",
                ))
    if problems:
        raise InputError(problems)


def _other_scale(written: str, channel: Channel, kind: str) -> bool:
    """True when the file says lambda and the mapping air-fuel ratio, or the other way round."""
    del kind
    named = {"lambda": "lambda", "la": "lambda", "lam": "lambda", "\u03bb": "lambda", "afr": "AFR",
             "a/f": "AFR", "air/fuel": "AFR", "air-fuel ratio": "AFR"}.get(written.lower())
    return named is not None and named != channel.unit


def _contradicts(written: str, channel: Channel, kind: str) -> bool:
    """True when `written` is a known unit of the kind and means something else."""
    for reference in ("", " gauge" if channel.gauge else " absolute"):
        try:
            zero = parse(f"0 {written}{reference}", kind)
            one = parse(f"1 {written}{reference}", kind)
        except UnitError:
            continue
        same = (
            abs((one.value - zero.value) / channel.scale - 1.0) < 1e-9
            and abs(zero.value - channel.offset) < 1e-9
            and (kind != "pressure" or (zero.reference == "gauge") == channel.gauge)
        )
        return not same
    return False


def _trims(
    mapping: LogMapping, table: Table, cylinders: tuple[int, ...], pulse_s: FloatArray | None
) -> FloatArray:
    """Trims active while logging, percent on fuel, (N, R) or (N, 1)."""
    trims = mapping.trims
    out: FloatArray
    if trims.channel is not None:
        out = _by_cylinder(table, trims.channel, cylinders)
        for row in out:
            row[:] = fill_gaps(row)
    elif trims.percent is not None:
        out = np.array([[trims.percent[c]] for c in cylinders])
    else:
        return np.zeros((len(cylinders), 1))
    if trims.on != "total pulse":
        return out
    if pulse_s is None or trims.dead_time_s is None:
        raise InputError([Problem(
            "state.trims.on", "total pulse", "fuel, or a pulse channel and a dead time",
            "a percent on the total pulse is a larger percent on fuel", str(mapping.path), None,
            "mapping",
        )])
    untrimmed = pulse_s / (1.0 + out / 100.0)
    effective = np.where(untrimmed > trims.dead_time_s, untrimmed - trims.dead_time_s, np.nan)
    return np.asarray(out * untrimmed / effective, dtype=np.float64)


def _loop(mapping: LogMapping, table: Table, cylinders: tuple[int, ...]) -> FloatArray:
    channel = mapping.closed_loop.channel
    if channel is None:
        return np.zeros((len(cylinders), 1))
    if channel.cylinders:
        out = _by_cylinder(table, channel, cylinders)
        for row in out:
            row[:] = fill_gaps(row)
        return out
    one = fill_gaps(_si(table, channel, 0, None))
    return np.broadcast_to(one, (len(cylinders), len(one)))
