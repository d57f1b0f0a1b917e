"""Which of the marked dimensions of a case matter at all: before a search, and to explain it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from distrib.results import FloatArray
from distrib.studies.designsearch import CaseObjective, Options
from distrib.studies.matters import band_speeds
from distrib.studies.plan import Dimension, Plan
from distrib.studies.pool import Pool
from distrib.studies.ranges import search_dimensions
from distrib.studies.screening import Effects, Paths, elementary_effects

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


def _figures(case: Case, options: Options, dimensions: tuple[Dimension, ...], plan: Plan,
             told: Callable[[int], None] | None) -> FloatArray:
    """Figures (n, 2) of all points of a plan, on the workers of the options."""
    from distrib.case.change import to_toml

    objective = CaseObjective(to_toml(case), case.path, dimensions, options.model,
                              options.rpm or band_speeds(case), 0, options.seed)
    with Pool(objective, 2, jobs=options.jobs, scheduler=options.scheduler, told=told) as pool:
        return np.concatenate([pool(block) for block in plan.blocks(1024)])
