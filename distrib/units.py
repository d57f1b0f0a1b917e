"""Quantities as text to SI numbers and back: "2 7/8 in", "18 psi gauge", "45 degC", "82,5 mm".

Factors come from pint; its registry is built once, when the first quantity is read. What is not
unambiguous is refused with a hint: a number without a unit, a pressure without gauge or absolute,
"1,250 mm", a fraction of anything but inches or feet.
"""

from __future__ import annotations

import difflib
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, Literal

from distrib.errors import InputError, Problem
from distrib.numerals import NumeralError, is_fraction, read_number, split_number

Reference = Literal["gauge", "absolute", "none"]

INCH_OF_WATER_PA: Final = 249.08891
"""Conventional inch of water (1000 kg/m^3, 9.80665 m/s^2), Pa: exact product 0.0254 x 9806.65."""
INCH_OF_MERCURY_PA: Final = 3386.38864
"""Conventional inch of mercury (13595.1 kg/m^3), Pa: product 0.0254 x 13595.1 x 9.80665."""
MM_OF_MERCURY_PA: Final = 133.322387415
"""Conventional millimetre of mercury, Pa: product 0.001 x 13595.1 x 9.80665."""

_PRESSURES: Final = {
    "Pa": ("pascal", "pascal"),
    "hPa": ("hectopascal",),
    "kPa": ("kilopascal",),
    "MPa": ("megapascal",),
    "bar": ("bar",),
    "mbar": ("millibar",),
    "atm": ("atm",),
    "psi": ("psi", "lbf/in2", "lb/in2"),
    "inHg": (f"{INCH_OF_MERCURY_PA} pascal", "inhg", "inchhg", '"hg'),
    "mmHg": (f"{MM_OF_MERCURY_PA} pascal", "mmhg"),
    "inH2O": (f"{INCH_OF_WATER_PA} pascal", "inh2o", "inchh2o", "inwater", "inwg", "inwc", '"h2o'),
    "mmH2O": ("9.80665 pascal", "mmh2o"),
}
_MASS_FLOWS: Final = {
    "g/s": ("gram/second",),
    "kg/s": ("kilogram/second",),
    "kg/h": ("kilogram/hour", "kg/hr"),
    "g/min": ("gram/minute",),
    "lb/min": ("pound/minute", "lbs/min", "lbm/min"),
    "lb/h": ("pound/hour", "lb/hr", "lbs/hr", "lbs/h", "pph"),
    "lb/s": ("pound/second", "lbs/s"),
}
_VOLUME_FLOWS: Final = {
    "cfm": ("foot**3/minute", "ft3/min", "cuft/min", "ft^3/min"),
    "m3/h": ("meter**3/hour", "m^3/h", "m3/hr", "m³/h"),
    "m3/s": ("meter**3/second", "m^3/s", "m³/s"),
    "L/s": ("liter/second",),
    "L/min": ("liter/minute", "lpm"),
    "cc/min": ("milliliter/minute", "cm3/min", "ml/min", "cm³/min"),
}
_LENGTHS: Final = {
    "mm": ("millimeter", "millimeter", "millimetre"),
    "cm": ("centimeter", "centimetre"),
    "m": ("meter", "metre", "meter"),
    "um": ("micrometer", "µm", "μm", "micron"),
    "in": ("inch", "inch", "inches", '"', "″", "in."),
    "ft": ("foot", "foot", "feet", "'"),
}

LONGEST: Final = 100
"""Characters of a quantity."""

