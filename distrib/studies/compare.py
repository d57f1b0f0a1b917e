"""Which of several designs is more even, and how sure that is: paired samples.

Every design is evaluated at the same draws (sampling.paired_draws), so that the difference of
two designs is formed draw by draw. "Cannot tell them apart" is an answer: it is given when the
band of the difference holds zero, or lies within what matters.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar

import numpy as np

from distrib.errors import InputError, Problem
from distrib.numerals import chance_in_words
from distrib.results import BoolArray, FloatArray, IntArray
from distrib.studies.sampling import PairedDraws, Uncertain, paired_draws, quantile_band

Overall = Literal["mean", "worst"]
Design = TypeVar("Design")
CANNOT_TELL = "cannot tell them apart"
FEWEST = 20
"""Draws that all designs must have solved for a comparison."""
WIDE = 0.05
"""Half-width of a chance's own interval from which it is said."""


@dataclass(frozen=True)
class Comparison:
    """D designs, P operating points; figures are spreads in percent, the smaller the better.

    `chance` (D, D, P) and `chance_overall` (D, D): probability that the row's design is more even
    than the column's (a tie counts half). `difference_*` (D, D, P + 1): median and band of row
    minus column, last entry overall. `apart` (D, D, P + 1): whether they can be told apart.
    `rank` (D,): 1 plus the number of designs that are surely more even; equal ranks are ties.
    """

    designs: tuple[str, ...]
    chance: FloatArray
    chance_overall: FloatArray
    difference_median: FloatArray
    difference_low: FloatArray
    difference_high: FloatArray
    apart: BoolArray
    rank: IntArray
    spread_median: FloatArray
    spread_low: FloatArray
    spread_high: FloatArray
    overall_median: FloatArray
    overall: Overall
    level: float
    matters_percent: float
    samples: int
    dropped: int

    def verdict(self, a: str, b: str, point: int | None = None) -> str:
        """One sentence on two designs, overall or at one operating point."""
        i, j = self._index(a), self._index(b)
        at = -1 if point is None else point
        chance = self.chance_overall[i, j] if point is None else self.chance[i, j, point]
        low, high = self.difference_low[i, j, at], self.difference_high[i, j, at]
        band = (f"spread of {a} minus {b}: {low:+.2f} to {high:+.2f} points at "
                f"{100.0 * self.level:.0f} %")
        if not self.apart[i, j, at]:
            return (f"{CANNOT_TELL}: {a} is more even with a chance of {self.chance_words(chance)} "
                    f"({band})")
        better, sure = (a, chance) if chance > 0.5 else (b, 1.0 - chance)
        return f"{better} is more even with a chance of {self.chance_words(sure)} ({band})"

    def chance_words(self, chance: float) -> str:
        """A chance, and where draws are few how far they leave it open."""
        low, high = wilson(chance, self.samples, self.level)
        if high - low < 2.0 * WIDE:
            return chance_in_words(chance)
        low, high = max(low, 0.0), min(high, 1.0)
        return (f"{chance_in_words(chance)}, {100.0 * low:.0f} to {100.0 * high:.0f} % from "
                f"{self.samples} draws")

    def ranking(self) -> tuple[tuple[int, tuple[str, ...]], ...]:
        """(rank, designs) from most to least even; designs of one rank are tied."""
        order = np.lexsort((self.overall_median, self.rank))
        groups: dict[int, list[str]] = {}
        for d in order:
            groups.setdefault(int(self.rank[d]), []).append(self.designs[d])
        return tuple((rank, tuple(names)) for rank, names in groups.items())

    def _index(self, name: str) -> int:
        if name not in self.designs:
            raise InputError([Problem("design", name, ", ".join(self.designs))])
        return self.designs.index(name)


def wilson(part: float, count: int, level: float) -> tuple[float, float]:
    """Interval of a probability of which `part` of `count` independent draws were hits.

    E. B. Wilson, Probable inference, the law of succession, and statistical inference, J. Am. Stat.
    Assoc. 22 (1927) 209-212.
    """
    from scipy.special import ndtri

    z2 = float(ndtri(0.5 + level / 2.0)) ** 2
    middle = (part + z2 / (2.0 * count)) / (1.0 + z2 / count)
    half = (z2 * part * (1.0 - part) / count + z2**2 / (4.0 * count**2)) ** 0.5 / (1.0 + z2 / count)
    return middle - half, middle + half


