"""Which of the marked dimensions of a case matter at all: before a search, and to explain it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from distrib.errors import InputError, Problem
from distrib.results import FloatArray
from distrib.studies.designsearch import CaseObjective, Options
from distrib.studies.matters import band_speeds
from distrib.studies.plan import Dimension, Plan
from distrib.studies.pool import Pool
from distrib.studies.ranges import search_dimensions
from distrib.studies.sampling import Uncertain
from distrib.studies.screening import Effects, Paths, elementary_effects
from distrib.studies.sensitivity import Indices, Saltelli, sobol_indices

if TYPE_CHECKING:
    from distrib.case.schema import Case

FIGURES = ("spread", "air")
"""Mean spread over the speeds in percent, mean total air in kg/s, of the nominal design."""


def dimension_effects(case: Case, options: Options, *, paths: int = 8,
                      told: Callable[[int], None] | None = None) -> Effects:
    """Elementary effects of every marked dimension over its range, choices included.

    Costs paths (k + 1) nominal designs. See `screening`; choices are taken in the order given.
    """
    plan = Paths(search_dimensions(case), paths, options.seed)
    return elementary_effects(plan, FIGURES, _figures(case, options, plan.dimensions, plan, told))


def dimension_indices(case: Case, options: Options, *, base: int = 64, level: float = 0.95,
                      told: Callable[[int], None] | None = None) -> Indices:
    """Variance-based indices of the marked dimensions, each even over its range.

    Costs base (k + 2) nominal designs; `base` should be a power of two. Raises InputError for a
    dimension that is a choice (screen it instead).
    """
    dimensions = search_dimensions(case)
    wrong = [Problem(f"[search] {d.name}", "choices", "ranges for variance-based indices",
                     "use the screening") for d in dimensions if d.bounds is None]
    if wrong:
        raise InputError(wrong)
    ranges = [(d.name, d.bounds) for d in dimensions if d.bounds is not None]
    plan = Saltelli(tuple(Uncertain(name, (low + high) / 2.0, (high - low) / 2.0, "uniform")
                          for name, (low, high) in ranges), base, options.seed)
    values = _figures(case, options, dimensions, plan, told)
    return sobol_indices([name for name, _ in ranges], FIGURES, values, level=level,
                         seed=options.seed)


def _figures(case: Case, options: Options, dimensions: tuple[Dimension, ...], plan: Plan,
             told: Callable[[int], None] | None) -> FloatArray:
    """Figures (n, 2) of all points of a plan, on the workers of the options."""
    from distrib.case.change import to_toml

    objective = CaseObjective(to_toml(case), case.path, dimensions, options.model,
                              options.rpm or band_speeds(case), 0, options.seed)
    with Pool(objective, 2, jobs=options.jobs, scheduler=options.scheduler, told=told) as pool:
        return np.concatenate([pool(block) for block in plan.blocks(1024)])
