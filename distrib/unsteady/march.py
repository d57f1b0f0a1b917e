"""The time loop of all lanes, compiled: until one of them needs attention.

Lanes march in step but each with its own time step, so that what a lane does depends on no other.
The loop returns when a lane has reached its stop time or failed; the others go on with the next
call. Calls run without the interpreter lock, so that groups in several threads use several cores.
Order within a step: primitive state and step sizes; ghosts; half-step faces; inner fluxes; ends;
update; take-offs; volumes and cylinders.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.kernels import inline, inner, kernel
from distrib.unsteady.cells import (
    faces,
    fastest,
    fluxes,
    heat_exchange,
    primitives,
    spread_steps,
    update,
    wall_terms,
)
from distrib.unsteady.ends import (
    ENTERS,
    LEAVES,
    PADDED,
    end_states,
    gather,
    plain_ends,
    put_back,
    put_fluxes,
    set_ghosts,
    sort_spaces,
    space_flows,
    spaces,
    throttle_ends,
)
from distrib.unsteady.flat import get, put, wide
from distrib.unsteady.joint import (
    PASSES,
    balance,
    close_joints,
    givers,
    joint_flows,
    prepare_joints,
)
from distrib.unsteady.mouths import (
    apply_mouths,
    lean_mouths,
    mouth_pushes,
    mouth_spaces,
    under_mouths,
)
from distrib.unsteady.nozzle import enter_all, leave_all
from distrib.unsteady.tables import (
    C_THROUGH,
    IDLE,
    JUNCTION,
    L_DT,
    L_GAS,
    L_LONGEST,
    L_MOST,
    L_STATE,
    L_STEPS,
    L_STOP,
    L_T,
    L_TOP,
    NOT_FINITE,
    OK,
    RHO,
    RUNNING,
    T_P,
    TOO_MANY_STEPS,
    P,
    U,
    Y,
)
from distrib.unsteady.tanks import (
    collect,
    exhaust_and_work,
    half_step_pressures,
    tank_states,
    turn_cranks,
    valve_events,
)

REFRESH = 16
"""Steps between two evaluations of wall friction and film coefficient."""


@inner
def sample(c: Any, tanks: Any, pots: Any, lanes: Any, record: Any, j: int) -> None:
    """Write the trace rows of lane j that lie between the previous time and now, linear in time."""
    n, t = lanes.shape[1], get(lanes, L_T, j)
    first = tanks.shape[1] - pots.shape[1]
    rows, cylinders, clock = record.rows, record.cylinders, record.clock
    before, row = clock[j, 2], int(clock[j, 3])
    span = t - before
    old, pot = record.previous[j], record.previous_cylinder[j]
    while row < rows.shape[2] and clock[j, 0] + row * clock[j, 1] <= t + 1e-12:
        w = (clock[j, 0] + row * clock[j, 1] - before) / span if span > 0.0 else 1.0
        for k in range(record.cell.shape[1]):
            i = record.cell[j, k] * n + j
            rows[j, 0, row, k] = old[0, k] + w * (get(c, RHO, i) - old[0, k])
            rows[j, 1, row, k] = old[1, k] + w * (get(c, U, i) - old[1, k])
            rows[j, 2, row, k] = old[2, k] + w * (get(c, P, i) - old[2, k])
            rows[j, 3, row, k] = old[3, k] + w * (get(c, Y, i) - old[3, k])
        for k in range(pot.shape[1]):
            i = k * n + j
            cylinders[j, 0, row, k] = pot[0, k] + w * (get(tanks, T_P, first + i) - pot[0, k])
            moved = get(pots, C_THROUGH, i) - pot[1, k]
            cylinders[j, 1, row, k] = moved / span if span > 0.0 else 0.0
        row += 1
    for k in range(record.cell.shape[1]):
        i = record.cell[j, k] * n + j
        old[0, k], old[1, k] = get(c, RHO, i), get(c, U, i)
        old[2, k], old[3, k] = get(c, P, i), get(c, Y, i)
    for k in range(pot.shape[1]):
        pot[0, k] = get(tanks, T_P, first + k * n + j)
        pot[1, k] = get(pots, C_THROUGH, k * n + j)
    clock[j, 2] = t
    clock[j, 3] = row


@inline
def choose_steps(lanes: Any, cfl: float) -> bool:
    """Step size of each running lane (0 of the others); whether all of them go on."""
    good = True
    for j in range(lanes.shape[1]):
        put(lanes, L_DT, j, 0.0)
        if get(lanes, L_STATE, j) != RUNNING:
            good = good and get(lanes, L_STATE, j) == IDLE
            continue
        top, stop = get(lanes, L_TOP, j), get(lanes, L_STOP, j)
        left = stop - get(lanes, L_T, j)
        state = RUNNING
        if not np.isfinite(top):
            state = NOT_FINITE
        elif left <= 1e-12 * abs(stop) + 1e-15:
            state = OK
        elif get(lanes, L_STEPS, j) >= get(lanes, L_MOST, j):
            state = TOO_MANY_STEPS
        put(lanes, L_STATE, j, float(state))
        put(lanes, L_DT, j, min(min(cfl / top, get(lanes, L_LONGEST, j)), left))
        good = good and state == RUNNING
    return good


@inline
def keep_time(lanes: Any) -> None:
    """Add the step just done to the clocks."""
    for j in range(lanes.shape[1]):
        if get(lanes, L_DT, j) > 0.0:
            t, dt, stop = get(lanes, L_T, j), get(lanes, L_DT, j), get(lanes, L_STOP, j)
            put(lanes, L_T, j, stop if dt == stop - t else t + dt)
            put(lanes, L_STEPS, j, get(lanes, L_STEPS, j) + 1.0)


@inner
def ready(c: Any, grid: Any, lanes: Any, cfl: float) -> bool:
    """Primitive state and step sizes; False if a lane needs attention."""
    wide()
    primitives(c, grid)
    fastest(c, lanes)
    good = choose_steps(lanes, cfl)
    spread_steps(c, lanes)
    return good


@kernel
def march(plan: Any, tables: Any, record: Any, work: Any, number: Any, cfl: float, viscous: bool,
          heat: bool) -> None:
    """Advance every running lane until one has reached its stop time or failed (L_STATE).

    plan, tables, record: see `tables`. `work`, `number`: scratch for the ends. `viscous`: refresh
    wall terms; `heat`: some wall exchanges heat.
    """
    c, grid, ends, lanes = tables.cells, tables.grid, tables.ends, tables.lanes
    tanks, pots, mouths, joints = tables.tanks, tables.pots, tables.mouths, tables.joints
    n, starts, at = lanes.shape[1], plan.starts, plan.ends
    moving = starts[JUNCTION] * n
    places = plan.joints
    some = places.shape[0]
    lo = places[0, 0] * n if some else 0
    hi = (places[some - 1, 0] + places[some - 1, 1]) * n if some else 0
    while True:
        good = ready(c, grid, lanes, cfl)
        for j in range(n):
            if record.clock[j, 1] > 0.0 and get(lanes, L_STATE, j) in (RUNNING, OK):
                sample(c, tanks, pots, lanes, record, j)
        if not good:
            return
        if viscous:
            for j in range(n):
                if int(get(lanes, L_STEPS, j)) % REFRESH == 0 and get(lanes, L_DT, j) > 0.0:
                    wall_terms(c, grid, j, n, get(lanes, L_GAS, j))
        set_ghosts(ends, c, at, starts, n)
        faces(c, grid, n)
        lean_mouths(ends, mouths, tables.weights, c, grid, lanes, plan.mouths, n)
        turn_cranks(pots, lanes, tables.areas, n)
        half_step_pressures(tanks, pots, lanes, n)
        fluxes(c, n)
        end_states(ends, c, at, n)
        spaces(ends, tanks, pots, at, starts, n)
        under_mouths(mouths, tables.weights, c, plan.mouths, tables.beside, ends, tables.jets,
                     plan.jets, n)
        mouth_spaces(mouths, ends, lanes, n)
        sort_spaces(ends, mouths, moving)
        found = gather(ends, lanes, work, number, moving, ENTERS, n)
        enter_all(work, (found + PADDED - 1) // PADDED * PADDED)
        put_back(ends, work, number, found)
        found = gather(ends, lanes, work, number, moving, LEAVES, n)
        leave_all(work, (found + PADDED - 1) // PADDED * PADDED)
        put_back(ends, work, number, found)
        space_flows(ends, lanes, moving, n)
        if some > 0:
            prepare_joints(ends, joints, places, n, lo, hi)
            for attempt in range(PASSES):
                givers(ends, joints, places, n, lo, hi)
                balance(ends, lo, hi)
                if close_joints(ends, joints, places, n, attempt) == 0:
                    break
            joint_flows(ends, joints, lanes, places, n)
        throttle_ends(ends, tables.throttles, plan.throttles, n)
        plain_ends(ends, starts, n)
        put_fluxes(ends, c, lanes, at, n)
        mouth_pushes(mouths, ends, lanes, n)
        if heat:
            heat_exchange(c, grid, lanes)
        update(c, grid, n)
        apply_mouths(ends, mouths, tables.weights, c, grid, plan.mouths, n)
        collect(ends, tanks, pots, lanes, at, starts, n)
        exhaust_and_work(tanks, pots, lanes, n)
        valve_events(tanks, pots, lanes, n)
        tank_states(tanks, lanes, n)
        keep_time(lanes)
