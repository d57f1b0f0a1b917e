"""The time loop of one run, compiled: from the present time to a stop time.

One call does whole cycles without the interpreter lock, so that runs in several threads use
several cores. Order within a step: primitive state and step size; ghosts; half-step faces; inner
fluxes; ends; update; take-offs; volumes and cylinders.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.kernels import kernel
from distrib.unsteady.cells import (
    faces,
    fastest,
    fluxes,
    heat_exchange,
    primitives,
    update,
    wall_terms,
)
from distrib.unsteady.ends import (
    apply_mouths,
    joint_fluxes,
    lean_mouths,
    mouth_flux,
    set_ghosts,
    space_fluxes,
    throttle_fluxes,
)
from distrib.unsteady.tables import (
    AREA_L,
    AREA_R,
    BUR,
    DRAG,
    EMPTY_VOLUME,
    ENE,
    FE,
    FM,
    FU,
    FY,
    GEOMETRY,
    HEAT,
    INV_DX,
    INV_RHO,
    INV_VOLUME,
    JUNCTION_FAILED,
    MOM,
    NOT_FINITE,
    OK,
    PL,
    PR,
    PULL,
    RHO,
    RL,
    RR,
    SPEED,
    TOO_MANY_STEPS,
    UL,
    UR,
    WALL,
    YL,
    YR,
    P,
    U,
    Y,
)
from distrib.unsteady.tanks import advance_tanks, half_step_pressures

REFRESH = 16
"""Steps between two evaluations of wall friction and film coefficient."""


@kernel
def sample(cells: Any, tanks: Any, pots: Any, cell: Any, rows: Any, cylinders: Any, previous: Any,
           previous_cylinder: Any, clock: Any, t: float) -> None:
    """Write the trace rows that lie between the previous time and t, linear in time."""
    first = tanks.size - pots.size
    before = clock[2]
    span = t - before
    row = int(clock[3])
    while row < rows.shape[1] and clock[0] + row * clock[1] <= t + 1e-12:
        w = (clock[0] + row * clock[1] - before) / span if span > 0.0 else 1.0
        for i in range(cell.size):
            c = cell[i]
            rows[0, row, i] = previous[0, i] + w * (cells[RHO, c] - previous[0, i])
            rows[1, row, i] = previous[1, i] + w * (cells[U, c] - previous[1, i])
            rows[2, row, i] = previous[2, i] + w * (cells[P, c] - previous[2, i])
            rows[3, row, i] = previous[3, i] + w * (cells[Y, c] - previous[3, i])
        for k in range(pots.size):
            q = previous_cylinder[0, k]
            cylinders[0, row, k] = q + w * (tanks[first + k].p - q)
            moved = pots[k].through - previous_cylinder[1, k]
            cylinders[1, row, k] = moved / span if span > 0.0 else 0.0
        row += 1
    for i in range(cell.size):
        c = cell[i]
        previous[0, i], previous[1, i] = cells[RHO, c], cells[U, c]
        previous[2, i], previous[3, i] = cells[P, c], cells[Y, c]
    for k in range(pots.size):
        previous_cylinder[0, k] = tanks[first + k].p
        previous_cylinder[1, k] = pots[k].through
    clock[2] = t
    clock[3] = row


@kernel
def march(grid: Any, cells: Any, ends: Any, mouths: Any, weights: Any, jets: Any, joints: Any,
          joint_ends: Any, throttles: Any, pots: Any, areas: Any, tanks: Any, audit: Any,
          clock: Any, scratch: Any, cell: Any, rows: Any, cylinders: Any, previous: Any,
          previous_cylinder: Any, trace_clock: Any, stop_s: float, degrees_per_s: float,
          gas_constant: float, cfl: float, longest_s: float, most_steps: int,
          viscous: bool) -> int:
    """Advance to `stop_s`; returns a status of `tables` (0 is good). `clock`: time, steps done.

    The arrays are those of `tables.Model` and `tables.Record`; traces are kept if `rows` has any.
    """
    any_heat = False
    for i in range(grid.shape[1]):
        any_heat = any_heat or grid[HEAT, i] > 0.0
    rho, mom, ene, bur = cells[RHO], cells[MOM], cells[ENE], cells[BUR]
    u, p, y, speed, drag = cells[U], cells[P], cells[Y], cells[SPEED], cells[DRAG]
    rl, ul, pl, yl = cells[RL], cells[UL], cells[PL], cells[YL]
    rr, ur, pr, yr = cells[RR], cells[UR], cells[PR], cells[YR]
    fm, fu, fe, fy = cells[FM], cells[FU], cells[FE], cells[FY]
    wall, pull, inverse_rho = cells[WALL], cells[PULL], cells[INV_RHO]
    inverse_dx, geometry, inverse_volume = grid[INV_DX], grid[GEOMETRY], grid[INV_VOLUME]
    area_left, area_right = grid[AREA_L], grid[AREA_R]
    steps = 0
    while True:
        t = clock[0]
        primitives(rho, mom, ene, bur, u, p, y, inverse_rho, speed, inverse_dx)
        top = fastest(cells)
        if not np.isfinite(top):
            return NOT_FINITE
        if rows.shape[1] > 0:
            sample(cells, tanks, pots, cell, rows, cylinders, previous, previous_cylinder,
                   trace_clock, t)
        left = stop_s - t
        if left <= 1e-12 * abs(stop_s) + 1e-15:
            return OK
        if steps >= most_steps:
            return TOO_MANY_STEPS
        dt = min(min(cfl / top, longest_s), left)
        angle, turn = degrees_per_s * t, degrees_per_s * dt
        if viscous and int(clock[1]) % REFRESH == 0:
            wall_terms(cells, grid, gas_constant)
        set_ghosts(ends, cells)
        faces(rho, u, p, y, inverse_rho, drag, rl, ul, pl, yl, rr, ur, pr, yr, wall, pull,
              inverse_dx, geometry, dt)
        if mouths.size > 0:
            lean_mouths(ends, mouths, weights, cells, grid, dt)
        if tanks.size > 0:
            half_step_pressures(tanks, pots, dt, angle, turn)
        fluxes(rl, ul, pl, yl, rr, ur, pr, yr, fm, fu, fe, fy)
        space_fluxes(ends, tanks, pots, areas, cells, dt, angle + 0.5 * turn, gas_constant)
        for k in range(mouths.size):
            mouth_flux(ends, mouths, weights, jets, cells, grid, mouths[k].end, dt, gas_constant)
        if joints.size > 0 and not joint_fluxes(ends, joints, joint_ends, cells, scratch, dt):
            return JUNCTION_FAILED
        if throttles.size > 0:
            throttle_fluxes(ends, throttles, cells, dt, gas_constant)
        if any_heat:
            audit[2] += heat_exchange(cells, grid, gas_constant, dt)
        update(rho, mom, ene, bur, fm, fu, fe, fy, wall, pull, area_left, area_right,
               inverse_volume, dt)
        if mouths.size > 0:
            apply_mouths(ends, mouths, weights, cells, grid)
        if not advance_tanks(ends, tanks, pots, areas, audit, dt, angle, turn, gas_constant):
            return EMPTY_VOLUME
        clock[0] = stop_s if dt == left else t + dt
        clock[1] += 1.0
        steps += 1
