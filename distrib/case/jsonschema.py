"""JSON Schema of the case file, made from the same fields that the reader uses.

The schema is for editors: it knows keys, kinds and words. Units, sizes and what must fit together
are checked by the reader only.
"""

from __future__ import annotations

import json
from typing import Any, Final

from distrib.case.fields import Spec, specs
from distrib.case.schema import Limits, Section
from distrib.case.tables import Table, tables, top_specs
from distrib.case.values import choices_of, span
from distrib.units import EXAMPLES

_NUMBER: Final = r"[+\-−]?[0-9.,½¼¾⅛⅜⅝⅞⅓⅔][0-9.,/⁄ \-½¼¾⅛⅜⅝⅞⅓⅔]*([eE][+-]?[0-9]+)?"
_QUANTITY: Final = rf"^\s*{_NUMBER}\s*[^0-9\s].*$"
_DIMENSIONAL: Final = {*EXAMPLES, "absolute pressure"} - {"speed", "fraction"}


def json_schema() -> dict[str, Any]:
    """The schema as a dictionary (JSON Schema, draft 2020-12)."""
    properties = {spec.key: _field(None, "", spec) for spec in top_specs().values()}
    required = [spec.key for attribute, spec in top_specs().items() if _top_required(attribute)]
    for table in tables():
        properties[table.key] = _search() if table.key == "search" else _entry(table)
        required += [table.key] if table.required else []
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "distrib case",
        "description": "One intake design and its conditions.",
        "type": "object",
        "additionalProperties": False,
        "properties": properties,
        "required": required,
    }


def schema_text() -> str:
    """The schema as it is published in `distrib/case/case.schema.json`."""
    return json.dumps(json_schema(), indent=1, ensure_ascii=False) + "\n"


def _top_required(attribute: str) -> bool:
    from distrib.case.schema import Case

    return Case.model_fields[attribute].is_required()


def _entry(table: Table) -> dict[str, Any]:
    one = _object(table)
    many = {"type": "array", "items": one, "minItems": 1, "description": table.meaning}
    if table.repeat == "one":
        return one
    return many if table.repeat == "list" else {"anyOf": [one, many]}


def _object(table: Table) -> dict[str, Any]:
    properties: dict[str, Any] = {}
    required: list[str] = []
    shared = table.key in ("runners", "runner")
    for attribute, spec in specs(table.model).items():
        properties[spec.key] = _field(table, attribute, spec)
        needed = table.model.model_fields[attribute].is_required() and not spec.derived
        if needed and not shared:
            required.append(spec.key)
    for spec in table.extra:
        properties[spec.key] = _field(None, "", spec)
    for child in table.children:
        properties[child.key] = _entry(child)
    if table.key == "runner":
        required = ["cylinder"]
    if table.key == "runners":
        del properties["cylinder"]
    if table.model is Section:
        required = ["at"]
    return {
        "type": "object",
        "description": table.meaning,
        "additionalProperties": False,
        "properties": properties,
        **({"required": required} if required else {}),
    }


def _field(table: Table | None, attribute: str, spec: Spec) -> dict[str, Any]:
    model = table.model if table is not None else None
    words: tuple[str, ...] = ()
    if spec.kind == "choice":
        from distrib.case.schema import Case

        owner = model or Case
        name = attribute or next(a for a, s in top_specs().items() if s.key == spec.key)
        words = choices_of(owner, name)
    value = _value(spec, words)
    if model is Limits:
        reason = {
            "type": "object",
            "additionalProperties": False,
            "properties": {"value": _value(spec, ()), "reason": {"type": "string"}},
            "required": ["value", "reason"],
        }
        value = {"anyOf": [value, reason]}
    text = spec.meaning
    if spec.derived:
        text += f" (left out: {spec.derived})"
    if span(spec) and spec.kind not in ("integers",):
        text += f"; {span(spec)}"
    return {"description": text, **value}


def _value(spec: Spec, words: tuple[str, ...]) -> dict[str, Any]:
    kind = spec.kind
    quantity = {"type": "string", "pattern": _QUANTITY}
    pair = {"type": "array", "minItems": 2, "maxItems": 2}
    pairs = {"type": "array", "items": pair, "minItems": 1}
    plain: dict[str, dict[str, Any]] = {
        "text": {"type": "string"},
        "texts": {"type": "array", "items": {"type": "string"}, "minItems": 1},
        "boolean": {"type": "boolean"},
        "choice": {"enum": list(words)},
        "integer": {"type": "integer", **_bounds(spec)},
        "integers": {"type": "array", "items": {"type": "integer", **_bounds(spec)}, "minItems": 1},
        "number": {"type": "number", **_bounds(spec)},
        "fraction": {"anyOf": [{"type": "number", **_bounds(spec)}, quantity]},
        "speeds": {
            "type": "array",
            "items": {"anyOf": [{"type": "number", **_bounds(spec)}, quantity]},
            "minItems": 1,
        },
        "lengths": {"type": "array", "items": quantity, "minItems": 1},
        "angles": {"type": "array", "items": quantity, "minItems": 1},
        "loss": {
            "anyOf": [
                {"type": "number", **_bounds(spec)},
                {
                    "type": "object",
                    "additionalProperties": False,
                    "properties": {
                        "value": {"type": "number", **_bounds(spec)},
                        "sigma": {"type": "number", "minimum": 0},
                    },
                    "required": ["value"],
                },
            ]
        },
        "pairs": {"anyOf": [{"type": "number", **_bounds(spec)}, pairs]},
        "lift table": pairs,
        "dead time": {"anyOf": [quantity, pairs]},
    }
    if kind in _DIMENSIONAL:
        return {**quantity, "examples": [spec.example]}
    return plain[kind]


def _bounds(spec: Spec) -> dict[str, float]:
    if spec.low is None or spec.high is None:
        return {}
    return {"minimum": spec.low, "maximum": spec.high}


def _search() -> dict[str, Any]:
    end = {"anyOf": [{"type": "string"}, {"type": "number"}]}
    return {
        "type": "object",
        "description": "ranges that `improve` may search, by dotted name",
        "additionalProperties": {
            "type": "object",
            "additionalProperties": False,
            "properties": {
                "low": end,
                "high": end,
                "choices": {"type": "array", "items": end, "minItems": 1},
            },
        },
    }
