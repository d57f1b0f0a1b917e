"""From a `UnsteadySetup` and its numbers of cells to the tables of the kernels, one lane each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from distrib.engine.kinematics import cylinder_volume
from distrib.errors import InputError
from distrib.losses.friction import roughness_term
from distrib.results import FloatArray, IntArray
from distrib.unsteady import tables as tb
from distrib.unsteady.setup import (
    Closed,
    Duct,
    End,
    TakeOff,
    ToJunction,
    ToThrottle,
    ToValve,
    ToVolume,
    Transmissive,
    UnsteadySetup,
    problems,
)

FEWEST_CELLS = 3
FILL = 8
"""Inert cells at the end, at least; the number of all cells is a multiple of it."""
EXHAUST_START_K = 1000.0
"""Temperature of exhaust gas that flows back before any has left; forgotten after one cycle."""

_KINDS: dict[type, int] = {
    Closed: tb.CLOSED, Transmissive: tb.TRANSMISSIVE, ToVolume: tb.VOLUME,
    ToJunction: tb.JUNCTION, ToThrottle: tb.THROTTLE, ToValve: tb.VALVE, TakeOff: tb.TAKEOFF,
}


_NOTHING = [k - tb.INV_DX for k in (tb.INV_VOLUME, tb.GEOMETRY, tb.LOSS_PER_M, tb.WALL_FRICTION,
                                    tb.HEAT)]
"""Grid rows that are 0 in cells without volume."""


def _table(row: int, items: int) -> FloatArray:
    """The table that `row` belongs to, zero, for one lane."""
    return np.zeros((tb.ROWS_OF[row // tb.TABLE_STEP], items))


def _floats(values: object) -> FloatArray:
    return np.ascontiguousarray(values, dtype=np.float64)


def _ints(values: object) -> IntArray:
    return np.ascontiguousarray(values, dtype=np.int64)


def corrections(duct: Duct) -> tuple[float, float]:
    """End corrections added at the left and the right end, m."""
    left, right = (getattr(e, "end_correction_m", 0.0) for e in (duct.left, duct.right))
    return float(left), float(right)


def cell_counts(setup: UnsteadySetup, cell_m: float) -> tuple[int, ...]:
    """Number of cells of each duct for a wanted cell length (end corrections included)."""
    return tuple(d.cells or max(FEWEST_CELLS, math.ceil(
        (d.length_m + sum(corrections(d))) / cell_m - 1e-9)) for d in setup.ducts)


def cell_edges(duct: Duct, count: int) -> FloatArray:
    """Edges of the cells in the duct's own x, with end corrections (so it may start below 0)."""
    left, right = corrections(duct)
    return np.linspace(-left, duct.length_m + right, count + 1)


def _duct_rows(duct: Duct, edges: FloatArray) -> dict[str, FloatArray]:
    """Geometry of the real cells of one duct."""
    dx = np.diff(edges)
    mid = 0.5 * (edges[1:] + edges[:-1])
    area = np.interp(edges, duct.x_m, duct.area_m2)
    fine = edges[:-1, None] + dx[:, None] * (np.arange(16) + 0.5) / 16.0
    mean = np.interp(fine, duct.x_m, duct.area_m2).mean(axis=1)
    if duct.hydraulic_diameter_m is None:
        diameter = np.sqrt(4.0 * mean / np.pi)
    else:
        diameter = np.interp(mid, duct.x_m, duct.hydraulic_diameter_m)
    loss = np.zeros_like(mid)
    for x0, x1, k in duct.losses:
        covered = np.minimum(edges[1:], x1) - np.maximum(edges[:-1], x0)
        loss += k / (x1 - x0) * np.maximum(covered, 0.0) / dx
    heat = duct.wall_temperature_k is not None
    wall = duct.wall_temperature_k if duct.wall_temperature_k is not None else 0.0
    return {
        "inverse_dx": 1.0 / dx, "geometry": np.diff(area) / mean, "area_left": area[:-1],
        "area_right": area[1:], "inverse_volume": 1.0 / (mean * dx), "diameter": diameter,
        "roughness": roughness_term(duct.roughness_m / diameter),
        "wall_friction": np.full_like(mid, float(duct.friction)), "loss_per_m": loss,
        "wall_temperature": np.full_like(mid, wall), "heat": np.full_like(mid, float(heat)),
    }


