"""Dotted names of the values of a case: 'plenum.length', 'runner.3.length', 'entry.throttle.bore'.

Lists take a number from 1 or, for plenums and entries, a name: 'plenum.left.length',
'plenum.sections.2.diameter'. 'runners.x' is what all share, 'runner.3.x' is that of cylinder 3.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from distrib.case.draft import Report
from distrib.case.fields import Spec
from distrib.case.readers import read_value
from distrib.case.schema import SearchRange
from distrib.case.tables import Table, tables, top_specs
from distrib.case.values import BadValueError, Context, choices_of, nearest, show, words


@dataclass(frozen=True)
class Parameter:
    """A dotted name taken apart: steps of (table key, selector or None), the key and its Spec."""

    name: str
    steps: tuple[tuple[Table, str | None], ...]
    key: str
    spec: Spec
    choices: tuple[str, ...] = ()


def parameter(name: str) -> Parameter:
    """Take a dotted name apart; raises `BadValueError` with the nearest name."""
    tokens = name.split(".")
    known_top = {spec.key: spec for spec in top_specs().values()}
    if len(tokens) == 1 and tokens[0] in known_top:
        return Parameter(name, (), tokens[0], known_top[tokens[0]])
    table = next((t for t in tables() if t.key == tokens[0]), None)
    if table is None or table.key == "search":
        names = [t.key for t in tables() if t.key != "search"]
        raise BadValueError(
            f'"{name}"',
            f"a name that begins with one of {', '.join(names)}",
            nearest(tokens[0], names),
        )
    steps: list[tuple[Table, str | None]] = []
    rest = tokens[1:]
    while True:
        selector = None
        if len(rest) > 1 and table.repeat != "one" and rest[0] not in table.names():
            selector, rest = rest[0], rest[1:]
        steps.append((table, selector))
        if not rest:
            raise BadValueError(f'"{name}"', f"a value, one of {', '.join(table.names())}")
        child = table.child(rest[0])
        if child is None:
            return _leaf(name, table, steps, rest)
        table, rest = child, rest[1:]


def _leaf(
    name: str, table: Table, steps: list[tuple[Table, str | None]], rest: list[str]
) -> Parameter:
    spec = table.spec(rest[0])
    if spec is None or len(rest) > 1:
        known = table.names()
        raise BadValueError(f'"{name}"', f"one of {', '.join(known)}", nearest(rest[0], known))
    attribute = next((a for a in table.model.model_fields if _key_of(table, a) == rest[0]), None)
    choices = choices_of(table.model, attribute) if attribute and spec.kind == "choice" else ()
    return Parameter(name, tuple(steps), rest[0], spec, choices)


def _key_of(table: Table, attribute: str) -> str | None:
    from distrib.case.fields import spec_of

    found = spec_of(table.model, attribute)
    return found.key if found else None


def search_ranges(tree: dict[str, Any], context: Context, report: Report) -> list[SearchRange]:
    """The `[search]` table: name = { low, high } or { choices = [...] }."""
    raw = tree.get("search")
    if raw is None:
        return []
    if not isinstance(raw, dict):
        report(("search",), show(raw), "a table [search]")
        return []
    found = []
    for name, item in raw.items():
        try:
            found.append(_search_range(name, item, context))
        except BadValueError as bad:
            report(("search", name), bad.read, bad.allowed, bad.hint)
    return found


def _search_range(name: str, item: Any, context: Context) -> SearchRange:
    form = '{ low = "400 mm", high = "480 mm" } or { choices = ["..."] }'
    if not isinstance(item, dict):
        raise BadValueError(show(item), form)
    if "." not in name and not set(item) & {"low", "high", "choices"}:
        inner = next(iter(item), "length")
        raise BadValueError(f'"{name}"', form, f'put the dotted name in quotes: "{name}.{inner}"')
    where = parameter(name)
    context = Context(context.ambient_pa, where.choices)
    for key in item:
        if key not in ("low", "high", "choices"):
            known = ("low", "high", "choices")
            raise BadValueError(f'the key "{key}"', words(known), nearest(key, known))
    if "choices" in item:
        options = item["choices"]
        if not isinstance(options, list) or not options or "low" in item or "high" in item:
            raise BadValueError(show(options), form)
        for option in options:
            read_value(where.spec, option, context)
        return SearchRange(
            parameter=name, kind=where.spec.kind, choices=tuple(str(o) for o in options)
        )
    if "low" not in item or "high" not in item:
        raise BadValueError(f"only {', '.join(item) or 'an empty table'}", form)
    low, high = (read_value(where.spec, item[end], context) for end in ("low", "high"))
    if not isinstance(low, int | float) or isinstance(low, bool):
        raise BadValueError(f'"{name}"', "choices: this value is no quantity")
    if not low < high:
        raise BadValueError(f"{show(item['low'])} to {show(item['high'])}", "low below high")
    return SearchRange(
        parameter=name,
        kind=where.spec.kind,
        low=float(low),
        high=float(high),
        low_text=str(item["low"]),
        high_text=str(item["high"]),
    )
