"""What the figures of a design rest on, inputs together: variance-based indices of everything
uncertain, and a screening of the dimensions.

Loss laws and tolerances have a scatter of their own, so each has its part of the variance
(`sensitivity`: Saltelli, Jansen). A dimension is chosen, not scattered: what it does over its range
is told by elementary effects (`screening`: Morris; Campolongo and others), which need few designs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from distrib.errors import InputError
from distrib.studies.designs import FIGURES, sensitivity
from distrib.studies.matters import figures_with, usual_ranges
from distrib.studies.names import plain_name
from distrib.studies.plan import Dimension
from distrib.studies.ranges import search_dimensions
from distrib.studies.screening import Effects, Paths, elementary_effects
from distrib.studies.sensitivity import Indices

if TYPE_CHECKING:
    from distrib.case.schema import Case

BASE: Final = 128
"""Base samples of the indices: (k + 2) times as many draws, of the bench model in one batch."""
PATHS: Final = 4
"""Paths of the screening: (k + 1) times as many designs."""
BENT: Final = 0.5
"""Scatter of an effect as a part of its size from which it is called bent or joint."""


@dataclass(frozen=True)
class Influences:
    """Indices of laws and tolerances, effects of dimensions, both on spread (percent) and on
    lambda of the leanest cylinder (`designs.FIGURES`).

    `ranges` says in words how far each dimension goes; `dimensions` is None where too few designs
    of the ranges have a solution, and `why_none` then says why.
    """

    model: str
    uncertain: Indices
    dimensions: Effects | None
    ranges: tuple[str, ...]
    why_none: str = ""


def influences(case: Case, model: str = "bench", *, rpm: float | None = None, base: int = BASE,
               paths: int = PATHS, seed: int = 1, threads: int = 1) -> Influences:
    """Influence of every uncertain input and of every dimension of a case at one speed.

    Dimensions are those of its `[search]`, else the usual ones (`matters.USUAL`) 10 % each way.
    rpm: default the highest of the case; the bench model has none.
    """
    speed = max(case.conditions.rpm) if rpm is None else rpm
    uncertain = sensitivity(case, model, rpm=[speed], base=base, seed=seed, threads=threads)
    dimensions, words = _dimensions(case)
    effects, why = None, ""
    if dimensions:
        plan = Paths(dimensions, paths, seed)
        points = np.concatenate(list(plan.blocks(4096)))
        at = np.array([speed])
        values = np.array([
            figures_with(case, {d.name: d.value(x) for d, x in zip(dimensions, point, strict=True)},
                         model, at) for point in points])
        try:
            effects = elementary_effects(plan, FIGURES, values)
        except InputError as error:
            why = str(error)
    return Influences(model, uncertain, effects, words, why)


def _dimensions(case: Case) -> tuple[tuple[Dimension, ...], tuple[str, ...]]:
    """The marked dimensions, or the usual ones, and their ranges in words."""
    if case.search:
        found = search_dimensions(case)
        return found, tuple(_range_words(d) for d in found)
    usual = usual_ranges(case)
    return (tuple(Dimension(name, bounds=ends) for name, _, ends in usual),
            tuple(words for _, words, _ in usual))


def _range_words(dimension: Dimension) -> str:
    if dimension.bounds is None:
        return ", ".join(dimension.choices)
    low, high = dimension.bounds
    return f"{low:g} to {high:g} {dimension.unit}".strip()


def effects_in_words(effects: Effects, ranges: tuple[str, ...], most: int = 3) -> tuple[str, ...]:
    """What the widest dimensions do to the spread, one sentence each."""
    out = []
    for i in np.argsort(-effects.size[:, 0], kind="stable")[:most]:
        size, error, mean = (float(a[i, 0]) for a in (effects.size, effects.error, effects.mean))
        sense: Any = "more even when larger" if mean < 0.0 else "more even when smaller"
        if abs(mean) < BENT * size:
            sense = "either way, as the others stand"
        lean = float(effects.size[i, 1])
        out.append(f"{plain_name(effects.inputs[i])} ({ranges[i]}) moves the spread by {size:.1f} "
                   f"points (+/- {error:.1f}) over its range, {sense}, and lambda of the leanest "
                   f"cylinder by {lean:.3f}.")
    return tuple(out)