def build_grid(setup: UnsteadySetup,
               counts: tuple[int, ...]) -> tuple[FloatArray, IntArray, IntArray]:
    """All ducts end to end; ghosts repeat their neighbour's sizes but have no volume.

    Returns the grid rows, the first real cell of each duct and the number of its cells. Inert
    cells at the end fill up to a multiple of `FILL`, so that whole vectors hold all real cells.
    """
    blocks: list[FloatArray] = []
    first, at = [], 0
    for duct, count in zip(setup.ducts, counts, strict=True):
        part = _duct_rows(duct, cell_edges(duct, count))
        block = np.stack([part[name] for name in tb.GRID_ROWS])
        blocks.append(np.concatenate([block[:, :1], block, block[:, -1:]], axis=1))
        for end in (0, -1):
            blocks[-1][_NOTHING, end] = 0.0
        first.append(at + 1)
        at += count + 2
    spare = np.repeat(blocks[-1][:, -1:], FILL + (4 - at - FILL) % 8, axis=1)
    return _floats(np.concatenate([*blocks, spare], axis=1)), _ints(first), _ints(counts)


def all_ends(setup: UnsteadySetup) -> list[End]:
    """Left and right end of each duct in turn."""
    return [e for d in setup.ducts for e in (d.left, d.right)]


def end_order(setup: UnsteadySetup) -> list[int]:
    """Numbers in `all_ends`, in the order of the table: by kind, junctions one after the other."""
    ends = all_ends(setup)
    return sorted(range(len(ends)), key=lambda k: (
        _KINDS[type(ends[k])], getattr(ends[k], "junction", 0), k))


def windows(setups: Sequence[UnsteadySetup], counts: tuple[int, ...]) -> IntArray:
    """First and last cell (T, 2), in its duct, that each take-off covers in any of the setups."""
    out: list[tuple[int, int]] = []
    for number in end_order(setups[0]):
        seen = [_covered(s, e, counts) for s in setups
                if isinstance(e := all_ends(s)[number], TakeOff)]
        if seen:
            used = np.flatnonzero(np.any(np.array(seen) > 0.0, axis=0))
            out.append((int(used[0]), int(used[-1])))
    return _ints(out).reshape(-1, 2)


def _covered(setup: UnsteadySetup, mouth: TakeOff, counts: tuple[int, ...]) -> FloatArray:
    """Share of a mouth over each cell of its header."""
    edges = cell_edges(setup.ducts[mouth.duct], counts[mouth.duct])
    lo, hi = mouth.at_m - 0.5 * mouth.width_m, mouth.at_m + 0.5 * mouth.width_m
    covered = np.maximum(np.minimum(edges[1:], hi) - np.maximum(edges[:-1], lo), 0.0)
    covered[covered <= 1e-12 * mouth.width_m] = 0.0
    return np.asarray(covered / covered.sum())


