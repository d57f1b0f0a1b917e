"""The mapping file: which column of a logger or bench file means what, in which unit.

A small TOML file by the user. Nothing is inferred from column names: what is not mapped is not
used, and what must be known (trims active while logging, closed loop, gauge or absolute, the scale
of an AFR reading, standard or actual flow) is asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Final, Literal

from distrib.calibration.layout import DELIMITERS
from distrib.calibration.tree import Node, Root
from distrib.fuelling.trims import BASES, Basis
from distrib.units import UnitError, parse

KINDS: Final[Mapping[str, str]] = {
    "time": "time", "rpm": "speed", "manifold_pressure": "pressure", "barometer": "pressure",
    "coolant": "temperature", "intake_air": "temperature", "throttle": "fraction",
    "battery": "plain", "fuel_pressure": "depression", "duty": "fraction", "fuel_cut": "plain",
    "exhaust_pressure": "pressure", "gear": "plain",
}
"""Single channels and the kind of their unit; plain ones take no unit."""

CYLINDER_KINDS: Final[Mapping[str, str]] = {
    "lambda": "mixture", "egt": "temperature", "knock": "plain", "pulse": "time",
    "ignition": "angle",
}
"""Channels with one column per cylinder."""


SPEED_WORDS: Final[Mapping[str, str]] = {
    "1/min": "rpm", "min-1": "rpm", "min^-1": "rpm", "/min": "rpm", "rev/min": "rpm",
    "r/min": "rpm"}
"""Other ways to write revolutions per minute."""
CLOCK_UNIT: Final = "clock"
"""In place of a unit: the column holds times of day, 14:05:07.25."""
FROM_CUTS: Final = "fuel cuts"
"""In place of a delay: as the log's fuel cuts show it, sensor by sensor."""
THOUSANDS: Final[Mapping[str, str]] = {"space": " ", ",": ",", ".": ".", "'": "'"}


@dataclass(frozen=True)
class Channel:
    """Columns of one quantity. SI value = scale x cell + offset, plus the barometer if gauge.

    `cylinders` matches `columns` for channels by cylinder and is empty otherwise.
    """

    name: str
    columns: tuple[str, ...]
    cylinders: tuple[int, ...]
    unit: str
    scale: float
    offset: float
    gauge: bool
    cut_when: float | None = None

    def in_order(self) -> tuple[str, ...]:
        """Columns by rising cylinder; as given for a channel without cylinders."""
        if not self.cylinders:
            return self.columns
        return tuple(c for _, c in sorted(zip(self.cylinders, self.columns, strict=True)))


@dataclass(frozen=True)
class FileOptions:
    """How the text is laid out, as far as the user says so; None means found from the header."""

    delimiter: str | None = None
    decimal: Literal[".", ","] = "."
    thousands: str = ""
    header_row: int | None = None
    units_row: bool | None = None
    ignore_units: bool = False


@dataclass(frozen=True)
class ActiveTrims:
    """Trims that were in the engine while logging: a channel, constants, or none (empty)."""

    channel: Channel | None = None
    percent: Mapping[int, float] | None = None
    on: Basis = "fuel"
    dead_time_s: float | None = None


@dataclass(frozen=True)
class ClosedLoop:
    """Mixture correction active while logging: one channel, one for each cylinder (its bank's
    column repeated for the cylinders of a bank), or off (None)."""

    channel: Channel | None = None


@dataclass(frozen=True)
class CleanRules:
    """Limits of the clean-up; defaults are common practice.

    `rpm_within` and `pressure_within_pa` are half-widths about the middle of a steady window.
    `pull_rpm_within`, where given, is the half-width in speed of the windows of a log of pulls;
    `delay_from_cuts` takes each sensor's delay from the log's fuel cuts.
    """

    rpm_within: float = 50.0
    pressure_within_pa: float = 3000.0
    shortest_s: float = 2.0
    longest_s: float = 5.0
    delay_s: float = 0.25
    lambda_low: float = 0.65
    lambda_high: float = 1.35
    egt_low_k: float = 273.15
    egt_high_k: float = 1573.15
    coolant_from_k: float = 343.15
    misfire_scatter: float = 0.06
    least_samples: int = 10
    pull_rpm_within: float | None = None
    delay_from_cuts: bool = False


@dataclass(frozen=True)
class LogMapping:
    """Everything needed to read one engine log."""

    path: Path
    file: FileOptions
    channels: Mapping[str, Channel]
    barometer_pa: float | None
    trims: ActiveTrims
    closed_loop: ClosedLoop
    injection: str
    rules: CleanRules
    cell_rpm: tuple[float, ...]
    cell_pressure_pa: tuple[float, ...]

    def columns(self) -> tuple[str, ...]:
        """Every column the mapping uses, each once; those of a channel in cylinder order."""
        used = [c for ch in self.channels.values() for c in ch.in_order()]
        for extra in (self.trims.channel, self.closed_loop.channel):
            used.extend(extra.columns if extra else ())
        return tuple(dict.fromkeys(used))


