"""Cheap screening for expensive models: elementary effects along random paths.

M. D. Morris, Factorial sampling plans for preliminary computational experiments, Technometrics
33 (1991) 161-174; the mean of absolute effects mu* by F. Campolongo, J. Cariboni and A. Saltelli,
An effective screening design for sensitivity analysis of large models, Environ. Model. Softw. 22
(2007) 1509-1518. Costs paths (k + 1) points, against base (k + 2) with base in the hundreds for
variance-based indices; it ranks inputs and tells bent or joint effects from straight ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from distrib.errors import InputError, Problem
from distrib.results import FloatArray, IntArray
from distrib.studies.plan import Dimension

GRID = 4
"""Levels of each input; the step is GRID/(2 (GRID - 1)) = 2/3 of the range, as Morris advises."""


@dataclass(frozen=True)
class Paths:
    """The points of a screening: `paths` random paths of k + 1 points, one input moved a step."""

    dimensions: tuple[Dimension, ...]
    paths: int
    seed: int = 1

    @property
    def count(self) -> int:
        """Points in all."""
        return self.paths * (len(self.dimensions) + 1)

    def blocks(self, size: int) -> Iterator[FloatArray]:
        """All points in order, in the inputs' own units, (size, k) at a time."""
        held = np.zeros((0, len(self.dimensions)))
        for path in range(self.paths):
            unit = self.unit_path(path)
            new = np.stack([d.scaled(unit[:, j]) for j, d in enumerate(self.dimensions)], axis=-1)
            held = np.concatenate([held, new])
            while held.shape[0] >= size:
                yield held[:size]
                held = held[size:]
        if held.shape[0]:
            yield held

    def unit_path(self, path: int) -> FloatArray:
        """Path number `path` in the unit cube, (k + 1, k)."""
        k = len(self.dimensions)
        rng = np.random.default_rng([self.seed, path])
        step = GRID / (2.0 * (GRID - 1.0))
        start = rng.integers(0, GRID // 2, size=k) / (GRID - 1.0)
        up = rng.random(k) < 0.5
        points = np.tile(np.where(up, start, start + step), (k + 1, 1))
        for row, j in enumerate(rng.permutation(k)):
            points[row + 1:, j] += step if up[j] else -step
        return points

    def identity(self) -> dict[str, Any]:
        """Plain form."""
        return {"kind": "paths", "paths": self.paths, "seed": self.seed,
                "dimensions": [d.as_dict() for d in self.dimensions]}


@dataclass(frozen=True)
class Effects:
    """Elementary effects of k inputs on m figures, all (k, m), per full range of the input.

    `size` is the mean of absolute effects, `mean` the plain mean, `scatter` their standard
    deviation (large against `size`: the effect is bent or depends on other inputs), `error` the
    standard error of `size`; `used` (k,) the number of effects of each input, at most `paths`.
    """

    inputs: tuple[str, ...]
    figures: tuple[str, ...]
    size: FloatArray
    mean: FloatArray
    scatter: FloatArray
    error: FloatArray
    paths: int
    used: IntArray


def elementary_effects(plan: Paths, figures: Sequence[str], values: FloatArray) -> Effects:
    """Effects from the figures (paths (k+1), m) of a `Paths` study.

    A step to or from a point without figures is left out. Raises InputError when the rows do not
    fit the plan or an input has fewer than two effects left.
    """
    k, m = len(plan.dimensions), len(figures)
    if values.shape != (plan.count, m):
        raise InputError([Problem("screening", f"figures of shape {values.shape}",
                                  f"({plan.count}, {m})")])
    grouped = values.reshape(plan.paths, k + 1, m)
    effects = np.empty((plan.paths, k, m))
    for path in range(plan.paths):
        move = np.diff(plan.unit_path(path), axis=0)
        moved = np.argmax(np.abs(move), axis=1)
        step = move[np.arange(k), moved]
        effects[path, moved] = np.diff(grouped[path], axis=0) / step[:, None]
    used = np.isfinite(effects).sum(axis=0).min(axis=-1)
    few = [Problem(f"screening of {d.name}", f"{n} effects", "2 or more",
                   "more paths, or a range in which more designs have a solution")
           for d, n in zip(plan.dimensions, used, strict=True) if n < 2]
    if few:
        raise InputError(few)
    size = np.abs(effects)
    return Effects(tuple(d.name for d in plan.dimensions), tuple(figures),
                   np.nanmean(size, axis=0), np.nanmean(effects, axis=0),
                   np.nanstd(effects, axis=0, ddof=1),
                   np.nanstd(size, axis=0, ddof=1) / np.sqrt(used)[:, None], plan.paths, used)
