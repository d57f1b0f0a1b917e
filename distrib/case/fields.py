"""What a field of the case file is: its TOML key, kind of quantity, limits, meaning, example.

A `Spec` stands in the type annotation of a field. Reader, JSON Schema, starter and reference
page are all made from it, so that the format is described in one place only.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ConfigDict


@dataclass(frozen=True)
class Spec:
    """Description of one field of the case file.

    `key` is the TOML key; `kind` a kind of quantity (see `distrib.units.UNITS`) or one of the
    readers of `distrib.case.values`. `low` and `high` bound the SI value, both inclusive.
    `derived` says in words what the value is when the file leaves the field out and the value
    follows from others. `why` is the reason of a default; without one, leaving the field out is
    no assumption.
    """

    key: str
    kind: str
    meaning: str
    example: str = ""
    low: float | None = None
    high: float | None = None
    why: str = ""
    derived: str = ""


class Part(BaseModel):
    """Base of all parts of a case: frozen, no unknown names, no infinities."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


def spec_of(model: type[BaseModel], name: str) -> Spec | None:
    """The `Spec` of field `name` of `model`, or None for a field that no file sets."""
    for item in model.model_fields[name].metadata:
        if isinstance(item, Spec):
            return item
    return None


def specs(model: type[BaseModel]) -> dict[str, Spec]:
    """Attribute name -> `Spec` of all fields that a file can set, in order."""
    found: dict[str, Spec] = {}
    for name in model.model_fields:
        spec = spec_of(model, name)
        if spec is not None:
            found[name] = spec
    return found


def default_of(model: type[BaseModel], name: str) -> Any:
    """Default of field `name`; raises KeyError when the field is required."""
    field = model.model_fields[name]
    if field.is_required():
        raise KeyError(name)
    return field.get_default(call_default_factory=True)