def build_plan(setup: UnsteadySetup, first: IntArray, counts: tuple[int, ...],
               window: IntArray) -> tb.Plan:
    """What all runs of a group have in common."""
    ends, order = all_ends(setup), end_order(setup)
    place = {k: at for at, k in enumerate(order)}
    kinds = [_KINDS[type(ends[k])] for k in order]
    rows: list[tuple[int, int, int, int]] = []
    mouths: list[tuple[int, ...]] = []
    jets: list[int] = []
    weight = 0
    for k in order:
        e, right = ends[k], k % 2
        cell = int(first[k // 2]) + (counts[k // 2] - 1 if right else 0)
        ref = next((getattr(e, name) for name in ("cylinder", "volume", "junction", "throttle")
                    if hasattr(e, name)), 0)
        rows.append((ref, cell, cell + (1 if right else -1), right))
        if isinstance(e, TakeOff):
            lo, hi = window[len(mouths)]
            mouths.append((int(first[e.duct]) + lo, hi - lo + 1, weight, len(jets), len(e.jets)))
            weight += hi - lo + 1
            jets += [place[2 * setup.jets[j][0] + (setup.jets[j][1] == "right")] for j, _ in e.jets]
    meet = [[place[k] for k in order if isinstance(e := ends[k], ToJunction) and e.junction == j]
            for j in range(setup.junctions)]
    pairs = [[place[k] for k, e in enumerate(ends) if isinstance(e, ToThrottle) and e.throttle == t]
             for t in range(len(setup.throttles))]
    return tb.Plan(
        starts=_ints(np.searchsorted(kinds, range(8))), ends=_ints(rows).reshape(-1, 4),
        mouths=_ints(mouths).reshape(-1, 5), jets=_ints(jets),
        joints=_ints([(m[0], len(m)) for m in meet]).reshape(-1, 2),
        throttles=_ints(pairs).reshape(-1, 2))


def build_ends(setup: UnsteadySetup, plan: tb.Plan, grid: FloatArray,
               cells: FloatArray) -> FloatArray:
    """Loss numbers of all ends and the state they start from."""
    order, ends = end_order(setup), all_ends(setup)
    out = _table(tb.E_AREA, len(order))
    row = {name: out[tb.ROW[f"ends.{name}"]] for name in (
        "area", "side", "phi_in", "phi_out", "total", "loss_in", "loss_out", "rho", "u", "p", "y")}
    cell, right = plan.ends[:, 1], plan.ends[:, 3] == 1
    row["area"][:] = np.where(right, grid[tb.AREA_R - tb.INV_DX, cell],
                              grid[tb.AREA_L - tb.INV_DX, cell])
    row["side"][:] = np.where(right, 1.0, -1.0)
    row["phi_in"][:] = row["phi_out"][:] = 1.0
    for i, k in enumerate(order):
        e = ends[k]
        if isinstance(e, ToVolume):
            row["phi_in"][i] = 1.0 / math.sqrt(1.0 + e.loss_in)
        if isinstance(e, ToVolume | TakeOff):
            row["phi_out"][i] = 1.0 / math.sqrt(1.0 + e.loss_out)
        if isinstance(e, ToJunction):
            row["total"][i], row["loss_in"][i], row["loss_out"][i] = e.total, e.loss_in, e.loss_out
        if isinstance(e, ToValve):
            row["phi_in"][i] = e.share
    rho, mom, ene, bur = (cells[k, cell] for k in (tb.RHO, tb.MOM, tb.ENE, tb.BUR))
    row["rho"][:], row["u"][:], row["y"][:] = rho, mom / rho, bur / rho
    row["p"][:] = 0.4 * (ene - 0.5 * mom * mom / rho)
    return out


def build_mouths(setup: UnsteadySetup, plan: tb.Plan, counts: tuple[int, ...], first: IntArray,
                 grid: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, IntArray]:
    """Coefficients of take-offs, weights of the cells under them (by covered length), factors of
    jets, and the cells beside them."""
    order, ends = end_order(setup), all_ends(setup)
    mouths = [e for k in order if isinstance(e := ends[k], TakeOff)]
    out = _table(tb.M_MOMENTUM, len(mouths))
    beside = np.full((2, len(mouths)), -1, dtype=np.int64)
    weights: list[float] = []
    for t, e in enumerate(mouths):
        covered, base = _covered(setup, e, counts), int(first[e.duct])
        lo = int(plan.mouths[t, 0]) - base
        weights += covered[lo:lo + int(plan.mouths[t, 1])].tolist()
        used = np.flatnonzero(covered)
        a, b = base + int(used[0]), base + int(used[-1])
        mid = a + (b - a + 1) // 2
        header = 0.5 * (grid[tb.AREA_L - tb.INV_DX, mid] + grid[tb.AREA_R - tb.INV_DX, mid])
        numbers = (e.momentum, e.join_cos, *e.branch_left, *e.branch_right, *e.run, header)
        out[:len(numbers), t] = numbers
        beside[0, t] = a - 1 if a > base else -1
        beside[1, t] = b + 1 if b < base + counts[e.duct] - 1 else -1
    jets = [c for e in mouths for _, c in e.jets]
    return out, _floats([weights]), _floats([jets]), beside


def build_pots(setup: UnsteadySetup, points: int) -> tuple[FloatArray, FloatArray]:
    """Cylinder table and the valve areas (2, points, C), resampled to `points`."""
    grid = np.arange(points) / points
    areas = np.zeros((2, points, len(setup.cylinders)))
    out = _table(tb.C_TDC, len(setup.cylinders))
    for k, c in enumerate(setup.cylinders):
        for side, table in enumerate((c.intake_area_m2, c.exhaust_area_m2)):
            closed = np.append(table, table[0])
            areas[side, :, k] = table if table.size == points else np.interp(
                grid, np.arange(closed.size) / table.size, closed)
        numbers = (c.tdc_deg, c.bore_m, c.stroke_m, c.rod_m, c.compression_ratio,
                   c.intake_closes_deg, c.exhaust_opens_deg, c.exhaust_pressure_pa,
                   c.closed_gain, c.closed_rise_k, c.unburned_share)
        out[:len(numbers), k] = numbers
        out[tb.ROW["pots.exhaust_t"], k] = EXHAUST_START_K
    return out, areas


def start_cells(setup: UnsteadySetup, first: IntArray, counts: tuple[int, ...],
                size: int) -> FloatArray:
    """Start state of all cells: cell averages of the given start, else still ambient gas."""
    cells = _table(tb.RHO, size)
    for row in (tb.P, tb.RL, tb.RR, tb.PL, tb.PR, tb.INV_RHO):
        cells[row] = 1.0
    p, t = setup.ambient_pressure_pa, setup.ambient_temperature_k
    cells[tb.RHO], cells[tb.ENE] = p / (setup.gas_constant_j_kg_k * t), 2.5 * p
    for k, duct in enumerate(setup.ducts):
        s = duct.start
        if s is None:
            continue
        edges = cell_edges(duct, counts[k])
        fine = edges[:-1, None] + np.diff(edges)[:, None] * (np.arange(64) + 0.5) / 64.0
        pf, tf, uf, yf = (np.interp(fine, s.x_m, v) for v in (s.p_pa, s.t_k, s.u_m_s, s.burned))
        rf = pf / (setup.gas_constant_j_kg_k * tf)
        here = slice(int(first[k]), int(first[k] + counts[k]))
        cells[tb.RHO, here], cells[tb.MOM, here] = rf.mean(axis=1), (rf * uf).mean(axis=1)
        cells[tb.ENE, here] = (2.5 * pf + 0.5 * rf * uf * uf).mean(axis=1)
        cells[tb.BUR, here] = (rf * yf).mean(axis=1)
    return cells


def start_tanks(setup: UnsteadySetup, pots: FloatArray) -> FloatArray:
    """Volumes and cylinders at crank angle 0; cylinders hold ambient air, shut ones a full charge
    already burned (also marks those in `pots`)."""
    r = setup.gas_constant_j_kg_k
    rows: list[tuple[float, float, float, float]] = []
    for v in setup.volumes:
        size = math.inf if v.volume_m3 is None else v.volume_m3
        mass = 0.0 if v.volume_m3 is None else v.pressure_pa * size / (r * v.temperature_k)
        rows.append((size, mass, v.temperature_k, v.burned))
    for k, c in enumerate(setup.cylinders):
        local = (0.0 - c.tdc_deg) % 720.0
        dims = (c.bore_m, c.stroke_m, c.rod_m, c.compression_ratio)
        now = float(cylinder_volume(local, *dims))
        fill, t, y = now, setup.ambient_temperature_k, 0.0
        if not c.exhaust_opens_deg <= local < c.intake_closes_deg:
            pots[tb.ROW["pots.shut"], k] = 1.0
            fill = float(cylinder_volume(c.intake_closes_deg, *dims))
            t, y = c.closed_gain * t + c.closed_rise_k, 1.0 - c.unburned_share
        mass = setup.ambient_pressure_pa * fill / (r * setup.ambient_temperature_k)
        rows.append((now, mass, t, y))
    tanks = _table(tb.T_SIZE, len(rows))
    for k, (size, mass, t, y) in enumerate(rows):
        finite = math.isfinite(size)
        p = mass * r * t / size if finite else setup.volumes[k].pressure_pa
        tanks[:, k] = (size, finite, p, t, y, mass, 2.5 * r * mass * t, mass * y, 0.0, p)
    return tanks


@dataclass(frozen=True)
class Lane:
    """One run: its setup and tables (one lane wide), the first cell and the cells of each duct."""

    setup: UnsteadySetup
    plan: tb.Plan
    tables: tb.Tables
    first: IntArray
    count: IntArray

    def row(self, name: str) -> FloatArray:
        """A row by table and name, as "pots.fresh"."""
        return np.asarray(getattr(self.tables, name.partition(".")[0])[tb.ROW[name]])


def recorded_cells(setup: UnsteadySetup, lane: Lane) -> IntArray:
    """Cells whose traces are kept: both end cells of every duct (2 D), the middle cell under each
    take-off (T), then every cell of the ducts in `setup.record`."""
    first, count = lane.first, lane.count
    rims = np.stack([first, first + count - 1], axis=1).ravel()
    mouths = []
    for cell, cells, at, *_ in lane.plan.mouths:
        used = np.flatnonzero(lane.tables.weights[0, at:at + cells])
        mouths.append(cell + used[0] + used.size // 2)
    return _ints(np.concatenate(
        [rims, mouths, *(np.arange(first[k], first[k] + count[k]) for k in setup.record)]))


def build_lane(setup: UnsteadySetup, counts: tuple[int, ...], window: IntArray | None = None,
               points: int = 0) -> Lane:
    """All tables of one run at its start state. Raises InputError with every problem found.

    `counts`: cells of each duct; `window`: of `windows`, where several setups share a plan;
    `points` of their valve tables, 0: the longest of this setup.
    """
    wrong = problems(setup)
    if wrong:
        raise InputError(wrong)
    grid, first, count = build_grid(setup, counts)
    plan = build_plan(setup, first, counts, windows([setup], counts) if window is None else window)
    cells = start_cells(setup, first, counts, grid.shape[1])
    mouths, weights, jets, beside = build_mouths(setup, plan, counts, first, grid)
    pots, areas = build_pots(setup, points or valve_points(setup))
    lanes = _table(tb.L_T, 1)
    lanes[tb.L_GAS - tb.L_T] = setup.gas_constant_j_kg_k
    lanes[tb.L_SPEED - tb.L_T] = 0.0 if setup.rpm is None else 6.0 * setup.rpm
    lanes[tb.L_LONGEST - tb.L_T] = math.inf
    joints = _table(tb.J_Q, setup.junctions)
    joints[0] = setup.ambient_pressure_pa
    tables = tb.Tables(
        cells=cells, grid=grid, ends=build_ends(setup, plan, grid, cells), mouths=mouths,
        tanks=start_tanks(setup, pots), pots=pots, lanes=lanes, joints=joints, weights=weights,
        jets=jets, throttles=_floats([[t.effective_area_m2 for t in setup.throttles]]),
        beside=beside, areas=areas)
    return Lane(setup, plan, tables, first, count)


def valve_points(setup: UnsteadySetup) -> int:
    """Points of the longest valve table."""
    return max((x.intake_area_m2.size for x in setup.cylinders), default=1)
