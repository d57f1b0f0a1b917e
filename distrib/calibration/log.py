"""Engine logs: the mapped channels as SI arrays, in cylinder order.

Cylinders stand on the first axis here (one contiguous column each); time on the last.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from distrib.calibration.layout import Layout, find_layout
from distrib.calibration.mapping import (
    CLOCK_UNIT,
    CYLINDER_KINDS,
    KINDS,
    SPEED_WORDS,
    Channel,
    LogMapping,
)
from distrib.calibration.reader import Numerals, Table, read_table
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
FROM_AFR: Final = 5.0
TO_AFR: Final = 30.0
"""Figures between which an air-fuel ratio lies, and no lambda does."""
SOME_ROWS: Final = 20000
GAP_S: Final = 3600.0
"""Seconds put between two parts of a log whose clock started again: no window spans them."""
DAY_S: Final = 86400.0
STEADY_STEP: Final = 20.0
"""After a restart the clock must go on in steps no longer than this many usual ones."""


@dataclass(frozen=True)
class Log:
    """One engine log in SI. `lambda_` (N, R) in the order of `cylinders`.

    `others` holds the further mapped channels by name, (R,) or (N, R). `trim_percent` are the trims
    active while logging, on fuel; `loop_percent` the closed-loop correction: both (N, R) or (N, 1).
    `line` (R,) are lines of the file, `restarts` rows at which the logger began anew.
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
    restarts: IntArray
    notes: tuple[str, ...]
    warnings: tuple[str, ...]


def read_log(path: str | Path, mapping: LogMapping) -> Log:
    """Read the mapped channels of an engine log; InputError with file, line and column.

    Checks that time increases (but for a clock that starts again), that units written in the file
    do not contradict the mapping, and that lambda is no air-fuel ratio, or the other way round.
    Removes nothing: cleaning is `clean.steady_windows`.
    """
    options = mapping.file
    layout = find_layout(
        Path(path), mapping.columns(), delimiter=options.delimiter,
        header_row=options.header_row, units_row=options.units_row,
    )
    _check_units(layout, mapping)
    time_channel = mapping.channels["time"]
    clock = time_channel.columns[0] if time_channel.unit == CLOCK_UNIT else None
    table = read_table(layout, mapping.columns(),
                       Numerals(options.decimal, options.thousands, clock))
    barometer = _barometer(table, mapping)
    single: dict[str, FloatArray] = {}
    by_cylinder: dict[str, FloatArray] = {}
    cylinders = tuple(sorted(mapping.channels["lambda"].cylinders))
    once = _once(mapping)
    for name, channel in mapping.channels.items():
        if channel.cylinders:
            by_cylinder[name] = _by_cylinder(table, channel, cylinders, once)
        else:
            single[name] = _si(table, channel, 0, barometer, channel.columns[0] in once)
    time, restarts, said = continued(single.pop("time"), table, clock is not None)
    lam = by_cylinder.pop("lambda")
    _check_mixture(lam, mapping, cylinders, table)
    trims = _trims(mapping, table, cylinders, by_cylinder.get("pulse"))
    loop = _loop(mapping, table, cylinders)
    return Log(
        Path(path), cylinders, time, single.pop("rpm"), single.pop("manifold_pressure"), lam,
        trims, loop, {**single, **by_cylinder}, table.line, restarts, (*table.notes, *said),
        LOG_WARNINGS,
    )


