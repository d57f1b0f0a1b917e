"""The engine model under draws of what is uncertain: every draw solved, none taken over.

A draw changes the losses of the graph that all models read, wall friction, the bore of every runner
as made and the flow of every port, by the same names as in the phased model, so that two designs,
and two models, meet the same draw; and pressure and temperature of the charge.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from distrib.build.band import THREADS, band_of
from distrib.build.draws import Draws, parts_of
from distrib.build.engine_setup import case_setup
from distrib.build.phased import operating_points
from distrib.case.schema import Case
from distrib.results import Band, FloatArray, Shares, deviation_of_air
from distrib.unsteady.layout import cell_counts
from distrib.unsteady.run import Options, run_many
from distrib.unsteady.setup import UnsteadySetup

ENGINE_DRAWS = 24
"""Draws of a band: the edges of a 90 % band are then uncertain by about a fifth of its width."""

SAMPLE_CELL_M = 0.02
"""Cells of a draw, twice those of a nominal run, for less than half of its time. What a draw
differs by from the nominal design is formed on one grid and put onto the nominal figure of the
finer one; it is then within a tenth of its own scatter of what the finer grid gives
(tests/unsteady/test_engine_draws.py)."""


def _charge_draw(case: Case, draw: Draws) -> tuple[float, float]:
    """Factor on the charge pressure and kelvins added to the charge temperature.

    Waves run with the speed of sound, so that their tuning follows the temperature. The network
    models draw neither: with exhaust and charge pressure all its pressures and flows scale alike,
    and a few kelvins move its shares by less than a hundredth of a percent (see the tests).
    """
    sigma = case.uncertainty
    pressure = draw.factor("conditions.charge_pressure", sigma.charge_pressure_percent / 100.0)
    warmer = sigma.charge_temperature_kelvin * draw.z("conditions.charge_temperature")
    return float(np.ravel(pressure)[0]), float(np.ravel(warmer)[0])


def engine_trapped(
    case: Case, points: Mapping[str, FloatArray], draws: Draws, *,
    options: Options | None = None, threads: int = 1,
) -> tuple[FloatArray, FloatArray]:
    """Trapped air of every draw (P, S, N) and of the nominal design on the same grid (P, N), kg.

    points: `build.phased.operating_points`. NaN where a run does not repeat. Costs (S + 1) P
    runs, side by side.
    """
    chosen = options or Options(cell_m=SAMPLE_CELL_M)
    speeds = [float(n) for n in points["rpm"]]
    setups: list[UnsteadySetup] = []
    for draw in (Draws(), *parts_of(draws, range(draws.samples + 1))):
        pressure, warmer = _charge_draw(case, draw)
        charge = [(float(p) * pressure, float(t) + warmer) for p, t in zip(
            points["charge_pressure_pa"], points["charge_temperature_k"], strict=True)]
        built = {c: case_setup(case, speeds[0], *c, draw).setup for c in dict.fromkeys(charge)}
        setups += [replace(built[c], rpm=n) for n, c in zip(speeds, charge, strict=True)]
    count, grid = len(speeds), cell_counts(setups[0], chosen.cell_m)
    runs = run_many(setups, chosen, threads, counts=grid)
    table = np.array([np.where(r.converged, r.trapped_air_kg, np.nan) for r in runs])
    table = table.reshape(draws.samples + 1, count, -1).swapaxes(0, 1)
    return np.ascontiguousarray(table[:, 1:]), np.ascontiguousarray(table[:, 0])


def engine_band(
    case: Case, nominal: Shares, *, rpm: ArrayLike | None = None,
    charge_pressure_pa: ArrayLike | None = None, charge_temperature_k: ArrayLike | None = None,
    draws: int = ENGINE_DRAWS, seed: int | None = None,
) -> Band:
    """Band about a nominal engine result at the same (P,) points, every draw solved.

    The engine model's own error (grid, one dimension) is not in it. NaN at a point where fewer than
    20 draws repeat.
    """
    points = operating_points(case, rpm, charge_pressure_pa, charge_temperature_k)
    chosen = case.uncertainty.seed if seed is None else seed
    trapped, centre = engine_trapped(case, points, Draws(draws, chosen), threads=THREADS)

    return band_of(nominal.deviation_percent, deviation_of_air(trapped), deviation_of_air(centre),
                   case.limits.lean_percent, chosen)
