"""The wave model under draws of what is uncertain: every draw solved, none taken over.

A draw changes the losses of the graph that all models read, wall friction, the bore of every runner
as made and the flow of every port, by the same names as in the phased model, so that two designs,
and two models, meet the same draw.
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np

from distrib.build.draws import Draws
from distrib.build.wave_setup import case_setup
from distrib.case.schema import Case
from distrib.results import FloatArray
from distrib.wave.run import Options, solve

SAMPLE_CELL_M = 0.02
"""Cells of a draw, twice those of a nominal run, for less than half of its time. What a draw
differs by from the nominal design is formed on one grid and put onto the nominal figure of the
finer one; it is then within a tenth of its own scatter of what the finer grid gives
(tests/wave/test_wave_draws.py)."""


@dataclass(frozen=True)
class OneDraw(Draws):
    """Draw number `index` of `of`, by itself."""

    of: Draws = field(default_factory=Draws)
    index: int = 0
    drawn: dict[str, FloatArray] = field(default_factory=dict)

    def z(self, name: str) -> FloatArray | float:
        """The one value, (1,); all of a name are drawn once for all indices that share `drawn`."""
        if name not in self.drawn:
            self.drawn[name] = np.asarray(self.of.z(name))
        return self.drawn[name][self.index:self.index + 1]


def each_draw(draws: Draws) -> tuple[OneDraw, ...]:
    """Every draw by itself."""
    drawn: dict[str, FloatArray] = {}
    return tuple(OneDraw(samples=1, seed=draws.seed, of=draws, index=i, drawn=drawn)
                 for i in range(draws.samples))


def wave_trapped(
    case: Case, points: Mapping[str, FloatArray], draws: Draws, *,
    options: Options | None = None, threads: int = 1,
) -> tuple[FloatArray, FloatArray]:
    """Trapped air of every draw (P, S, N) and of the nominal design on the same grid (P, N), kg.

    points: `build.phased.operating_points`. NaN where a run does not repeat. Costs (S + 1) P runs.
    """
    chosen = options or Options(cell_m=SAMPLE_CELL_M)
    rows = list(zip(points["rpm"], points["charge_pressure_pa"], points["charge_temperature_k"],
                    strict=True))
    many = [Draws(), *each_draw(draws)]

    def one(job: tuple[tuple[float, float, float], Draws]) -> FloatArray:
        (rpm, pressure, temperature), draw = job
        setup = case_setup(case, float(rpm), float(pressure), float(temperature), draw).setup
        found = solve(setup, chosen)
        return np.where(found.converged, found.trapped_air_kg, np.nan)

    jobs = [(row, draw) for row in rows for draw in many]
    if threads > 1:
        with ThreadPoolExecutor(threads) as pool:
            found = list(pool.map(one, jobs))
    else:
        found = [one(job) for job in jobs]
    table = np.array(found).reshape(len(rows), len(many), -1)
    return np.ascontiguousarray(table[:, 1:]), np.ascontiguousarray(table[:, 0])
