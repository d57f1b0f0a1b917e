"""Boundary fluxes of all duct ends for one step, and the ghost cells beside them (n: lanes)."""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.kernels import inner
from distrib.unsteady.flat import get, put, wide
from distrib.unsteady.nozzle import stagnant_ratio, throttled, wall
from distrib.unsteady.tables import (
    BUR,
    C_INTAKE,
    CLOSED,
    E_AREA,
    E_BACK,
    E_BACKWARD,
    E_BURNED,
    E_C,
    E_DB,
    E_ENTHALPY,
    E_FIN,
    E_FOUT,
    E_GIVEN,
    E_GP,
    E_GR,
    E_GV,
    E_GY,
    E_H,
    E_M,
    E_MASS,
    E_P,
    E_PB,
    E_PHI_IN,
    E_PHI_OUT,
    E_Q,
    E_RATIO,
    E_RHO,
    E_SIDE,
    E_STATE,
    E_T_IN,
    E_U,
    E_VB,
    E_Y,
    E_Y_IN,
    E_YB,
    ENE,
    FE,
    FM,
    FU,
    FY,
    JUNCTION,
    L_DT,
    L_GAS,
    MOM,
    PL,
    PR,
    RHO,
    RL,
    RR,
    S_THROTTLE,
    T_P_HALF,
    T_T,
    T_Y,
    TRANSMISSIVE,
    UL,
    UR,
    VALVE,
    VOLUME,
    W_BASE,
    W_C,
    W_D,
    W_GIVEN,
    W_GUESS,
    W_P,
    W_PHI,
    W_T,
    W_U,
    W_V,
    YL,
    YR,
    P,
    U,
    Y,
)

ENTERS = 1.0
LEAVES = -1.0
STAYS = 0.0
PADDED = 16
"""Work rows are filled up to a multiple of this, so that no end is left to a scalar remainder."""


@inner
def set_ghosts(ends: Any, c: Any, plan: Any, starts: Any, n: int) -> None:
    """Ghost cells: mirror at a wall, copy where waves leave, else the line through the boundary
    state of the last step (second order where the flow is smooth)."""
    wide()
    for e in range(plan.shape[0]):
        cell, ghost, mine = plan[e, 1] * n, plan[e, 2] * n, e * n
        joined, mirror = e < starts[TRANSMISSIVE], -1.0 if e >= starts[CLOSED] else 1.0
        for j in range(n):
            r, u = get(c, RHO, cell + j), get(c, U, cell + j)
            p, y = get(c, P, cell + j), get(c, Y, cell + j)
            r0, p0, y0 = (get(ends, E_RHO, mine + j), get(ends, E_P, mine + j),
                          get(ends, E_Y, mine + j))
            d, q, u0 = 2.0 * r0 - r, 2.0 * p0 - p, get(ends, E_U, mine + j)
            d = d if d > 0.2 * r else r0
            q = q if q > 0.2 * p else p0
            r = d if joined else r
            u = 2.0 * u0 - u if joined else mirror * u
            p = q if joined else p
            y = min(max(2.0 * y0 - y, 0.0), 1.0) if joined else y
            put(c, RHO, ghost + j, r)
            put(c, U, ghost + j, u)
            put(c, P, ghost + j, p)
            put(c, Y, ghost + j, y)
            put(c, MOM, ghost + j, r * u)
            put(c, ENE, ghost + j, 2.5 * p + 0.5 * r * u * u)
            put(c, BUR, ghost + j, r * y)


@inner
def end_states(ends: Any, c: Any, plan: Any, n: int) -> None:
    """Half-step gas at each end: density, velocity out of the duct, pressure, burned."""
    wide()
    for e in range(plan.shape[0]):
        cell, mine = plan[e, 1] * n, e * n
        if plan[e, 3] == 1:
            for j in range(n):
                put(ends, E_GR, mine + j, get(c, RR, cell + j))
                put(ends, E_GV, mine + j, get(c, UR, cell + j))
                put(ends, E_GP, mine + j, get(c, PR, cell + j))
                put(ends, E_GY, mine + j, get(c, YR, cell + j))
        else:
            for j in range(n):
                put(ends, E_GR, mine + j, get(c, RL, cell + j))
                put(ends, E_GV, mine + j, -get(c, UL, cell + j))
                put(ends, E_GP, mine + j, get(c, PL, cell + j))
                put(ends, E_GY, mine + j, get(c, YL, cell + j))


