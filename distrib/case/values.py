"""One value of the case file: from what TOML gave to an SI value, or why it cannot be taken."""

from __future__ import annotations

import difflib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, get_args, get_origin

from pydantic import BaseModel

from distrib.case.fields import Spec
from distrib.constants import P_STANDARD_PA
from distrib.units import EXAMPLES, UNITS, UnitError, from_si, parse

ABSOLUTE_PRESSURE_EXAMPLE: Final = '"101.3 kPa absolute" or "14.69 psi absolute"'


class BadValueError(Exception):
    """A value that cannot be taken: what was read, what is allowed, what to try."""

    def __init__(self, read: str, allowed: str, hint: str = "") -> None:
        self.read, self.allowed, self.hint = read, allowed, hint
        super().__init__(f"{read}; {allowed}; {hint}")


@dataclass(frozen=True)
class Context:
    """What the reading of a value may need beside the value: outside pressure and choices."""

    ambient_pa: float = P_STANDARD_PA
    choices: tuple[str, ...] = ()


def as_float(raw: float) -> float:
    """A number of the file as a float; a whole number beyond its range counts as infinite."""
    try:
        return float(raw)
    except OverflowError:
        return math.inf if raw > 0 else -math.inf


def show(raw: Any) -> str:
    """How a TOML value is named in a message."""
    if isinstance(raw, bool):
        return "true" if raw else "false"
    if isinstance(raw, str):
        return f'"{raw}"' if len(raw) <= 60 else f'"{raw[:57]}..."'
    if isinstance(raw, int | float):
        return f"{raw}" if abs(raw) < 1e30 else f"{as_float(raw):.3g}"
    if isinstance(raw, list):
        return "an empty list" if not raw else f"a list of {len(raw)}"
    if isinstance(raw, dict):
        return "a table"
    return f"a {type(raw).__name__}"


def nearest(word: str, known: Sequence[str]) -> str:
    """Hint with the nearest known word, or an empty text when none is near."""
    lower = {k.lower(): k for k in known}
    found = difflib.get_close_matches(word.lower(), list(lower), n=1, cutoff=0.55)
    if not found:
        found = [k for k in lower if word.lower().startswith(k) or k.startswith(word.lower())][:1]
    return f'nearest: "{lower[found[0]]}"' if found else ""


def choices_of(model: type[BaseModel], attribute: str) -> tuple[str, ...]:
    """The words a Literal field allows; empty for other fields."""
    annotation = model.model_fields[attribute].annotation
    if get_origin(annotation) is Literal:
        return tuple(get_args(annotation))
    return tuple(
        word for arm in get_args(annotation) if get_origin(arm) is Literal for word in get_args(arm)
    )


def words(items: Sequence[str]) -> str:
    """'"a", "b" or "c"'."""
    quoted = [f'"{item}"' for item in items]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"


def span(spec: Spec) -> str:
    """The allowed range in words, in a unit that reads well; empty when there is none."""
    if spec.low is None or spec.high is None:
        return ""
    low, high = limits_text(spec)
    return f"{low} to {high}"


def limits_text(spec: Spec) -> tuple[str, str]:
    """Both limits of a field as text; raises TypeError when the field has none."""
    if spec.low is None or spec.high is None:
        raise TypeError(spec.key)
    unit, word = _SPAN_UNITS.get(spec.kind, ("", ""))
    kind = _BASE_KIND.get(spec.kind, spec.kind)
    if spec.kind == "injector flow":
        unit, kind = "g/min", "mass flow"
    tail = f" {unit}{word}" if unit else ""
    values = (
        from_si(v, kind, unit) if unit and kind in UNITS else v for v in (spec.low, spec.high)
    )
    low, high = (f"{v:.4g}{tail}" if abs(v) < 1e4 else f"{v:.0f}{tail}" for v in values)
    return low, high


_SPAN_UNITS: Final = {
    "length": ("mm", ""),
    "lengths": ("mm", ""),
    "area": ("cm2", ""),
    "volume": ("L", ""),
    "pressure": ("kPa", " absolute"),
    "absolute pressure": ("kPa", " absolute"),
    "depression": ("kPa", ""),
    "stress": ("MPa", ""),
    "temperature": ("degC", ""),
    "mass flow": ("g/s", ""),
    "volume flow": ("cfm", ""),
    "angle": ("deg", ""),
    "angles": ("deg", ""),
    "speeds": ("rpm", ""),
    "dead time": ("ms", ""),
}
_BASE_KIND: Final = {
    "lengths": "length",
    "absolute pressure": "pressure",
    "angles": "angle",
    "speeds": "speed",
    "dead time": "time",
}


def in_range(spec: Spec, value: float, raw: Any) -> float:
    """`value` when it lies within the limits of the field; raises `BadValueError`."""
    if not math.isfinite(value):
        raise BadValueError(show(raw), span(spec) or "a finite number")
    if spec.low is not None and spec.high is not None:
        slack = 1e-12 * max(abs(spec.low), abs(spec.high))
        if not spec.low - slack <= value <= spec.high + slack:
            raise BadValueError(show(raw), span(spec), _range_hint(spec, value, raw))
    return value


def _range_hint(spec: Spec, value: float, raw: Any) -> str:
    if spec.kind in ("pressure", "absolute pressure"):
        return f"that is {value / 1000:.4g} kPa absolute"
    if spec.kind == "length" and isinstance(raw, str) and "mm" not in raw:
        return f"that is {value * 1000:.4g} mm"
    if spec.key == "lambda_target" and value > 5:
        return "this is lambda (1 is stoichiometric), not an air-fuel ratio"
    return ""


def quantity(spec: Spec, raw: Any, kind: str, context: Context) -> float:
    """A quantity with a unit, SI, within its limits; raises `BadValueError`."""
    example = ABSOLUTE_PRESSURE_EXAMPLE if spec.kind == "absolute pressure" else EXAMPLES[kind]
    if isinstance(raw, bool) or not isinstance(raw, str | int | float):
        raise BadValueError(show(raw), f"text such as {example}")
    if isinstance(raw, int | float):
        raise BadValueError(
            f"{show(raw)} without a unit", f"text such as {example}", _unit_try(raw, kind)
        )
    try:
        found = parse(raw, kind)
    except UnitError as error:
        allowed = example if spec.kind == "absolute pressure" else error.allowed
        hint = error.hint
        if spec.kind == "absolute pressure" and "gauge" in hint:
            hint = "the outside pressure is absolute: add the word absolute"
        raise BadValueError(error.read, allowed, hint) from None
    if spec.kind == "absolute pressure" and found.reference == "gauge":
        raise BadValueError(
            show(raw), example, "the outside pressure is absolute, it has no gauge value"
        )
    value = found.absolute_pa(context.ambient_pa) if kind == "pressure" else found.value
    return in_range(spec, value, raw)


def _unit_try(raw: float, kind: str) -> str:
    units = {
        "length": ("mm", "in"),
        "area": ("cm2", "in2"),
        "volume": ("L", "cid"),
        "pressure": ("bar gauge", "bar absolute"),
        "depression": ("inH2O", "kPa"),
        "stress": ("MPa", "ksi"),
        "temperature": ("degC", "degF"),
        "mass flow": ("g/s", "lb/min"),
        "volume flow": ("cfm", "m3/h"),
        "injector flow": ("cc/min", "lb/h"),
        "angle": ("deg",),
        "time": ("ms",),
    }[kind]
    return "write " + " or ".join(f'"{show(raw)} {unit}"' for unit in units)
