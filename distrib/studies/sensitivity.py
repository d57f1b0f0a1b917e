"""Variance-based sensitivity: how much of a figure's variance each uncertain input explains.

Estimators (f_A, f_B, f_ABi are the figures of base sample j, of its partner, and of A with input
i taken from B):
 first order  V_i = mean(f_B (f_ABi - f_A))     A. Saltelli et al., Variance based sensitivity
                                                analysis of model output, Comput. Phys. Commun.
                                                181 (2010) 259-270, table 2 (b)
 total        E_i = mean((f_A - f_ABi)^2) / 2   M. J. W. Jansen, Analysis of variance designs for
                                                model output, Comput. Phys. Commun. 117 (1999)
                                                35-43; the same table, (f)
both over the variance of all f_A and f_B. Intervals: percentile bootstrap over the base samples.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from distrib.errors import InputError, Problem
from distrib.results import FloatArray
from distrib.studies.names import plain_name
from distrib.studies.plan import Dimension
from distrib.studies.sampling import Uncertain, unit_blocks

NAMED = 4
"""So many of the small inputs are named, the others counted."""


@dataclass(frozen=True)
class Saltelli:
    """The points of a variance-based analysis: for each base sample A, B and k mixed ones.

    `base` should be a power of two (the sequence is balanced only then). The study has
    base (k + 2) points; whole base samples stand together, so a part of the study is usable.
    """

    inputs: tuple[Uncertain, ...]
    base: int
    seed: int = 1

    @property
    def dimensions(self) -> tuple[Dimension, ...]:
        """Names of the inputs; the bounds are not used."""
        return tuple(Dimension(u.name, bounds=(0.0, 1.0)) for u in self.inputs)

    @property
    def count(self) -> int:
        """Points in all."""
        return self.base * (len(self.inputs) + 2)

    def blocks(self, size: int) -> Iterator[FloatArray]:
        """All points in order, as input values, (size, k) at a time."""
        held = np.zeros((0, len(self.inputs)))
        for unit in unit_blocks(self.base, 2 * len(self.inputs), self.seed, size=256):
            held = np.concatenate([held, self._group(unit)])
            while held.shape[0] >= size:
                yield held[:size]
                held = held[size:]
        if held.shape[0]:
            yield held

    def _group(self, unit: FloatArray) -> FloatArray:
        """Points of some base samples, one after the other: A, B, AB1 .. ABk of each."""
        k = len(self.inputs)
        value = np.stack([u.at(unit[:, [j, k + j]]) for j, u in enumerate(self.inputs)], axis=-1)
        group = np.repeat(value[:, :1, :], k + 2, axis=1)
        group[:, 1, :] = value[:, 1, :]
        for j in range(k):
            group[:, 2 + j, j] = value[:, 1, j]
        return np.asarray(group.reshape(-1, k))

    def identity(self) -> dict[str, Any]:
        """Plain form."""
        return {"kind": "saltelli", "base": self.base, "seed": self.seed,
                "inputs": [[u.name, u.centre, u.width, u.kind] for u in self.inputs]}


@dataclass(frozen=True)
class Indices:
    """Sensitivity of m figures to k inputs; index arrays are (k, m), the rest (m,).

    `first` is the share of variance that goes if the input alone becomes known, `total` the share
    that stays when only it is unknown. `*_low` and `*_high` bound them at probability `level`.
    An index of a figure that does not vary is NaN.
    """

    inputs: tuple[str, ...]
    figures: tuple[str, ...]
    first: FloatArray
    total: FloatArray
    first_low: FloatArray
    first_high: FloatArray
    total_low: FloatArray
    total_high: FloatArray
    mean: FloatArray
    standard_deviation: FloatArray
    level: float
    base: int
    dropped: int


def sobol_indices(inputs: Sequence[str], figures: Sequence[str], values: FloatArray, *,
                  level: float = 0.95, resamples: int = 1000, seed: int = 1) -> Indices:
    """First-order and total indices from the figures (base (k+2), m) of a `Saltelli` study.

    Base samples with a figure that is NaN (a point without solution) are left out whole and
    counted in `dropped`. Raises InputError when the number of rows does not fit or fewer than
    eight base samples are left.
    """
    k = len(inputs)
    if values.ndim != 2 or values.shape[0] % (k + 2) or values.shape[1] != len(figures):
        raise InputError([Problem("sensitivity", f"figures of shape {values.shape}",
                                  f"(base times {k + 2}, {len(figures)})")])
    grouped = values.reshape(-1, k + 2, values.shape[1])
    good = np.isfinite(grouped).all(axis=(1, 2))
    used = grouped[good]
    if used.shape[0] < 8:
        raise InputError([Problem("sensitivity", f"{used.shape[0]} complete base samples",
                                  "8 or more", "draw more samples")])
    used = used - used[:, :2].mean(axis=(0, 1))  # centred: smaller estimation error, same indices
    count = used.shape[0]
    first, total = _estimate(used, np.ones((1, count)) / count)
    weights = _resampling_weights(count, resamples, seed)
    firsts, totals = _estimate(used, weights)
    tail = 100.0 * (1.0 - level) / 2.0
    first_low, first_high = np.percentile(firsts, [tail, 100.0 - tail], axis=0)
    total_low, total_high = np.percentile(totals, [tail, 100.0 - tail], axis=0)
    plain = grouped[good][:, :2].reshape(-1, values.shape[1])
    return Indices(tuple(inputs), tuple(figures), first[0], total[0], first_low, first_high,
                   total_low, total_high, plain.mean(axis=0), plain.std(axis=0), level, count,
                   int((~good).sum()))


def _resampling_weights(count: int, resamples: int, seed: int) -> FloatArray:
    """Weights (resamples, count) of base samples drawn with replacement."""
    rng = np.random.default_rng(seed)
    return rng.multinomial(count, np.full(count, 1.0 / count), size=resamples) / count


def _estimate(used: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Indices (R, k, m) under base-sample weights (R, J) for figures (J, k+2, m)."""
    fa, fb, fab = used[:, 0], used[:, 1], used[:, 2:]
    both = (fa + fb) / 2.0
    squares = (fa**2 + fb**2) / 2.0
    variance = weights @ squares - (weights @ both) ** 2
    part = np.tensordot(weights, fb[:, None] * (fab - fa[:, None]), axes=1)
    rest = np.tensordot(weights, (fa[:, None] - fab) ** 2, axes=1) / 2.0
    flat = np.where(variance > 0.0, variance, np.nan)[:, None, :]
    return part / flat, rest / flat


