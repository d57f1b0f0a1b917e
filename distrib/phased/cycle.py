"""One crank cycle after another until it repeats: implicit steps of the network with storage.

Each step solves the network with storing nodes (backward Euler in pressure, which for a perfect
gas is the energy balance); then mass, burned mass and temperature of every node follow from the
flows, in flux form, so that mass and energy are conserved whatever the step.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.kernels import kernel
from distrib.losses.compiled import darcy_scalar
from distrib.network.elements import evaluate
from distrib.network.newton import advance, begin
from distrib.network.solve import blank, load, make_scratch, make_work
from distrib.network.tables import DUCT_ROWS, RE_FLOOR
from distrib.phased.state import (
    closed_state,
    is_closed,
    local_angle,
    new_state,
    pack,
    unpack,
    valve_areas,
    volume_at,
)
from distrib.vectors import LANES

_L = LANES
_GAMMA = 1.4
POOL = 1e6
"""Storage of a forced pool over that of the scales: its pressure then strays by 1e-6 of the drop,
and rounding stays below the residual's tolerance."""
FRICTION_STEPS = 4
"""Steps for which a friction factor is held; it changes with about the -0.2th power of the flow."""
_darcy = darcy_scalar


@kernel
def wall_friction(top: Any, flat: Any, law: Any, state: Any, n: int) -> None:
    """Darcy factor of every duct from the flow now, held for the next FRICTION_STEPS steps.

    `law` marks the ducts whose factor follows the friction law.
    """
    n_p = top.sizes[1]
    for d in range(top.duct_i.shape[0]):
        k = n_p + top.duct_i[d, 3]
        for i in range(n):
            if law[d * _L + i] < 0.0:
                re = abs(state.x[k * _L + i]) * flat.duct[(DUCT_ROWS * d + 7) * _L + i]
                rough = flat.duct[(DUCT_ROWS * d + 6) * _L + i]
                flat.duct_f[d * _L + i] = _darcy(re if re > RE_FLOOR else RE_FLOOR, rough)[0]


@kernel
def prepare(top: Any, engine: Any, con: Any, flat: Any, state: Any, theta0: float,
            theta1: float, block: int, n: int) -> None:
    """Storage coefficients and starting pressures of every node for the step to theta1."""
    first = block * _L
    for j in range(top.mass_i.shape[0]):
        t = top.mass_i[j, 5]
        slot = top.mass_i[j, 1]
        other = top.mass_i[j, 2]
        for i in range(n):
            dt = (theta1 - theta0) / (6.0 * con.rpm[first + i])
            flat.storage[j * _L + i] = state.volume[j * _L + i] / (
                _GAMMA * _GAMMA * flat.c_node[t * _L + i] * dt)
            flat.p_old[j * _L + i] = 0.5 * (state.x[slot * _L + i] + state.x[other * _L + i])
    for c in range(engine.row.shape[0]):
        j = engine.row[c, 0]
        t = top.mass_i[j, 5]
        slot = top.mass_i[j, 1]
        before = local_angle(engine, c, theta0)
        after = local_angle(engine, c, theta1)
        v0 = volume_at(engine, c, theta0)
        v1 = volume_at(engine, c, theta1)
        shut = is_closed(engine, after)
        if shut and not is_closed(engine, before):
            close_intake(top, engine, con, flat, state, c, v0, first, n)
        for i in range(n):
            if con.forced[first + i] > 0.0:
                continue
            dt = (theta1 - theta0) / (6.0 * con.rpm[first + i])
            p0 = state.x[slot * _L + i] + flat.scalars[i]
            p = p0 * (v0 / v1) ** _GAMMA
            if shut and after < engine.events[0]:
                p = state.evo[2 * c * _L + i] * (
                    state.evo[(2 * c + 1) * _L + i] / v1) ** engine.closed[1]
                state.burned[j * _L + i] = state.mass[j * _L + i]
            elif shut:
                p = state.ivc[2 * c * _L + i] * (
                    state.ivc[(2 * c + 1) * _L + i] / v1) ** engine.closed[0]
            flat.p_old[j * _L + i] = p - flat.scalars[i]
            state.volume[j * _L + i] = v1
            flat.storage[j * _L + i] = v1 / (
                _GAMMA * _GAMMA * flat.c_node[t * _L + i] * dt)


