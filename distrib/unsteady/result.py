"""Frozen results of the unsteady solver. Cylinders are the last axis; a failed run holds NaN."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from distrib.results import FloatArray
from distrib.unsteady.state import State


@dataclass(frozen=True)
class Stations:
    """Header pressure at each take-off of the setup, in order of appearance (T,).

    `cylinder`: position of the cylinder that draws there, -1 if none. `mean_pa`: time mean.
    `droop_pa`: pressure when its intake valve opens minus the lowest until it closes.
    `recovery`: part of the droop won back when, after that closing, the next intake valve of
    another cylinder at the same header opens (1: all; above 1: more); NaN where the droop is below
    0.1 % of the mean pressure or nobody else draws there.
    """

    cylinder: tuple[int, ...]
    mean_pa: FloatArray
    droop_pa: FloatArray
    recovery: FloatArray


@dataclass(frozen=True)
class Traces:
    """Histories over the last cycle (or the asked time): S instants.

    `time_s`, `crank_deg` (NaN without a crank) (S,); `left` and `right`: for the first and the last
    cell of each duct the rows density, velocity, pressure, burned fraction, (4, S, D); `mouths` the
    same under each take-off (4, S, T); `along`: duct number -> (x_m (n,), rows (4, S, n)) of the
    recorded ducts; cylinder pressure Pa and intake-valve flow kg/s into the cylinder, (S, C).
    """

    time_s: FloatArray
    crank_deg: FloatArray
    left: FloatArray
    right: FloatArray
    mouths: FloatArray
    along: Mapping[int, tuple[FloatArray, FloatArray]]
    cylinder_pressure_pa: FloatArray
    valve_flow_kg_s: FloatArray


@dataclass(frozen=True)
class UnsteadyResult:
    """One run. If `converged` is false, `reason` says why and every number is NaN.

    Per cylinder (C,): trapped fresh air kg, its share, volumetric efficiency (on the reference
    density of the setup), trapped pressure and temperature, residual (burned) mass fraction, mean
    Mach number of the valve's duct while the valve is open and the peak over the cycle (larger of
    both ends), mass per cycle that flows back into the port, kg.
    `mass_error`, `energy_error`: what the audit of each cycle did not account for, over the
    throughput of that cycle (K,); `change`: largest relative change of trapped air since the cycle
    before, and change of stored mass over throughput (K, 2). `steps` time steps in all. Without
    traces there are no stations and the Mach numbers are NaN. `final`: state at the end, from which
    a like run may start (`run_many`).
    """

    rpm: float
    converged: bool
    reason: str
    cycles: int
    steps: int
    cell_m: float
    trapped_air_kg: FloatArray
    share: FloatArray
    volumetric_efficiency: FloatArray
    trapped_pressure_pa: FloatArray
    trapped_temperature_k: FloatArray
    residual_fraction: FloatArray
    mach_mean: FloatArray
    mach_peak: FloatArray
    back_flow_kg: FloatArray
    mass_error: FloatArray
    energy_error: FloatArray
    change: FloatArray
    stations: Stations | None = None
    traces: Traces | None = None
    warnings: tuple[str, ...] = field(default=())
    final: State | None = None


def failed(rpm: float, cylinders: int, cell_m: float, reason: str, cycles: int = 0,
           steps: int = 0, history: FloatArray | None = None,
           warnings: tuple[str, ...] = ()) -> UnsteadyResult:
    """A result without numbers, and why."""
    nan = np.full(cylinders, np.nan)
    none = np.empty(0)
    return UnsteadyResult(
        rpm=rpm, converged=False, reason=reason, cycles=cycles, steps=steps, cell_m=cell_m,
        trapped_air_kg=nan, share=nan, volumetric_efficiency=nan, trapped_pressure_pa=nan,
        trapped_temperature_k=nan, residual_fraction=nan, mach_mean=nan, mach_peak=nan,
        back_flow_kg=nan, mass_error=none, energy_error=none,
        change=none if history is None else history, warnings=warnings)
