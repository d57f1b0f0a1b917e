"""The engine figure under draws of what is uncertain: every draw solved, at every speed.

A draw belongs to a name ("law.run", "made.port.3", "supply.throttle.length"), so that two designs
meet the same draw of the same thing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from distrib.build.draws import Draws
from distrib.build.engine_setup import case_setup, drawn_setups
from distrib.case.schema import Case
from distrib.results import FloatArray
from distrib.unsteady.layout import cell_counts
from distrib.unsteady.result import UnsteadyResult
from distrib.unsteady.run import Options, run_many
from distrib.unsteady.setup import UnsteadySetup

DRAWS = 96
"""Draws of a band: its edges are then uncertain by about a tenth of its width."""
THREADS = 2
DRAW_CELL_M = 0.025
"""Cells of a draw, larger than those of the nominal design. What a draw differs by from the nominal
design is formed on this one grid and put onto the nominal figure of the finer one."""
DRAW_OPTIONS: Final = Options(cell_m=DRAW_CELL_M, cfl=0.95, tolerance=2e-3, longest_deg=2.0)
"""A draw repeats to 0.2 % of the air of a cylinder: a tenth or less of what draws scatter by."""
DRAW_ERROR_PERCENT = 0.26
"""Largest error of a drawn deviation against 10 mm cells, percent points: see
tests/answer/test_answer_draws.py, which holds it on the demo cases."""

Told = Callable[[int], None]
"""Called with the number of runs that were finished since the last call."""


def coarse_trapped(case: Case, points: Mapping[str, FloatArray],
                   threads: int = THREADS) -> FloatArray:
    """Trapped air of the nominal design with the cells of a draw, (P, N) kg; NaN: no solution."""
    return _trapped(_coarse(case, points, threads))


def drawn_trapped(case: Case, points: Mapping[str, FloatArray], draws: Draws,
                  told: Told | None = None, threads: int = THREADS
                  ) -> tuple[FloatArray, FloatArray]:
    """Trapped air of every draw at every point (P, S, N), and of the nominal design (P, N), kg.

    points: `build.points.operating_points`. NaN where a run does not repeat. Draws lie on the
    nominal design's cells and start from its last state at the same point; where the pipe before
    an entry is drawn they have cells of their own and start from rest.
    """
    count = points["rpm"].size
    nominal = _coarse(case, points, threads)
    charge = [(float(p), float(t)) for p, t in zip(
        points["charge_pressure_pa"], points["charge_temperature_k"], strict=True)]
    made = {c: drawn_setups(case, float(points["rpm"][0]), draws, *c)
            for c in dict.fromkeys(charge)}
    setups = [replace(made[c][k], rpm=float(n)) for k in range(draws.samples)
              for n, c in zip(points["rpm"], charge, strict=True)]
    own = any(entry.supply is None for entry in case.entries)
    runs = run_many(
        setups, DRAW_OPTIONS, threads, traces=False,
        warm=None if own else [r.final for r in nominal] * draws.samples,
        counts=None if own else cell_counts(case_setup(case, 1000.0).setup, DRAW_CELL_M),
        on_done=None if told is None else lambda _: told(1))
    air = _trapped(runs).reshape(draws.samples, count, -1).swapaxes(0, 1)
    return np.ascontiguousarray(air), _trapped(nominal)


def _coarse(case: Case, points: Mapping[str, FloatArray],
            threads: int) -> tuple[UnsteadyResult, ...]:
    """The nominal design at every point with the cells of a draw."""
    setups: list[UnsteadySetup] = []
    made: dict[tuple[float, float], UnsteadySetup] = {}
    for n, p, t in zip(points["rpm"], points["charge_pressure_pa"],
                       points["charge_temperature_k"], strict=True):
        charge = (float(p), float(t))
        if charge not in made:
            made[charge] = case_setup(case, float(n), *charge).setup
        setups.append(replace(made[charge], rpm=float(n)))
    return run_many(setups, DRAW_OPTIONS, threads, traces=False)


def _trapped(runs: Sequence[UnsteadyResult]) -> FloatArray:
    return np.array([np.where(r.converged, r.trapped_air_kg, np.nan) for r in runs])
