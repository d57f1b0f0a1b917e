"""Points of a study as cases: change the case, solve it, take the figures.

Everything here can be pickled, so that a worker anywhere can do it: the case travels as its TOML
text, the solver by its name.
"""

from __future__ import annotations

import contextlib
import importlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from distrib.errors import DistribError, InputError, Problem
from distrib.results import FloatArray, ModelName, Shares
from distrib.studies.evaluate import Chunk, Rows, first_line
from distrib.studies.plan import Dimension
from distrib.studies.table import Column

if TYPE_CHECKING:
    from distrib.case.schema import Case

RPM = "conditions.rpm"
CHARGE, EXHAUST = "conditions.charge_pressure", "engine.exhaust_pressure"
MODELS: tuple[ModelName, ...] = ("engine", "bench")
SOLVERS: dict[str, str] = {
    "bench": "distrib.build.bench:solve_bench",
    "engine": "distrib.build.engine:solve_engine",
}


@lru_cache(maxsize=4)
def _base_case(text: str, path: str) -> Any:
    """The case of one TOML text; cases are frozen, so that a worker may read it once."""
    from distrib.case.read import read_text

    return read_text(text, path)


def changed_case(base: Case, changes: Mapping[str, Any]) -> Case:
    """A case with changes; exhaust pressure follows a changed charge pressure at its old ratio."""
    from distrib.case.change import with_changes

    case = with_changes(base, changes)
    if CHARGE not in changes or EXHAUST in changes:
        return case
    ratio = base.engine.exhaust_pressure_pa / base.conditions.charge_pressure_pa
    exhaust = ratio * case.conditions.charge_pressure_pa
    if exhaust == case.engine.exhaust_pressure_pa:
        return case
    return with_changes(case, {EXHAUST: f"{exhaust!r} Pa absolute"})


def solver(name: str) -> Callable[..., Shares]:
    """The function behind "module:function"."""
    module, _, function = name.partition(":")
    try:
        found: Callable[..., Shares] = getattr(importlib.import_module(module), function)
    except (ImportError, AttributeError) as error:
        raise InputError([Problem("model", name, "a model that this program has")]) from error
    return found


BAND = (Column("spread_low_percent"), Column("spread_high_percent"))
"""Columns that a band adds: the central interval of the spread at BAND_LEVEL."""
BAND_LEVEL = 0.9


def figure_columns(cylinders: tuple[int, ...], band: bool = False) -> tuple[Column, ...]:
    """Columns of figures of one operating point, in the order of `figures`, then the band."""
    fixed = (Column("spread_percent"), Column("leanest_cylinder", "int"),
             Column("leanest_lambda"), Column("air_kg_s"), Column("mass_residual"))
    deviations = tuple(Column(f"deviation_percent_{c}") for c in cylinders)
    filling = tuple(Column(f"volumetric_efficiency_{c}") for c in cylinders)
    return fixed + deviations + filling + (BAND if band else ())


def figures(shares: Shares, lambda_target: float, air_following: float) -> FloatArray:
    """Figures (P, 5 + 2 N) of a result; NaN for points that did not converge.

    Volumetric efficiency is that of the charge; the bench model has none (NaN).
    """
    from distrib.fuelling.lambda_ import lambda_at_equal_fuel

    lambdas = lambda_at_equal_fuel(shares.air_kg_s, lambda_target,
                                   air_following_fraction=air_following)
    fixed = np.stack([shares.spread_percent, shares.leanest_cylinder.astype(np.float64),
                      np.fmax.reduce(lambdas, axis=-1), shares.air_kg_s.sum(axis=-1),
                      shares.mass_residual], axis=-1)
    filling = shares.volumetric_efficiency
    if filling is None:
        filling = np.full(shares.deviation_percent.shape, np.nan)
    out = np.concatenate([fixed, shares.deviation_percent, filling], axis=-1)
    out[~shares.converged] = np.nan
    return np.asarray(out, dtype=np.float64)


@dataclass(frozen=True)
class CaseEvaluate:
    """Evaluate points whose dimensions are dotted names of a case.

    Consecutive points that differ in speed only are solved in one call. Other arguments of the
    solver stand in `options`. A point the case refuses, or that has no solution, is a row without
    figures and with the reason. A varied charge pressure takes the exhaust pressure along at the
    case's ratio, unless that is varied too. With `samples`, everything uncertain is drawn so often
    (the same draws at every point) for the band of the spread about the nominal figure.
    """

    case_text: str
    case_path: str
    dimensions: tuple[Dimension, ...]
    model: ModelName
    cylinders: tuple[int, ...]
    solver: str
    options: tuple[tuple[str, Any], ...] = ()
    samples: int = 0
    seed: int = 1
    sampler: str = ""

    def __call__(self, chunk: Chunk) -> Rows:
        values = np.full((chunk.indices.size, len(figure_columns(self.cylinders,
                                                                 self.samples > 0))), np.nan)
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

    def warm(self) -> None:
        """Solve the case itself, so that kernels are compiled once, before workers need them."""
        options = dict(self.options)
        case = _base_case(self.case_text, self.case_path)
        if self.model != "bench":
            options["rpm"] = [case.conditions.rpm[0]]
        with contextlib.suppress(DistribError):
            solver(self.solver)(case, **options)

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
        changes = {d.name: d.value(points[0, j]) for j, d in enumerate(self.dimensions)
                   if d.name != RPM}
        case = changed_case(_base_case(self.case_text, self.case_path), changes)
        options = dict(self.options)
        for j, d in enumerate(self.dimensions):
            if d.name == RPM:
                options["rpm"] = points[:, j].copy()
        shares = solver(self.solver)(case, **options)
        if tuple(int(c) for c in shares.cylinders) != self.cylinders:
            raise InputError([Problem("cylinders", str(shares.cylinders.tolist()),
                                      f"{list(self.cylinders)} as in the case of the study")])
        found = figures(shares, case.fuel.lambda_target, case.fuel.air_following_fraction)
        if self.samples > 0:
            band = self._band(case, shares, options.get("rpm"))
            found = np.concatenate([found, band], axis=-1)
        return shares, found

    def _band(self, case: Any, shares: Shares, rpm: FloatArray | None) -> FloatArray:
        """Low and high of the spread, (P, 2): sampled spreads, moved by what their own nominal
        design (solved as they are) differs from the nominal figure.
        """
        from distrib.build.draws import Draws
        from distrib.studies.sampled import sampler
        from distrib.studies.sampling import quantile_band

        by = sampler(self.sampler or self.model)
        centre = by(case, rpm, Draws(), 1).spread_percent
        drawn = by(case, rpm, Draws(self.samples, self.seed), 1).spread_percent
        low, high = quantile_band(drawn - centre + shares.spread_percent, BAND_LEVEL)
        return np.stack([np.maximum(low, 0.0), high], axis=-1)
