"""The engine model of a case: shares, volumetric efficiency, runner Mach number, plenum droop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from distrib.build.collect import shares_result
from distrib.build.engine_setup import CaseSetup, case_setup
from distrib.build.graph import runner_order
from distrib.build.points import operating_points
from distrib.case.schema import Case
from distrib.results import FloatArray, Profile, Shares, Source
from distrib.unsteady.grid import GridEstimate, cell_for_accuracy, convergence
from distrib.unsteady.reduce import valve_ducts
from distrib.unsteady.result import UnsteadyResult
from distrib.unsteady.run import Options, run_many

NO_REASON = ""

SOURCES = (
    Source("unsteady.scheme", "Toro, Riemann Solvers and Numerical Methods for Fluid "
           "Dynamics (2009), chapters 10 and 14: MUSCL-Hancock, HLLC", "published"),
    Source("unsteady.ends", "constant-pressure model of a restriction at a duct end, isentropic "
           "wave; derived anew, form after Benson (1982) from memory", "from memory"),
    Source("unsteady.end_correction", "Norris and Sheng, J. Sound Vib. 135 (1989) 85: flanged end "
           "correction 0.8216 of the radius, at every mouth", "published"),
    Source("unsteady.closed_cycle", "polytropes, heat at top dead centre, for blow-down and "
           "residuals only; exponents and efficiency from memory", "from memory"),
)
"""What the engine model rests on beside the loss laws."""


@dataclass(frozen=True)
class EngineRun:
    """Setups and raw results of a case at (P,) points, traces included."""

    case: Case
    points: dict[str, FloatArray]
    setups: tuple[CaseSetup, ...]
    results: tuple[UnsteadyResult, ...]


def run_engine(
    case: Case, *, rpm: ArrayLike | None = None, charge_pressure_pa: ArrayLike | None = None,
    charge_temperature_k: ArrayLike | None = None, options: Options | None = None,
    accuracy_percent: float | None = None, threads: int = 1,
) -> EngineRun:
    """Solve the engine model at all points; conditions broadcast, defaults from the case.

    `accuracy_percent`: wanted accuracy of the deviations, percent points; sets the cell length
    (`distrib.unsteady.grid.cell_for_accuracy`). Without it, and without `options`, cells of 10 mm.
    InputError for impossible conditions. A point that fails holds NaN and its reason.
    """
    chosen = options or Options()
    if accuracy_percent is not None:
        chosen = replace(chosen, cell_m=cell_for_accuracy(accuracy_percent))
    points = operating_points(case, rpm, charge_pressure_pa, charge_temperature_k)
    setups = tuple(
        case_setup(case, float(n), float(p), float(t))
        for n, p, t in zip(points["rpm"], points["charge_pressure_pa"],
                           points["charge_temperature_k"], strict=True))
    results = run_many([s.setup for s in setups], chosen, threads)
    return EngineRun(case, points, setups, results)


def solve_engine(
    case: Case, *, rpm: ArrayLike | None = None, charge_pressure_pa: ArrayLike | None = None,
    charge_temperature_k: ArrayLike | None = None, options: Options | None = None,
    accuracy_percent: float | None = None, threads: int = 1,
) -> Shares:
    """Shares of the engine model at (P,) points; conditions broadcast, defaults from the case.

    A cylinder's air is the fresh air trapped when its intake valve closes, times rpm/120. Exhaust
    pressure keeps its ratio to the charge pressure. Volumetric efficiency refers to the charge's
    density. `extra` (P, N): mach_mean, mach_peak, back_flow_share, residual_share,
    trapped_pressure_pa, port_pressure_pa (mean over the cycle), station_pressure_pa, droop_pa,
    recovery; (P,): cycles.
    `accuracy_percent` or `options.cell_m` sets the grid, see `run_engine`; `grid_estimate` says
    what the grid contributes.
    """
    run = run_engine(case, rpm=rpm, charge_pressure_pa=charge_pressure_pa,
                   charge_temperature_k=charge_temperature_k, options=options,
                   accuracy_percent=accuracy_percent, threads=threads)
    return engine_shares(run)


def grid_estimate(case: Case, *, rpm: float, options: Options | None = None,
                  threads: int = 1) -> GridEstimate:
    """Error that the grid leaves in the deviations and volumetric efficiencies of one point.

    Three runs with cells twice, once and half the chosen length; see `unsteady.grid.convergence`.
    """
    return convergence(case_setup(case, rpm).setup, options or Options(), threads)


def engine_shares(run: EngineRun) -> Shares:
    """The common result of an engine run."""
    results = run.results
    air = _stack([r.trapped_air_kg for r in results]) * run.points["rpm"][:, None] / 120.0
    converged = np.array([r.converged for r in results])
    residual = np.array([abs(r.mass_error[-1]) if r.mass_error.size else np.nan for r in results])
    first = run.setups[0]
    shares = shares_result(
        run.case, "engine", air, run.points, converged, residual,
        tuple(r.reason if not r.converged else NO_REASON for r in results), first.built,
        _profiles(run), more_assumed=first.assumed,
        trapped_air_kg=_stack([r.trapped_air_kg for r in results]),
        volumetric_efficiency=_stack([r.volumetric_efficiency for r in results]),
        extra=_extra(run))
    notes = dict.fromkeys((*shares.warnings, *(w for s in run.setups for w in s.warnings),
                           *(w for r in results for w in r.warnings)))
    return replace(shares, warnings=tuple(notes), sources=(*shares.sources, *SOURCES))


def _stack(rows: Sequence[FloatArray]) -> FloatArray:
    return np.stack([np.asarray(r, dtype=np.float64) for r in rows])


def _extra(run: EngineRun) -> dict[str, FloatArray]:
    results = run.results
    with np.errstate(invalid="ignore"):
        back = _stack([r.back_flow_kg / r.trapped_air_kg for r in results])
    out = {
        "mach_mean": _stack([r.mach_mean for r in results]),
        "mach_peak": _stack([r.mach_peak for r in results]),
        "back_flow_share": back,
        "residual_share": _stack([r.residual_fraction for r in results]),
        "trapped_pressure_pa": _stack([r.trapped_pressure_pa for r in results]),
        "cycles": np.array([float(r.cycles) for r in results]),
        "port_pressure_pa": _stack([_port_pressure(run, k) for k in range(len(results))]),
    }
    count = len(runner_order(run.case))
    for name, field in (("station_pressure_pa", "mean_pa"), ("droop_pa", "droop_pa"),
                        ("recovery", "recovery")):
        table = np.full((len(results), count), np.nan)
        for row, r in zip(table, results, strict=True):
            if r.stations is not None:
                for k, c in enumerate(r.stations.cylinder):
                    if c >= 0:
                        row[c] = getattr(r.stations, field)[k]
        out[name] = table
    return out


def _port_pressure(run: EngineRun, point: int) -> FloatArray:
    """Mean pressure over the cycle in the last cell before each cylinder's valve, (N,) Pa."""
    result, setup = run.results[point], run.setups[point].setup
    if result.traces is None:
        return np.full(len(setup.cylinders), np.nan)
    sides = (result.traces.left, result.traces.right)
    return np.array([sides[side][2, :, duct].mean() for duct, side in valve_ducts(setup)])


def _profiles(run: EngineRun) -> tuple[Profile, ...]:
    """Cycle-mean static pressure and velocity (mass flow over mean density) along each plenum."""
    out = []
    for name, duct in run.setups[0].plenum_ducts.items():
        metal = run.setups[0].setup.ducts[duct]
        good = [r.traces.along[duct] for r in run.results if r.traces is not None]
        if not good:
            continue
        x = good[0][0]
        p = np.full((len(run.results), x.size), np.nan)
        w = p.copy()
        for k, r in enumerate(run.results):
            if r.traces is not None:
                rows = r.traces.along[duct][1]
                p[k] = rows[2].mean(axis=0)
                w[k] = (rows[0] * rows[1]).mean(axis=0) / rows[0].mean(axis=0)
        out.append(Profile(name, x, p, w, np.interp(x, metal.x_m, metal.area_m2)))
    return tuple(out)