def compare_samples(spreads: Mapping[str, FloatArray], *, level: float = 0.9,
                    overall: Overall = "mean", matters_percent: float = 0.0) -> Comparison:
    """Compare designs by paired spreads, each (n, P) in percent: row s is the same draw in all.

    `overall` takes the mean or the worst over the operating points. Two designs are told apart
    when the central band of their difference at `level` lies wholly on one side of zero and
    beyond `matters_percent` (a spread difference nobody could make or measure). Draws for which
    any design has no solution are left out of all.
    """
    names = tuple(spreads)
    shapes = {np.shape(v) for v in spreads.values()}
    if len(names) < 2 or len(shapes) != 1 or len(next(iter(shapes))) != 2:
        raise InputError([Problem("compare", f"{len(names)} designs, shapes {sorted(shapes)}",
                                  "two or more designs, all (samples, points)")])
    if matters_percent < 0.0:
        raise InputError([Problem("matters_percent", str(matters_percent), "0 or more")])
    stack = np.stack([np.asarray(spreads[name], dtype=np.float64) for name in names])
    good = np.isfinite(stack).all(axis=(0, 2))
    if good.sum() < FEWEST:
        raise InputError([Problem("compare", f"{int(good.sum())} draws solved by all designs",
                                  f"{FEWEST} or more")])
    used = stack[:, good]
    total = used.mean(axis=2) if overall == "mean" else used.max(axis=2)
    everything = np.concatenate([used, total[:, :, None]], axis=2)
    chance, low, middle, high = _pairwise(everything, level)
    apart = (low > matters_percent) | (high < -matters_percent)
    better = apart[:, :, -1] & (high[:, :, -1] < 0.0)
    band = quantile_band(np.moveaxis(used, 1, 0), level)
    return Comparison(names, chance[:, :, :-1], chance[:, :, -1], middle, low, high, apart,
                      1 + better.sum(axis=0).astype(np.int64), np.median(used, axis=1), *band,
                      np.median(total, axis=1), overall, level, matters_percent,
                      int(good.sum()), int((~good).sum()))


def solved_by_all(spreads: Sequence[FloatArray]) -> BoolArray:
    """Points (P,) at which all designs, each (n, P), share enough solved draws to be compared."""
    good = np.isfinite(np.stack(spreads)).all(axis=0)
    return np.asarray(good.sum(axis=0) >= FEWEST)


def _pairwise(figures: FloatArray, level: float) -> tuple[FloatArray, ...]:
    """Chance, low, median and high of row minus column, each (D, D, Q), for figures (D, n, Q)."""
    count, _, q = figures.shape
    chance = np.full((count, count, q), 0.5)
    low, middle, high = (np.zeros((count, count, q)) for _ in range(3))
    for i in range(count):
        for j in range(i + 1, count):
            difference = figures[i] - figures[j]
            won = (difference < 0.0).mean(axis=0) + 0.5 * (difference == 0.0).mean(axis=0)
            chance[i, j], chance[j, i] = won, 1.0 - won
            low[i, j], high[i, j] = quantile_band(difference, level)
            middle[i, j] = np.median(difference, axis=0)
            low[j, i], middle[j, i], high[j, i] = -high[i, j], -middle[i, j], -low[i, j]
    return chance, low, middle, high


def paired_spreads(designs: Mapping[str, Design], inputs: Callable[[Design], Sequence[Uncertain]],
                   spread: Callable[[Design, FloatArray], FloatArray], *, samples: int,
                   seed: int = 1) -> tuple[dict[str, FloatArray], PairedDraws]:
    """Evaluate every design at the same draws.

    `inputs(design)` says what is uncertain in it; `spread(design, draws (n, k)) -> (n, P)` gives
    its spreads in percent. Inputs of the same name share their draw.
    """
    uncertain = {name: tuple(inputs(design)) for name, design in designs.items()}
    draws = paired_draws(uncertain, samples, seed)
    return {name: np.asarray(spread(design, draws.values(uncertain[name])))
            for name, design in designs.items()}, draws