UNITS: Final[dict[str, dict[str, tuple[str, ...]]]] = {
    "length": _LENGTHS,
    "area": {
        "mm2": ("millimeter**2", "mm^2", "mm²", "sqmm"),
        "cm2": ("centimeter**2", "cm^2", "cm²", "sqcm"),
        "m2": ("meter**2", "m^2", "m²"),
        "in2": ("inch**2", "in^2", "in²", "sqin"),
    },
    "volume": {
        "L": ("liter", "liter", "litre", "liters", "litres", "dm3"),
        "cc": ("milliliter", "ccm"),
        "cm3": ("milliliter", "cm^3", "cm³", "ml"),
        "m3": ("meter**3", "m^3", "m³"),
        "in3": ("inch**3", "in^3", "in³", "cuin"),
        "cid": ("inch**3", "ci", "cui"),
    },
    "pressure": _PRESSURES,
    "depression": _PRESSURES,
    "stress": {
        "MPa": ("megapascal", "N/mm2", "N/mm^2", "N/mm²"),
        "GPa": ("gigapascal",),
        "kPa": ("kilopascal",),
        "Pa": ("pascal",),
        "psi": ("psi",),
        "ksi": ("1000 psi",),
    },
    "temperature": {
        "degC": ("degC", "C", "°C", "celsius", "℃"),
        "degF": ("degF", "F", "°F", "fahrenheit", "℉"),
        "K": ("kelvin", "kelvin"),
    },
    "mass flow": _MASS_FLOWS,
    "volume flow": _VOLUME_FLOWS,
    "angle": {"deg": ("degree", "°", "degree", "degrees"), "rad": ("radian",)},
    "time": {"ms": ("millisecond",), "us": ("microsecond", "µs"), "s": ("second", "sec")},
    "speed": {"rpm": ("1", "1/min", "rev/min", "r/min")},
    "fraction": {"percent": ("0.01", "%", "pct")},
}
"""Kind -> unit -> (pint expression, other spellings)."""

SI: Final[dict[str, str]] = {
    "length": "meter",
    "area": "meter**2",
    "volume": "meter**3",
    "pressure": "pascal",
    "depression": "pascal",
    "stress": "pascal",
    "temperature": "kelvin",
    "mass flow": "kilogram/second",
    "volume flow": "meter**3/second",
    "angle": "degree",
    "time": "second",
    "speed": "",
    "fraction": "",
}
"""Kind -> unit of the parsed value. Angles stay degrees, speeds revolutions per minute."""

EXAMPLES: Final[dict[str, str]] = {
    "length": '"82.5 mm" or "2 7/8 in"',
    "area": '"56 cm2" or "8.7 in2"',
    "volume": '"2.4 L" or "146 cid"',
    "pressure": '"1.3 bar gauge" or "101.3 kPa absolute"',
    "depression": '"28 inH2O" or "7 kPa"',
    "stress": '"125 MPa" or "18 ksi"',
    "temperature": '"45 degC" or "113 degF"',
    "mass flow": '"250 g/s" or "33 lb/min"',
    "volume flow": '"210 cfm" or "357 m3/h"',
    "injector flow": '"1000 cc/min" or "95 lb/h"',
    "angle": '"45 deg"',
    "time": '"0.95 ms"',
    "speed": '6500 or "6500 rpm"',
    "fraction": '0.5 or "50 percent"',
}

_WORDS: Final[dict[str, tuple[Reference, float]]] = {
    "gauge": ("gauge", 1.0),
    "gage": ("gauge", 1.0),
    "boost": ("gauge", 1.0),
    "vacuum": ("gauge", -1.0),
    "absolute": ("absolute", 1.0),
    "abs": ("absolute", 1.0),
}
_SHORT: Final[dict[str, Reference]] = {
    "psig": "gauge",
    "psia": "absolute",
    "barg": "gauge",
    "bara": "absolute",
    "kpag": "gauge",
    "kpaa": "absolute",
}


class UnitError(InputError):
    """A quantity that cannot be read: what was read, what is allowed, what to try."""

    def __init__(self, read: str, allowed: str, hint: str = "") -> None:
        self.read, self.allowed, self.hint = read, allowed, hint
        super().__init__([Problem("quantity", read, allowed, hint, code="unit")])


@dataclass(frozen=True)
class Quantity:
    """A quantity that was read: `value` in the SI unit of `kind`, gauge pressures relative."""

    value: float
    kind: str
    unit: str
    reference: Reference
    text: str

    def absolute_pa(self, ambient_pa: float) -> float:
        """Absolute pressure, Pa, given the outside pressure; for pressures only."""
        return self.value + (ambient_pa if self.reference == "gauge" else 0.0)


