"""What the search looks for and at: the problem, its limits, and the judge of each point."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from distrib.errors import InputError, NoSolution, Problem
from distrib.results import BoolArray, FloatArray
from distrib.studies.plan import Dimension

Evaluate = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
"""points (n, k) -> spread in percent (n, S) and total air in kg/s (n, S); NaN: no solution."""
Refuses = Callable[[FloatArray], tuple[str, ...]]
"""one point (k,) -> reasons why this design must not be proposed; empty when it may."""

INFEASIBLE = 1e6
"""What an infeasible point counts, before its excess; no spread in percent is near it."""


@dataclass(frozen=True)
class Limit:
    """One envelope limit: sum of coefficients times coordinates, at most `most`."""

    name: str
    coefficients: FloatArray
    most: float

    def excess(self, points: FloatArray) -> FloatArray:
        """How far each point (n, k) is beyond the limit, 0 within."""
        return np.maximum(points @ self.coefficients - self.most, 0.0)


@dataclass(frozen=True)
class Search:
    """What is searched. `start` (k,) is the present design; it must be within all limits.

    most_air_loss_percent: largest loss of air against the present design (median over draws of
    the loss at equal draws). quantile: the spread counts that is not exceeded with this chance.
    evaluations: about how many points may be evaluated (each with all draws).
    refuses: is asked for each point that would be proposed, and for every point the search
    visits when `refuses_within` is set (for a cheap check). refuses_finally: a costly check, asked
    only for what would be proposed.
    """

    dimensions: tuple[Dimension, ...]
    start: FloatArray
    evaluate: Evaluate
    most_air_loss_percent: float = 2.0
    quantile: float = 0.9
    limits: tuple[Limit, ...] = ()
    refuses: Refuses | None = None
    refuses_within: bool = False
    refuses_finally: Refuses | None = None
    evaluations: int = 4000
    seed: int = 1


@dataclass(frozen=True)
class Figures:
    """Figures of n points: `spread` at the quantile and `air_loss`, percent; NaN: no solution."""

    points: FloatArray
    spread: FloatArray
    air_loss: FloatArray
    feasible: BoolArray


class Judge:
    """Evaluates points once each, counts, and keeps all figures."""

    def __init__(self, search: Search) -> None:
        self._search = search
        self._rows: dict[bytes, int] = {}
        self._points: list[FloatArray] = []
        self._spread: list[float] = []
        self._loss: list[float] = []
        self._refused: dict[bytes, tuple[str, ...]] = {}
        self._refused_finally: dict[bytes, tuple[str, ...]] = {}
        spread, air = search.evaluate(search.start[None, :])
        if not (np.isfinite(spread).any() and np.isfinite(air).any()):
            raise NoSolution("the present design has no solution, so nothing can be compared to it")
        self.base_air = np.asarray(air[0], dtype=np.float64)
        self._keep(search.start[None, :], spread, air)

    @property
    def count(self) -> int:
        return len(self._points)

    def _keep(self, points: FloatArray, spread: FloatArray, air: FloatArray) -> None:
        loss = 100.0 * (1.0 - np.asarray(air) / self.base_air)
        for point, s, a in zip(points, np.asarray(spread), loss, strict=True):
            self._rows[point.tobytes()] = len(self._points)
            self._points.append(point.copy())
            whole = np.isfinite(s).mean() > 0.5  # a design that mostly has no solution is none
            self._spread.append(_quantile(s, self._search.quantile) if whole else np.nan)
            self._loss.append(float(np.nanmedian(a)) if whole else np.nan)

    def figures(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Spread and air loss (n,) of points, evaluating only what is new."""
        keys = [p.tobytes() for p in points]
        new = {key: i for i, key in enumerate(keys) if key not in self._rows}
        if new:
            fresh = points[sorted(new.values())]
            spread, air = self._search.evaluate(fresh)
            self._keep(fresh, spread, air)
        rows = [self._rows[key] for key in keys]
        return np.array([self._spread[r] for r in rows]), np.array([self._loss[r] for r in rows])

    def refused(self, point: FloatArray) -> tuple[str, ...]:
        """Reasons against one point, asked once."""
        if self._search.refuses is None:
            return ()
        key = point.tobytes()
        if key not in self._refused:
            self._refused[key] = self._search.refuses(point)
        return self._refused[key]

    def refused_finally(self, point: FloatArray) -> tuple[str, ...]:
        """Reasons against proposing one point, the costly check included, asked once."""
        why = self.refused(point)
        if why or self._search.refuses_finally is None:
            return why
        key = point.tobytes()
        if key not in self._refused_finally:
            self._refused_finally[key] = self._search.refuses_finally(point)
        return self._refused_finally[key]

    def merit(self, points: FloatArray, most_loss: float, within: bool = False) -> FloatArray:
        """What is minimised, (n,): the spread, or how far off an infeasible point is.

        Points outside the envelope, or refused when `within`, are not evaluated.
        """
        off = envelope_excess(self._search, points)
        if within:
            off = off + np.array([float(o == 0.0 and bool(self.refused(p)))
                                  for o, p in zip(off, points, strict=True)])
        merit = 2.0 * INFEASIBLE * (1.0 + off)
        inside = off == 0.0
        if inside.any():
            spread, loss = self.figures(points[inside])
            excess = np.maximum(loss - most_loss, 0.0)
            value = np.where(excess > 0.0, INFEASIBLE + excess, spread)
            merit[inside] = np.where(np.isfinite(value), value, 2.0 * INFEASIBLE)
        return merit

    def archive(self, most_loss: float) -> Figures:
        points = np.array(self._points)
        spread, loss = np.array(self._spread), np.array(self._loss)
        feasible = (envelope_excess(self._search, points) == 0.0) & (loss <= most_loss)
        return Figures(points, spread, loss, feasible & np.isfinite(spread))


def _quantile(values: FloatArray, q: float) -> float:
    return float(np.quantile(values[np.isfinite(values)], q))


def envelope_excess(search: Search, points: FloatArray) -> FloatArray:
    """Sum over the limits of the excess as a part of the limit's size, (n,)."""
    total = np.zeros(points.shape[0])
    for limit in search.limits:
        total += limit.excess(points) / max(abs(limit.most), 1e-12)
    return total


def check(search: Search) -> None:
    """Raise InputError with every mistake in the problem."""
    k = len(search.dimensions)
    problems = []
    if not k:
        problems.append(Problem("[search]", "no dimension", "one range or more"))
    if search.start.shape != (k,):
        problems.append(Problem("start", f"shape {search.start.shape}", f"({k},)"))
    elif envelope_excess(search, search.start[None, :])[0] > 0.0:
        over = [limit.name for limit in search.limits if limit.excess(search.start[None, :])[0] > 0]
        problems.append(Problem("envelope", f"the present design breaks {', '.join(over)}",
                                "limits that the present design keeps"))
    if not 0.0 < search.quantile < 1.0:
        problems.append(Problem("quantile", str(search.quantile), "between 0 and 1"))
    if search.most_air_loss_percent < 0.0:
        problems.append(Problem("most_air_loss_percent", str(search.most_air_loss_percent),
                                "0 or more"))
    if problems:
        raise InputError(problems)
