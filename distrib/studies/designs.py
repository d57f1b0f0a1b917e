"""Designs against each other, and what a design's figures depend on."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from distrib.errors import InputError, Problem
from distrib.results import FloatArray
from distrib.studies.compare import Comparison, Overall, compare_samples
from distrib.studies.plan import Dimension
from distrib.studies.sampled import given, sample, sampler, uncertain_names
from distrib.studies.sampling import Uncertain
from distrib.studies.screening import Effects, Paths, elementary_effects
from distrib.studies.sensitivity import Indices, analyse

if TYPE_CHECKING:
    from distrib.case.schema import Case

FIGURES = ("spread", "lambda of the leanest cylinder")
ENGINE_SAMPLES = 24
"""Draws of the engine model where nobody says how many: a few seconds for a pair of designs."""


def compare_designs(cases: Mapping[str, Case], model: str = "phased", *,
                    rpm: Sequence[float] | None = None, samples: int = 512, seed: int = 1,
                    level: float = 0.9, overall: Overall = "mean", matters_percent: float = 0.0,
                    threads: int = 1, engine_samples: int = ENGINE_SAMPLES,
                    told: Callable[[int], None] | None = None) -> Comparison:
    """Compare cases on the same draws and the same speeds.

    samples: draws of the network models; engine_samples: of the engine model, which solves each (all
    draws of a kind are the same in all designs). told(1) is called after each design.

    rpm: speeds for all, default those of the first case, which the others must then share; a
    bench has one operating point whatever the speeds.
    """
    first = next(iter(cases.values()))
    speeds = tuple(first.conditions.rpm if rpm is None else rpm)
    if rpm is None and model != "bench":
        wrong = [Problem(f"{name}: conditions.rpm", f"{list(c.conditions.rpm)}",
                         f"{list(speeds)} as in the first design", "or give the speeds")
                 for name, c in cases.items() if tuple(c.conditions.rpm) != speeds]
        if wrong:
            raise InputError(wrong)
    count = engine_samples if model == "engine" else samples
    spreads = {}
    for name, case in cases.items():
        spreads[name] = sample(case, model, rpm=speeds, samples=count, seed=seed,
                               threads=threads).spread_percent
        if told is not None:
            told(1)
    return compare_samples(spreads, level=level, overall=overall, matters_percent=matters_percent)


def _figures(case: Case, model: str, speeds: FloatArray, names: Sequence[str], threads: int,
             points: FloatArray) -> FloatArray:
    """Spread (mean over the speeds) and highest lambda of any cylinder and speed, (n, 2)."""
    from distrib.fuelling.lambda_ import lambda_at_equal_fuel

    found = sampler(model)(case, speeds, given(names, points), threads)
    lambdas = lambda_at_equal_fuel(found.air_kg_s, case.fuel.lambda_target,
                                   air_following_fraction=case.fuel.air_following_fraction)
    leanest = np.fmax.reduce(lambdas, axis=(1, 2))
    return np.stack([found.spread_percent.mean(axis=1), leanest], axis=-1)


def sensitivity(case: Case, model: str = "bench", *, rpm: Sequence[float] | None = None,
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


def screen(case: Case, model: str = "bench", *, rpm: Sequence[float] | None = None,
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


def swings(case: Case, model: str = "bench", *, rpm: Sequence[float] | None = None,
           reach: float = 1.0, threads: int = 1) -> tuple[float, tuple[Swing, ...]]:
    """Nominal spread (mean over the speeds) and the swing of each input, widest first.

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
