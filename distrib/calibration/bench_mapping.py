"""The mapping of a flow-bench sheet: columns, units, and how the rig was set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from distrib.calibration.mapping import FileOptions, file_options, unit_scale
from distrib.calibration.tree import Node, Root

Configuration = Literal["all-open", "one-blocked", "one-open"]

CONFIGURATIONS: Final[Mapping[str, str]] = {
    "all-open": "plenum fed through the throttle, all runners open, each metered",
    "one-blocked": "one runner at a time, the others blocked",
    "one-open": "one runner at a time, the others open to the room",
}
OPTIONAL: Final[Mapping[str, str]] = {
    "depression": "depression", "temperature": "temperature", "barometer": "pressure",
    "lift": "length", "leak": "flow",
}


@dataclass(frozen=True)
class Column:
    """A column of numbers with its unit: SI = scale x cell + offset."""

    name: str
    unit: str
    scale: float
    offset: float


@dataclass(frozen=True)
class BenchMapping:
    """Everything needed to read one bench sheet; SI values.

    A quantity stands in `columns` or, for the whole sheet, in `values`. `flow` columns are repeats
    side by side. `mass_flow` says that they are a mass flow; else `standard` holds the density
    of a standard volume flow, or None for an actual flow at the state of the room.
    """

    path: Path
    file: FileOptions
    runner_column: str
    runner_names: Mapping[str, int]
    flow: tuple[Column, ...]
    mass_flow: bool
    standard: tuple[float, float] | None
    columns: Mapping[str, Column]
    values: Mapping[str, float]
    configuration_column: str | None
    configuration_names: Mapping[str, Configuration]
    configuration: Configuration | None
    leak_subtracted: bool
    repeatability: float

    def wanted(self) -> tuple[str, ...]:
        """Every column used, each once."""
        names = [self.runner_column, *(c.name for c in self.flow)]
        names.extend(c.name for c in self.columns.values())
        if self.configuration_column:
            names.append(self.configuration_column)
        return tuple(dict.fromkeys(names))


def read_bench_mapping(path: str | Path) -> BenchMapping:
    """Read the mapping of a bench sheet; InputError lists every mistake with its line."""
    root = Root(Path(path))
    top = root.top()
    top.text("kind", ("bench",), needed=True)
    file = file_options(top)
    if file.thousands:
        top.problem("file", "thousands", "no mark of thousands in a bench sheet",
                    "write the flows without")
    columns = top.table("columns", needed=True, example="a table [columns]")
    state = top.table("state", needed=True, example="a table [state]")
    runner, names = _runner(columns)
    flow, mass, standard = _flow(columns)
    config_column, config_names = _configuration(columns)
    found = _columns(columns, flow[0].unit if flow else "")
    values = _values(state, found)
    config = None
    leak = False
    floor = None
    if state is not None:
        config = state.text("configuration", tuple(CONFIGURATIONS), needed=config_column is None)
        leak = _leak(state, "leak" in found or "leak" in values)
        floor = state.number("repeatability_percent", 0.01, 20.0)
        state.close()
    if columns is not None:
        columns.close()
    top.close()
    root.check()
    return BenchMapping(
        Path(path), file, runner, names, flow, mass, standard, found, values,
        config_column, config_names,
        next((c for c in ("all-open", "one-blocked", "one-open") if c == config), None),
        leak, (floor if floor is not None else 0.5) / 100.0,
    )


def _runner(columns: Node | None) -> tuple[str, dict[str, int]]:
    node = columns.table("runner", True, '{ column = "runner" }') if columns else None
    if node is None:
        return "", {}
    column = node.text("column", needed=True) or ""
    names: dict[str, int] = {}
    table = node.table("names")
    if table is not None:
        for key in table.keys():  # noqa: SIM118 - Node is no mapping
            value = table.number(key, 1, 16)
            if value is not None:
                names[key.lower()] = int(value)
    node.close()
    return column, names


def _flow(columns: Node | None) -> tuple[tuple[Column, ...], bool, tuple[float, float] | None]:
    """Flow columns, whether they are a mass flow, and (pressure, temperature) of standard flow."""
    node = columns.table("flow", True, '{ columns = ["flow"], unit = "cfm", reading = "actual" }'
                         ) if columns else None
    if node is None:
        return (), False, None
    names = node.texts("columns", needed=True) or ()
    unit = node.text("unit", needed=True, example="cfm, m3/h, g/s, kg/h, lb/min") or ""
    if unit.strip() in ("%", "percent", "pct"):
        node.problem("unit", unit, "a flow", "a percent says neither of what nor of which best "
                     "runner: export the flow itself")
        unit = ""
    kind = _flow_kind(unit)
    scale = unit_scale(node, "unit", unit, kind) if unit else None
    standard = None
    if kind == "volume flow" and unit:
        reading = node.text("reading", ("actual", "standard"), needed=True)
        if reading == "standard":
            pressure = node.quantity("standard_pressure", "pressure", needed=True)
            temperature = node.quantity("standard_temperature", "temperature", needed=True)
            if pressure and temperature:
                standard = (pressure, temperature)
    node.close()
    if scale is None:
        return (), False, None
    return tuple(Column(n, unit, scale[0], scale[1]) for n in names), kind == "mass flow", standard


def _flow_kind(unit: str) -> str:
    from distrib.units import UNITS

    joined = unit.replace(" ", "").lower()
    for name, (_, *others) in UNITS["mass flow"].items():
        if joined in (name.lower(), *(o.lower() for o in others)):
            return "mass flow"
    return "volume flow"


def _configuration(columns: Node | None) -> tuple[str | None, dict[str, Configuration]]:
    node = columns.table("configuration") if columns else None
    if node is None:
        return None, {}
    column = node.text("column", needed=True)
    names: dict[str, Configuration] = {}
    table = node.table("names", needed=True, example='{ "all" = "all-open" }')
    if table is not None:
        for key in table.keys():  # noqa: SIM118 - Node is no mapping
            value = table.text(key, tuple(CONFIGURATIONS))
            if value == "all-open":
                names[key.lower()] = "all-open"
            elif value == "one-blocked":
                names[key.lower()] = "one-blocked"
            elif value == "one-open":
                names[key.lower()] = "one-open"
    node.close()
    return column, names


def _columns(columns: Node | None, flow_unit: str) -> dict[str, Column]:
    """The optional columns; a leak is read in the unit of the flow unless it states its own."""
    out: dict[str, Column] = {}
    if columns is None:
        return out
    for name, kind in OPTIONAL.items():
        node = columns.table(name)
        if node is None:
            continue
        column = node.text("column", needed=True)
        unit = node.text("unit", needed=name != "leak") or (flow_unit if name == "leak" else "")
        real = _flow_kind(unit) if kind == "flow" else kind
        scale = unit_scale(node, "unit", unit, real) if unit else None
        node.close()
        if kind == "flow" and flow_unit and real != _flow_kind(flow_unit):
            node.problem("unit", unit, f"a {_flow_kind(flow_unit)} like the flow ({flow_unit})")
        if scale is not None and scale[2]:
            node.problem("unit", unit, "absolute", "a barometer is absolute")
        if column and scale:
            out[name] = Column(column, unit, scale[0], scale[1])
    return out


def _values(state: Node | None, columns: Mapping[str, Column]) -> dict[str, float]:
    """Constants for the whole sheet; depression, temperature, barometer are needed somewhere."""
    out: dict[str, float] = {}
    if state is None:
        return out
    for name, kind in OPTIONAL.items():
        if name == "leak":
            continue
        needed = name != "lift" and name not in columns
        value = state.quantity(name, kind, needed=needed)
        if value is not None and name in columns:
            state.problem(name, "a column and a value", "one of both")
        elif value is not None:
            out[name] = value
    return out


def _leak(state: Node, has_column: bool) -> bool:
    """True when the flows are already free of leakage (or there was none)."""
    answer = state.text("leak", ("subtracted", "none", "column"), needed=True)
    if answer == "column" and not has_column:
        state.problem("leak", '"column"', "a [columns] leak = { column = ... }")
    if answer in ("subtracted", "none") and has_column:
        state.problem("leak", f'"{answer}"', '"column"', "a leak column is mapped")
    return answer != "column"
