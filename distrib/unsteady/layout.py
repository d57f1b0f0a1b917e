"""From a `UnsteadySetup` and a wanted cell length to the flat tables of the kernels."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from distrib.engine.kinematics import cylinder_volume
from distrib.errors import InputError
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
EXHAUST_START_K = 1000.0
"""Temperature of exhaust gas that flows back before any has left; forgotten after one cycle."""

_KINDS: dict[type, int] = {
    Closed: tb.CLOSED, Transmissive: tb.TRANSMISSIVE, ToVolume: tb.VOLUME,
    ToJunction: tb.JUNCTION, ToThrottle: tb.THROTTLE, ToValve: tb.VALVE, TakeOff: tb.TAKEOFF,
}


def _floats(values: object) -> FloatArray:
    return np.ascontiguousarray(values, dtype=np.float64)


def _ints(values: object) -> IntArray:
    return np.ascontiguousarray(values, dtype=np.int64)


def corrections(duct: Duct) -> tuple[float, float]:
    """End corrections added at the left and the right end, m."""
    left, right = (getattr(e, "end_correction_m", 0.0) for e in (duct.left, duct.right))
    return float(left), float(right)


def cell_edges(duct: Duct, cell_m: float) -> FloatArray:
    """Edges of the cells in the duct's own x, with end corrections (so it may start below 0)."""
    left, right = corrections(duct)
    length = duct.length_m + left + right
    count = duct.cells or max(FEWEST_CELLS, math.ceil(length / cell_m - 1e-9))
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
        "relative_roughness": duct.roughness_m / diameter,
        "wall_friction": np.full_like(mid, float(duct.friction)), "loss_per_m": loss,
        "wall_temperature": np.full_like(mid, wall), "heat": np.full_like(mid, float(heat)),
    }


def build_grid(setup: UnsteadySetup, cell_m: float) -> tuple[FloatArray, IntArray, IntArray]:
    """All ducts end to end; ghosts repeat their neighbour's sizes but have no volume.

    Returns the grid rows, the first real cell of each duct and the number of its cells.
    """
    blocks: list[FloatArray] = []
    first, count, at = [], [], 0
    for duct in setup.ducts:
        edges = cell_edges(duct, cell_m)
        part = _duct_rows(duct, edges)
        block = np.stack([part[name] for name in tb.GRID_ROWS])
        block = np.concatenate([block[:, :1], block, block[:, -1:]], axis=1)
        for row in (tb.INV_VOLUME, tb.GEOMETRY, tb.LOSS_PER_M, tb.WALL_FRICTION, tb.HEAT):
            block[row, 0] = block[row, -1] = 0.0
        blocks.append(block)
        first.append(at + 1)
        count.append(edges.size - 1)
        at += edges.size + 1
    return _floats(np.concatenate(blocks, axis=1)), _ints(first), _ints(count)


def all_ends(setup: UnsteadySetup) -> list[End]:
    """Left and right end of each duct in turn."""
    return [e for d in setup.ducts for e in (d.left, d.right)]


def build_ends(setup: UnsteadySetup, grid: FloatArray, first: IntArray, count: IntArray) -> Any:
    """Kinds, neighbours and loss numbers of both ends of every duct."""
    ends = all_ends(setup)
    out = np.zeros(len(ends), dtype=tb.END)
    out["phi_in"] = out["phi_out"] = 1.0
    mouth = 0
    for k, e in enumerate(ends):
        right, duct = k % 2 == 1, k // 2
        cell = int(first[duct] + count[duct] - 1 if right else first[duct])
        out[k]["kind"] = _KINDS[type(e)]
        out[k]["cell"], out[k]["ghost"] = cell, cell + 1 if right else cell - 1
        out[k]["side"] = 1.0 if right else -1.0
        out[k]["area"] = grid[tb.AREA_R if right else tb.AREA_L, cell]
        if isinstance(e, ToVolume):
            out[k]["ref"] = e.volume
            out[k]["phi_in"] = 1.0 / math.sqrt(1.0 + e.loss_in)
            out[k]["phi_out"] = 1.0 / math.sqrt(1.0 + e.loss_out)
        elif isinstance(e, ToJunction):
            out[k]["ref"], out[k]["total"] = e.junction, float(e.total)
            out[k]["loss_in"], out[k]["loss_out"] = e.loss_in, e.loss_out
        elif isinstance(e, ToThrottle):
            out[k]["ref"] = e.throttle
        elif isinstance(e, ToValve):
            out[k]["ref"], out[k]["phi_in"] = e.cylinder, e.share
        elif isinstance(e, TakeOff):
            out[k]["ref"] = mouth
            out[k]["phi_out"] = 1.0 / math.sqrt(1.0 + e.loss_out)
            mouth += 1
    return out