@kernel
def close_intake(top: Any, engine: Any, con: Any, flat: Any, state: Any, c: int, v0: float,
                 first: int, n: int) -> None:
    """The intake valve has shut: note the trapped air, and what the closed part leads to."""
    j = engine.row[c, 0]
    slot = top.mass_i[j, 1]
    v_evo = state.evo[(2 * c + 1) * _L]
    for i in range(n):
        mass = state.mass[j * _L + i]
        fresh = mass - state.burned[j * _L + i]
        p = state.x[slot * _L + i] + flat.scalars[i]
        if con.forced[first + i] > 0.0:
            # a pool counts what came in since the last closing
            fresh = mass
            state.mass[j * _L + i] = 1e-12
            state.burned[j * _L + i] = 0.0
        state.trapped[2 * c * _L + i] = fresh
        state.trapped[(2 * c + 1) * _L + i] = mass
        state.ivc[2 * c * _L + i] = p
        state.ivc[(2 * c + 1) * _L + i] = v0
        state.evo[2 * c * _L + i] = closed_state(
            engine, con.heat[first + i], p, v0, fresh, mass, con.gas[first + i], v_evo)


@kernel
def pass_on(top: Any, flat: Any, state: Any, n: int) -> None:
    """Temperature and burned share of nodes without volume: the mean of what flows in."""
    n_p = top.sizes[1]
    for j in range(top.mass_i.shape[0]):
        t = top.mass_i[j, 5]
        for i in range(n):
            if state.volume[j * _L + i] > 0.0:
                continue
            total = 0.0
            warm = 0.0
            burned = 0.0
            for q in range(top.mass_ptr[j], top.mass_ptr[j + 1]):
                k = top.mass_term[q, 0]
                into = top.mass_term[q, 1] * state.x[(n_p + k) * _L + i]
                if into > 0.0:
                    source = top.flow_i[k, 0] if top.mass_term[q, 1] > 0 else top.flow_i[k, 1]
                    total += into
                    warm += into * flat.c_node[source * _L + i]
                    burned += into * state.share_node[source * _L + i]
            if total > 1e-12:
                flat.c_node[t * _L + i] = warm / total
                state.share_node[t * _L + i] = burned / total


@kernel
def settle(top: Any, engine: Any, con: Any, flat: Any, state: Any, theta0: float,
           theta1: float, block: int, n: int) -> None:
    """Move mass and burned mass with the flows, then set the temperatures."""
    n_p = top.sizes[1]
    first = block * _L
    rows = top.mass_i.shape[0]
    for j in range(rows):
        t = top.mass_i[j, 5]
        for i in range(n):
            if state.volume[j * _L + i] > 0.0:
                state.share_node[t * _L + i] = state.burned[j * _L + i] / state.mass[j * _L + i]
    # a node without volume passes on what comes in; twice, as two of them may follow each other
    pass_on(top, flat, state, n)
    pass_on(top, flat, state, n)
    for j in range(rows):
        for q in range(top.mass_ptr[j], top.mass_ptr[j + 1]):
            k = top.mass_term[q, 0]
            sign = top.mass_term[q, 1]
            a = top.flow_i[k, 0]
            b = top.flow_i[k, 1]
            for i in range(n):
                dt = (theta1 - theta0) / (6.0 * con.rpm[first + i])
                m = state.x[(n_p + k) * _L + i]
                burned = state.share_node[a * _L + i] if m >= 0.0 else state.share_node[b * _L + i]
                state.mass[j * _L + i] += sign * m * dt
                state.burned[j * _L + i] += sign * m * dt * burned
    for j in range(rows):
        t = top.mass_i[j, 5]
        for i in range(n):
            if con.forced[first + i] > 0.0 or state.volume[j * _L + i] <= 0.0:
                continue
            p = flat.scalars[i] + 0.5 * (
                state.x[top.mass_i[j, 1] * _L + i] + state.x[top.mass_i[j, 2] * _L + i])
            c_new = p * state.volume[j * _L + i] / (_GAMMA * state.mass[j * _L + i])
            if c_new > 0.0:
                flat.c_node[t * _L + i] = c_new
            elif state.alive[i] == 0:
                state.alive[i] = -1 - j


