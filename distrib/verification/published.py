"""One published check: the number in the source, ours, the tolerance and the reason for it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Kind = Literal["published", "measured", "computed outside", "own three-dimensional computation",
               "closed form", "common practice", "from memory"]

Numbers = float | Sequence[float] | NDArray[np.float64]
"""What a computation may return: one number, several, or an array."""


@dataclass(frozen=True)
class Published:
    """A check against the outside.

    id: unique, dotted. source: publication, library with version, or "closed form". locator: where
    in it, and how it was read. printed: the number(s) in the source, never our own output. rtol,
    atol: allowed difference (their sum at each number); `why` gives the cause and must not be
    empty. compute: ours, same count. topic: for the filter. kind: what sort of evidence.
    """

    id: str
    source: str
    locator: str
    printed: tuple[float, ...]
    why: str
    compute: Callable[[], Numbers]
    topic: str
    kind: Kind
    rtol: float = 0.0
    atol: float = 0.0

    def __post_init__(self) -> None:
        if not self.why.strip():
            raise ValueError(f"{self.id}: a tolerance needs a reason")
        if not (self.rtol > 0.0 or self.atol > 0.0 or self.why.startswith("exact")):
            raise ValueError(f"{self.id}: no tolerance given")
        if not self.printed:
            raise ValueError(f"{self.id}: nothing printed to compare with")


@dataclass(frozen=True)
class Row:
    """Outcome of one check; `worst` is the largest difference over its tolerance (at most 1)."""

    check: Published
    got: tuple[float, ...]
    passed: bool
    worst: float
    reason: str = ""

    @property
    def tolerance(self) -> str:
        """The tolerance in words."""
        parts = [f"{100.0 * self.check.rtol:.3g} %"] if self.check.rtol else []
        parts += [f"{self.check.atol:.3g} abs"] if self.check.atol else []
        return " + ".join(parts) or "exact"


def numbers(value: Numbers) -> tuple[float, ...]:
    """A scalar, sequence or array as a flat tuple of floats."""
    return tuple(float(v) for v in np.asarray(value, dtype=np.float64).ravel())


def run_check(check: Published) -> Row:
    """Compute one check and compare; an exception in it is a failed row that says so."""
    try:
        got = numbers(check.compute())
    except Exception as error:
        return Row(check, (), False, math.inf, f"raised {type(error).__name__}: {error}")
    if len(got) != len(check.printed):
        return Row(check, got, False, math.inf,
                   f"{len(got)} numbers for {len(check.printed)} printed")
    worst = 0.0
    for ours, theirs in zip(got, check.printed, strict=True):
        allowed = check.atol + check.rtol * abs(theirs)
        difference = abs(ours - theirs)
        if not math.isfinite(ours):
            worst = math.inf
        elif allowed > 0.0:
            worst = max(worst, difference / allowed)
        elif difference > 0.0:
            worst = math.inf
    return Row(check, got, worst <= 1.0, worst)
