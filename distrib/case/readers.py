"""Readers of all kinds of fields: each takes what TOML gave and returns the value, or refuses."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from itertools import pairwise
from typing import Any, Final

from distrib.case.design import Given
from distrib.case.fields import Spec
from distrib.case.values import (
    BadValueError,
    Context,
    as_float,
    in_range,
    nearest,
    quantity,
    show,
    span,
    words,
)
from distrib.units import EXAMPLES, UNITS, Quantity, UnitError, parse

MOST_VALUES: Final = 500
"""Values of one list, such as speeds."""


def read_value(spec: Spec, raw: Any, context: Context) -> Any:
    """The value of one field; raises `BadValueError`."""
    return _READERS[spec.kind](spec, raw, context)


def _quantity_reader(kind: str) -> Callable[[Spec, Any, Context], Any]:
    def reader(spec: Spec, raw: Any, context: Context) -> float:
        return quantity(spec, raw, kind, context)

    return reader


def _text(spec: Spec, raw: Any, context: Context) -> str:
    if not isinstance(raw, str):
        raise BadValueError(show(raw), "text in quotes")
    if not raw.strip() and spec.key != "note":
        raise BadValueError("an empty text", f'text, such as "{spec.example}"')
    return raw


def _boolean(spec: Spec, raw: Any, context: Context) -> bool:
    if not isinstance(raw, bool):
        hint = f"write {raw} without quotes" if raw in ("true", "false") else ""
        raise BadValueError(show(raw), "true or false", hint)
    return raw


def _choice(spec: Spec, raw: Any, context: Context) -> str:
    allowed = words(context.choices)
    if not isinstance(raw, str):
        raise BadValueError(show(raw), allowed)
    if raw not in context.choices:
        raise BadValueError(show(raw), allowed, nearest(raw, context.choices))
    return raw


def _integer(spec: Spec, raw: Any, context: Context) -> int:
    if isinstance(raw, bool) or not isinstance(raw, int):
        raise BadValueError(show(raw), f"a whole number, {span(spec)}")
    if spec.low is not None and spec.high is not None and not spec.low <= raw <= spec.high:
        raise BadValueError(show(raw), f"a whole number, {spec.low:.0f} to {spec.high:.0f}")
    return raw


def _number(spec: Spec, raw: Any, context: Context) -> float:
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        hint = "this field has no unit: write the number without quotes"
        raise BadValueError(
            show(raw), f"a number, {span(spec)}", hint if isinstance(raw, str) else ""
        )
    return in_range(spec, as_float(raw), raw)


def _bare_or_text(kind: str) -> Callable[[Spec, Any, Context], float]:
    """Reader of a speed or a fraction: a number, or text with its unit."""

    def reader(spec: Spec, raw: Any, context: Context) -> float:
        if isinstance(raw, bool) or not isinstance(raw, str | int | float):
            raise BadValueError(show(raw), EXAMPLES[kind])
        if isinstance(raw, int | float):
            hint = "a fraction is 0 to 1; for percent write text" if kind == "fraction" else ""
            try:
                return in_range(spec, as_float(raw), raw)
            except BadValueError as fault:
                if hint and 1 < raw <= 100:
                    raise BadValueError(
                        fault.read, fault.allowed, f'write "{raw} percent"'
                    ) from None
                raise
        try:
            return in_range(spec, parse(raw, kind).value, raw)
        except UnitError as error:
            raise BadValueError(error.read, error.allowed, error.hint) from None

    return reader


def _list_of(reader: Callable[[Spec, Any, Context], Any]) -> Callable[[Spec, Any, Context], Any]:
    def read(spec: Spec, raw: Any, context: Context) -> tuple[Any, ...]:
        if not isinstance(raw, list) or not raw:
            raise BadValueError(show(raw), f"a list such as {spec.example}", _list_hint(spec, raw))
        if len(raw) > MOST_VALUES:
            raise BadValueError(f"a list of {len(raw):,}", f"up to {MOST_VALUES} values")
        values = []
        for number, item in enumerate(raw, start=1):
            try:
                values.append(reader(spec, item, context))
            except BadValueError as fault:
                raise BadValueError(
                    f"{fault.read} (item {number})", fault.allowed, fault.hint
                ) from None
        return tuple(values)

    return read


def _list_hint(spec: Spec, raw: Any) -> str:
    """What to write instead of one value or of a text such as "1-3-4-2"."""
    if isinstance(raw, str) and spec.kind == "integers":
        numbers = re.findall(r"[0-9]+", raw)
        return f"write [{', '.join(numbers)}]" if numbers else ""
    if isinstance(raw, str | int | float) and not isinstance(raw, bool):
        return f"write [{show(raw)}]"
    return ""


def _given(spec: Spec, raw: Any, context: Context) -> Given:
    allowed = f"a number, {span(spec)}, or {{ value = {spec.example}, sigma = 0.1 }}"
    table = raw if isinstance(raw, dict) else {"value": raw}
    unknown = [key for key in table if key not in ("value", "sigma")]
    if unknown:
        raise BadValueError(
            f'the key "{unknown[0]}"', allowed, nearest(unknown[0], ("value", "sigma"))
        )
    for item in table.values():
        if isinstance(item, bool) or not isinstance(item, int | float):
            raise BadValueError(show(item), allowed)
    if "value" not in table:
        raise BadValueError("no value", allowed)
    sigma = None if table.get("sigma") is None else as_float(table["sigma"])
    if sigma is not None and not 0 <= sigma < math.inf:
        raise BadValueError(f"sigma {sigma}", "a standard deviation of 0 or more")
    value = in_range(spec, as_float(table["value"]), table["value"])
    return Given(value=value, sigma=sigma)


def _pairs(spec: Spec, raw: Any, context: Context) -> tuple[tuple[float, float], ...]:
    """Pairs of lift over diameter and coefficient; one number holds at every lift."""
    if not isinstance(raw, list):
        return ((0.0, _number(spec, raw, context)),)
    at = Spec(spec.key, "number", spec.meaning, spec.example, 0.0, 1.0)
    pairs = _pair_list(spec, raw, "[[0.05, 0.70], [0.25, 0.62]]")
    found = tuple((_number(at, a, context), _number(spec, b, context)) for a, b in pairs)
    _rising(found, raw, "lift over diameter")
    return found


def _lift_table(spec: Spec, raw: Any, context: Context) -> tuple[tuple[float, float], ...]:
    angle = Spec(spec.key, "angle", spec.meaning, spec.example, 0, 500)
    lift = Spec(spec.key, "length", spec.meaning, spec.example, 0, 0.03)
    pairs = _pair_list(spec, raw, spec.example)
    found = tuple(
        (quantity(angle, a, "angle", context), quantity(lift, b, "length", context))
        for a, b in pairs
    )
    _rising(found, raw, "angle")
    if found[0][1] != 0.0 or found[-1][1] != 0.0:
        raise BadValueError(show(raw), "a table that begins and ends at zero lift")
    return found


def _dead_time(spec: Spec, raw: Any, context: Context) -> tuple[tuple[float, float], ...]:
    """Pairs of supply voltage and time; one time holds at 14 V."""
    if not isinstance(raw, list):
        return ((14.0, quantity(spec, raw, "time", context)),)
    volts = Spec(spec.key, "number", spec.meaning, spec.example, 5, 20)
    pairs = _pair_list(spec, raw, spec.example)
    found = tuple(
        (_number(volts, a, context), quantity(spec, b, "time", context)) for a, b in pairs
    )
    _rising(found, raw, "voltage")
    return found


def _pair_list(spec: Spec, raw: Any, example: str) -> list[tuple[Any, Any]]:
    good = isinstance(raw, list) and raw and all(isinstance(p, list) and len(p) == 2 for p in raw)
    if not good:
        raise BadValueError(show(raw), f"pairs such as {example}")
    if len(raw) > MOST_VALUES:
        raise BadValueError(f"a list of {len(raw):,}", f"up to {MOST_VALUES} pairs")
    return [(p[0], p[1]) for p in raw]


def _rising(pairs: tuple[tuple[float, float], ...], raw: Any, what: str) -> None:
    if any(b[0] <= a[0] for a, b in pairwise(pairs)):
        raise BadValueError(show(raw), f"pairs with rising {what}")


def _injector_flow(spec: Spec, raw: Any, context: Context) -> Quantity:
    """A flow by mass (kg/s) or by volume (m^3/s); the kind says which."""
    if not isinstance(raw, str):
        quantity(spec, raw, "injector flow", context)
    try:
        found = parse(raw, "injector flow")
    except UnitError as error:
        raise BadValueError(error.read, error.allowed, error.hint) from None
    per_unit = 1.0 if found.kind == "mass flow" else 740.0  # kg/m^3, only for the range check
    in_range(spec, found.value * per_unit, raw)
    return found


_READERS: Final[dict[str, Callable[[Spec, Any, Context], Any]]] = {
    **{kind: _quantity_reader(kind) for kind in UNITS if kind not in ("speed", "fraction")},
    "absolute pressure": _quantity_reader("pressure"),
    "text": _text,
    "texts": _list_of(_text),
    "boolean": _boolean,
    "choice": _choice,
    "integer": _integer,
    "integers": _list_of(_integer),
    "number": _number,
    "fraction": _bare_or_text("fraction"),
    "speeds": _list_of(_bare_or_text("speed")),
    "lengths": _list_of(_quantity_reader("length")),
    "angles": _list_of(_quantity_reader("angle")),
    "loss": _given,
    "injector flow": _injector_flow,
    "pairs": _pairs,
    "lift table": _lift_table,
    "dead time": _dead_time,
}
