"""Plans: which points a study visits, in order, never all in memory at once.

A plan has named dimensions and yields its points block by block as an array (n, k). A choice
between texts stands in that array as the number of the choice; `Dimension.value` turns a column
entry back into what the case reads ("430 mm", "bell", 2000).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any, Protocol

import numpy as np

from distrib.errors import InputError, Problem
from distrib.results import FloatArray

MAX_LEVELS = 1_000_000
"""Most levels of one dimension that are read from a range with a step; a typing error otherwise."""

_NUMBER = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")


@dataclass(frozen=True)
class Dimension:
    """One parameter of a study, by its dotted name in the case.

    Exactly one of `levels` (numbers), `choices` (texts) and `bounds` (low, high) is given. `unit`
    is the unit of the numbers as the case reads it, "" when there is none. Numbers of a range are
    rounded to `decimals`, so that what is evaluated can be made and written down.
    """

    name: str
    unit: str = ""
    levels: tuple[float, ...] = ()
    choices: tuple[str, ...] = ()
    bounds: tuple[float, float] | None = None
    decimals: int | None = None

    def __post_init__(self) -> None:
        given = bool(self.levels) + bool(self.choices) + (self.bounds is not None)
        if given != 1:
            raise InputError([Problem(self.name, "no values, or values of two kinds",
                                      "levels, choices or a range")])

    @property
    def count(self) -> int:
        """Number of levels or choices; 0 for a range."""
        return len(self.levels) or len(self.choices)

    @property
    def column(self) -> str:
        """Name of the table column: the dotted name with the unit behind."""
        return f"{self.name}_{re.sub(r'[^0-9A-Za-z]+', '_', self.unit)}" if self.unit else self.name

    def coordinate(self, level: int) -> float:
        """What stands in a point array for level number `level`."""
        return self.levels[level] if self.levels else float(level)

    def value(self, coordinate: float) -> str | float:
        """What the case reads for one entry of a point array."""
        if self.choices:
            return self.choices[int(coordinate)]
        number = float(coordinate)
        if self.unit:
            return f"{number!r} {self.unit}"
        return int(number) if self.levels and number.is_integer() else number

    def scaled(self, unit: FloatArray) -> FloatArray:
        """Map numbers of the unit interval onto this dimension (levels share it evenly)."""
        if self.bounds is not None:
            low, high = self.bounds
            value = low + (high - low) * unit
            return value if self.decimals is None else np.clip(
                np.round(value, self.decimals), low, high)
        number = np.minimum((unit * self.count).astype(np.int64), self.count - 1)
        return np.asarray(self.levels)[number] if self.levels else number.astype(np.float64)

    def as_dict(self) -> dict[str, Any]:
        """Plain form for identities and tables."""
        return {"name": self.name, "unit": self.unit, "levels": list(self.levels),
                "choices": list(self.choices), "bounds": list(self.bounds or ())}


class Plan(Protocol):
    """What a study visits."""

    @property
    def dimensions(self) -> tuple[Dimension, ...]: ...

    @property
    def count(self) -> int:
        """Number of points."""
        ...

    def blocks(self, size: int) -> Iterator[FloatArray]:
        """All points in order as arrays (size, k), the last one shorter; always the same."""
        ...

    def identity(self) -> dict[str, Any]:
        """Plain form: two plans with the same identity visit the same points."""
        ...


@dataclass(frozen=True)
class Grid:
    """Every combination of the levels; the last dimension runs fastest."""

    dimensions: tuple[Dimension, ...]

    def __post_init__(self) -> None:
        bad = [Problem(d.name, "a range without steps", "levels for a grid, e.g. 300:500:50 mm",
                       "or draw a sample with --sample N") for d in self.dimensions if not d.count]
        if bad:
            raise InputError(bad)

    @property
    def count(self) -> int:
        total = 1
        for dimension in self.dimensions:
            total *= dimension.count
        return total

    def blocks(self, size: int) -> Iterator[FloatArray]:
        shape = [d.count for d in self.dimensions]
        tables = [np.array([d.coordinate(i) for i in range(d.count)]) for d in self.dimensions]
        for start in range(0, self.count, size):
            index = np.arange(start, min(start + size, self.count))
            digits = np.unravel_index(index, shape) if shape else ()
            yield np.stack(
                [table[digit] for table, digit in zip(tables, digits, strict=True)], axis=-1
            ) if shape else np.zeros((index.size, 0))

    def identity(self) -> dict[str, Any]:
        return {"kind": "grid", "dimensions": [d.as_dict() for d in self.dimensions]}


@dataclass(frozen=True)
class Points:
    """A given list of points, (n, k) coordinates; the array is kept in memory."""

    dimensions: tuple[Dimension, ...]
    points: tuple[tuple[float, ...], ...]

    @property
    def count(self) -> int:
        return len(self.points)

    def blocks(self, size: int) -> Iterator[FloatArray]:
        for start in range(0, self.count, size):
            yield np.array(self.points[start:start + size], dtype=np.float64).reshape(
                -1, len(self.dimensions))

    def identity(self) -> dict[str, Any]:
        return {"kind": "points", "dimensions": [d.as_dict() for d in self.dimensions],
                "points": [list(p) for p in self.points]}


def parse_vary(text: str) -> Dimension:
    """Read one `--vary` text.

    `name=2000:7000:500` steps from the first to the second (the last is kept when a step meets
    it), `name=300:500 mm` is a range for samples, `name=3,5,8 deg` lists numbers, and
    `name=bell,sharp` lists texts. A unit stands behind the last number, or behind each.

    Raises InputError with what was read and the forms that are allowed.
    """
    name, equals, body = text.partition("=")
    name = name.strip()
    if not equals or not name or not body.strip():
        raise _vary_problem(text, "no name=values")
    if ":" in body:
        return _parse_range(text, name, [part.strip() for part in body.split(":")])
    parts = [part.strip() for part in body.split(",")]
    if any(not part for part in parts):
        raise _vary_problem(text, "an empty value")
    if all(_NUMBER.match(part) for part in parts):
        numbers, unit = _numbers(text, parts)
        levels = tuple(float(n) for n in numbers)
        if len(set(levels)) != len(levels):
            raise _vary_problem(text, "the same value twice")
        return Dimension(name, unit, levels=levels)
    return Dimension(name, choices=tuple(parts))


def _parse_range(text: str, name: str, parts: Sequence[str]) -> Dimension:
    if len(parts) not in (2, 3):
        raise _vary_problem(text, f"{len(parts)} numbers between colons")
    numbers, unit = _numbers(text, parts)
    low, high = numbers[0], numbers[1]
    if high <= low:
        raise _vary_problem(text, "an end that is not above the start")
    if len(numbers) == 2:
        return Dimension(name, unit, bounds=(float(low), float(high)))
    step = numbers[2]
    if step <= 0:
        raise _vary_problem(text, "a step that is not positive")
    count = int((high - low) // step) + 1
    if count > MAX_LEVELS:
        raise _vary_problem(text, f"{count} levels")
    return Dimension(name, unit, levels=tuple(float(low + step * i) for i in range(count)))


def _numbers(text: str, parts: Sequence[str]) -> tuple[list[Decimal], str]:
    """Decimal numbers (exact steps) and the one unit they share."""
    numbers: list[Decimal] = []
    units: set[str] = set()
    for part in parts:
        match = _NUMBER.match(part)
        if match is None:
            raise _vary_problem(text, f"{part!r}, which is not a number")
        try:
            numbers.append(Decimal(match[1]))
        except InvalidOperation as error:
            raise _vary_problem(text, f"{part!r}") from error
        if match[2]:
            units.add(match[2])
    if len(units) > 1:
        raise _vary_problem(text, "different units " + ", ".join(sorted(units)))
    return numbers, units.pop() if units else ""


def _vary_problem(text: str, read: str) -> InputError:
    return InputError([Problem(f"--vary {text!r}", read,
                               "name=start:end:step, name=low:high (with --sample), "
                               "name=a,b,c; a unit behind the last number")])


@dataclass(frozen=True)
class Repeated:
    """Each point of `outer` at each level of `inner`, which runs fastest (the speeds, usually)."""

    outer: Plan
    inner: Dimension

    @property
    def dimensions(self) -> tuple[Dimension, ...]:
        """Those of the outer plan, then the inner one."""
        return (*self.outer.dimensions, self.inner)

    @property
    def count(self) -> int:
        """Number of points."""
        return self.outer.count * self.inner.count

    def blocks(self, size: int) -> Iterator[FloatArray]:
        """All points in order, (size, k) at a time."""
        m = self.inner.count
        levels = np.array([self.inner.coordinate(i) for i in range(m)])
        held = np.zeros((0, len(self.dimensions)))
        for block in self.outer.blocks(max(1, -(-size // m))):
            new = np.hstack([np.repeat(block, m, axis=0), np.tile(levels, block.shape[0])[:, None]])
            held = np.concatenate([held, new])
            while held.shape[0] >= size:
                yield held[:size]
                held = held[size:]
        if held.shape[0]:
            yield held

    def identity(self) -> dict[str, Any]:
        """Plain form."""
        return {"kind": "repeated", "outer": self.outer.identity(), "inner": self.inner.as_dict()}
