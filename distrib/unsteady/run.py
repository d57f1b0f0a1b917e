"""Run a setup: to a time, or cycle after cycle until the cycle repeats; several side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from distrib.results import FloatArray
from distrib.unsteady import tables as tb
from distrib.unsteady.layout import (
    advance,
    build_model,
    cell_edges,
    new_record,
    recorded_cells,
)
from distrib.unsteady.reduce import read_traces, summarise
from distrib.unsteady.result import Traces, UnsteadyResult, failed
from distrib.unsteady.setup import ToValve, UnsteadySetup


@dataclass(frozen=True)
class Options:
    """How to solve. All defaults are own choices.

    `cell_m`: wanted cell length (each duct gets equal cells not longer than this, three at
    least). `cfl`: Courant number, below 1. The cycle repeats when between two cycles no cylinder's
    trapped fresh air moves by more than `tolerance` of the mean, and the mass stored in the whole
    system changes by less than `drift_tolerance` of the throughput (dead ends of a plenum warm up
    over very many cycles, with no effect on the cylinders; hence the second, wider limit).
    `trace_step_deg`: spacing of traces. `longest_deg`: upper limit of a step, crank degrees.
    """

    cell_m: float = 0.01
    cfl: float = 0.9
    tolerance: float = 2e-4
    drift_tolerance: float = 2e-3
    max_cycles: int = 60
    trace_step_deg: float = 2.0
    longest_deg: float = 1.0
    most_steps_per_cycle: int = 2_000_000


DEFAULT_OPTIONS = Options()


def stored(model: tb.Model) -> tuple[float, float]:
    """Mass (kg) and total energy (J) inside ducts, finite volumes and cylinders."""
    real = model.grid[tb.INV_VOLUME] > 0.0
    size = 1.0 / model.grid[tb.INV_VOLUME][real]
    mass = math.fsum(model.cells[tb.RHO][real] * size)
    energy = math.fsum(model.cells[tb.ENE][real] * size)
    tanks = model.tanks[model.tanks["finite"] == 1]
    return mass + math.fsum(tanks["mass"]), energy + math.fsum(tanks["energy"])


def audit_errors(model: tb.Model, before: tuple[float, float]) -> tuple[float, float]:
    """Unaccounted mass and energy since the audit was reset, over the throughput."""
    mass, energy = stored(model)
    a = dict(zip(tb.AUDIT, model.audit.tolist(), strict=True))
    dm = mass - before[0] - (a["mass_in"] - a["exhaust_mass"])
    de = energy - before[1] - (a["energy_in"] + a["heat"] - a["work"] + a["combustion"]
                               - a["exhaust_energy"])
    through_m = max(a["mass_throughput"], 1e-300)
    through_e = max(a["energy_throughput"] + abs(a["work"]) + abs(a["combustion"]), 1e-300)
    return dm / through_m, de / through_e


def explain(model: tb.Model, setup: UnsteadySetup, status: int, cell_m: float) -> str:
    """A status in words, with place and crank angle."""
    t = float(model.clock[0])
    when = f"at {t:.6g} s" if setup.rpm is None else f"at {6.0 * setup.rpm * t:.1f} deg"
    if status == tb.JUNCTION_FAILED:
        return f"a junction did not close {when}"
    if status == tb.TOO_MANY_STEPS:
        return f"more steps than allowed; stopped {when}"
    if status == tb.EMPTY_VOLUME:
        return f"a volume or cylinder ran empty {when}"
    cells = model.cells
    bad = ~((cells[tb.RHO] > 0.0) & (cells[tb.P] > 0.0) & np.isfinite(cells[tb.U]))
    for k, duct in enumerate(setup.ducts):
        here = np.flatnonzero(bad[model.first[k]:model.first[k] + model.count[k]])
        if here.size:
            edges = cell_edges(duct, cell_m)
            x = 0.5 * (edges[here[0]] + edges[here[0] + 1])
            return (f"negative or undefined pressure or density in duct {duct.name} at "
                    f"x = {x:.4g} m, {when}")
    return f"undefined state at a duct end, {when}"


def run_time(setup: UnsteadySetup, stop_s: float, samples: int, options: Options = DEFAULT_OPTIONS,
             ) -> tuple[Traces, tuple[float, float]]:
    """Solve from the start state to `stop_s` and return traces at `samples` equal times.

    Also the audit errors (mass, energy over throughput). For problems without a crank, though a
    crank is allowed. Raises InputError for a wrong setup and RuntimeError with the reason if the
    solution fails.
    """
    model = build_model(setup, options.cell_m)
    record = new_record(model, recorded_cells(setup, model), samples, 0.0,
                        stop_s / max(samples - 1, 1))
    before = stored(model)
    status = advance(model, record, setup, stop_s, cfl=options.cfl,
                     most_steps=options.most_steps_per_cycle)
    if status != tb.OK:
        raise RuntimeError(explain(model, setup, status, options.cell_m))
    return read_traces(model, record, setup, options.cell_m), audit_errors(model, before)


def valve_warnings(setup: UnsteadySetup, model: tb.Model) -> tuple[str, ...]:
    """Where a valve's effective area exceeds the end of its duct, so that the port governs."""
    out = []
    for k, duct in enumerate(setup.ducts):
        for side, end in ((0, duct.left), (1, duct.right)):
            if isinstance(end, ToValve):
                area = float(model.ends[2 * k + side]["area"])
                over = model.areas[0, end.cylinder] * end.share > area
                if np.any(over):
                    deg = float(np.count_nonzero(over)) * 720.0 / over.size
                    out.append(f"{duct.name}: valve flow area exceeds the duct end for {deg:.0f} "
                               "deg; the duct end governs there")
    return tuple(out)