def analyse(function: Callable[[FloatArray], FloatArray], inputs: Sequence[Uncertain],
            figures: Sequence[str], *, base: int, seed: int = 1, level: float = 0.95) -> Indices:
    """Indices of a vectorised `function(points (n, k)) -> (n, m)` in one call."""
    plan = Saltelli(tuple(inputs), base, seed)
    values = np.concatenate([np.asarray(function(block)) for block in plan.blocks(4096)])
    return sobol_indices([u.name for u in inputs], figures, values, level=level, seed=seed)


def in_words(indices: Indices, figure: int = 0, least: float = 0.05) -> tuple[str, ...]:
    """What the indices say, one sentence an input, largest first.

    Inputs whose total index is surely below `least` are named together at the end.
    """
    order = np.argsort(-np.nan_to_num(indices.total[:, figure]), kind="stable")
    name = indices.figures[figure]
    said, small = [], []
    for i in order:
        total, alone = indices.total[i, figure], indices.first[i, figure]
        if not np.isfinite(total):
            return (f"{name} does not vary.",)
        if indices.total_high[i, figure] < least:
            small.append(plain_name(indices.inputs[i]))
            continue
        low, high = indices.total_low[i, figure], indices.total_high[i, figure]
        text = (f"{plain_name(indices.inputs[i])} accounts for {100 * total:.0f} % of the variance "
                f"of {name} (between {100 * low:.0f} and {100 * high:.0f} %)")
        together = indices.total_low[i, figure] - indices.first_high[i, figure]
        if together > 0.0:
            text += f", {100 * (total - alone):.0f} % of it only together with other inputs"
        said.append(text + ".")
    if small:
        more = f" and {len(small) - NAMED} others" if len(small) > NAMED + 1 else ""
        named = small[:NAMED] if more else small
        said.append(f"Below {100 * least:.0f} % each: {', '.join(named)}{more}.")
    return tuple(said)