def build_mouths(setup: UnsteadySetup, first: IntArray, count: IntArray,
                 cell_m: float) -> tuple[Any, FloatArray, Any]:
    """Which header cells each take-off covers, with what weight (by covered length), its jets."""
    found = [(k, e) for k, e in enumerate(all_ends(setup)) if isinstance(e, TakeOff)]
    out = np.zeros(len(found), dtype=tb.MOUTH)
    weights: list[float] = []
    jets: list[tuple[int, float]] = []
    for row, (k, e) in zip(out, found, strict=True):
        edges = cell_edges(setup.ducts[e.duct], cell_m)
        lo, hi = e.at_m - 0.5 * e.width_m, e.at_m + 0.5 * e.width_m
        covered = np.maximum(np.minimum(edges[1:], hi) - np.maximum(edges[:-1], lo), 0.0)
        used = np.flatnonzero(covered > 1e-12 * e.width_m)
        weight = covered[used[0]:used[-1] + 1]
        base = int(first[e.duct])
        last = base + int(count[e.duct]) - 1
        c0, c1 = base + int(used[0]), base + int(used[-1])
        row["end"], row["first"], row["count"] = k, c0, c1 - c0 + 1
        row["before"] = c0 - 1 if c0 > base else -1
        row["after"] = c1 + 1 if c1 < last else -1
        row["weight_at"], row["jet_at"], row["jets"] = len(weights), len(jets), len(e.jets)
        row["left"], row["right"], row["run"] = e.branch_left, e.branch_right, e.run
        row["momentum"], row["join_cos"] = e.momentum, e.join_cos
        weights += (weight / weight.sum()).tolist()
        for j, c in e.jets:
            duct, side = setup.jets[j]
            jets.append((2 * duct + (1 if side == "right" else 0), c))
    return out, _floats(weights), np.array(jets, dtype=tb.JET)


def build_joints(setup: UnsteadySetup) -> tuple[Any, IntArray, Any]:
    """Ends of each junction in order of appearance, and the two ends of each throttle."""
    ends = all_ends(setup)
    joints = np.zeros(setup.junctions, dtype=tb.JOINT)
    flat: list[int] = []
    for j in range(setup.junctions):
        here = [k for k, e in enumerate(ends) if isinstance(e, ToJunction) and e.junction == j]
        joints[j] = (len(flat), len(here), setup.ambient_pressure_pa)
        flat += here
    throttles = np.zeros(len(setup.throttles), dtype=tb.THROTTLE_ROW)
    for t, throttle in enumerate(setup.throttles):
        a, b = (k for k, e in enumerate(ends) if isinstance(e, ToThrottle) and e.throttle == t)
        throttles[t] = (a, b, throttle.effective_area_m2, setup.ambient_pressure_pa)
    return joints, _ints(flat), throttles


def build_pots(setup: UnsteadySetup) -> tuple[Any, FloatArray]:
    """Cylinder records and the area tables (2, C, n), all resampled to the longest length."""
    cylinders = setup.cylinders
    n = max((x.intake_area_m2.size for x in cylinders), default=1)
    grid = np.arange(n) / n
    areas = np.zeros((2, len(cylinders), n))
    out = np.zeros(len(cylinders), dtype=tb.POT)
    for k, c in enumerate(cylinders):
        for side, table in enumerate((c.intake_area_m2, c.exhaust_area_m2)):
            closed = np.append(table, table[0])
            areas[side, k] = np.interp(grid, np.arange(closed.size) / table.size, closed)
        for name, value in {
            "tdc": c.tdc_deg, "bore": c.bore_m, "stroke": c.stroke_m, "rod": c.rod_m,
            "ratio": c.compression_ratio, "closes": c.intake_closes_deg,
            "opens": c.exhaust_opens_deg, "back_pressure": c.exhaust_pressure_pa,
            "gain": c.closed_gain, "rise": c.closed_rise_k, "unburned": c.unburned_share,
            "exhaust_t": EXHAUST_START_K,
        }.items():
            out[k][name] = value
    return out, areas


def start_cells(setup: UnsteadySetup, first: IntArray, count: IntArray, size: int,
                cell_m: float) -> FloatArray:
    """Start state of all cells: cell averages of the given start, else still ambient gas."""
    cells = np.zeros((len(tb.CELL_ROWS), size))
    for row in (tb.P, tb.RL, tb.RR, tb.PL, tb.PR, tb.INV_RHO):
        cells[row] = 1.0
    p, t = setup.ambient_pressure_pa, setup.ambient_temperature_k
    cells[tb.RHO], cells[tb.ENE] = p / (setup.gas_constant_j_kg_k * t), 2.5 * p
    for k, duct in enumerate(setup.ducts):
        s = duct.start
        if s is None:
            continue
        edges = cell_edges(duct, cell_m)
        fine = edges[:-1, None] + np.diff(edges)[:, None] * (np.arange(64) + 0.5) / 64.0
        pf, tf, uf, yf = (np.interp(fine, s.x_m, v) for v in (s.p_pa, s.t_k, s.u_m_s, s.burned))
        rf = pf / (setup.gas_constant_j_kg_k * tf)
        here = slice(int(first[k]), int(first[k] + count[k]))
        cells[tb.RHO, here], cells[tb.MOM, here] = rf.mean(axis=1), (rf * uf).mean(axis=1)
        cells[tb.ENE, here] = (2.5 * pf + 0.5 * rf * uf * uf).mean(axis=1)
        cells[tb.BUR, here] = (rf * yf).mean(axis=1)
    return cells


