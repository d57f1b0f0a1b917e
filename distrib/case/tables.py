"""The tables of the case file and how they nest: one list for reader, schema, starter and page."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from pydantic import BaseModel

from distrib.case import schema
from distrib.case.fields import Spec, specs

Repeat = Literal["one", "list", "either"]


@dataclass(frozen=True)
class Table:
    """One table: TOML key, attribute of the parent, model, and how often it may appear.

    `repeat`: "one" is `[key]`, "list" is `[[key]]`, "either" takes both. `extra` holds keys that
    no attribute carries under the same name; `special` names tables that the reader treats apart.
    """

    key: str
    attribute: str
    model: type[BaseModel]
    meaning: str
    repeat: Repeat = "one"
    required: bool = False
    children: tuple[Table, ...] = ()
    extra: tuple[Spec, ...] = field(default=())

    def names(self) -> list[str]:
        """All TOML keys of this table, in order."""
        own = [spec.key for spec in specs(self.model).values()]
        return own + [spec.key for spec in self.extra] + [child.key for child in self.children]

    def spec(self, key: str) -> Spec | None:
        """The `Spec` of a key, or None."""
        for spec in (*specs(self.model).values(), *self.extra):
            if spec.key == key:
                return spec
        return None

    def child(self, key: str) -> Table | None:
        """The nested table of that key, or None."""
        return next((child for child in self.children if child.key == key), None)


SECTION_KEYS = (
    Spec("diameter", "length", "inside diameter (shape round)", "82 mm", 0.02, 0.5),
    Spec("width", "length", "inside width (shape rectangle)", "80 mm", 0.01, 0.6),
    Spec("height", "length", "inside height (shape rectangle)", "75 mm", 0.01, 0.6),
    Spec("area", "area", "inside area (shape area)", "55 cm2", 3e-4, 0.3),
    Spec("perimeter", "length", "wetted perimeter (shape area)", "28 cm", 0.03, 3),
)
SECTION_AT = Spec("at", "length", "axial position, from the cylinder-1 end", "0 mm", 0, 5)
STATIONS = Spec(
    "stations",
    "lengths",
    "axial positions of the mouths of cylinders 1, 2, 3 and so on",
    '["45 mm", "133 mm", "221 mm", "309 mm", "397 mm"]',
    0,
    5,
)

_BENDS = Table("bends", "bends", schema.Bend, "bends of the pipe, in the order of the flow", "list")
_SECTIONS = Table(
    "sections",
    "sections",
    schema.Section,
    "cross-sections of a plenum that is not the same all along, x rising",
    "list",
    extra=(SECTION_AT, *SECTION_KEYS),
)


_TABLES: tuple[Table, ...] = (
    Table(
        "engine",
        "engine",
        schema.Engine,
        "the engine; every cylinder is alike",
        required=True,
        children=(
            Table("intake_valve", "intake_valve", schema.Valve, "intake valves of a cylinder"),
            Table("exhaust_valve", "exhaust_valve", schema.Valve, "exhaust valves"),
            Table("port_flow", "port_flow", schema.PortFlow, "bench flow of one port"),
        ),
    ),
    Table("conditions", "conditions", schema.Conditions, "operating conditions", required=True),
    Table(
        "plenum",
        "plenums",
        schema.Plenum,
        "a plenum; x runs from the cylinder-1 end",
        "either",
        required=True,
        children=(_SECTIONS,),
        extra=SECTION_KEYS,
    ),
    Table(
        "entry",
        "entries",
        schema.Entry,
        "where air enters a plenum",
        "either",
        required=True,
        children=(
            _BENDS,
            Table("supply", "supply", schema.Supply, "pipe and cooler before the entry"),
            Table("diffuser", "diffuser", schema.Diffuser, "widening into the plenum"),
            Table("throttle", "throttle", schema.Throttle, "butterfly throttle"),
            Table("baffle", "baffle", schema.Baffle, "perforated plate"),
        ),
    ),
    Table(
        "runners",
        "shared",
        schema.Runner,
        "what all runners share",
        children=(_BENDS,),
        extra=(STATIONS,),
    ),
    Table(
        "runner",
        "own",
        schema.Runner,
        "one runner: overrides what is shared",
        "list",
        children=(_BENDS,),
    ),
    Table(
        "balance_tube",
        "balance_tubes",
        schema.BalanceTube,
        "a tube between two plenums",
        "either",
    ),
    Table("bench", "bench", schema.Bench, "how the steady rig is set"),
    Table(
        "fuel",
        "fuel",
        schema.Fuel,
        "fuel and target mixture",
        required=True,
        children=(
            Table("injector", "injector", schema.Injector, "one injector"),
            Table(
                "stage",
                "stages",
                schema.Stage,
                "sets of injectors that share the fuel",
                "list",
                children=(
                    Table("injector", "injector", schema.Injector, "one injector of the set"),
                ),
            ),
        ),
    ),
    Table("limits", "limits", schema.Limits, "limits; a number, or { value, reason }"),
    Table("losses", "losses", schema.LossChoice, "choice of loss laws by name"),
    Table("uncertainty", "uncertainty", schema.Uncertainty, "how the band is sampled"),
    Table("structure", "structure", schema.Structure, "what the plenum is made of"),
    Table(
        "drawing",
        "drawing",
        schema.Drawing,
        "what else the drawing shows",
        children=(Table("service", "services", schema.Service, "a service port", "list"),),
    ),
    Table(
        "review", "review", schema.ReviewLimit, "a limit of a review rule, set otherwise", "list"
    ),
    Table("search", "search", schema.SearchRange, "ranges that `improve` may search"),
)


def tables() -> tuple[Table, ...]:
    """The top-level tables of the case file, in the order of the starter."""
    return _TABLES


def top_specs() -> dict[str, Spec]:
    """Attribute -> `Spec` of the keys that stand before the first table."""
    return specs(schema.Case)
