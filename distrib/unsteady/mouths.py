"""Take-offs: ends that open sideways into another duct (see `setup.TakeOff`); n: lanes.

They stand first among the ends, so that row i of a take-off is row i of its end.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.kernels import inline, inner
from distrib.unsteady.ends import ENTERS
from distrib.unsteady.flat import get, put, wide
from distrib.unsteady.tables import (
    BUR,
    E_AREA,
    E_BACK,
    E_BURNED,
    E_DB,
    E_ENTHALPY,
    E_FIN,
    E_FOUT,
    E_GIVEN,
    E_M,
    E_MASS,
    E_PHI_OUT,
    E_RHO,
    E_STATE,
    E_T_IN,
    E_U,
    E_VB,
    E_Y_IN,
    ENE,
    INV_RHO,
    INV_VOLUME,
    L_DT,
    L_GAS,
    M_D,
    M_DT,
    M_FROM_LEFT,
    M_FROM_RIGHT,
    M_H,
    M_HEADER,
    M_JET,
    M_JOIN_COS,
    M_L0,
    M_L1,
    M_L2,
    M_L3,
    M_L4,
    M_L5,
    M_L6,
    M_MD,
    M_MH,
    M_MOMENTUM,
    M_MP,
    M_MW,
    M_P,
    M_PUSH,
    M_R0,
    M_R1,
    M_R2,
    M_R3,
    M_R4,
    M_R5,
    M_R6,
    M_RUN0,
    M_RUN1,
    M_RUN2,
    M_RUN3,
    M_SHARE,
    M_V,
    M_W,
    M_Y,
    MOM,
    PL,
    PR,
    RHO,
    RL,
    RR,
    S_JET,
    S_WEIGHT,
    UL,
    UR,
    P,
    U,
    Y,
)


@inner
def under_mouths(mouths: Any, weights: Any, c: Any, plan: Any, beside: Any, ends: Any, jets: Any,
                 jet_ends: Any, n: int) -> None:
    """Mean state of the header under each mouth: p, density, u^2, total enthalpy, burned; speeds
    with which header gas comes from either side; pressure of entry jets while they enter."""
    wide()
    for k in range(plan.shape[0]):
        mine = k * n
        for i in range(mine, mine + n):
            put(mouths, M_P, i, 0.0)
            put(mouths, M_D, i, 0.0)
            put(mouths, M_W, i, 0.0)
            put(mouths, M_H, i, 0.0)
            put(mouths, M_Y, i, 0.0)
            put(mouths, M_JET, i, 0.0)
        for s in range(plan[k, 1]):
            cell, at = (plan[k, 0] + s) * n, (plan[k, 2] + s) * n
            for j in range(n):
                i, x, g = mine + j, cell + j, get(weights, S_WEIGHT, at + j)
                u, q = get(c, U, x), get(c, P, x)
                put(mouths, M_P, i, get(mouths, M_P, i) + g * q)
                put(mouths, M_D, i, get(mouths, M_D, i) + g * get(c, RHO, x))
                put(mouths, M_W, i, get(mouths, M_W, i) + g * u * u)
                put(mouths, M_H, i, get(mouths, M_H, i)
                    + g * (3.5 * q * get(c, INV_RHO, x) + 0.5 * u * u))
                put(mouths, M_Y, i, get(mouths, M_Y, i) + g * get(c, Y, x))
        for s in range(plan[k, 3], plan[k, 3] + plan[k, 4]):
            for j in range(n):
                i, x = mine + j, jet_ends[s] * n + j
                head = 0.5 * get(ends, E_RHO, x) * get(ends, E_U, x) * get(ends, E_U, x)
                enters = get(ends, E_MASS, x) > 0.0
                head *= get(jets, S_JET, s * n + j)
                put(mouths, M_JET, i, get(mouths, M_JET, i) + (head if enters else 0.0))
        for j in range(n):
            i = mine + j
            b, a = beside[0, i], beside[1, i]
            put(mouths, M_FROM_LEFT, i, max(get(c, U, b * n + j), 0.0) if b >= 0 else 0.0)
            put(mouths, M_FROM_RIGHT, i, max(-get(c, U, a * n + j), 0.0) if a >= 0 else 0.0)


@inline
def factor(a0: float, a1: float, q1: float, a2: float, q: float) -> float:
    """Factor of the branch law at branch share q."""
    return a0 + a1 * q if q < q1 else a2


@inner
def mouth_spaces(mouths: Any, ends: Any, lanes: Any, n: int) -> None:
    """What the end of each take-off meets: the header gas under it less the loss of its law.

    Means extrapolated half a step from this and the last step (the half-step states of the cells
    are off there by the limiter, since the velocity has a kink at the rim of a mouth). Upstream
    total pressure is the local static pressure plus the local mean velocity head; the speed in
    this end and the branch share q are those of the last step.
    """
    wide()
    for k in range(0, mouths.shape[1], n):
        for j in range(n):
            i = k + j
            p, d, w2 = get(mouths, M_P, i), get(mouths, M_D, i), get(mouths, M_W, i)
            h, dt = get(mouths, M_H, i), get(mouths, M_DT, i)
            ahead = 0.5 * get(lanes, L_DT, j) / dt if dt > 0.0 else 0.0
            p1 = p + ahead * (p - get(mouths, M_MP, i))
            d1 = d + ahead * (d - get(mouths, M_MD, i))
            w1 = max(w2 + ahead * (w2 - get(mouths, M_MW, i)), 0.0)
            h1 = h + ahead * (h - get(mouths, M_MH, i))
            put(mouths, M_MP, i, p)
            put(mouths, M_MD, i, d)
            put(mouths, M_MW, i, w2)
            put(mouths, M_MH, i, h)
            wild = (p1 < 0.5 * p) | (d1 < 0.5 * d) | (h1 < 0.5 * h)
            p = p if wild else p1
            d = d if wild else d1
            w2 = w2 if wild else w1
            h = h if wild else h1
            from_left, from_right = get(mouths, M_FROM_LEFT, i), get(mouths, M_FROM_RIGHT, i)
            cross = from_left + from_right
            left = from_left / cross if cross > 0.0 else 0.5
            w = left * from_left + (1.0 - left) * from_right
            last = max(get(mouths, M_V, i), 0.0)
            share = last * get(ends, E_AREA, i) / (cross * get(mouths, M_HEADER, i))
            share = share if cross > 1e-9 else 1e9
            fl = left * factor(get(mouths, M_L3, i), get(mouths, M_L4, i), get(mouths, M_L5, i),
                               get(mouths, M_L6, i), share)
            fr = (1.0 - left) * factor(get(mouths, M_R3, i), get(mouths, M_R4, i),
                                       get(mouths, M_R5, i), get(mouths, M_R6, i), share)
            k_ww = fl * get(mouths, M_L0, i) + fr * get(mouths, M_R0, i)
            k_wv = fl * get(mouths, M_L1, i) + fr * get(mouths, M_R1, i)
            k_vv = fl * get(mouths, M_L2, i) + fr * get(mouths, M_R2, i)
            jet = get(mouths, M_JET, i)
            given = p + jet + 0.5 * d * (w2 - k_ww * w * w - k_wv * w * last)
            given -= 0.0 if k_vv > 0.0 else 0.5 * d * k_vv * last * last
            put(ends, E_GIVEN, i, given)
            put(ends, E_BACK, i, p + jet)
            put(ends, E_FIN, i, 1.0 / np.sqrt(1.0 + k_vv) if k_vv > 0.0 else 1.0)
            put(ends, E_FOUT, i, get(ends, E_PHI_OUT, i))
            put(ends, E_T_IN, i, h / (3.5 * get(lanes, L_GAS, j)))
            put(ends, E_Y_IN, i, get(mouths, M_Y, i))
            put(mouths, M_D, i, d)
            put(mouths, M_SHARE, i, share)


@inner
def mouth_pushes(mouths: Any, ends: Any, lanes: Any, n: int) -> None:
    """After the step's flows are known: axial push on the header (run loss, or what joins brings)
    and the speed into the end."""
    wide()
    for k in range(0, mouths.shape[1], n):
        for j in range(n):
            i = k + j
            v, d, dt = get(ends, E_VB, i), get(ends, E_DB, i), get(lanes, L_DT, j)
            from_left, from_right = get(mouths, M_FROM_LEFT, i), get(mouths, M_FROM_RIGHT, i)
            s = 1.0 - min(get(mouths, M_SHARE, i), 1.0)
            s2 = s * s
            s4 = s2 * s2
            loss = (get(mouths, M_RUN0, i) + s * (get(mouths, M_RUN1, i)
                                                  + s * get(mouths, M_RUN2, i))
                    + get(mouths, M_RUN3, i) * s4 * s4)
            run = 0.5 * get(mouths, M_D, i) * loss * get(mouths, M_HEADER, i) * (
                from_right * from_right - from_left * from_left)
            join = d * v * v * get(ends, E_AREA, i) * get(mouths, M_JOIN_COS, i)
            enters = get(ends, E_STATE, i) == ENTERS
            put(mouths, M_PUSH, i, (run if enters else join) * dt)
            put(mouths, M_V, i, -get(ends, E_M, i) / d)
            put(mouths, M_DT, i, dt)


@inner
def lean_mouths(ends: Any, mouths: Any, weights: Any, c: Any, grid: Any, lanes: Any, plan: Any,
                n: int) -> None:
    """Half a step of the take-offs' flows of the last step on the half-step states under them.

    Without it the half-step pressure under a mouth would miss what leaves there (first order).
    """
    wide()
    for k in range(plan.shape[0]):
        for s in range(plan[k, 1]):
            cell, at, mine = (plan[k, 0] + s) * n, (plan[k, 2] + s) * n, k * n
            for j in range(n):
                i, x = mine + j, cell + j
                before = get(mouths, M_DT, i)
                part = 0.5 * get(lanes, L_DT, j) / before if before > 0.0 else 0.0
                g = get(weights, S_WEIGHT, at + j) * get(grid, INV_VOLUME, x)
                m = get(ends, E_MASS, i) * part
                r = 0.5 * (get(c, RL, x) + get(c, RR, x))
                u = 0.5 * (get(c, UL, x) + get(c, UR, x))
                q = 0.5 * (get(c, PL, x) + get(c, PR, x))
                force = get(mouths, M_PUSH, i) * part
                taken = m * u * get(mouths, M_MOMENTUM, i)
                force += taken if m < 0.0 else 0.0
                dr = g * m
                du = g * (force - m * u) / r
                dp = 0.4 * g * (get(ends, E_ENTHALPY, i) * part - u * force + 0.5 * u * u * m)
                fits = (r + dr > 0.2 * r) & (q + dp > 0.2 * q)
                dr = dr if fits else 0.0
                du = du if fits else 0.0
                dp = dp if fits else 0.0
                put(c, RL, x, get(c, RL, x) + dr)
                put(c, RR, x, get(c, RR, x) + dr)
                put(c, UL, x, get(c, UL, x) + du)
                put(c, UR, x, get(c, UR, x) + du)
                put(c, PL, x, get(c, PL, x) + dp)
                put(c, PR, x, get(c, PR, x) + dp)


@inner
def apply_mouths(ends: Any, mouths: Any, weights: Any, c: Any, grid: Any, plan: Any,
                 n: int) -> None:
    """Take from, or give to, the header cells what went through the take-offs this step."""
    wide()
    for k in range(plan.shape[0]):
        for s in range(plan[k, 1]):
            cell, at, mine = (plan[k, 0] + s) * n, (plan[k, 2] + s) * n, k * n
            for j in range(n):
                i, x = mine + j, cell + j
                g = get(weights, S_WEIGHT, at + j) * get(grid, INV_VOLUME, x)
                m = get(ends, E_MASS, i)
                u = 0.5 * (get(c, UL, x) + get(c, UR, x))
                axial = m * u * get(mouths, M_MOMENTUM, i)
                axial = axial if m < 0.0 else 0.0
                put(c, MOM, x, get(c, MOM, x) + g * (axial + get(mouths, M_PUSH, i)))
                put(c, RHO, x, get(c, RHO, x) + g * m)
                put(c, ENE, x, get(c, ENE, x) + g * get(ends, E_ENTHALPY, i))
                put(c, BUR, x, get(c, BUR, x) + g * get(ends, E_BURNED, i))