def start_tanks(setup: UnsteadySetup, pots: Any) -> Any:
    """Volumes and cylinders at crank angle 0; cylinders hold ambient air, shut ones a full charge
    already burned (also marks those in `pots`)."""
    r = setup.gas_constant_j_kg_k
    rows: list[tuple[float, float, float, float]] = []
    for v in setup.volumes:
        size = math.inf if v.volume_m3 is None else v.volume_m3
        mass = 0.0 if v.volume_m3 is None else v.pressure_pa * size / (r * v.temperature_k)
        rows.append((size, mass, v.temperature_k, v.burned))
    for pot, c in zip(pots, setup.cylinders, strict=True):
        local = (0.0 - c.tdc_deg) % 720.0
        dims = (c.bore_m, c.stroke_m, c.rod_m, c.compression_ratio)
        now = float(cylinder_volume(local, *dims))
        fill, t, y = now, setup.ambient_temperature_k, 0.0
        if not c.exhaust_opens_deg <= local < c.intake_closes_deg:
            pot["shut"] = 1
            fill = float(cylinder_volume(c.intake_closes_deg, *dims))
            t, y = c.closed_gain * t + c.closed_rise_k, 1.0 - c.unburned_share
        mass = setup.ambient_pressure_pa * fill / (r * setup.ambient_temperature_k)
        rows.append((now, mass, t, y))
    tanks = np.zeros(len(rows), dtype=tb.TANK)
    for k, (size, mass, t, y) in enumerate(rows):
        finite = math.isfinite(size)
        p = mass * r * t / size if finite else setup.volumes[k].pressure_pa
        tanks[k] = (size, int(finite), p, t, y, mass, 2.5 * r * mass * t, mass * y, 0.0, p)
    return tanks


def recorded_cells(setup: UnsteadySetup, model: tb.Model) -> IntArray:
    """Cells whose traces are kept: both end cells of every duct (2 D), the middle cell under each
    take-off (T), then every cell of the ducts in `setup.record`."""
    first, count = model.first, model.count
    rims = np.stack([first, first + count - 1], axis=1).ravel()
    mouths = model.mouths["first"] + model.mouths["count"] // 2
    return _ints(np.concatenate(
        [rims, mouths, *(np.arange(first[k], first[k] + count[k]) for k in setup.record)]))


def new_record(model: tb.Model, cell: IntArray, rows: int, start_s: float,
               step_s: float) -> tb.Record:
    """Empty traces that begin at `start_s`; `rows` 0 keeps none."""
    k, c = cell.size, model.pots.size
    return tb.Record(
        cell=cell, rows=np.zeros((4, rows, k)), cylinders=np.zeros((2, rows, c)),
        previous=np.zeros((4, k)), previous_cylinder=np.zeros((2, c)),
        clock=_floats([start_s, step_s, start_s, 0.0]))


def build_model(setup: UnsteadySetup, cell_m: float) -> tb.Model:
    """All tables of one run at its start state. Raises InputError with every problem found."""
    wrong = problems(setup)
    if wrong:
        raise InputError(wrong)
    grid, first, count = build_grid(setup, cell_m)
    ends = build_ends(setup, grid, first, count)
    mouths, weights, jets = build_mouths(setup, first, count, cell_m)
    joints, joint_ends, throttles = build_joints(setup)
    pots, areas = build_pots(setup)
    cells = start_cells(setup, first, count, grid.shape[1], cell_m)
    at = cells[:, ends["cell"]]
    ends["rho"], ends["u"], ends["y"] = at[tb.RHO], at[tb.MOM] / at[tb.RHO], at[tb.BUR] / at[tb.RHO]
    ends["p"] = 0.4 * (at[tb.ENE] - 0.5 * at[tb.MOM] * ends["u"])
    widest = int(np.max(joints["count"], initial=1))
    return tb.Model(
        grid=grid, cells=cells, first=first, count=count, ends=ends, mouths=mouths,
        weights=weights, jets=jets, joints=joints, joint_ends=joint_ends, throttles=throttles,
        pots=pots, areas=areas, tanks=start_tanks(setup, pots), audit=np.zeros(len(tb.AUDIT)),
        clock=np.zeros(2), scratch=np.zeros((widest, 11)))


def advance(model: tb.Model, record: tb.Record, setup: UnsteadySetup, stop_s: float, *,
            cfl: float = 0.9, longest_s: float = math.inf,
            most_steps: int = 50_000_000) -> int:
    """Run the compiled march to `stop_s`; returns its status (see `tables`)."""
    from distrib.unsteady.march import march

    return int(march(
        model.grid, model.cells, model.ends, model.mouths, model.weights, model.jets,
        model.joints, model.joint_ends, model.throttles, model.pots, model.areas, model.tanks,
        model.audit, model.clock, model.scratch, record.cell, record.rows, record.cylinders,
        record.previous, record.previous_cylinder, record.clock, stop_s,
        0.0 if setup.rpm is None else 6.0 * setup.rpm, setup.gas_constant_j_kg_k, cfl, longest_s,
        most_steps, setup.viscous))
