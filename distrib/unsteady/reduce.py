"""From tables and traces of a finished run to its results."""

from __future__ import annotations

import numpy as np

from distrib.engine.closed import closed_pressure
from distrib.engine.kinematics import cylinder_volume, displacement
from distrib.results import FloatArray
from distrib.unsteady import tables as tb
from distrib.unsteady.layout import Lane, all_ends, cell_edges
from distrib.unsteady.result import Stations, Traces, UnsteadyResult
from distrib.unsteady.setup import Cylinder, TakeOff, ToValve, UnsteadySetup
from distrib.unsteady.state import State

SMALL_DROOP = 1e-3
"""Droop over mean pressure below which a recovery means nothing."""


def _closed_part(c: Cylinder, pot: dict[str, float], local: FloatArray,
                 p: FloatArray) -> FloatArray:
    """Cylinder pressure with the closed part filled in by `engine.closed`."""
    shut = (local < c.exhaust_opens_deg) | (local >= c.intake_closes_deg)
    dims = (c.bore_m, c.stroke_m, c.rod_m, c.compression_ratio)
    volume = cylinder_volume(local, *dims)
    v_open = float(cylinder_volume(c.exhaust_opens_deg, *dims))
    t_open = c.closed_gain * pot["trapped_t"] + c.closed_rise_k * pot["fresh"] / pot["trapped"]
    p_open = pot["trapped_p"] * pot["trapped_size"] / pot["trapped_t"] * t_open / v_open
    inside = closed_pressure(local, volume, pot["trapped_p"], pot["trapped_size"],
                             float(p_open), v_open)
    return np.asarray(np.where(shut, inside, p))


def read_traces(lane: Lane, record: tb.Record, j: int) -> Traces:
    """Sort the rows recorded in lane j of a group by what they are."""
    setup, rows, clock = lane.setup, record.rows[j], record.clock[j]
    time = clock[0] + clock[1] * np.arange(rows.shape[1])
    crank = time * (6.0 * setup.rpm if setup.rpm is not None else np.nan)
    if setup.rpm is not None:
        crank = crank - 720.0 * np.floor(crank[0] / 720.0 + 1e-9)
    ends = 2 * len(setup.ducts)
    mouths = lane.plan.mouths.shape[0]
    along, at = {}, ends + mouths
    for k in setup.record:
        n = int(lane.count[k])
        edges = cell_edges(setup.ducts[k], n)
        along[k] = (0.5 * (edges[1:] + edges[:-1]), rows[:, :, at:at + n].copy())
        at += n
    pressure = record.cylinders[j, 0].copy()
    names = ("trapped", "fresh", "trapped_p", "trapped_t", "trapped_size")
    for k, c in enumerate(setup.cylinders):
        pot = {name: float(lane.row(f"pots.{name}")[k]) for name in names}
        pressure[:, k] = _closed_part(c, pot, np.mod(crank - c.tdc_deg, 720.0), pressure[:, k])
    return Traces(
        time_s=time, crank_deg=crank, left=rows[:, :, 0:ends:2].copy(),
        right=rows[:, :, 1:ends:2].copy(), mouths=rows[:, :, ends:ends + mouths].copy(),
        along=along, cylinder_pressure_pa=pressure, valve_flow_kg_s=record.cylinders[j, 1].copy())