@inner
def spaces(ends: Any, tanks: Any, pots: Any, plan: Any, starts: Any, n: int) -> None:
    """What ends at valves and volumes meet half a step ahead."""
    wide()
    volumes = tanks.shape[1] - pots.shape[1]
    for e in range(starts[VALVE], starts[JUNCTION]):
        valve, mine, ref = e < starts[VOLUME], e * n, plan[e, 0] * n
        tank = volumes + ref if valve else ref
        for j in range(n):
            i = mine + j
            put(ends, E_GIVEN, i, get(tanks, T_P_HALF, tank + j))
            put(ends, E_BACK, i, get(tanks, T_P_HALF, tank + j))
            put(ends, E_T_IN, i, get(tanks, T_T, tank + j))
            put(ends, E_Y_IN, i, get(tanks, T_Y, tank + j))
            put(ends, E_FIN, i, get(ends, E_PHI_IN, i))
            put(ends, E_FOUT, i, get(ends, E_PHI_OUT, i))
        if valve:
            for j in range(n):
                i = mine + j
                phi = min(get(ends, E_PHI_IN, i) * get(pots, C_INTAKE, ref + j)
                          / get(ends, E_AREA, i), 1.0)
                put(ends, E_FIN, i, phi)
                put(ends, E_FOUT, i, phi)


@inner
def sort_spaces(ends: Any, mouths: Any, last: int) -> None:
    """Which way the gas goes at ends 0 to `last`; those where none goes get the wall's state."""
    wide()
    for i in range(last):
        r, v, p = get(ends, E_GR, i), get(ends, E_GV, i), get(ends, E_GP, i)
        ratio = stagnant_ratio(r, v, p, get(ends, E_GIVEN, i))
        put(ends, E_C, i, np.sqrt(1.4 * p / r))
        put(ends, E_RATIO, i, ratio)
        put(ends, E_BACKWARD, i, ratio)
        put(ends, E_PB, i, wall(r, v, p))
        put(ends, E_VB, i, 0.0)
        put(ends, E_DB, i, r)
    for i in range(mouths.shape[1]):
        put(ends, E_BACKWARD, i, stagnant_ratio(
            get(ends, E_GR, i), get(ends, E_GV, i), get(ends, E_GP, i), get(ends, E_BACK, i)))
    for i in range(last):
        ratio = get(ends, E_RATIO, i)
        enters = (ratio < 1.0) & (get(ends, E_FIN, i) > 0.0)
        leaves = (ratio >= 1.0) & (get(ends, E_BACKWARD, i) > 1.0) & (get(ends, E_FOUT, i) > 0.0)
        put(ends, E_STATE, i, ENTERS if enters else (LEAVES if leaves else STAYS))


