"""Change a case, write it, and name it by its content."""

from __future__ import annotations

import copy
import hashlib
import json
from collections.abc import Mapping
from typing import Any, Final

from distrib.case.parameters import Parameter, parameter
from distrib.case.read import read_tree
from distrib.case.schema import Case
from distrib.case.toml_text import dumps
from distrib.case.values import BadValueError, nearest
from distrib.errors import InputError, Problem

_SI_UNITS: Final = {
    "length": "m",
    "lengths": "m",
    "area": "m2",
    "volume": "m3",
    "pressure": "Pa absolute",
    "absolute pressure": "Pa absolute",
    "depression": "Pa",
    "stress": "Pa",
    "temperature": "K",
    "mass flow": "kg/s",
    "volume flow": "m3/s",
    "angle": "deg",
    "angles": "deg",
    "time": "s",
    "dead time": "s",
}
_NOT_PHYSICS: Final = {
    "title",
    "note",
    "invented",
    "path",
    "sha256",
    "assumed",
    "tree",
    "search",
    "review",
}


def with_changes(case: Case, changes: Mapping[str, Any]) -> Case:
    """A new case with some values replaced, read and checked again as a whole.

    `changes` maps dotted names (see `distrib.case.parameters`) to what the file would hold, such as
    {"plenum.length": "430 mm", "runner.3.length": "310 mm"}; a bare float for a quantity is SI here
    (metres, absolute pascal, kelvin, degrees of angle). None removes a value, so that its default
    holds again. Raises InputError with every problem.
    """
    tree = copy.deepcopy(dict(case.tree))
    problems = []
    for name, value in changes.items():
        try:
            _apply(tree, parameter(name), value)
        except BadValueError as bad:
            problems.append(Problem(name, bad.read, bad.allowed, bad.hint, case.path))
    if problems:
        raise InputError(problems)
    return read_tree(tree, case.path)


def to_toml(case: Case) -> str:
    """The case as TOML text, values as they were typed; reading it gives an equal case."""
    return dumps(case.tree)


def case_hash(case: Case) -> str:
    """SHA-256 over all that bears on results: equal designs have equal names, notes aside."""
    data = case.model_dump(mode="json", exclude=set(_NOT_PHYSICS))
    if not case.fuel.stages:  # a case without sets keeps the name it had before there were any
        del data["fuel"]["stages"]
    return hashlib.sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()


def value_text(kind: str, value: Any) -> Any:
    """What the file holds for a value: floats of dimensional kinds get their SI unit."""
    if isinstance(value, list | tuple):
        return [value_text(kind, item) for item in value]
    unit = _SI_UNITS.get(kind)
    if unit is None or isinstance(value, bool | str | Mapping) or value is None:
        return value
    return f"{float(value)!r} {unit}"


def _apply(tree: dict[str, Any], where: Parameter, value: Any) -> None:
    """Set one value in the tree, making tables on the way."""
    node = tree
    for table, selector in where.steps:
        found = node.get(table.key)
        if table.repeat == "one":
            node = node.setdefault(table.key, {})
        elif table.key == "runner":
            node = _own_runner(node, selector)
        elif isinstance(found, dict):
            node = found
            if selector not in (None, "1", found.get("name", "main")):
                raise BadValueError(f'"{where.name}"', f"there is only one {table.key}")
        else:
            node = _selected(found or [], table.key, selector, where.name)
    if value is None:
        node.pop(where.key, None)
    else:
        node[where.key] = value_text(where.spec.kind, value)


def _own_runner(tree: dict[str, Any], selector: str | None) -> dict[str, Any]:
    """The `[[runner]]` of a cylinder, made when there is none yet."""
    if selector is None or not selector.isdigit():
        raise BadValueError(f'"{selector or "runner"}"', 'a cylinder, such as "runner.3.length"')
    items: list[dict[str, Any]] = tree.setdefault("runner", [])
    for item in items:
        if item.get("cylinder") == int(selector):
            return item
    items.append({"cylinder": int(selector)})
    return items[-1]


def _selected(
    items: list[dict[str, Any]], key: str, selector: str | None, name: str
) -> dict[str, Any]:
    """One of a list of tables, by name or by number from 1."""
    names = [str(item.get("name", i + 1)) for i, item in enumerate(items)]
    if selector is None and len(items) == 1:
        return items[0]
    for i, item in enumerate(items):
        if selector is not None and selector in (names[i], str(i + 1)):
            return item
    allowed = f"{key} with one of {', '.join(names)}" if names else f"a {key} that the case has"
    raise BadValueError(f'"{name}"', allowed, nearest(selector or "", names))