def valve_ducts(setup: UnsteadySetup) -> list[tuple[int, int]]:
    """Duct and side (0 left, 1 right) at the intake valve of each cylinder (its first)."""
    out: list[tuple[int, int]] = []
    for c in range(len(setup.cylinders)):
        out.append(next((k // 2, k % 2) for k, e in enumerate(all_ends(setup))
                        if isinstance(e, ToValve) and e.cylinder == c))
    return out


def _open_span(c: Cylinder) -> tuple[float, float]:
    """First and last crank angle of the cycle at which the intake area is positive (absolute)."""
    n = c.intake_area_m2.size
    local = np.arange(n) * 720.0 / n
    lifted = local[(c.intake_area_m2 > 0.0)]
    step = 720.0 / n
    return c.tdc_deg + float(lifted[0]) - step, c.tdc_deg + float(lifted[-1]) + step


def mach_numbers(traces: Traces, setup: UnsteadySetup) -> tuple[FloatArray, FloatArray]:
    """Mean while the valve is open, and peak, of the Mach number in the duct at each valve."""
    mean, peak = [], []
    for (duct, _), c in zip(valve_ducts(setup), setup.cylinders, strict=True):
        both = np.stack([traces.left[:, :, duct], traces.right[:, :, duct]])
        mach = np.abs(both[:, 1]) / np.sqrt(1.4 * both[:, 2] / both[:, 0])
        start, stop = _open_span(c)
        opened = np.mod(traces.crank_deg - start, 720.0) <= stop - start
        mean.append(float(mach[:, opened].mean(axis=1).max()))
        peak.append(float(mach.max()))
    return np.asarray(mean), np.asarray(peak)


def stations(traces: Traces, setup: UnsteadySetup) -> Stations | None:
    """Mean, droop and recovery at every take-off (see `result.Stations`)."""
    found = [(k // 2, e) for k, e in enumerate(all_ends(setup)) if isinstance(e, TakeOff)]
    if not found:
        return None
    drawing = {duct: c for c, (duct, _) in enumerate(valve_ducts(setup))}
    cylinder = tuple(drawing.get(duct, -1) for duct, _ in found)
    mean, droop, recovery = (np.full(len(found), np.nan) for _ in range(3))
    deg = traces.crank_deg - traces.crank_deg[0]

    def at(angle: float, p: FloatArray) -> float:
        return float(np.interp(np.mod(angle - traces.crank_deg[0], 720.0), np.append(deg, 720.0),
                               np.append(p, p[0])))

    for t, ((_, e), c) in enumerate(zip(found, cylinder, strict=True)):
        p = traces.mouths[2, :, t]
        mean[t] = p.mean()
        if c < 0:
            continue
        start, stop = _open_span(setup.cylinders[c])
        opened = np.mod(traces.crank_deg - start, 720.0) <= stop - start
        low = float(p[opened].min())
        droop[t] = at(start, p) - low
        others = [_open_span(setup.cylinders[o])[0] for (_, f), o in
                  zip(found, cylinder, strict=True) if o not in (-1, c) and f.duct == e.duct]
        if others and droop[t] > SMALL_DROOP * mean[t]:
            nxt = min(np.mod(o - stop, 720.0) for o in others) + stop
            recovery[t] = (at(float(nxt), p) - low) / droop[t]
    return Stations(cylinder, mean, droop, recovery)


def summarise(lane: Lane, record: tb.Record | None, j: int, cell_m: float, cycles: int,
              steps: int, errors: FloatArray, change: FloatArray, warnings: tuple[str, ...],
              final: State) -> UnsteadyResult:
    """The result of the run in lane j, whose cycle repeats; traces are in `record`, if any."""
    setup = lane.setup
    pots = {name: lane.row(f"pots.{name}").copy()
            for name in ("fresh", "trapped", "trapped_p", "trapped_t", "back_flow")}
    fresh = pots["fresh"]
    p = setup.reference_pressure_pa or setup.ambient_pressure_pa
    t = setup.reference_temperature_k or setup.ambient_temperature_k
    density = p / (setup.gas_constant_j_kg_k * t)
    swept = np.array([displacement(c.bore_m, c.stroke_m) for c in setup.cylinders])
    traces = None if record is None else read_traces(lane, record, j)
    none = np.full(fresh.size, np.nan)
    mean, peak = (none, none) if traces is None else mach_numbers(traces, setup)
    return UnsteadyResult(
        rpm=float(setup.rpm or np.nan), converged=True, reason="", cycles=cycles, steps=steps,
        cell_m=cell_m, trapped_air_kg=fresh, share=fresh / fresh.sum(),
        volumetric_efficiency=fresh / (density * swept),
        trapped_pressure_pa=pots["trapped_p"], trapped_temperature_k=pots["trapped_t"],
        residual_fraction=1.0 - fresh / pots["trapped"], mach_mean=mean, mach_peak=peak,
        back_flow_kg=pots["back_flow"], mass_error=errors[:, 0], energy_error=errors[:, 1],
        change=change, stations=None if traces is None else stations(traces, setup),
        traces=traces, warnings=warnings, final=final)
