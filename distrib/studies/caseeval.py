"""Points of a study as cases: change the case, solve it, take the figures.

Everything here can be pickled, so that a worker anywhere can do it: the case travels as its TOML
text, the solver by its name.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from distrib.errors import DistribError, InputError, Problem
from distrib.results import FloatArray, ModelName, Shares
from distrib.studies.evaluate import Chunk, Rows, first_line
from distrib.studies.plan import Dimension
from distrib.studies.table import Column

RPM = "conditions.rpm"
MODELS: tuple[ModelName, ...] = ("bench", "phased", "wave")
SOLVERS: dict[str, str] = {
    "bench": "distrib.build.bench:solve_bench",
    "phased": "distrib.build.phased:solve_phased",
    "wave": "distrib.build.wave:solve_wave",
}


@lru_cache(maxsize=4)
def _base_case(text: str, path: str) -> Any:
    """The case of one TOML text; cases are frozen, so that a worker may read it once."""
    from distrib.case.read import read_text

    return read_text(text, path)


def solver(name: str) -> Callable[..., Shares]:
    """The function behind "module:function"."""
    module, _, function = name.partition(":")
    try:
        found: Callable[..., Shares] = getattr(importlib.import_module(module), function)
    except (ImportError, AttributeError) as error:
        raise InputError([Problem("model", name, "a model that this program has")]) from error
    return found


def figure_columns(cylinders: tuple[int, ...]) -> tuple[Column, ...]:
    """Columns of figures of one operating point, in the order of `figures`."""
    fixed = (Column("spread_percent"), Column("leanest_cylinder", "int"),
             Column("leanest_lambda"), Column("air_kg_s"), Column("mass_residual"))
    return fixed + tuple(Column(f"deviation_percent_{c}") for c in cylinders)


def figures(shares: Shares, lambda_target: float, air_following: float) -> FloatArray:
    """Figures (P, 5 + N) of a result; NaN for points that did not converge."""
    from distrib.fuelling.lambda_ import lambda_at_equal_fuel

    lambdas = lambda_at_equal_fuel(shares.air_kg_s, lambda_target,
                                   air_following_fraction=air_following)
    fixed = np.stack([shares.spread_percent, shares.leanest_cylinder.astype(np.float64),
                      lambdas.max(axis=-1), shares.air_kg_s.sum(axis=-1), shares.mass_residual],
                     axis=-1)
    out = np.concatenate([fixed, shares.deviation_percent], axis=-1)
    out[~shares.converged] = np.nan
    return np.asarray(out, dtype=np.float64)


@dataclass(frozen=True)
class CaseEvaluate:
    """Evaluate points whose dimensions are dotted names of a case.

    Consecutive points that differ in speed only are solved in one call. `boost_pa` and other
    arguments of the solver stand in `options`. A point the case refuses, or that has no solution,
    is a row without figures and with the reason.
    """

    case_text: str
    case_path: str
    dimensions: tuple[Dimension, ...]
    model: ModelName
    cylinders: tuple[int, ...]
    solver: str
    options: tuple[tuple[str, Any], ...] = ()

    def __call__(self, chunk: Chunk) -> Rows:
        values = np.full((chunk.indices.size, len(figure_columns(self.cylinders))), np.nan)
        reasons = [""] * chunk.indices.size
        for rows in self._groups(chunk.points):
            try:
                shares, found = self._solve(chunk.points[rows])
            except DistribError as error:
                for row in rows:
                    reasons[row] = first_line(error)
                continue
            values[rows] = found
            for i, row in enumerate(rows):
                if not shares.converged[i]:
                    said = shares.reason[i] if i < len(shares.reason) else ""
                    reasons[row] = said or "did not converge"
        return Rows(values, tuple(reasons))

    def _groups(self, points: FloatArray) -> Iterator[list[int]]:
        """Runs of consecutive rows that differ in speed only; single rows without a speed."""
        speed = [d.name == RPM for d in self.dimensions]
        if not any(speed):
            yield from ([i] for i in range(points.shape[0]))
            return
        others = points[:, ~np.array(speed)]
        start = 0
        for i in range(1, points.shape[0] + 1):
            if i == points.shape[0] or (others[i] != others[start]).any():
                yield list(range(start, i))
                start = i

    def _solve(self, points: FloatArray) -> tuple[Shares, FloatArray]:
        from distrib.case.change import with_changes

        changes = {d.name: d.value(points[0, j]) for j, d in enumerate(self.dimensions)
                   if d.name != RPM}
        case = with_changes(_base_case(self.case_text, self.case_path), changes)
        options = dict(self.options)
        for j, d in enumerate(self.dimensions):
            if d.name == RPM:
                options["rpm"] = points[:, j].copy()
        shares = solver(self.solver)(case, **options)
        if tuple(int(c) for c in shares.cylinders) != self.cylinders:
            raise InputError([Problem("cylinders", str(shares.cylinders.tolist()),
                                      f"{list(self.cylinders)} as in the case of the study")])
        return shares, figures(shares, case.fuel.lambda_target, case.fuel.air_following_fraction)