@lru_cache(maxsize=1)
def registry() -> Any:
    """The pint registry, built once on first use."""
    import pint

    return pint.UnitRegistry(cache_folder=None)


@lru_cache(maxsize=256)
def factor(kind: str, unit: str) -> float:
    """SI value of one `unit` of `kind` (not for temperatures); raises KeyError."""
    expression = UNITS[kind][unit][0]
    ureg = registry()
    amount = ureg.parse_expression(expression)
    exact = float(ureg.Quantity(amount).to(SI[kind] or "dimensionless").magnitude)
    return float(f"{exact:.15g}")  # 0.0254, not 0.025399999999999999


def to_si(value: float, kind: str, unit: str) -> float:
    """Convert `value` in `unit` to the SI unit of `kind`; raises KeyError for an unknown unit."""
    if kind == "temperature":
        expression = UNITS[kind][unit][0]
        return float(registry().Quantity(value, expression).to("kelvin").magnitude)
    one = factor(kind, unit)
    inverse = round(1.0 / one) if one < 1.0 else 0
    return value / inverse if inverse and abs(inverse * one - 1.0) < 1e-12 else value * one


def from_si(value: float, kind: str, unit: str) -> float:
    """Convert an SI value of `kind` to `unit`; raises KeyError for an unknown unit."""
    if kind == "temperature":
        expression = UNITS[kind][unit][0]
        return float(registry().Quantity(value, "kelvin").to(expression).magnitude)
    return value / factor(kind, unit)


@lru_cache(maxsize=4096)
def parse(text: str, kind: str) -> Quantity:
    """Read one quantity of `kind`: a key of `UNITS`, or "injector flow" (by mass or volume).

    Raises UnitError with a hint when the text cannot be read in exactly one way. A pressure needs
    the word gauge (or boost, vacuum) or absolute; a depression is a difference and takes neither.
    """
    if len(text) > LONGEST:
        raise UnitError(f"a text of {len(text):,} characters", EXAMPLES[kind])
    number, rest = split_number(text)
    read = f'"{text}"'
    unit_text, reference, sign = _reference(rest) if _is_pressure(kind) else (rest, None, 1.0)
    if not number:
        raise UnitError(read, EXAMPLES[kind], "no number found")
    real_kind, unit = _find_unit(unit_text, kind, read, number)
    if is_fraction(number) and unit not in ("in", "ft"):
        raise UnitError(
            read, EXAMPLES[kind], f"a fraction is read for in and ft only, not for {unit}"
        )
    try:
        value = sign * read_number(number)
    except NumeralError as error:
        raise UnitError(read, EXAMPLES[kind], error.hint.replace("{unit}", rest)) from None
    _check_reference(kind, reference, read, number, unit)
    in_si = to_si(value, real_kind, unit)
    if not math.isfinite(in_si):
        raise UnitError(read, EXAMPLES[kind], "the number is too large")
    return Quantity(in_si, real_kind, unit, reference or "none", text)


def _is_pressure(kind: str) -> bool:
    return kind in ("pressure", "depression")


def _reference(rest: str) -> tuple[str, Reference | None, float]:
    """Split the words gauge, absolute and their kin off the unit."""
    words = rest.replace("(", " ").replace(")", " ").split()
    for position, word in enumerate(words):
        found = _WORDS.get(word.lower())
        if found is not None:
            left = words[:position] + words[position + 1 :]
            return " ".join(left), found[0], found[1]
    joined = "".join(words).lower()
    if joined in _SHORT:
        return "".join(words)[:-1], _SHORT[joined], 1.0
    return rest, None, 1.0


def _check_reference(
    kind: str, reference: Reference | None, read: str, number: str, unit: str
) -> None:
    if kind == "pressure" and reference is None:
        raise UnitError(
            read,
            "a pressure with gauge or absolute",
            f'write "{number} {unit} gauge" (above the outside pressure) '
            f'or "{number} {unit} absolute"',
        )
    if kind == "depression" and reference is not None:
        raise UnitError(
            read,
            EXAMPLES[kind],
            "this is a pressure difference: leave gauge, absolute and vacuum out",
        )


