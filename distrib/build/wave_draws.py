"""The wave model under draws of what is uncertain: every draw solved, none taken over.

A draw changes the losses of the graph that all models read, wall friction, the bore of every runner
as made and the flow of every port, by the same names as in the phased model, so that two designs,
and two models, meet the same draw.
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace

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
    speeds = [float(n) for n in points["rpm"]]
    charge = list(zip(map(float, points["charge_pressure_pa"]),
                      map(float, points["charge_temperature_k"]), strict=True))

    def one(draw: Draws) -> list[FloatArray]:
        setups = {c: case_setup(case, speeds[0], *c, draw).setup for c in set(charge)}
        runs = [solve(replace(setups[c], rpm=n), chosen)
                for n, c in zip(speeds, charge, strict=True)]
        return [np.where(r.converged, r.trapped_air_kg, np.nan) for r in runs]

    many = [Draws(), *each_draw(draws)]
    if threads > 1:
        with ThreadPoolExecutor(threads) as pool:
            found = list(pool.map(one, many))
    else:
        found = [one(draw) for draw in many]
    table = np.array(found).swapaxes(0, 1)
    return np.ascontiguousarray(table[:, 1:]), np.ascontiguousarray(table[:, 0])
