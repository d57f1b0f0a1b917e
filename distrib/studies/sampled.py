"""One case under many draws of what is uncertain: the bridge from studies to the models.

A draw belongs to a name ("law.run", "made.runner.3.diameter"); two cases sampled with the same
seed meet the same draw of the same name, so their difference is formed draw by draw.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from distrib.build.draws import Draws
from distrib.errors import InputError, Problem
from distrib.results import FloatArray, IntArray, deviation_of_air

if TYPE_CHECKING:
    from distrib.case.schema import Case


@dataclass(frozen=True)
class Sampled:
    """Deviation in percent (S, P, N) and air of each cylinder in kg/s (S, P, N); NaN: no solution.

    S draws, P operating points, N cylinders in the order of `cylinders`.
    """

    cylinders: IntArray
    air_kg_s: FloatArray

    @property
    def deviation_percent(self) -> FloatArray:
        """Deviation of each cylinder, (S, P, N)."""
        return deviation_of_air(self.air_kg_s)

    @property
    def spread_percent(self) -> FloatArray:
        """Largest less smallest deviation, (S, P)."""
        return np.asarray(np.ptp(self.deviation_percent, axis=-1))

    @property
    def total_kg_s(self) -> FloatArray:
        """Air of all cylinders, (S, P)."""
        return np.asarray(self.air_kg_s.sum(axis=-1))


Sampler = Callable[["Case", "FloatArray | None", Draws, int], Sampled]
"""(case, speeds (P,) or None, draws, threads) -> Sampled"""
SAMPLERS: dict[str, str] = {
    "bench": "distrib.studies.sampled:sample_bench",
    "engine": "distrib.studies.sampled:sample_engine",
}


@dataclass(frozen=True)
class GivenDraws(Draws):
    """Draws that are given by name, (samples,) each; names that are not given stay nominal."""

    given: Mapping[str, FloatArray] = field(default_factory=dict)

    def z(self, name: str) -> FloatArray | float:
        """The given draw, repeated for each operating point."""
        if name not in self.given:
            return np.zeros(self.samples * self.repeat)
        return np.tile(self.given[name], self.repeat)


@dataclass(frozen=True)
class _Recorder(Draws):
    """One nominal draw that notes which names were asked for."""

    seen: dict[str, None] = field(default_factory=dict)

    def z(self, name: str) -> FloatArray | float:
        self.seen[name] = None
        return np.zeros(self.samples * self.repeat)


def sampler(name: str) -> Sampler:
    """The sampler of a model, or one by "module:function"."""
    module, _, function = SAMPLERS.get(name, name).partition(":")
    if not function:
        raise InputError([Problem("model", f'"{name}"', ", ".join(SAMPLERS))])
    found: Sampler = getattr(importlib.import_module(module), function)
    return found


def sample_bench(case: Case, rpm: FloatArray | None, draws: Draws, threads: int = 1) -> Sampled:
    """The steady rig; one operating point, whatever the speeds."""
    from distrib.build.bench import solve_bench

    shares = solve_bench(case, draws=draws, threads=threads)
    return Sampled(shares.cylinders, shares.air_kg_s[:, None, :])


def sample_engine(case: Case, rpm: FloatArray | None, draws: Draws, threads: int = 1) -> Sampled:
    """The engine figure at the given speeds, or those of the case, every draw solved.

    All is solved with the cells of a draw (`answer.draws`), the nominal design too.
    """
    from distrib.answer.draws import coarse_trapped, drawn_trapped
    from distrib.build.graph import runner_order
    from distrib.build.points import operating_points

    points = operating_points(case, rpm, None, None)
    trapped = (drawn_trapped(case, points, draws, threads=threads)[0].swapaxes(0, 1)
               if draws.samples else coarse_trapped(case, points, threads)[None])
    return Sampled(np.array(runner_order(case)), trapped * points["rpm"][None, :, None] / 120.0)


def uncertain_names(case: Case, model: str = "bench") -> tuple[str, ...]:
    """Names of everything a model draws for a case, in order of the building.

    Found by building (and solving) it once with a nominal draw.
    """
    recorder = _Recorder(samples=1)
    sampler(model)(case, np.array([case.conditions.rpm[0]]), recorder, 1)
    return tuple(recorder.seen)


def sample(case: Case, model: str = "engine", *, rpm: Sequence[float] | None = None,
           samples: int = 96, seed: int = 1, threads: int = 1) -> Sampled:
    """Draw `samples` times from everything uncertain in a case and solve it at each speed."""
    speeds = None if rpm is None else np.asarray(rpm, dtype=np.float64)
    return sampler(model)(case, speeds, Draws(samples, seed), threads)


def given(names: Sequence[str], points: FloatArray) -> GivenDraws:
    """Draws from points (n, k) of standard normal values, one column a name."""
    columns: dict[str, Any] = {name: points[:, j].copy() for j, name in enumerate(names)}
    return GivenDraws(samples=points.shape[0], given=columns)