def solve(setup: UnsteadySetup, options: Options = DEFAULT_OPTIONS) -> UnsteadyResult:
    """Run cycles until the cycle repeats (see `Options.tolerance`), then one more with traces.

    Raises InputError for a wrong setup (every mistake listed, also a missing crank). A run that
    fails or does not repeat within `max_cycles` returns NaN numbers and the reason.
    """
    model = build_model(setup, options.cell_m)
    count = len(setup.cylinders)
    if setup.rpm is None or count == 0:
        return failed(math.nan, count, options.cell_m, "no crank: a setup for `solve` needs rpm "
                      "and cylinders")
    warnings = valve_warnings(setup, model)
    degrees_per_s = 6.0 * setup.rpm
    period = 720.0 / degrees_per_s
    cell = recorded_cells(setup, model)
    idle = new_record(model, cell, 0, 0.0, 1.0)
    rows = round(720.0 / options.trace_step_deg)
    last = np.full(count, np.nan)
    change: list[tuple[float, float]] = []
    errors: list[tuple[float, float]] = []
    record, repeated = idle, False
    for cycle in range(1, options.max_cycles + 2):
        before = stored(model)
        model.audit[:] = 0.0
        model.pots["through"] = 0.0
        model.pots["back_flow"] = 0.0
        if repeated:
            record = new_record(model, cell, rows, float(model.clock[0]), period / rows)
        status = advance(model, record, setup, cycle * period, cfl=options.cfl,
                         longest_s=options.longest_deg / degrees_per_s,
                         most_steps=options.most_steps_per_cycle)
        steps = int(model.clock[1])
        if status != tb.OK:
            return failed(setup.rpm, count, options.cell_m,
                          explain(model, setup, status, options.cell_m), cycle, steps,
                          np.asarray(change), warnings)
        errors.append(audit_errors(model, before))
        now = model.pots["fresh"].copy()
        through = max(float(np.abs(model.pots["through"]).sum()), 1e-300)
        drift = abs(stored_ducts_change(model, before)) / through
        moved = float(np.max(np.abs(now - last))) / max(float(np.mean(np.abs(now))), 1e-300)
        change.append((moved, drift))
        last = now
        if repeated:
            return summarise(model, record, setup, options.cell_m, cycle, steps,
                             np.asarray(errors), np.asarray(change), warnings)
        repeated = (cycle > 1 and moved <= options.tolerance
                    and drift <= options.drift_tolerance)
        if not repeated and cycle >= options.max_cycles:
            break
    return failed(setup.rpm, count, options.cell_m,
                  f"the cycle did not repeat within {options.max_cycles} cycles: last change "
                  f"of trapped air {change[-1][0]:.2g} (allowed {options.tolerance:.2g}), of "
                  f"stored mass {change[-1][1]:.2g} (allowed {options.drift_tolerance:.2g})",
                  options.max_cycles,
                  int(model.clock[1]), np.asarray(change), warnings)


def stored_ducts_change(model: tb.Model, before: tuple[float, float]) -> float:
    """Change of all stored mass since `before`, kg (over a whole cycle 0 when periodic)."""
    return stored(model)[0] - before[0]


def run_many(setups: Sequence[UnsteadySetup], options: Options = DEFAULT_OPTIONS,
             threads: int = 1) -> tuple[UnsteadyResult, ...]:
    """Solve many designs or speeds side by side; results in the order of `setups`.

    The kernels release the interpreter lock, so `threads` uses that many cores. Results do not
    depend on the number of threads.
    """
    if threads <= 1 or len(setups) < 2:
        return tuple(solve(s, options) for s in setups)
    with ThreadPoolExecutor(max_workers=threads) as pool:
        return tuple(pool.map(lambda s: solve(s, options), setups))


def cell_averages(setup: UnsteadySetup, stop_s: float, options: Options = DEFAULT_OPTIONS,
                  duct: int = 0) -> tuple[FloatArray, FloatArray]:
    """State of one duct at `stop_s`: cell centres x (n,) and rows density, velocity, pressure,
    burned fraction (4, n). Raises RuntimeError with the reason if the solution fails."""
    model = build_model(setup, options.cell_m)
    status = advance(model, new_record(model, recorded_cells(setup, model), 0, 0.0, 1.0), setup,
                     stop_s, cfl=options.cfl, most_steps=options.most_steps_per_cycle)
    if status != tb.OK:
        raise RuntimeError(explain(model, setup, status, options.cell_m))
    edges = cell_edges(setup.ducts[duct], options.cell_m)
    here = slice(int(model.first[duct]), int(model.first[duct] + model.count[duct]))
    rows = model.cells[[tb.RHO, tb.U, tb.P, tb.Y], here]
    return 0.5 * (edges[1:] + edges[:-1]), rows
