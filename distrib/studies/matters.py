"""What matters most to a design: laws, making, engine and charge, dimensions, one at a time.

The cheapest look there is: every input alone goes low and high while all others stay as designed.
What inputs do together stays unseen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from distrib.answer.speeds import wanted_band
from distrib.build.draws import Draws
from distrib.errors import InputError, NoSolution
from distrib.results import FloatArray
from distrib.studies.names import plain_name
from distrib.studies.ranges import typed_value
from distrib.studies.sampled import Sampled, given, sampler, uncertain_names

if TYPE_CHECKING:
    from distrib.case.notes import SearchRange
    from distrib.case.schema import Case

Group = Literal["law", "made", "engine", "dimension"]
HEADS: Final[dict[str, Group]] = {"law": "law", "given": "law", "made": "made"}
"""Group of a drawn name by its first word; all else is engine, charge and pipe before the entry."""
USUAL: Final = ("plenum.diameter", "plenum.width", "plenum.height", "plenum.length",
                "runners.diameter", "runners.length", "runners.mouth_radius", "entry.diameter")
"""Dimensions that are tried where a case marks none for a search; those it does not give drop out.
"""
PART: Final = 0.1
"""How far such a dimension is moved each way, as a part of itself."""


@dataclass(frozen=True)
class Effect:
    """What one input does alone: spread (percent) and lambda of the leanest cylinder, both ways.

    `change` says in words what low and high are. NaN: no solution, or no such design.
    """

    name: str
    group: Group
    change: str
    spread_low_percent: float
    spread_high_percent: float
    lambda_low: float
    lambda_high: float

    def reach_percent(self, base_percent: float) -> float:
        """How far the spread moves in all, the design as it is included; 0 where unknown."""
        ends = (self.spread_low_percent, base_percent, self.spread_high_percent)
        return float(np.ptp(ends)) if np.isfinite(ends).all() else 0.0


@dataclass(frozen=True)
class Matters:
    """The design as it is, and the effects of each group, widest first."""

    model: str
    spread_percent: float
    leanest_lambda: float
    effects: tuple[Effect, ...]

    def of(self, group: Group) -> tuple[Effect, ...]:
        """The effects of one group, widest first."""
        return tuple(e for e in self.effects if e.group == group)


def what_matters(case: Case, model: str = "engine", *, rpm: Sequence[float] | None = None,
                 reach: float = 2.0, threads: int = 2) -> Matters:
    """Effects of laws and tolerances at -`reach` and +`reach` standard deviations, and of
    dimensions over their marked ranges (or 10 % each way where the case marks none).

    The spread is the largest over the speeds rpm, by default `band_speeds`; the bench has none.
    Costs two draws an uncertain input and two designs a dimension, at every speed. Raises
    NoSolution where the design itself has none.
    """
    speeds = np.array(band_speeds(case) if rpm is None else rpm, dtype=np.float64)
    names = uncertain_names(case, model)
    k = len(names)
    points = np.concatenate([np.zeros((1, k)), -reach * np.eye(k), reach * np.eye(k)])
    base = sampler(model)(case, speeds, Draws(), threads)
    spread, leanest = figures_of(case, sampler(model)(case, speeds, given(names, points), threads))
    if not np.isfinite(spread[0]):
        raise NoSolution(f"the {model} model gives no solution for the design itself")
    # the drawn design in its middle has what the nominal one leaves out; effects count from there
    shift = [figures_of(case, base)[i][0] - middle[0] for i, middle in enumerate((spread, leanest))]
    spread, leanest = np.maximum(spread + shift[0], 0.0), leanest + shift[1]
    change = f"-{reach:g} / +{reach:g} standard deviations"
    effects = [Effect(plain_name(name), HEADS.get(name.partition(".")[0], "engine"), change,
                      float(spread[1 + i]), float(spread[1 + k + i]), float(leanest[1 + i]),
                      float(leanest[1 + k + i])) for i, name in enumerate(names)]
    effects += _dimensions(case, model, speeds, threads)
    middle = float(spread[0])
    effects.sort(key=lambda e: -e.reach_percent(middle))
    return Matters(model, middle, float(leanest[0]), tuple(effects))


def band_speeds(case: Case, count: int = 6) -> tuple[float, ...]:
    """Evenly spaced speeds of the wanted band of a case."""
    low, high = wanted_band(case)
    return tuple(float(n) for n in np.linspace(low, high, count if high > low else 1))


def figures_of(case: Case, found: Sampled) -> tuple[FloatArray, FloatArray]:
    """Largest spread in percent and highest lambda of any cylinder over the speeds, (S,) each."""
    from distrib.fuelling.lambda_ import lambda_at_equal_fuel

    lambdas = lambda_at_equal_fuel(found.air_kg_s, case.fuel.lambda_target,
                                   air_following_fraction=case.fuel.air_following_fraction)
    leanest = np.fmax.reduce(lambdas, axis=(-2, -1))
    return found.spread_percent.max(axis=-1), np.asarray(leanest)


def _dimensions(case: Case, model: str, speed: FloatArray, threads: int) -> list[Effect]:
    """Effects of the marked dimensions, or of the usual ones; those without any effect found
    at both ends drop out."""
    wanted = [_marked(case, r) for r in case.search] or usual_ranges(case)
    out = []
    for name, change, ends in wanted:
        found = [figures_with(case, {name: value}, model, speed, threads) for value in ends]
        found = [f for f in found if np.isfinite(f[0])]
        if len(found) > 1:
            low, high = ((found[0], found[-1]) if len(ends) == 2
                         else (min(found), max(found)))
            out.append(Effect(plain_name(name), "dimension", change, low[0], high[0], low[1],
                              high[1]))
    return out


def _marked(case: Case, found: SearchRange) -> tuple[str, str, tuple[Any, ...]]:
    """Name, words and ends of a marked range; every choice of a list."""
    now = typed_value(case, found.parameter)
    present = "" if now is None else f", now {now}"
    if found.choices:
        return found.parameter, f"{', '.join(found.choices)}{present}", found.choices
    return (found.parameter, f"{found.low_text} / {found.high_text}{present}",
            (found.low, found.high))


def usual_ranges(case: Case) -> list[tuple[str, str, tuple[Any, ...]]]:
    """The usual dimensions that the case gives, `PART` of themselves lower and higher."""
    from distrib.case.parameters import parameter
    from distrib.case.readers import read_value
    from distrib.case.values import BadValueError, Context

    out: list[tuple[str, str, tuple[Any, ...]]] = []
    context = Context(case.conditions.ambient_pressure_pa)
    for name in USUAL:
        try:
            typed = typed_value(case, name)
            value = float(read_value(parameter(name).spec, typed, context)) if typed else 0.0
        except (BadValueError, TypeError, ValueError):
            continue
        if value > 0.0:
            ends = (value * (1.0 - PART), value * (1.0 + PART))
            out.append((name, f"{-100 * PART:g} / +{100 * PART:g} %, now {typed}", ends))
    return out


def figures_with(case: Case, changes: Mapping[str, Any], model: str, speed: FloatArray,
                 threads: int = 1) -> tuple[float, float]:
    """Spread in percent and leanest lambda of the case with these values changed, at these
    speeds; NaN where the case refuses them or has no solution then."""
    from distrib.case.change import with_changes

    try:
        changed = with_changes(case, changes)
        found = sampler(model)(changed, speed, Draws(), threads)
        spread, leanest = figures_of(changed, found)
    except (InputError, NoSolution):
        return float("nan"), float("nan")
    return float(spread[0]), float(leanest[0])
