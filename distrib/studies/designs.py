"""Designs against each other, and what a design's figures depend on."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from distrib.answer import Answer, answers
from distrib.answer.draws import DRAWS
from distrib.errors import NoSolution
from distrib.studies.compare import Comparison, Overall, compare_samples, solved_by_all

if TYPE_CHECKING:
    from distrib.case.schema import Case


def compare_designs(cases: Mapping[str, Case], *, rpm: Sequence[float] | None = None,
                    draws: int = DRAWS, seed: int = 1, level: float = 0.9,
                    overall: Overall = "worst", matters_percent: float = 0.0,
                    told: Callable[[int], None] | None = None) -> Comparison:
    """Compare cases by the engine figure on the same draws and speeds, in the wanted band.

    rpm: speeds for all, by default those where a figure of any of them bends. told: called with the
    number of runs done.
    """
    found = answers(list(cases.values()), rpm=rpm, draws=draws, seed=seed, told=told)
    return compared(dict(zip(cases, found, strict=True)), level=level, overall=overall,
                    matters_percent=matters_percent)


def compared(found: Mapping[str, Answer], *, level: float = 0.9, overall: Overall = "worst",
             matters_percent: float = 0.0, everywhere: bool = False) -> Comparison:
    """Compare answers that stand at the same speeds and draws, at the speeds of the wanted band.

    The band is that of the first case; `everywhere` takes all speeds. Speeds that one of them does
    not solve are left out (`compare.solved_by_all`); NoSolution when none is left. Spreads carry
    the model's error, which designs of one kind of entry share.
    """
    first = next(iter(found.values()))
    solved = solved_by_all([one.drawn_spread_percent for one in found.values()])
    if not solved.any():
        raise NoSolution("no speed at which all designs have a solution and enough draws")
    inside = first.inside() & solved
    points = solved if everywhere or not inside.any() else inside
    return compare_samples({name: one.drawn_spread_percent[:, points]
                            for name, one in found.items()},
                           level=level, overall=overall, matters_percent=matters_percent)