def read_log_mapping(path: str | Path) -> LogMapping:
    """Read the mapping of an engine log; InputError lists every mistake with its line."""
    root = Root(Path(path))
    top = root.top()
    top.text("kind", ("log",), needed=True)
    file = file_options(top)
    state = top.table("state", needed=True, example="a table [state]")
    barometer = state.quantity("barometer", "pressure") if state else None
    channels = _channels(top)
    gauge = [c for c in channels.values() if c.gauge]
    if gauge and barometer is None and "barometer" not in channels:
        top.problem("channels", f"{gauge[0].name} in gauge pressure",
                    "absolute, or state.barometer, or a barometer channel")
    trims, loop, injection = _state(state)
    if state is not None and "lambda" in channels:
        _covered(state, channels["lambda"].cylinders, trims, loop)
    rules = _rules(top)
    cells = top.table("cells")
    rpm = cells.numbers("rpm", 100, 20000) if cells else None
    pressure = _pressures(cells, barometer) if cells else ()
    if cells:
        for key, values in (("rpm", rpm), ("pressure", pressure)):
            if values and any(b <= a for a, b in pairwise(values)):
                cells.problem(key, ", ".join(f"{v:g}" for v in values), "rising numbers",
                              "neighbouring cells are compared")
        cells.close()
    top.close()
    root.check()
    return LogMapping(
        Path(path), file, channels, barometer, trims, loop, injection or "", rules,
        rpm or (), pressure,
    )


def file_options(top: Node) -> FileOptions:
    """The [file] table of either mapping."""
    node = top.table("file")
    if node is None:
        return FileOptions()
    delimiter = node.text("delimiter", tuple(DELIMITERS))
    decimal = node.text("decimal", (".", ","))
    mark = THOUSANDS.get(node.text("thousands", tuple(THOUSANDS)) or "", "")
    if mark and mark == (decimal or "."):
        node.problem("thousands", f'"{mark}"', "another sign than the decimal one")
    row = node.number("header_row", 1, 400)
    ignore = node.raw("units_row") == "ignore"
    units = True if ignore else node.flag("units_row")
    node.close()
    return FileOptions(
        DELIMITERS[delimiter] if delimiter else None, "," if decimal == "," else ".", mark,
        int(row) if row else None, units, ignore,
    )


def unit_scale(node: Node, key: str, unit: str, kind: str) -> tuple[float, float, bool] | None:
    """Scale and offset that turn a number in `unit` into SI, and whether it is gauge."""
    try:
        zero, one = parse(f"0 {unit}", kind), parse(f"1 {unit}", kind)
    except UnitError as error:
        read = f'"{unit}"'
        node.problem(key, read, error.allowed, error.hint)
        return None
    return one.value - zero.value, zero.value, zero.reference == "gauge"


def channel(node: Node, name: str, kind: str, per_cylinder: bool) -> Channel | None:
    """One channel table { column or columns, unit, cylinders, scale }.

    Only a closed loop may name a column for several cylinders: those of a bank.
    """
    columns: tuple[str, ...] | None
    cylinders: tuple[int, ...] | None = ()
    if per_cylinder:
        columns = node.texts("columns", needed=True, repeated=name == "closed_loop")
        cylinders = node.integers("cylinders", 1, 16, needed=True)
        if columns and cylinders and len(columns) != len(cylinders):
            node.problem("cylinders", f"{len(cylinders)} numbers",
                         f"{len(columns)}, one for each column, in the same order")
            return None
    else:
        column = node.text("column", needed=True)
        columns = (column,) if column else None
    scale: tuple[float, float, bool] | None = (1.0, 0.0, False)
    unit = ""
    if kind == "mixture":
        unit, scale = _mixture(node)
    elif kind == "percent":
        unit = node.text("unit", ("percent", "multiplier"), needed=True) or ""
        scale = (1.0, 0.0, False) if unit == "percent" else (100.0, -100.0, False)
    elif kind != "plain":
        unit = node.text("unit", needed=True, example=f'a unit of {kind}') or ""
        unit = SPEED_WORDS.get(unit.lower(), unit) if kind == "speed" else unit
        if not (kind == "time" and name == "time" and unit == CLOCK_UNIT):
            scale = unit_scale(node, "unit", unit, kind) if unit else None
    cut = node.number("cut_when", -1e9, 1e9, needed=True) if name == "fuel_cut" else None
    node.close()
    if columns is None or cylinders is None or scale is None:
        return None
    return Channel(name, columns, cylinders, unit, *scale, cut_when=cut)


def _mixture(node: Node) -> tuple[str, tuple[float, float, bool] | None]:
    unit = node.text("unit", ("lambda", "AFR", "equivalence ratio"), needed=True) or ""
    if unit == "equivalence ratio":
        node.problem("unit", unit, "lambda or AFR", "export lambda: the clean-up averages lambda")
        return unit, None
    if unit == "AFR":
        ratio = node.number("scale", 5.0, 20.0, needed=True)
        if ratio is None:
            node.problem("scale", "no scale", "the stoichiometric ratio the display is set to",
                         "14.7 on most gasoline scales, whatever fuel burns")
            return unit, None
        return unit, (1.0 / ratio, 0.0, False)
    return unit, (1.0, 0.0, False)