def _find_unit(text: str, kind: str, read: str, number: str) -> tuple[str, str]:
    """Kind and canonical name of a unit; for "injector flow" the kind is that of the unit."""
    kinds = ("volume flow", "mass flow") if kind == "injector flow" else (kind,)
    joined = text.replace(" ", "").replace("deg.", "deg")
    if not joined:
        units = ", ".join(u for k in kinds for u in UNITS[k])
        raise UnitError(read, EXAMPLES[kind], f"a unit is missing: one of {units}")
    for candidate in kinds:
        unit = _spelled(joined, candidate)
        if unit is not None:
            return candidate, unit
    raise UnitError(read, EXAMPLES[kind], _unit_hint(joined, kind, kinds))


@lru_cache(maxsize=512)
def _spelled(joined: str, kind: str) -> str | None:
    """Canonical unit of a spelling: exact first, then without regard to capitals."""
    table = {name: name for name in UNITS[kind]}
    for name, (_, *others) in UNITS[kind].items():
        table.update(dict.fromkeys(others, name))
    if joined in table:
        return table[joined]
    lower = {spelling.lower(): name for spelling, name in table.items() if name != "MPa"}
    return lower.get(joined.lower())


def _unit_hint(joined: str, kind: str, kinds: tuple[str, ...]) -> str:
    for other in UNITS:
        if other not in kinds and _spelled(joined, other) is not None:
            return f"{joined} is a unit of {other}, not of {kind}"
    known = [unit for k in kinds for unit in UNITS[k]]

    def likeness(unit: str) -> float:
        same_length = 0.2 if len(unit) == len(joined) else 0.0
        ratio = difflib.SequenceMatcher(None, joined.lower(), unit.lower()).ratio()
        return ratio + same_length if ratio >= 0.5 else 0.0

    near = max(known, key=likeness)
    if likeness(near) > 0.0:
        return f"unknown unit {joined}; nearest: {near}"
    return f"unknown unit {joined}; known: {', '.join(known)}"


System = Literal["metric", "imperial"]
_DISPLAY: Final[dict[str, dict[str, tuple[str, int]]]] = {
    "length": {"metric": ("mm", 1), "imperial": ("in", 3)},
    "area": {"metric": ("cm2", 2), "imperial": ("in2", 3)},
    "volume": {"metric": ("L", 3), "imperial": ("in3", 1)},
    "pressure": {"metric": ("kPa", 1), "imperial": ("psi", 2)},
    "depression": {"metric": ("kPa", 2), "imperial": ("inH2O", 1)},
    "stress": {"metric": ("MPa", 0), "imperial": ("ksi", 1)},
    "temperature": {"metric": ("degC", 1), "imperial": ("degF", 1)},
    "mass flow": {"metric": ("g/s", 1), "imperial": ("lb/min", 2)},
    "volume flow": {"metric": ("m3/h", 1), "imperial": ("cfm", 1)},
}


def display(value: float, kind: str, system: System = "metric", digits: int | None = None) -> str:
    """Text of an SI value in one unit system: 0.0825, length -> '82.5 mm' or '3.248 in'.

    Pressures are absolute and say so. Raises KeyError for a kind that has no display unit.
    """
    unit, usual = _DISPLAY[kind][system]
    number = f"{from_si(value, kind, unit):.{usual if digits is None else digits}f}"
    return f"{number} {unit} abs" if kind == "pressure" else f"{number} {unit}"


def display_both(value: float, kind: str) -> str:
    """Both unit systems side by side: '82.5 mm (3.248 in)'."""
    return f"{display(value, kind)} ({display(value, kind, 'imperial')})"


def display_gauge(absolute_pa: float, ambient_pa: float, system: System = "metric") -> str:
    """Gauge pressure of an absolute one: '130.0 kPa gauge' or '18.85 psi gauge'."""
    unit, digits = _DISPLAY["pressure"][system]
    return f"{from_si(absolute_pa - ambient_pa, 'pressure', unit):.{digits}f} {unit} gauge"
