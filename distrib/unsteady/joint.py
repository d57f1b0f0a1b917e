"""Junctions of any number of duct ends in a point without volume, all of them in all lanes at once.

One pressure q of each junction is sought so that its mass flows close. Each end follows its own
isentropic wave (see `nozzle`) and its own loss: gas that leaves the duct with velocity v brings
p + (e - K_in) h, gas that enters a duct takes p + (e + K_out) h, where h is the compressible
velocity head rho v^2/2 (1 + M^2/4 + M^4/40) and e is 1 (total pressure) or 0 (one static
pressure). The incoming streams mix: all outgoing gas has their mean stagnation enthalpy and
composition. After the iteration the outgoing flows are scaled by in/out, a correction below 1e-8,
so that mass and energy close to round-off. Linear limit for n equal ducts: R = (2 - n)/n.

Newton for the pressure and all velocities together, from those of the last step; a junction that
has not closed after `QUICK` passes is bisected, its velocities iterated in between. v is counted
out of the duct; an end feeds the junction if its wall pressure is above q.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.kernels import inner
from distrib.unsteady.flat import get, put, wide
from distrib.unsteady.nozzle import wall
from distrib.unsteady.tables import (
    E_AREA,
    E_C,
    E_DB,
    E_DG,
    E_G,
    E_GP,
    E_GR,
    E_GV,
    E_GY,
    E_H,
    E_HMIX,
    E_LOSS_IN,
    E_LOSS_OUT,
    E_M,
    E_MOVED,
    E_PB,
    E_Q,
    E_SIDE,
    E_SLOPE,
    E_TOTAL,
    E_U,
    E_VB,
    E_WALLP,
    E_YB,
    J_AHEAD,
    J_F,
    J_GOOD,
    J_H_ANY,
    J_H_MIX,
    J_HI,
    J_LO,
    J_MASS,
    J_MOVED,
    J_OPEN,
    J_Q,
    J_SCALE,
    J_SLOPE,
    J_Y_ANY,
    J_Y_MIX,
    JUNCTION_FAILED,
    L_STATE,
    RUNNING,
)

QUICK = 15
"""Passes of the coupled Newton before bisection."""
HOLD = 8
"""Passes for the velocities between two bisections."""
PASSES = QUICK + 60 * HOLD
CLOSED = 1e-8
"""Mass left over the mass that flows, and last change of velocity over sound speed."""


@inner
def prepare_joints(ends: Any, joints: Any, places: Any, n: int, lo: int, hi: int) -> None:
    """Sound speed and wall pressure of ends lo to hi, velocities to start from; means of each
    junction (used only while nothing flows) and the range of its pressure."""
    wide()
    for i in range(lo, hi):
        r, v, p = get(ends, E_GR, i), get(ends, E_GV, i), get(ends, E_GP, i)
        put(ends, E_C, i, np.sqrt(1.4 * p / r))
        put(ends, E_WALLP, i, wall(r, v, p))
        put(ends, E_VB, i, get(ends, E_SIDE, i) * get(ends, E_U, i))
    for k in range(places.shape[0]):
        for j in range(k * n, k * n + n):
            low, high, h, y, area = 1e300, 0.0, 0.0, 0.0, 0.0
            for e in range(places[k, 0], places[k, 0] + places[k, 1]):
                i = e * n + j - k * n
                a, c, v = get(ends, E_AREA, i), get(ends, E_C, i), get(ends, E_GV, i)
                low = min(low, get(ends, E_WALLP, i))
                high = max(high, get(ends, E_WALLP, i))
                h += a * (2.5 * c * c + 0.5 * v * v)
                y += a * get(ends, E_GY, i)
                area += a
            q = get(joints, J_Q, j)
            put(joints, J_Q, j, q if (q >= low) & (q <= high) else 0.5 * (low + high))
            put(joints, J_LO, j, low)
            put(joints, J_HI, j, high)
            put(joints, J_H_ANY, j, h / area)
            put(joints, J_Y_ANY, j, y / area)
            put(joints, J_OPEN, j, 1.0)
            put(joints, J_GOOD, j, 1.0 if high - low <= 1e-14 * high else 0.0)


@inner
def givers(ends: Any, joints: Any, places: Any, n: int, lo: int, hi: int) -> None:
    """Ends that feed their junction, as they move now, and what their streams mix to."""
    wide()
    for k in range(places.shape[0]):
        for e in range(places[k, 0], places[k, 0] + places[k, 1]):
            for j in range(n):
                put(ends, E_Q, e * n + j, get(joints, J_Q, k * n + j))
    for i in range(lo, hi):
        c0, v0 = get(ends, E_C, i), get(ends, E_GV, i)
        gives = get(ends, E_WALLP, i) > get(ends, E_Q, i)
        v = get(ends, E_VB, i)
        v = max(v, 0.0) if gives else min(v, 0.0)
        s = (c0 + 0.2 * (v0 - v)) / c0
        s2 = s * s
        s5 = s2 * s2 * s
        c = c0 * s
        d = get(ends, E_GR, i) * s5
        put(ends, E_VB, i, v)
        put(ends, E_PB, i, get(ends, E_GP, i) * s5 * s2)
        put(ends, E_DB, i, d)
        put(ends, E_H, i, 2.5 * c * c + 0.5 * v * v)
        flow = get(ends, E_AREA, i) * d * v
        put(ends, E_M, i, flow if gives else 0.0)
    for k in range(places.shape[0]):
        for j in range(k * n, k * n + n):
            mass, h, y = 0.0, 0.0, 0.0
            for e in range(places[k, 0], places[k, 0] + places[k, 1]):
                i = e * n + j - k * n
                mass += get(ends, E_M, i)
                h += get(ends, E_M, i) * get(ends, E_H, i)
                y += get(ends, E_M, i) * get(ends, E_GY, i)
            some = mass > 0.0
            put(joints, J_H_MIX, j, h / mass if some else get(joints, J_H_ANY, j))
            put(joints, J_Y_MIX, j, y / mass if some else get(joints, J_Y_ANY, j))
            put(joints, J_MASS, j, mass)
        for e in range(places[k, 0], places[k, 0] + places[k, 1]):
            for j in range(n):
                put(ends, E_HMIX, e * n + j, get(joints, J_H_MIX, k * n + j))
                put(ends, E_YB, e * n + j, get(joints, J_Y_MIX, k * n + j))


@inner
def balance(ends: Any, lo: int, hi: int) -> None:
    """Of ends lo to hi: mass flow, its slope by the velocity, what the momentum balance misses and
    its slope, and how far Newton would move the velocity at this pressure."""
    wide()
    for i in range(lo, hi):
        v, p, q, c0 = get(ends, E_VB, i), get(ends, E_PB, i), get(ends, E_Q, i), get(ends, E_C, i)
        gives = get(ends, E_WALLP, i) > q
        c = c0 + 0.2 * (get(ends, E_GV, i) - v)
        h_mix = get(ends, E_HMIX, i)
        still = h_mix - 0.5 * v * v
        d, area = get(ends, E_DB, i), get(ends, E_AREA, i)
        d = d if gives else 3.5 * p / still
        m2 = v * v / (c * c) if gives else 2.5 * v * v / still
        loss_in, loss_out = get(ends, E_LOSS_IN, i), get(ends, E_LOSS_OUT, i)
        h_own, y_own, y_mix = get(ends, E_H, i), get(ends, E_GY, i), get(ends, E_YB, i)
        share = get(ends, E_TOTAL, i) + (-loss_in if gives else loss_out)
        g = p + share * 0.5 * d * v * v * (1.0 + 0.25 * m2 + 0.025 * m2 * m2) - q
        dg = -1.4 * p / c + share * d * v * (1.0 + 0.5 * m2)
        top = (c0 + 0.2 * get(ends, E_GV, i)) / 1.2
        top = top if gives else np.sqrt(h_mix / 3.0)
        rises = dg < 0.0
        new = v - g / dg if rises else 0.5 * (v + (top if gives else 0.0))
        new = min(max(new, 0.0), top) if gives else max(min(new, 0.0), -top)
        free = (abs(new) < top) & rises
        flow = area * d
        slope = flow * (1.0 - v / c) if gives else flow * (1.0 - 1.4 * v / c + v * v / still)
        put(ends, E_DB, i, d)
        put(ends, E_M, i, flow * v)
        put(ends, E_G, i, slope * (new - v))
        put(ends, E_DG, i, 1.0 / dg if free else 0.0)
        put(ends, E_SLOPE, i, slope / dg if free else 0.0)
        put(ends, E_MOVED, i, new - v)
        put(ends, E_H, i, h_own if gives else h_mix)
        put(ends, E_YB, i, y_own if gives else y_mix)


@inner
def close_joints(ends: Any, joints: Any, places: Any, n: int, number: int) -> int:
    """Sum up each junction, move its pressure and velocities; how many are still open."""
    going = 0
    for k in range(places.shape[0]):
        for j in range(k * n, k * n + n):
            f, ahead, slope, scale, room, moved = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
            for e in range(places[k, 0], places[k, 0] + places[k, 1]):
                i = e * n + j - k * n
                f += get(ends, E_M, i)
                ahead += get(ends, E_M, i) + get(ends, E_G, i)
                slope += get(ends, E_SLOPE, i)
                scale += abs(get(ends, E_M, i))
                room += get(ends, E_AREA, i) * get(ends, E_DB, i) * get(ends, E_C, i)
                moved = max(moved, abs(get(ends, E_MOVED, i)) / get(ends, E_C, i))
            put(joints, J_F, j, f)
            put(joints, J_AHEAD, j, ahead)
            put(joints, J_SLOPE, j, slope)
            put(joints, J_SCALE, j, CLOSED * scale + 1e-14 * room)
            put(joints, J_MOVED, j, moved)
        for j in range(k * n, k * n + n):
            if get(joints, J_OPEN, j) == 0.0:
                continue
            q, low, high = get(joints, J_Q, j), get(joints, J_LO, j), get(joints, J_HI, j)
            f, slope = get(joints, J_F, j), get(joints, J_SLOPE, j)
            settled = get(joints, J_MOVED, j) <= CLOSED
            if settled and (abs(f) <= get(joints, J_SCALE, j) or high - low <= 1e-15 * high):
                put(joints, J_GOOD, j, 1.0)
                put(joints, J_OPEN, j, 0.0)
                continue
            going += 1
            new = q
            if number < QUICK:
                if slope < 0.0:
                    new = q - get(joints, J_AHEAD, j) / slope
                    new = new if (new > low) & (new < high) else 0.5 * (q + (low if new <= low
                                                                            else high))
            elif number % HOLD == 0:
                low, high = (q, high) if f > 0.0 else (low, q)
                put(joints, J_LO, j, low)
                put(joints, J_HI, j, high)
                new = 0.5 * (low + high)
            put(joints, J_Q, j, new)
            for e in range(places[k, 0], places[k, 0] + places[k, 1]):
                i = e * n + j - k * n
                put(ends, E_VB, i, get(ends, E_VB, i) + get(ends, E_MOVED, i)
                    + get(ends, E_DG, i) * (new - q))
    return going


@inner
def joint_flows(ends: Any, joints: Any, lanes: Any, places: Any, n: int) -> None:
    """Mass flux of the ends, outgoing ones scaled so that mass closes; a lane where a junction has
    not closed is marked."""
    for k in range(places.shape[0]):
        for j in range(n):
            mass_in, mass_out = 0.0, 0.0
            for e in range(places[k, 0], places[k, 0] + places[k, 1]):
                m = get(ends, E_M, e * n + j)
                mass_in += max(m, 0.0)
                mass_out += max(-m, 0.0)
            ratio = mass_in / mass_out if mass_out > 0.0 else 0.0
            for e in range(places[k, 0], places[k, 0] + places[k, 1]):
                m = get(ends, E_M, e * n + j)
                m = m * ratio if m < 0.0 else (m if mass_out > 0.0 else 0.0)
                put(ends, E_M, e * n + j, m / get(ends, E_AREA, e * n + j))
            if get(joints, J_GOOD, k * n + j) == 0.0 and get(lanes, L_STATE, j) == RUNNING:
                put(lanes, L_STATE, j, float(JUNCTION_FAILED))