def _channels(top: Node) -> dict[str, Channel]:
    node = top.table("channels", needed=True, example="a table [channels]")
    out: dict[str, Channel] = {}
    if node is None:
        return out
    for name, kind in (*KINDS.items(), *CYLINDER_KINDS.items()):
        needed = name in ("time", "rpm", "manifold_pressure", "lambda")
        table = node.table(name, needed, '{ column = "...", unit = "..." }')
        if table is not None:
            found = channel(table, name, kind, name in CYLINDER_KINDS)
            if found is not None:
                out[name] = found
    node.close()
    return out


def _state(state: Node | None) -> tuple[ActiveTrims, ClosedLoop, str | None]:
    if state is None:
        return ActiveTrims(), ClosedLoop(), None
    injection = state.text("injection", ("sequential", "paired", "batch"), needed=True)
    trims, loop = ActiveTrims(), ClosedLoop()
    if isinstance(state.raw("trims", True, '"none", or the trims active while logging'), str):
        state.text("trims", ("none",))
    else:
        node = state.table("trims")
        trims = _trims(node) if node else trims
    if isinstance(state.raw("closed_loop", True, '"off", or the correction channel'), str):
        state.text("closed_loop", ("off",))
    else:
        node = state.table("closed_loop")
        found = channel(node, "closed_loop", "percent", "columns" in node) if node else None
        loop = ClosedLoop(found)
    state.close()
    return trims, loop, injection


def _covered(
    state: Node, cylinders: tuple[int, ...], trims: ActiveTrims, loop: ClosedLoop
) -> None:
    """Note cylinders with a lambda of which the trim or the correction is not told."""
    given: list[tuple[str, set[int]]] = []
    if trims.percent is not None:
        given.append(("trims", set(trims.percent)))
    elif trims.channel is not None:
        given.append(("trims", set(trims.channel.cylinders)))
    if loop.channel is not None and loop.channel.cylinders:
        given.append(("closed_loop", set(loop.channel.cylinders)))
    for key, known in given:
        missing = sorted(set(cylinders) - known)
        if missing:
            state.problem(key, f"nothing for cylinders {', '.join(map(str, missing))}",
                          "every cylinder with a lambda", "0 where none was active")


def _trims(node: Node) -> ActiveTrims:
    on = node.text("on", BASES, needed=True)
    basis: Basis = next((b for b in BASES if b == on), "fuel")
    dead = node.quantity("dead_time", "time", needed=on == "total pulse")
    if "percent" in node:
        values = node.numbers("percent", -50, 50, needed=True)
        cylinders = node.integers("cylinders", 1, 16, needed=True)
        node.close()
        if values and cylinders and len(values) != len(cylinders):
            node.problem("percent", f"{len(values)} numbers", f"{len(cylinders)} as in cylinders")
        pairs = dict(zip(cylinders or (), values or (), strict=False))
        return ActiveTrims(None, pairs, basis, dead)
    return ActiveTrims(channel(node, "trims", "percent", True), None, basis, dead)


def _rules(top: Node) -> CleanRules:
    node = top.table("clean")
    base = CleanRules()
    if node is None:
        return base
    cuts = node.raw("delay") == FROM_CUTS
    given: dict[str, float | int | None] = {
        "rpm_within": node.number("rpm_within", 1, 1000),
        "pressure_within_pa": node.quantity("pressure_within", "depression"),
        "shortest_s": node.quantity("shortest", "time"),
        "longest_s": node.quantity("longest", "time"),
        "delay_s": None if cuts else node.quantity("delay", "time"),
        "pull_rpm_within": node.number("pull_rpm_within", 20, 2000),
        "delay_from_cuts": cuts or None,
        "lambda_low": node.number("lambda_low", 0.3, 1.0),
        "lambda_high": node.number("lambda_high", 1.0, 10.0),
        "egt_low_k": node.quantity("egt_low", "temperature"),
        "egt_high_k": node.quantity("egt_high", "temperature"),
        "coolant_from_k": node.quantity("coolant_from", "temperature"),
        "misfire_scatter": node.number("misfire_scatter", 0.001, 1.0),
    }
    least = node.number("least_samples", 1, 1e6)
    if least is not None:
        given["least_samples"] = int(least)
    node.close()
    rules = CleanRules(**{**base.__dict__, **{k: v for k, v in given.items() if v is not None}})
    if not 0.0 < rules.shortest_s <= rules.longest_s:
        node.problem("shortest", f"{rules.shortest_s:g} s", f"above 0 up to {rules.longest_s:g} s")
    return rules


def _pressures(cells: Node, barometer: float | None) -> tuple[float, ...]:
    values = cells.texts("pressure") or ()
    out = [cells.as_quantity("pressure", v, "pressure", barometer) for v in values]
    return tuple(v for v in out if v is not None)
