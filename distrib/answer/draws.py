"""The engine figure under draws of what is uncertain: every draw solved, at every speed.

A draw belongs to a name ("law.run", "made.port.3", "supply.throttle.length"), so that two designs
meet the same draw of the same thing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from distrib.build.draws import Draws
from distrib.build.engine_setup import case_setup, drawn_setups
from distrib.case.schema import Case
from distrib.results import FloatArray
from distrib.unsteady.run import Options, run_many
from distrib.unsteady.setup import UnsteadySetup

DRAWS = 96
"""Draws of a band: its edges are then uncertain by about a tenth of its width."""
THREADS = 2
DRAW_CELL_M = 0.02
"""Cells of a draw, twice those of the nominal design. What a draw differs by from the nominal
design is formed on this one grid and put onto the nominal figure of the finer one."""
DRAW_ERROR_PERCENT = 0.26
"""Largest error of a drawn deviation against 10 mm cells, percent points: see
tests/answer/test_answer_draws.py, which holds it on the demo cases."""

Told = Callable[[int], None]
"""Called with the number of runs that were finished since the last call."""


def coarse_trapped(case: Case, points: Mapping[str, FloatArray],
                   threads: int = THREADS) -> FloatArray:
    """Trapped air of the nominal design with the cells of a draw, (P, N) kg; NaN: no solution."""
    setups = [case_setup(case, float(n), float(p), float(t)).setup for n, p, t in zip(
        points["rpm"], points["charge_pressure_pa"], points["charge_temperature_k"], strict=True)]
    return _trapped(setups, threads)


def drawn_trapped(case: Case, points: Mapping[str, FloatArray], draws: Draws,
                  told: Told | None = None, threads: int = THREADS) -> FloatArray:
    """Trapped air of every draw at every point, (P, S, N) kg; NaN where a run does not repeat.

    points: `build.points.operating_points`. Draws are run in the order of their longest duct, so
    that those side by side have like cells.
    """
    speeds = [float(n) for n in points["rpm"]]
    charge = [(float(p), float(t)) for p, t in zip(
        points["charge_pressure_pa"], points["charge_temperature_k"], strict=True)]
    made = {c: drawn_setups(case, speeds[0], draws, *c) for c in dict.fromkeys(charge)}
    order = np.argsort([max(d.length_m for d in s.ducts) for s in made[charge[0]]], kind="stable")
    out = np.full((len(speeds), draws.samples, len(case.runners)), np.nan)
    for p, (speed, c) in enumerate(zip(speeds, charge, strict=True)):
        out[p, order] = _trapped([replace(made[c][k], rpm=speed) for k in order], threads)
        if told is not None:
            told(draws.samples)
    return out


def _trapped(setups: list[UnsteadySetup], threads: int) -> FloatArray:
    runs = run_many(setups, Options(cell_m=DRAW_CELL_M), threads)
    return np.array([np.where(r.converged, r.trapped_air_kg, np.nan) for r in runs])
