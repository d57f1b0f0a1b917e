"""`improve` on a case: the ranges of its `[search]`, the models, and proposals as case files."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from distrib.build.draws import Draws
from distrib.errors import DistribError, InputError
from distrib.results import FloatArray
from distrib.studies.evaluate import Chunk, Rows, first_line
from distrib.studies.improve import Improvement, describe, improve
from distrib.studies.matters import band_speeds
from distrib.studies.objective import Search
from distrib.studies.plan import Dimension
from distrib.studies.pool import Pool
from distrib.studies.ranges import envelope_limit, present_design, search_dimensions
from distrib.studies.sampled import sampler

if TYPE_CHECKING:
    from distrib.case.schema import Case

Review = Callable[["Case"], tuple[str, ...]]
"""A case -> reasons why a reviewer would refuse it; empty when he would not."""


@dataclass(frozen=True)
class Options:
    """How a case is searched; see `objective.Search`.

    rpm: speeds (the mean spread over them counts, and the mean air), by default those of
    `matters.band_speeds`. samples: draws of everything uncertain, the same for every design; 0: the
    nominal design alone. jobs, scheduler: as in `runner`.
    """

    model: str = "engine"
    rpm: tuple[float, ...] = ()
    samples: int = 0
    seed: int = 1
    most_air_loss_percent: float = 2.0
    quantile: float = 0.9
    evaluations: int = 400
    few: float = 0.95
    picks: int = 5
    limits: tuple[str, ...] = ()
    jobs: int = 1
    scheduler: str | None = None


@dataclass(frozen=True)
class CaseObjective:
    """Spread and air of designs: a row is S spreads, then S totals, means over the speeds.

    With `samples` 0 the nominal design alone: one spread, one total.
    """

    case_text: str
    case_path: str
    dimensions: tuple[Dimension, ...]
    model: str
    rpm: tuple[float, ...]
    samples: int
    seed: int

    def __call__(self, chunk: Chunk) -> Rows:
        from distrib.case.change import with_changes

        columns = max(self.samples, 1)
        values = np.full((chunk.indices.size, 2 * columns), np.nan)
        reasons = [""] * chunk.indices.size
        for i, point in enumerate(chunk.points):
            try:
                case = with_changes(_case(self.case_text, self.case_path),
                                    describe(self.dimensions, point))
                found = sampler(self.model)(case, np.array(self.rpm),
                                            Draws(self.samples, self.seed), 1)
            except DistribError as error:
                reasons[i] = first_line(error)
                continue
            values[i, :columns] = found.spread_percent.mean(axis=1)
            values[i, columns:] = found.total_kg_s.mean(axis=1)
        return Rows(values, tuple(reasons))

    def warm(self) -> None:
        """Solve the case itself, so that kernels are compiled once, before workers need them."""
        with contextlib.suppress(DistribError):
            sampler(self.model)(_case(self.case_text, self.case_path), np.array(self.rpm[:1]),
                                Draws(), 1)


@lru_cache(maxsize=4)
def _case(text: str, path: str) -> Case:
    """The case of one TOML text; frozen, so that a worker may read it once."""
    from distrib.case.read import read_text

    return read_text(text, path)


@dataclass(frozen=True)
class Proposal:
    """One proposed design: its case, what changed, and its figures in the search."""

    case: Case
    label: str
    changes: tuple[tuple[str, str | float, str | float], ...]
    spread_percent: float
    air_loss_percent: float


def search_case(case: Case, options: Options, review: Review | None = None, *,
                final_review: Review | None = None, remember: Path | None = None,
                resume: bool = False, keep: bool = False,
                told: Callable[[int], None] | None = None) -> tuple[Improvement, list[Proposal]]:
    """Search the ranges of a case; return what was found and the designs to propose.

    review: never visits or proposes a case for which it gives reasons. final_review: the same by
    a costly look (with models solved), asked only of what would be proposed. remember: file that
    keeps every evaluated design, so that a stopped search goes on with `resume`; removed when it
    is done unless `keep`. told(1) is called for each design evaluated.
    """
    from distrib.case.change import case_hash, to_toml

    dimensions = search_dimensions(case)
    start = present_design(case, dimensions)
    rpm = options.rpm or band_speeds(case)
    objective = CaseObjective(to_toml(case), case.path, dimensions, options.model, rpm,
                              options.samples, options.seed)
    identity = {"what": "improve", "case": case_hash(case), "model": options.model,
                "dimensions": [d.as_dict() for d in dimensions], "rpm": list(rpm),
                "samples": options.samples, "seed": options.seed}
    columns = max(options.samples, 1)
    with Pool(objective, 2 * columns, jobs=options.jobs, scheduler=options.scheduler,
              remember=remember, identity=identity, resume=resume, told=told) as pool:

        def evaluate(points: FloatArray) -> tuple[FloatArray, FloatArray]:
            rows = pool(points)
            return rows[:, :columns], rows[:, columns:]

        found = improve(
            Search(dimensions, start, evaluate, options.most_air_loss_percent, options.quantile,
                   tuple(envelope_limit(t, dimensions) for t in options.limits),
                   None if review is None else _refuses(case, dimensions, review),
                   review is not None,
                   None if final_review is None else _refuses(case, dimensions, final_review),
                   options.evaluations, options.seed),
            few=options.few, picks=options.picks)
        if not keep:
            pool.forget()
    return found, proposals(case, found)


def _refuses(case: Case, dimensions: Sequence[Dimension], review: Review
             ) -> Callable[[FloatArray], tuple[str, ...]]:
    """What a reviewer, or the reader of the case, has against a point."""
    from distrib.case.change import with_changes

    def refuses(point: FloatArray) -> tuple[str, ...]:
        try:
            return review(with_changes(case, describe(dimensions, point)))
        except InputError as error:
            return (first_line(error),)

    return refuses


def proposals(case: Case, found: Improvement) -> list[Proposal]:
    """The few changes first, then the picked designs along the front that are more even than the
    present one; equal ones once. What may not be proposed is in neither.
    """
    archive, refused = found.archive, {row for row, _ in found.refused}
    points: list[tuple[str, FloatArray]] = []
    if found.changes:
        points.append(("few changes", found.few_changes))
    points += [(f"front {i}", archive.points[row]) for i, row in enumerate(found.picked, start=1)]
    keys = {p.tobytes(): i for i, p in enumerate(archive.points)}
    out, seen = [], {found.start.tobytes()}
    for label, point in points:
        row = keys[point.tobytes()]
        even = archive.spread[row] < found.start_spread_percent
        if point.tobytes() in seen or not even or row in refused:
            continue
        seen.add(point.tobytes())
        out.append(_proposal(case, found, label, point, float(archive.spread[row]),
                             float(archive.air_loss[row])))
    return out


def _proposal(case: Case, found: Improvement, label: str, point: FloatArray, spread: float,
              loss: float) -> Proposal:
    from distrib.case.change import with_changes

    changed = tuple((d.name, d.value(found.start[j]), d.value(point[j]))
                    for j, d in enumerate(found.dimensions) if point[j] != found.start[j])
    note = (f"Proposed by distrib improve ({label}) from: {case.title}. Spread {spread:.2f} % "
            f"against {found.start_spread_percent:.2f} %, air {-loss:+.2f} %, as estimated by the "
            "model of the search. Estimate, not measured.")
    changes: dict[str, Any] = {name: after for name, _, after in changed}
    changes |= {"title": f"{case.title}, {label}", "note": note}
    return Proposal(with_changes(case, changes), label, changed, spread, loss)


def write_proposals(items: Sequence[Proposal], folder: Path, stem: str) -> list[Path]:
    """Write each proposal as a case file that reads back as the same design."""
    from distrib.case.change import case_hash, to_toml
    from distrib.case.read import read_case
    from distrib.files import write_text_atomic

    out = []
    for item in items:
        path = folder / f"{stem}_{item.label.replace(' ', '_')}.toml"
        write_text_atomic(path, to_toml(item.case))
        if case_hash(read_case(path)) != case_hash(item.case):
            raise DistribError(f"{path} does not read back as the design that was meant")
        out.append(path)
    return out