@inner
def gather(ends: Any, gas: Any, work: Any, number: Any, last: int, way: float, n: int) -> int:
    """Copy the ends where gas goes that way to the work table; how many.

    Filled up with ends that do no harm to a multiple of `PADDED`.
    """
    found = 0
    for i in range(last):
        if get(ends, E_STATE, i) == way:
            k = found
            number[k] = i
            found += 1
            put(work, W_BASE, k, get(ends, E_RATIO, i) if way > 0.0 else get(ends, E_BACKWARD, i))
            put(work, W_PHI, k, get(ends, E_FIN, i) if way > 0.0 else get(ends, E_FOUT, i))
            put(work, W_C, k, get(ends, E_C, i))
            put(work, W_V, k, get(ends, E_GV, i))
            put(work, W_P, k, get(ends, E_GP, i))
            put(work, W_D, k, get(ends, E_GR, i))
            put(work, W_GIVEN, k, get(ends, E_GIVEN, i))
            put(work, W_T, k, get(ends, E_T_IN, i) * get(gas, L_GAS, i % n))
            put(work, W_GUESS, k, get(ends, E_SIDE, i) * get(ends, E_U, i))
    for k in range(found, (found + PADDED - 1) // PADDED * PADDED):
        put(work, W_BASE, k, 0.99 if way > 0.0 else 1.01)
        put(work, W_PHI, k, 0.5)
        put(work, W_C, k, 1.0)
        put(work, W_V, k, 0.0)
        put(work, W_P, k, 1.0)
        put(work, W_D, k, 1.4)
        put(work, W_GIVEN, k, 1.0)
        put(work, W_T, k, 1.0)
        put(work, W_GUESS, k, 0.0)
    return found


@inner
def put_back(ends: Any, work: Any, number: Any, found: int) -> None:
    """Boundary states from the work table to the ends they belong to."""
    for k in range(found):
        put(ends, E_PB, number[k], get(work, W_P, k))
        put(ends, E_VB, number[k], get(work, W_U, k))
        put(ends, E_DB, number[k], get(work, W_D, k))


@inner
def space_flows(ends: Any, gas: Any, last: int, n: int) -> None:
    """Mass flux, enthalpy and burned fraction of ends 0 to `last` from their boundary states."""
    wide()
    for i in range(0, last, n):
        for j in range(n):
            p, v, d = get(ends, E_PB, i + j), get(ends, E_VB, i + j), get(ends, E_DB, i + j)
            out = v > 0.0
            inside = 3.5 * get(gas, L_GAS, j) * get(ends, E_T_IN, i + j)
            put(ends, E_M, i + j, d * v)
            put(ends, E_H, i + j, 3.5 * p / d + 0.5 * v * v if out else inside)
            mine, other = get(ends, E_GY, i + j), get(ends, E_Y_IN, i + j)
            put(ends, E_YB, i + j, mine if out else other)


@inner
def throttle_ends(ends: Any, throttles: Any, pairs: Any, n: int) -> None:
    """All throttles: the giving side's mass flow and enthalpy on both sides."""
    for k in range(pairs.shape[0]):
        for j in range(n):
            a, b = pairs[k, 0] * n + j, pairs[k, 1] * n + j
            area_a, area_b = get(ends, E_AREA, a), get(ends, E_AREA, b)
            qa, ua, da, qb, ub, db, _ = throttled(
                get(ends, E_GR, a), get(ends, E_GV, a), get(ends, E_GP, a), get(ends, E_GR, b),
                get(ends, E_GV, b), get(ends, E_GP, b), area_a, area_b,
                get(throttles, S_THROTTLE, k * n + j), get(ends, E_Q, a))
            if ua >= 0.0:
                flow, h, y = area_a * da * ua, 3.5 * qa / da + 0.5 * ua * ua, get(ends, E_GY, a)
            else:
                flow, h, y = -area_b * db * ub, 3.5 * qb / db + 0.5 * ub * ub, get(ends, E_GY, b)
            put(ends, E_Q, a, qb if ua >= 0.0 else qa)
            for i, p, u, d, m in ((a, qa, ua, da, flow / area_a), (b, qb, ub, db, -flow / area_b)):
                put(ends, E_PB, i, p)
                put(ends, E_VB, i, u)
                put(ends, E_DB, i, d)
                put(ends, E_M, i, m)
                put(ends, E_H, i, h)
                put(ends, E_YB, i, y)


@inner
def plain_ends(ends: Any, starts: Any, n: int) -> None:
    """Ends without reflection and walls."""
    for i in range(starts[TRANSMISSIVE] * n, starts[CLOSED + 1] * n):
        r, v, p = get(ends, E_GR, i), get(ends, E_GV, i), get(ends, E_GP, i)
        closed = i >= starts[CLOSED] * n
        put(ends, E_PB, i, wall(r, v, p) if closed else p)
        put(ends, E_VB, i, 0.0 if closed else v)
        put(ends, E_DB, i, r)
        put(ends, E_M, i, 0.0 if closed else r * v)
        put(ends, E_H, i, 3.5 * p / r + 0.5 * v * v)
        put(ends, E_YB, i, get(ends, E_GY, i))


@inner
def put_fluxes(ends: Any, c: Any, lanes: Any, plan: Any, n: int) -> None:
    """Fluxes of all ends at their faces, and what leaves the ducts in this step."""
    wide()
    for e in range(plan.shape[0]):
        face, mine = (plan[e, 1] if plan[e, 3] == 1 else plan[e, 2]) * n, e * n
        for j in range(n):
            i = mine + j
            side, m = get(ends, E_SIDE, i), get(ends, E_M, i)
            p, v, h, y = (get(ends, E_PB, i), get(ends, E_VB, i), get(ends, E_H, i),
                          get(ends, E_YB, i))
            put(c, FM, face + j, side * m)
            put(c, FU, face + j, p + m * v)
            put(c, FE, face + j, side * m * h)
            put(c, FY, face + j, side * m * y)
            flow = m * get(ends, E_AREA, i) * get(lanes, L_DT, j)
            put(ends, E_RHO, i, get(ends, E_DB, i))
            put(ends, E_U, i, side * v)
            put(ends, E_P, i, p)
            put(ends, E_Y, i, y)
            put(ends, E_MASS, i, flow)
            put(ends, E_ENTHALPY, i, flow * h)
            put(ends, E_BURNED, i, flow * y)
