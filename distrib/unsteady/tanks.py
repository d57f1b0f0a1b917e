"""Volumes and cylinders over one step: flows in and out, piston work, exhaust, valve events.

n: lanes. Cylinder k of the engine is tank number volumes + k.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.engine.compiled import volume_from_cosine
from distrib.kernels import inline, inner
from distrib.unsteady.flat import cosine, get, put, wide
from distrib.unsteady.nozzle import nozzle_flow
from distrib.unsteady.tables import (
    A_COMBUSTION,
    A_ENERGY,
    A_ENERGY_THROUGH,
    A_EXHAUST_ENERGY,
    A_EXHAUST_MASS,
    A_MASS,
    A_MASS_THROUGH,
    A_WORK,
    C_ANGLE,
    C_BACK_FLOW,
    C_BACK_PRESSURE,
    C_BORE,
    C_CLOSES,
    C_EVENT,
    C_EXHAUST,
    C_EXHAUST_H,
    C_EXHAUST_M,
    C_EXHAUST_T,
    C_FRESH,
    C_GAIN,
    C_INTAKE,
    C_NEXT,
    C_OPENS,
    C_RATIO,
    C_RISE,
    C_ROD,
    C_SHUT,
    C_STROKE,
    C_TDC,
    C_THROUGH,
    C_TRAPPED,
    C_TRAPPED_P,
    C_TRAPPED_SIZE,
    C_TRAPPED_T,
    C_TURN,
    C_UNBURNED,
    CLOSED,
    E_BURNED,
    E_ENTHALPY,
    E_MASS,
    EMPTY_VOLUME,
    JUNCTION,
    L_DT,
    L_GAS,
    L_SPEED,
    L_STATE,
    L_T,
    RUNNING,
    T_BURNED,
    T_ENERGY,
    T_FINITE,
    T_MASS,
    T_P,
    T_P_HALF,
    T_RATE,
    T_SIZE,
    T_T,
    T_Y,
    TRANSMISSIVE,
    VALVE,
    VOLUME,
)


@inline
def volume(pots: Any, i: int, angle: float) -> float:
    """Gas volume of a cylinder at a crank angle after its own dead centre."""
    return float(volume_from_cosine(cosine(angle), get(pots, C_BORE, i), get(pots, C_STROKE, i),
                                    get(pots, C_ROD, i), get(pots, C_RATIO, i)))


@inner
def turn_cranks(pots: Any, lanes: Any, areas: Any, n: int) -> None:
    """Crank angles of this step, the volume at its end, valve areas half way, events due."""
    wide()
    for k in range(0, pots.shape[1], n):
        for j in range(n):
            i, speed = k + j, get(lanes, L_SPEED, j)
            turn = speed * get(lanes, L_DT, j)
            angle = speed * get(lanes, L_T, j) - get(pots, C_TDC, i)
            after = (angle + turn) * (1.0 / 720.0)
            local = 720.0 * (after - np.floor(after))
            half = (angle + 0.5 * turn) * (1.0 / 720.0)
            opened = (local >= get(pots, C_OPENS, i)) & (local < get(pots, C_CLOSES, i))
            shut = get(pots, C_SHUT, i) == 1.0
            put(pots, C_TURN, i, turn)
            put(pots, C_ANGLE, i, half - np.floor(half))
            put(pots, C_EVENT, i, 0.0 if (opened & (not shut)) | ((not opened) & shut) else 1.0)
            put(pots, C_NEXT, i, volume(pots, i, angle + turn))
    points = areas.shape[1]
    for i in range(pots.shape[1]):
        x = get(pots, C_ANGLE, i) * points
        a = min(int(x), points - 1)
        b = a + 1 if a + 1 < points else 0
        w = x - a
        put(pots, C_INTAKE, i, areas[0, a, i] + w * (areas[0, b, i] - areas[0, a, i]))
        put(pots, C_EXHAUST, i, areas[1, a, i] + w * (areas[1, b, i] - areas[1, a, i]))


@inner
def half_step_pressures(tanks: Any, pots: Any, lanes: Any, n: int) -> None:
    """Pressure of volumes and cylinders half a step ahead, from the last flows and the piston."""
    wide()
    first = tanks.shape[1] - pots.shape[1]
    for k in range(0, tanks.shape[1], n):
        for j in range(n):
            i = k + j
            p = get(tanks, T_P, i)
            ahead = p + 0.5 * get(lanes, L_DT, j) * get(tanks, T_RATE, i)
            put(tanks, T_P_HALF, i, ahead if get(tanks, T_FINITE, i) == 1.0 else p)
    for i in range(pots.shape[1]):
        size = get(tanks, T_SIZE, first + i)
        grown = 0.5 * (get(pots, C_NEXT, i) - size) / size
        put(tanks, T_P_HALF, first + i, get(tanks, T_P_HALF, first + i) * (1.0 - 1.4 * grown))
    for i in range(tanks.shape[1]):
        q, p = get(tanks, T_P_HALF, i), get(tanks, T_P, i)
        put(tanks, T_P_HALF, i, q if q > 0.2 * p else p)


@inner
def collect(ends: Any, tanks: Any, pots: Any, lanes: Any, plan: Any, starts: Any, n: int) -> None:
    """Carry the flows of the ends into volumes, cylinders and the audit."""
    wide()
    first = tanks.shape[1] - pots.shape[1]
    for i in range(tanks.shape[1]):
        put(tanks, T_RATE, i, 0.0)
    for e in range(starts[TRANSMISSIVE], starts[CLOSED]):
        for j in range(n):
            put(lanes, A_MASS, j, get(lanes, A_MASS, j) - get(ends, E_MASS, e * n + j))
            put(lanes, A_ENERGY, j, get(lanes, A_ENERGY, j) - get(ends, E_ENTHALPY, e * n + j))
    for e in range(starts[VALVE], starts[JUNCTION]):
        valve, ref = e < starts[VOLUME], plan[e, 0] * n
        tank = ref + first if valve else ref
        for j in range(n):
            i, t = e * n + j, tank + j
            m, h, b = get(ends, E_MASS, i), get(ends, E_ENTHALPY, i), get(ends, E_BURNED, i)
            rise = 0.4 * h / get(tanks, T_SIZE, t)
            finite = get(tanks, T_FINITE, t) == 1.0
            put(tanks, T_MASS, t, get(tanks, T_MASS, t) + (m if finite else 0.0))
            put(tanks, T_ENERGY, t, get(tanks, T_ENERGY, t) + (h if finite else 0.0))
            put(tanks, T_BURNED, t, get(tanks, T_BURNED, t) + (b if finite else 0.0))
            put(tanks, T_RATE, t, get(tanks, T_RATE, t) + (rise if finite else 0.0))
            put(lanes, A_MASS, j, get(lanes, A_MASS, j) - (0.0 if finite else m))
            put(lanes, A_ENERGY, j, get(lanes, A_ENERGY, j) - (0.0 if finite else h))
            put(lanes, A_MASS_THROUGH, j, get(lanes, A_MASS_THROUGH, j) + abs(m))
            put(lanes, A_ENERGY_THROUGH, j, get(lanes, A_ENERGY_THROUGH, j) + abs(h))
        if valve:
            for j in range(n):
                m = get(ends, E_MASS, e * n + j)
                put(pots, C_THROUGH, ref + j, get(pots, C_THROUGH, ref + j) + m)
                put(pots, C_BACK_FLOW, ref + j, get(pots, C_BACK_FLOW, ref + j) + max(-m, 0.0))


@inner
def exhaust_and_work(tanks: Any, pots: Any, lanes: Any, n: int) -> None:
    """Exhaust valves against the back pressure, and the piston, of cylinders that are not shut.

    Implicit in the pressure difference (no overshoot): the mass of a step is m dt/(1 + s m/|dp|),
    s = 1.4 R T dt/V the pressure it would undo. Gas that flows back has the mean temperature of
    what left before, and is all burned.
    """
    wide()
    first = tanks.shape[1] - pots.shape[1]
    for k in range(0, pots.shape[1], n):
        for j in range(n):
            i, x, dt, gas = k + j, first + k + j, get(lanes, L_DT, j), get(lanes, L_GAS, j)
            p, back = get(tanks, T_P, x), get(pots, C_BACK_PRESSURE, i)
            size, following = get(tanks, T_SIZE, x), get(pots, C_NEXT, i)
            out, opened = p > back, get(pots, C_SHUT, i) == 0.0
            t, t_back, y = get(tanks, T_T, x), get(pots, C_EXHAUST_T, i), get(tanks, T_Y, x)
            t = t if out else t_back
            flow = get(pots, C_EXHAUST, i) * nozzle_flow(max(p, back), t, min(p, back), gas)
            gap = abs(p - back)
            damp = 1.4 * gas * t * dt / size * flow / gap if gap > 0.0 else 0.0
            m = flow * dt / (1.0 + damp)
            m = m if opened & (gap > 0.0) else 0.0
            m = m if out else -m
            h = 3.5 * gas * t * m
            work = get(tanks, T_P_HALF, x) * (following - size)
            work = work if opened else 0.0
            gone = m * (y if out else 1.0)
            put(tanks, T_MASS, x, get(tanks, T_MASS, x) - m)
            put(tanks, T_ENERGY, x, get(tanks, T_ENERGY, x) - h - work)
            put(tanks, T_BURNED, x, get(tanks, T_BURNED, x) - gone)
            put(tanks, T_RATE, x, get(tanks, T_RATE, x) - 0.4 * h / size)
            put(tanks, T_SIZE, x, following)
            put(pots, C_EXHAUST_M, i, get(pots, C_EXHAUST_M, i) + max(m, 0.0))
            put(pots, C_EXHAUST_H, i, get(pots, C_EXHAUST_H, i) + max(m, 0.0) * t)
            put(lanes, A_EXHAUST_MASS, j, get(lanes, A_EXHAUST_MASS, j) + m)
            put(lanes, A_EXHAUST_ENERGY, j, get(lanes, A_EXHAUST_ENERGY, j) + h)
            put(lanes, A_WORK, j, get(lanes, A_WORK, j) + work)


@inline
def valve_event(tanks: Any, pots: Any, lanes: Any, i: int, x: int, j: int) -> None:
    """Intake closing: note what is trapped, set the state for exhaust opening; opening: go on."""
    if get(pots, C_SHUT, i) == 1.0:
        put(pots, C_SHUT, i, 0.0)
        return
    cv = 2.5 * get(lanes, L_GAS, j)
    m, energy = get(tanks, T_MASS, x), get(tanks, T_ENERGY, x)
    fresh, size = m - get(tanks, T_BURNED, x), get(tanks, T_SIZE, x)
    t = energy / (m * cv)
    put(pots, C_TRAPPED, i, m)
    put(pots, C_FRESH, i, fresh)
    put(pots, C_TRAPPED_T, i, t)
    put(pots, C_TRAPPED_P, i, 0.4 * energy / size)
    put(pots, C_TRAPPED_SIZE, i, size)
    hot = get(pots, C_GAIN, i) * t + get(pots, C_RISE, i) * fresh / m
    put(lanes, A_COMBUSTION, j, get(lanes, A_COMBUSTION, j) + m * cv * (hot - t))
    put(tanks, T_ENERGY, x, m * cv * hot)
    put(tanks, T_BURNED, x, m - fresh * get(pots, C_UNBURNED, i))
    put(pots, C_SHUT, i, 1.0)
    if get(pots, C_EXHAUST_M, i) > 0.0:
        put(pots, C_EXHAUST_T, i, get(pots, C_EXHAUST_H, i) / get(pots, C_EXHAUST_M, i))
    put(pots, C_EXHAUST_M, i, 0.0)
    put(pots, C_EXHAUST_H, i, 0.0)


@inner
def valve_events(tanks: Any, pots: Any, lanes: Any, n: int) -> None:
    """Valve events due at the end of this step."""
    first = tanks.shape[1] - pots.shape[1]
    for i in range(pots.shape[1]):
        if get(pots, C_EVENT, i) == 1.0 and get(lanes, L_STATE, i % n) == RUNNING:
            valve_event(tanks, pots, lanes, i, first + i, i % n)


@inner
def tank_states(tanks: Any, lanes: Any, n: int) -> None:
    """Pressure, temperature and burned fraction at the end of the step; a lane where a volume or
    cylinder runs empty or loses all its energy is marked."""
    wide()
    for k in range(0, tanks.shape[1], n):
        for j in range(n):
            x, dt = k + j, get(lanes, L_DT, j)
            m, energy, size = get(tanks, T_MASS, x), get(tanks, T_ENERGY, x), get(tanks, T_SIZE, x)
            finite = get(tanks, T_FINITE, x) == 1.0
            held = m if finite else 1.0
            p, t, y = get(tanks, T_P, x), get(tanks, T_T, x), get(tanks, T_Y, x)
            rate = get(tanks, T_RATE, x) / dt
            put(tanks, T_P, x, 0.4 * energy / size if finite else p)
            put(tanks, T_T, x, energy / (held * 2.5 * get(lanes, L_GAS, j)) if finite else t)
            put(tanks, T_Y, x, get(tanks, T_BURNED, x) / held if finite else y)
            put(tanks, T_RATE, x, rate if dt > 0.0 else 0.0)
            good = (not finite) | ((m > 0.0) & (energy > 0.0))
            bad = (not good) & (get(lanes, L_STATE, j) == RUNNING)
            state = get(lanes, L_STATE, j)
            put(lanes, L_STATE, j, float(EMPTY_VOLUME) if bad else state)