def _check_mixture(
    lam: FloatArray, mapping: LogMapping, cylinders: tuple[int, ...], table: Table
) -> None:
    """InputError where lambda reads like an air-fuel ratio, or an air-fuel ratio like lambda."""
    channel = mapping.channels["lambda"]
    some = lam[:, :: max(lam.shape[1] // SOME_ROWS, 1)]
    problems = []
    for c, values in enumerate(some):
        known = values[np.isfinite(values)]
        middle = float(np.median(known)) if len(known) else 1.0
        if FROM_AFR < middle < TO_AFR or middle * TO_AFR < FROM_AFR:
            column = channel.columns[channel.cylinders.index(cylinders[c])]
            problems.append(Problem(
                f'column "{column}"', f"{middle / channel.scale:.3g} in the middle of the log",
                f"readings in the unit of the mapping ({channel.unit})",
                'an air-fuel ratio? Set unit = "AFR" with its scale' if channel.unit == "lambda"
                else 'lambda already? Set unit = "lambda"', str(table.path), None, "unit"))
    if problems:
        raise InputError(problems)


def _si(
    table: Table, channel: Channel, index: int, barometer: FloatArray | float | None,
    own: bool = False,
) -> FloatArray:
    """One column in SI; `own` works in place on the table's memory, where nothing else reads it."""
    values = table.column(channel.columns[index])
    return _scaled(values if own else values.copy(), channel, barometer)


def _scaled(
    values: FloatArray, channel: Channel, barometer: FloatArray | float | None
) -> FloatArray:
    """Readings turned into SI in place."""
    if channel.scale != 1.0:
        values *= channel.scale
    if channel.offset != 0.0:
        values += channel.offset
    if channel.gauge and barometer is not None:
        values += barometer
    return values


def _once(mapping: LogMapping) -> frozenset[str]:
    """Columns that only one channel reads, and it once."""
    all_ = [*mapping.channels.values(), mapping.trims.channel, mapping.closed_loop.channel]
    number = Counter(name for c in all_ if c is not None for name in c.columns)
    return frozenset(name for name, times in number.items() if times == 1)


def _by_cylinder(
    table: Table, channel: Channel, cylinders: tuple[int, ...], once: frozenset[str] = frozenset()
) -> FloatArray:
    """(N, R) in cylinder order; NaN rows for cylinders the channel does not cover.

    The table's own memory where the channel's columns lie there in order and nobody else reads
    them (`once`), else a copy.
    """
    names = channel.in_order()
    first = table.names.index(names[0])
    rows = slice(first, first + len(names))
    if tuple(sorted(channel.cylinders)) == cylinders and table.names[rows] == names \
            and once.issuperset(names):
        return _scaled(table.data[rows], channel, None)
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


def continued(
    time: FloatArray, table: Table, clock: bool
) -> tuple[FloatArray, IntArray, tuple[str, ...]]:
    """Time that only rises, rows at which the logger started again, and what is said of it.

    A clock that steps back and then goes on from there in its usual steps has been started again:
    the parts are put behind one another with a gap. A time of day passes midnight by itself.
    InputError for a blank time, and for a step back that is a fault of one row.
    """
    bad = np.flatnonzero(~np.isfinite(time))
    if len(bad):
        raise _row_error(table, int(bad[0]), "time", "a blank", "a time in every line")
    if clock:
        time = time + DAY_S * np.concatenate([[0], np.cumsum(np.diff(time) < -0.5 * DAY_S)])
    step = np.diff(time)
    back = np.flatnonzero(step < 0.0)
    if not len(back):
        return time, np.zeros(0, dtype=np.int64), ()
    usual = float(np.median(step[step > 0.0])) if np.any(step > 0.0) else 0.0
    starts = np.append(time[0], time[back[:-1] + 1])
    for start, row in zip(starts, back, strict=True):
        after = time[row + 2] - time[row + 1] if row + 2 < len(time) else np.inf
        if not (0.0 <= after <= STEADY_STEP * usual and time[row + 1] <= start + usual):
            raise _row_error(
                table, int(row) + 1, "time", f"{time[row + 1]:g} s after {time[row]:g} s",
                "times that increase", "a clock that starts again begins where it began before")
    shift = np.zeros(len(time))
    shift[back + 1] = time[back] - time[back + 1] + GAP_S
    lines = ", ".join(str(int(table.line[r + 1])) for r in back[:5])
    return (time + np.cumsum(shift), back + 1, (
        f"the clock starts again on line {lines}{', ...' if len(back) > 5 else ''}: "
        f"{len(back) + 1} parts, taken one after another",))


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
            written = SPEED_WORDS.get(written.lower(), written) if kind == "speed" else written
            if channel.unit == CLOCK_UNIT:
                continue
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
