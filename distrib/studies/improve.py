"""Search for a more even design: robust, within the envelope, at a bounded loss of air.

The search sees a design as a point of marked dimensions and a model as one vectorised function
that gives, for every point and every draw of what is uncertain, spread and total air. It looks
for the point whose spread is small with the chance `quantile` - not for the one that looks best
when nothing is uncertain - and keeps everything it has evaluated, so that the front of evenness
against air flow comes for free.

Method: differential evolution (R. Storn and K. Price, J. Global Optim. 11 (1997) 341-359, by
scipy.optimize), whole generations in one call of the model; infeasible points are ordered after
all feasible ones by how far they are off (K. Deb, Comput. Methods Appl. Mech. Eng. 186 (2000)
311-338); then once more in a small box around the best. Earlier runs with a tighter air limit
fill the front.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from distrib.errors import NoSolution
from distrib.results import FloatArray, IntArray
from distrib.studies.front import first_front, spaced
from distrib.studies.objective import INFEASIBLE, Figures, Judge, Refuses, Search, check
from distrib.studies.plan import Dimension

NEGLIGIBLE = 0.02
"""Part of the gain that may be given up to leave a dimension as it is."""
BOX = 0.05
"""Half-width of the box of the last search, as a part of each range."""


@dataclass(frozen=True)
class Change:
    """One change of the few that buy most, in order: what it is and the spread after it."""

    dimension: str
    before: str | float
    after: str | float
    spread_after_percent: float
    air_loss_after_percent: float
    share_of_gain: float


@dataclass(frozen=True)
class Improvement:
    """What the search found.

    `front` indexes `archive`: feasible, not refused, from the most even to the most air.
    `picked` are a few members spaced along it. `changes` lead from the present design to
    `few_changes` (k,), which has nearly all of the gain of the most even point, `best` (k,).
    """

    dimensions: tuple[Dimension, ...]
    start: FloatArray
    start_spread_percent: float
    best: FloatArray
    best_spread_percent: float
    best_air_loss_percent: float
    changes: tuple[Change, ...]
    few_changes: FloatArray
    archive: Figures
    front: IntArray
    picked: IntArray
    refused: tuple[tuple[int, tuple[str, ...]], ...]
    evaluations: int
    cautions: tuple[str, ...]


def improve(search: Search, *, few: float = 0.95, picks: int = 5,
            told: Callable[[int, float], None] | None = None) -> Improvement:
    """Search; see the module's text.

    few: the part of the gain that the few changes must reach. told(evaluations so far, best
    spread so far) is called after each generation. Raises InputError for a start outside the
    envelope, NoSolution when the present design has none.
    """
    check(search)
    judge = Judge(search)
    most = search.most_air_loss_percent
    budget = max(search.evaluations, 40)
    for part, limit in ((0.15, 0.0), (0.15, most / 2.0), (0.4, most)):
        _evolve(search, judge, limit, int(part * budget), told=told)
    within = search.refuses_within or bool(
        _allowed_front(judge.archive(most), judge.refused)[1])
    if within and not search.refuses_within:  # the search ran into what is refused: ask as it goes
        _evolve(search, judge, most, int(0.2 * budget), within=True, told=told)
    for shrink in (1.0, 0.2):
        _evolve(search, judge, most, budget // 10, within=within, box=BOX * shrink, told=told)
    front, refused = _allowed_front(judge.archive(most), judge.refused_finally)
    if not front.size:
        raise NoSolution("every design that is more even is refused: "
                         + "; ".join(refused[0][1] if refused else ("nothing is feasible",)))
    changes, few_point = _few_changes(search, judge, judge.archive(most).points[front[0]], few)
    archive = judge.archive(most)
    front, refused = _allowed_front(archive, judge.refused_finally)
    pair = np.stack([archive.spread, archive.air_loss], axis=1)
    best = int(front[0])
    return Improvement(
        search.dimensions, search.start, float(archive.spread[0]), archive.points[best],
        float(archive.spread[best]), float(archive.air_loss[best]), changes, few_point, archive,
        front, spaced(pair, front, picks), refused, judge.count,
        _cautions(search, archive, best, judge.refused_finally(search.start)))


def _unit_of(search: Search, point: FloatArray) -> FloatArray:
    """Unit-cube coordinates of a point; levels and choices at the middle of their share."""
    out = np.empty(len(search.dimensions))
    for j, d in enumerate(search.dimensions):
        if d.bounds is not None:
            out[j] = (point[j] - d.bounds[0]) / (d.bounds[1] - d.bounds[0])
        else:
            every = np.array([d.coordinate(i) for i in range(d.count)])
            out[j] = (float(np.argmin(np.abs(every - point[j]))) + 0.5) / d.count
    return np.clip(out, 0.0, 1.0)


def _points_of(search: Search, unit: FloatArray) -> FloatArray:
    """Points (n, k) of unit-cube coordinates (n, k)."""
    return np.stack([d.scaled(unit[:, j]) for j, d in enumerate(search.dimensions)], axis=-1)


def _evolve(search: Search, judge: Judge, most_loss: float, budget: int, *,
            within: bool | None = None, box: float | None = None,
            told: Callable[[int, float], None] | None = None) -> None:
    """One run of differential evolution, begun from the best points known so far."""
    from scipy.optimize import differential_evolution

    k = len(search.dimensions)
    size = int(min(max(5 * k, 15), 100, max(budget // 4, 5)))
    rng = np.random.default_rng([search.seed, judge.count])
    known = judge.archive(most_loss)
    within = search.refuses_within if within is None else within
    order = np.argsort(judge.merit(known.points, most_loss), kind="stable")
    if within:
        order = _not_refused(judge, known, order, size)
    centre = _unit_of(search, known.points[order[0]])
    low, high = np.zeros(k), np.ones(k)
    if box is not None:
        low, high = np.maximum(centre - box, 0.0), np.minimum(centre + box, 1.0)
        for j, d in enumerate(search.dimensions):
            if d.bounds is None:  # a level or a choice is not a matter of small steps
                low[j], high[j] = max(centre[j] - 1e-9, 0.0), min(centre[j] + 1e-9, 1.0)
    population = _population(search, known, order, size, low, high, rng)

    def function(unit: FloatArray) -> FloatArray:  # scipy hands over (k, n)
        return judge.merit(_points_of(search, np.atleast_2d(unit.T)), most_loss, within)

    def after(intermediate_result: Any) -> None:
        if told is not None:
            told(judge.count, float(intermediate_result.fun))

    minimise: Any = differential_evolution  # its published types know no vectorised functions
    minimise(
        function, list(zip(low, high, strict=True)), init=population, vectorized=True,
        updating="deferred", polish=False, maxiter=max(budget // size - 1, 1), tol=1e-12, rng=rng,
        mutation=(0.4, 0.9), recombination=0.8, callback=after)


def _not_refused(judge: Judge, known: Figures, order: IntArray, count: int) -> IntArray:
    """The first rows of `order` that may be proposed, looking at no more than 4 `count` of them."""
    rows = [int(r) for r in order[: 4 * count] if not judge.refused(known.points[r])]
    return np.array(rows[:count] or [0], dtype=np.int64)


def _population(search: Search, known: Figures, order: IntArray, size: int, low: FloatArray,
                high: FloatArray, rng: np.random.Generator) -> FloatArray:
    """First population: up to a third of it the best known points, the rest spread evenly."""
    from scipy.stats import qmc

    population = low + (high - low) * qmc.LatinHypercube(low.size, rng=rng).random(size)
    for i, row in enumerate(order[: max(size // 3, 1)]):
        population[i] = np.clip(_unit_of(search, known.points[row]), low, high)
    return np.asarray(population)


def _allowed_front(archive: Figures, refused_by: Refuses
                   ) -> tuple[IntArray, tuple[tuple[int, tuple[str, ...]], ...]]:
    """The front of what may be proposed, and what was refused on the way (row, reasons)."""
    usable = archive.feasible.copy()
    refused: list[tuple[int, tuple[str, ...]]] = []
    pair = np.stack([archive.spread, archive.air_loss], axis=1)
    while True:
        rows = np.flatnonzero(usable)
        front = rows[first_front(pair[rows])]
        bad = [(int(r), refused_by(archive.points[r])) for r in front]
        bad = [(r, why) for r, why in bad if why]
        if not bad:
            return front, tuple(refused)
        refused += bad
        usable[[r for r, _ in bad]] = False


def _few_changes(search: Search, judge: Judge, best: FloatArray, few: float
                 ) -> tuple[tuple[Change, ...], FloatArray]:
    """The few changes that have at least the part `few` of the gain of `best`, largest first.

    First every coordinate that costs next to nothing goes back to the present design; then the
    rest is taken over one by one, always the one that gains most (steps that break a limit wait as
    long as others are left), until the gain is there and the design may be proposed. All
    candidates of a step are evaluated at once.
    """
    first = float(judge.figures(search.start[None, :])[0][0])
    gain = first - float(judge.figures(best[None, :])[0][0])
    if gain <= 0.0:
        return (), search.start.copy()
    goal = _pruned(search, judge, best, first - (1.0 - NEGLIGIBLE) * gain)
    if judge.refused_finally(goal):
        goal = best
    at = search.start.copy()
    left = [j for j in range(at.size) if goal[j] != at[j]]
    changes: list[Change] = []
    while left and not (changes and changes[-1].share_of_gain >= few and _may(search, judge, at)):
        trial = np.repeat(at[None, :], len(left), axis=0)
        trial[np.arange(len(left)), left] = goal[left]
        merit = judge.merit(trial, search.most_air_loss_percent)
        i = int(np.argmin(merit))
        j, before, at = left.pop(i), at, trial[i]
        spread, loss = judge.figures(at[None, :])
        d = search.dimensions[j]
        changes.append(Change(d.name, d.value(before[j]), d.value(at[j]), float(spread[0]),
                              float(loss[0]), (first - float(spread[0])) / gain))
    return tuple(changes), at


def _pruned(search: Search, judge: Judge, best: FloatArray, allowed: float) -> FloatArray:
    """`best` with as many coordinates put back to the start as keep the spread below `allowed`."""
    goal = best.copy()
    while True:
        moved = np.flatnonzero(goal != search.start)
        if moved.size < 2:
            return goal
        trial = np.repeat(goal[None, :], moved.size, axis=0)
        trial[np.arange(moved.size), moved] = search.start[moved]
        merit = judge.merit(trial, search.most_air_loss_percent, within=True)
        i = int(np.argmin(merit))
        if merit[i] > allowed:
            return goal
        goal = trial[i]


def _may(search: Search, judge: Judge, point: FloatArray) -> bool:
    """Whether a point may be proposed."""
    inside = bool(judge.merit(point[None, :], search.most_air_loss_percent)[0] < INFEASIBLE)
    return inside and not judge.refused_finally(point)


def _cautions(search: Search, archive: Figures, best: int,
              against_present: tuple[str, ...]) -> tuple[str, ...]:
    """What a reader must know: ends of ranges, nothing gained, a present design that is refused."""
    said = [f"the present design itself is refused: {why}" for why in against_present]
    for j, d in enumerate(search.dimensions):
        if d.bounds is None or archive.points[best, j] == search.start[j]:
            continue
        low, high = d.bounds
        at = archive.points[best, j]
        if min(at - low, high - at) < 0.01 * (high - low):
            said.append(f"{d.name} ends at the {'low' if at - low < high - at else 'high'} end of "
                        "its range; a wider range may give more")
    if not archive.spread[best] < archive.spread[0]:
        said.append("nothing that may be proposed within these ranges and limits is more even than "
                    "the present design")
    return tuple(said)


def describe(dimensions: Sequence[Dimension], point: FloatArray) -> dict[str, str | float]:
    """A point as changes of the case: dotted name -> value as the case reads it."""
    return {d.name: d.value(point[j]) for j, d in enumerate(dimensions)}
