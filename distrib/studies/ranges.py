"""What may be searched in a case: the ranges of its `[search]`, where it is now, the envelope."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from distrib.errors import InputError, Problem
from distrib.numerals import NumeralError, read_number, split_number
from distrib.results import FloatArray
from distrib.studies.objective import Limit
from distrib.studies.plan import Dimension

if TYPE_CHECKING:
    from distrib.case.notes import SearchRange
    from distrib.case.schema import Case

FINENESS = 500
"""A range is searched in steps of about this part of it, in round numbers of its own unit."""


def search_dimensions(case: Case) -> tuple[Dimension, ...]:
    """The dimensions of a case's `[search]`, each in the unit it is typed in.

    Raises InputError when the case marks none.
    """
    if not case.search:
        raise InputError([Problem("[search]", "no ranges in this case",
                                  '"plenum.length" = { low = "380 mm", high = "480 mm" }',
                                  "mark what may be changed", case.path)])
    return tuple(_dimension(r) for r in case.search)


def _dimension(found: SearchRange) -> Dimension:
    if found.choices:
        return Dimension(found.parameter, choices=found.choices)
    low, high = _number(found.low_text), _number(found.high_text)
    if low is None or high is None or low[1] != high[1]:
        if found.low is None or found.high is None:
            raise InputError([Problem(f"[search] {found.parameter}", "no range", "low and high")])
        return Dimension(found.parameter, bounds=(found.low, found.high),
                         decimals=_decimals(found.high - found.low))
    return Dimension(found.parameter, low[1], bounds=(low[0], high[0]),
                     decimals=_decimals(high[0] - low[0]))


def _number(text: str) -> tuple[float, str] | None:
    """Number and unit of a quantity as typed; None when it is not that simple."""
    number, unit = split_number(text)
    try:
        return read_number(number), unit
    except NumeralError:
        return None


def _decimals(span: float) -> int:
    return int(np.ceil(-np.log10(span / FINENESS)))


def present_design(case: Case, dimensions: Sequence[Dimension]) -> FloatArray:
    """Coordinates of the case as it is, (k,); a number may lie outside its range.

    Raises InputError for a dimension that the case does not give (nothing can be compared to it).
    """
    out = np.zeros(len(dimensions))
    problems = []
    for j, (d, found) in enumerate(zip(dimensions, case.search, strict=True)):
        typed = typed_value(case, d.name)
        if typed is None:
            problems.append(Problem(f"[search] {d.name}", "no present value in the case",
                                    "a value in the case, to compare with"))
        elif d.choices:
            if str(typed) in d.choices:
                out[j] = float(d.choices.index(str(typed)))
            else:
                problems.append(Problem(f"[search] {d.name}", f'"{typed}" at present',
                                        "choices that hold the present one"))
        else:
            out[j] = _coordinate(case, d, found, typed)
    if problems:
        raise InputError(problems)
    return out


def _coordinate(case: Case, dimension: Dimension, found: SearchRange, typed: Any) -> float:
    """A typed value in the unit of its dimension: the two ends are known in both."""
    from distrib.case.parameters import parameter
    from distrib.case.readers import read_value
    from distrib.case.values import Context

    assert dimension.bounds is not None
    assert found.low is not None
    assert found.high is not None
    context = Context(case.conditions.ambient_pressure_pa)
    si = float(read_value(parameter(dimension.name).spec, typed, context))
    low, high = dimension.bounds
    value = low + (high - low) * (si - found.low) / (found.high - found.low)
    return float(np.round(value, 9 - int(np.floor(np.log10(max(abs(value), 1e-9))))))


def typed_value(case: Case, name: str) -> Any:
    """What the case file holds for a dotted name, None when it is not given there.

    The value that all runners share stands for a runner that does not have its own.
    """
    from distrib.case.parameters import parameter

    where = parameter(name)
    node: Any = dict(case.tree)
    for table, selector in where.steps:
        node = _step(node, table.key, selector)
        if node is None:
            break
    value = node.get(where.key) if isinstance(node, Mapping) else None
    if value is None and name.startswith("runner."):
        shared = dict(case.tree).get("runners", {})
        return shared.get(where.key)
    return value


def _step(node: Any, key: str, selector: str | None) -> Any:
    """One step down the tree: a table, or one of a list of tables by name, number or cylinder."""
    found = node.get(key) if isinstance(node, Mapping) else None
    if not isinstance(found, list):
        return found
    if selector is None:
        return found[0] if len(found) == 1 else None
    for i, item in enumerate(found):
        if selector in (str(item.get("cylinder", item.get("name", i + 1))), str(i + 1)
                        if "cylinder" not in item else ""):
            return item
    return None


_ENVELOPE = 'a sum of searched dimensions, such as "plenum.length + runners.length <= 700 mm"'
_TERM = re.compile(r"\s*([+-]?)\s*(?:(\d+\.?\d*|\.\d+)\s*\*?\s*)?([A-Za-z_][\w.]*)\s*")


def envelope_limit(text: str, dimensions: Sequence[Dimension]) -> Limit:
    """Read "plenum.length + 2 runners.length <= 900 mm": a sum of searched dimensions.

    Coefficients stand before the name; all dimensions of one limit must have the limit's unit.
    Raises InputError.
    """
    where = f"--envelope {text!r}"
    left, sign, right = text.partition("<=")
    number = _number(right.strip()) if sign else None
    if number is None:
        raise InputError([Problem(where, "no limit", _ENVELOPE)])
    names = {d.name: j for j, d in enumerate(dimensions)}
    coefficients = np.zeros(len(dimensions))
    at = 0
    while at < len(left.rstrip()):
        term = _TERM.match(left, at)
        if term is None or term[3] not in names or (at > 0 and not term[1]):
            raise InputError([Problem(where, f'"{left[at:].strip()}"', _ENVELOPE,
                                      f"searched: {', '.join(names)}")])
        unit = dimensions[names[term[3]]].unit
        if unit != number[1]:
            raise InputError([Problem(where, f"the unit {number[1]!r}",
                                      f"{unit!r}, as {term[3]} is searched")])
        coefficients[names[term[3]]] += float(f"{term[1]}{term[2] or 1}")
        at = term.end()
    return Limit(text.strip(), coefficients, number[0])