@kernel
def forced_pools(top: Any, engine: Any, con: Any, flat: Any, block: int, n: int) -> None:
    """With forced conditions a cylinder is a pool: a storage so large that its pressure stays."""
    first = block * _L
    for c in range(engine.row.shape[0]):
        j = engine.row[c, 0]
        for i in range(n):
            if con.forced[first + i] > 0.0:
                flat.storage[j * _L + i] = POOL * flat.scalars[_L + i] / flat.scalars[2 * _L + i]
                flat.p_old[j * _L + i] = -flat.scalars[2 * _L + i]


@kernel
def guess(x: Any, old: Any, unknowns: int, n: int) -> None:
    """Start of a step: straight on from the last two; `old` then holds the last one."""
    for k in range(unknowns):
        for i in range(n):
            now = x[k * _L + i]
            x[k * _L + i] = 2.0 * now - old[k * _L + i]
            old[k * _L + i] = now


@kernel
def one_cycle(ctx: Any, prog: Any, engine: Any, con: Any, state: Any, scratch: Any, status: Any,
              options: Any, law: Any, old: Any, mean: Any, low: Any, trace: Any, block: int,
              n: int) -> None:
    """Step through 720 degrees; `mean` (slots) gathers time means, `low` the lowest values."""
    top, flat, _ = ctx
    steps = engine.steps[0]
    for k in range(mean.size):
        mean[k] = 0.0
        low[k] = 1e300
    for s in range(steps):
        theta0 = s * 720.0 / steps
        theta1 = (s + 1) * 720.0 / steps
        valve_areas(engine, con, flat, theta1, block, n)
        prepare(top, engine, con, flat, state, theta0, theta1, block, n)
        forced_pools(top, engine, con, flat, block, n)
        if s % FRICTION_STEPS == 0:
            wall_friction(top, flat, law, state, n)
        guess(state.x, old, top.sizes[0], n)
        begin(state.x, scratch, status, n)
        for i in range(n):
            if state.alive[i] != 0:
                status[i] = -1  # a case that failed takes no more iterations
        evaluate(ctx, scratch.trial, scratch.residual, scratch.jacobian, n)
        while advance(prog, state.x, flat.scalars, top.sizes[1], options, scratch, status, n):
            evaluate(ctx, scratch.trial, scratch.residual, scratch.jacobian, n)
        for i in range(n):
            if status[i] < 0 and state.alive[i] == 0:
                worst = 0
                for k in range(prog.pivot.shape[0]):
                    if abs(scratch.residual[k * _L + i]) > abs(
                            scratch.residual[worst * _L + i]):
                        worst = k
                state.alive[i] = worst + 1
        settle(top, engine, con, flat, state, theta0, theta1, block, n)
        for k in range(mean.size // _L):
            for i in range(n):
                value = state.x[k * _L + i]
                mean[k * _L + i] += value / steps
                if value < low[k * _L + i]:
                    low[k * _L + i] = value
        for k in range(trace.shape[0]):
            trace[k, s] = state.x[k * _L]


@kernel
def run_blocks(top: Any, par: Any, prog: Any, jacobian_rows: int, engine: Any, con: Any, x: Any,
               options: Any, tolerance: float, trapped: Any, mean: Any, low: Any, end: Any,
               cycles: Any, change: Any, trace: Any, seed: Any, final: Any, first: int,
               last: int) -> None:
    """Run the blocks first..last of a batch until each case repeats.

    trapped (2 N, B): fresh air and charge mass at intake closing; mean, low (slots, B); end
    (rows, 2, B): node masses at start and end of the last cycle; cycles (B,): cycles used,
    negative: minus the number of the failing equation, 0: no repeating state; change (B,): last
    relative change of the trapped air; trace (slots, steps) of the first case of the batch;
    seed (state rows, B): states to start from (no columns: from rest); final: states at the end.
    """
    batch = x.shape[1]
    rows = prog.pivot.shape[0]
    flat = blank(par)
    work = make_work(top)
    scratch = make_scratch(x.shape[0], rows, jacobian_rows)
    status = np.zeros(_L, dtype=np.int64)
    mean_l = np.zeros(x.shape[0] * _L)
    low_l = np.zeros(x.shape[0] * _L)
    nothing = np.zeros((0, 1))
    for block in range(first, last):
        n = min(_L, batch - block * _L)
        load(par, block, flat, n)
        state = new_state(top, engine, con, flat, x, block, n)
        set_shares(top, state, n)
        if seed.shape[1] > 0:
            for i in range(n):
                unpack(state, flat, i, seed, block * _L + i)
        done = np.zeros(_L, dtype=np.int64)
        before = np.zeros(state.trapped.size)
        mass0 = state.mass.copy()
        law = flat.duct_f.copy()
        old = state.x.copy()
        for cycle in range(1, engine.steps[1] + 1):
            for q in range(state.trapped.size):
                before[q] = state.trapped[q]
            for q in range(mass0.size):
                mass0[q] = state.mass[q]
            one_cycle((top, flat, work), prog, engine, con, state, scratch, status, options, law,
                      old, mean_l, low_l, trace if block == 0 else nothing, block, n)
            busy = False
            for i in range(n):
                if done[i] == 0:
                    if final.shape[1] > 0:
                        pack(state, flat, i, final, block * _L + i)
                    finish(state, before, mass0, mean_l, low_l, block, i, cycle, tolerance, done,
                           trapped, mean, low, end, cycles, change)
                if done[i] == 0:
                    busy = True
            if not busy:
                break


@kernel
def set_shares(top: Any, state: Any, n: int) -> None:
    """Burned share of the pools: the exhaust holds burned gas, every other pool fresh air."""
    stored = np.zeros(state.share_node.size // _L, dtype=np.int64)
    for j in range(top.mass_i.shape[0]):
        stored[top.mass_i[j, 5]] = 1
    for t in range(stored.size):
        for i in range(n):
            if stored[t] == 0:
                state.share_node[t * _L + i] = 0.0
    for i in range(n):
        state.share_node[(stored.size - 1) * _L + i] = 1.0


@kernel
def finish(state: Any, before: Any, mass0: Any, mean_l: Any, low_l: Any, block: int, i: int,
           cycle: int, tolerance: float, done: Any, trapped: Any, mean: Any, low: Any, end: Any,
           cycles: Any, change: Any) -> None:
    """Judge one case after a cycle and, when it repeats or fails, write its answer."""
    j = block * _L + i
    worst = 0.0
    for q in range(trapped.shape[0] // 2):
        now = state.trapped[2 * q * _L + i]
        old = before[2 * q * _L + i]
        gap = abs(now - old) / (abs(now) + 1e-30)
        worst = gap if gap > worst else worst
    change[j] = worst
    repeats = worst < tolerance and cycle > 2
    if state.alive[i] != 0:
        cycles[j] = -abs(state.alive[i])
        done[i] = 1
    elif repeats:
        cycles[j] = cycle
        done[i] = 1
    if done[i] == 0:
        return
    for q in range(trapped.shape[0]):
        trapped[q, j] = state.trapped[q * _L + i]
    for k in range(mean.shape[0]):
        mean[k, j] = mean_l[k * _L + i]
        low[k, j] = low_l[k * _L + i]
    for q in range(end.shape[0]):
        end[q, 0, j] = mass0[q * _L + i]
        end[q, 1, j] = state.mass[q * _L + i]
