"""The case as Python reads it: frozen, SI, pressures absolute pascal, angles in degrees.

TOML keys carry no unit (`bore = "82.5 mm"`), attributes do (`bore_m`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field

from distrib.case.conditions import Bench, Conditions, Fuel, Injector, Stage
from distrib.case.design import BalanceTube, Bend, Given, Plenum, Runner, Section
from distrib.case.drawing import Drawing, ReviewLimit, Service, Structure
from distrib.case.engine import Engine, PortFlow, Valve
from distrib.case.entry import Baffle, Diffuser, Entry, Supply, Throttle
from distrib.case.fields import Part, Spec
from distrib.case.notes import Limits, LossChoice, SearchRange, Uncertainty

__all__ = [
    "Assumption",
    "Baffle",
    "BalanceTube",
    "Bench",
    "Bend",
    "Case",
    "Conditions",
    "Diffuser",
    "Drawing",
    "Engine",
    "Entry",
    "Fuel",
    "Given",
    "Injector",
    "Limits",
    "LossChoice",
    "Plenum",
    "PortFlow",
    "ReviewLimit",
    "Runner",
    "SearchRange",
    "Section",
    "Service",
    "Stage",
    "Structure",
    "Supply",
    "Throttle",
    "Uncertainty",
    "Valve",
]


class Assumption(Part):
    """One value that was assumed rather than given: TOML place, value as text, why."""

    field: str
    value: str
    why: str


class Case(Part):
    """One design and its conditions, as read and checked.

    `tree` is the file as typed (what `tomllib` returned); change a case by
    `distrib.case.change.with_changes` only, which keeps both in step.
    """

    title: Annotated[
        str, Spec("title", "text", "one line that names the design", "Inline five, side entry")
    ]
    note: Annotated[str, Spec("note", "text", "anything a reader should know", "")] = ""
    invented: Annotated[
        bool, Spec("invented", "boolean", "true when the design is made up", "true")
    ] = False
    cylinder_1_end: Annotated[
        Literal["front", "rear"],
        Spec("cylinder_1_end", "choice", "end of the engine that cylinder 1 is at", "front"),
    ]
    view: Annotated[
        str, Spec("view", "text", "from where the drawing is seen", "from the intake side")
    ]
    use: Annotated[
        Literal["road", "competition"],
        Spec("use", "choice", "where the engine runs", "competition"),
    ]
    engine: Engine
    conditions: Conditions
    plenums: tuple[Plenum, ...]
    entries: tuple[Entry, ...]
    runners: tuple[Runner, ...]
    balance_tubes: tuple[BalanceTube, ...] = ()
    bench: Bench
    fuel: Fuel
    limits: Limits = Limits()
    losses: LossChoice = LossChoice()
    uncertainty: Uncertainty = Uncertainty()
    structure: Structure | None = None
    drawing: Drawing | None = None
    review: tuple[ReviewLimit, ...] = ()
    search: tuple[SearchRange, ...] = ()
    path: str = ""
    sha256: str = ""
    assumed: tuple[Assumption, ...] = ()
    tree: Mapping[str, Any] = Field(default_factory=dict, repr=False)

    def plenum(self, name: str) -> Plenum:
        """The plenum of that name; raises KeyError."""
        for item in self.plenums:
            if item.name == name:
                return item
        raise KeyError(name)

    def runner(self, cylinder: int) -> Runner:
        """The runner of that cylinder; raises KeyError."""
        for item in self.runners:
            if item.cylinder == cylinder:
                return item
        raise KeyError(cylinder)
