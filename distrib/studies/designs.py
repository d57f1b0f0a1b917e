"""Designs against each other, and what a design's figures depend on."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from distrib.answer import Answer, answers
from distrib.answer.draws import DRAWS
from distrib.errors import NoSolution
from distrib.results import FloatArray
from distrib.studies.compare import Comparison, Overall, compare_samples, solved_by_all
from distrib.studies.plan import Dimension
from distrib.studies.sampled import given, sampler, uncertain_names
from distrib.studies.sampling import Uncertain
from distrib.studies.screening import Effects, Paths, elementary_effects
from distrib.studies.sensitivity import Indices, analyse

if TYPE_CHECKING:
    from distrib.case.schema import Case

FIGURES = ("spread", "lambda of the leanest cylinder")


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


def _figures(case: Case, model: str, speeds: FloatArray, names: Sequence[str], threads: int,
             points: FloatArray) -> FloatArray:
    """Largest spread and highest lambda of any cylinder and speed, (n, 2)."""
    from distrib.fuelling.lambda_ import lambda_at_equal_fuel

    found = sampler(model)(case, speeds, given(names, points), threads)
    lambdas = lambda_at_equal_fuel(found.air_kg_s, case.fuel.lambda_target,
                                   air_following_fraction=case.fuel.air_following_fraction)
    leanest = np.fmax.reduce(lambdas, axis=(1, 2))
    return np.stack([found.spread_percent.max(axis=1), leanest], axis=-1)


def sensitivity(case: Case, model: str = "engine", *, rpm: Sequence[float] | None = None,
                base: int = 256, seed: int = 1, level: float = 0.95, threads: int = 1) -> Indices:
    """Variance-based indices of spread and leanest lambda to laws and tolerances of a case.

    Costs base (k + 2) draws at each speed, k being the number of uncertain names. `base` should
    be a power of two. For an expensive model see `screen`.
    """
    names = uncertain_names(case, model)
    speeds = np.asarray(case.conditions.rpm if rpm is None else rpm, dtype=np.float64)
    return analyse(lambda points: _figures(case, model, speeds, names, threads, points),
                   [Uncertain(name, 0.0, 1.0) for name in names], FIGURES, base=base, seed=seed,
                   level=level)


def screen(case: Case, model: str = "engine", *, rpm: Sequence[float] | None = None,
           paths: int = 10, reach: float = 2.0, seed: int = 1, threads: int = 1) -> Effects:
    """Elementary effects of the same inputs, from -`reach` to +`reach` standard deviations.

    Costs paths (k + 1) draws at each speed.
    """
    names = uncertain_names(case, model)
    speeds = np.asarray(case.conditions.rpm if rpm is None else rpm, dtype=np.float64)
    plan = Paths(tuple(Dimension(name, bounds=(-reach, reach)) for name in names), paths, seed)
    points = np.concatenate(list(plan.blocks(4096)))
    return elementary_effects(plan, FIGURES, _figures(case, model, speeds, names, threads, points))


@dataclass(frozen=True)
class Swing:
    """Spread in percent when one input alone is a number of standard deviations low or high."""

    name: str
    spread_low_percent: float
    spread_high_percent: float


def swings(case: Case, model: str = "engine", *, rpm: Sequence[float] | None = None,
           reach: float = 1.0, threads: int = 1) -> tuple[float, tuple[Swing, ...]]:
    """Nominal spread (the largest over the speeds) and the swing of each input, widest first.

    The cheapest look: 2 k + 1 draws, one input at a time, blind to what inputs do together.
    """
    names = uncertain_names(case, model)
    speeds = np.asarray(case.conditions.rpm if rpm is None else rpm, dtype=np.float64)
    k = len(names)
    points = np.concatenate([np.zeros((1, k)), -reach * np.eye(k), reach * np.eye(k)])
    spread = _figures(case, model, speeds, names, threads, points)[:, 0]
    out = [Swing(name, float(spread[1 + i]), float(spread[1 + k + i]))
           for i, name in enumerate(names)]
    out.sort(key=lambda s: -abs(s.spread_high_percent - s.spread_low_percent))
    return float(spread[0]), tuple(out)
