"""Volumes and cylinders over one step: flows in and out, piston work, exhaust, valve events."""

from __future__ import annotations

from typing import Any

from distrib.engine.compiled import cyclic_lookup, cylinder_volume
from distrib.kernels import kernel
from distrib.unsteady.nozzle import nozzle_flow
from distrib.unsteady.tables import TRANSMISSIVE, VALVE, VOLUME


@kernel
def pot_volume(pot: Any, angle: float) -> float:
    """Gas volume of a cylinder at crank angle `angle`."""
    return float(cylinder_volume(angle - pot.tdc, pot.bore, pot.stroke, pot.rod, pot.ratio))


@kernel
def half_step_pressures(tanks: Any, pots: Any, dt: float, angle: float, turn: float) -> None:
    """Pressure of volumes and cylinders half a step ahead, from the last flows and the piston."""
    first = tanks.size - pots.size
    for k in range(tanks.size):
        tank = tanks[k]
        q = tank.p
        if tank.finite == 1:
            q += 0.5 * dt * tank.rate
        if k >= first:
            v1 = pot_volume(pots[k - first], angle + 0.5 * turn)
            q *= 1.0 - 1.4 * (v1 - tank.size) / tank.size
        tank.p_half = q if q > 0.2 * tank.p else tank.p


@kernel
def collect(ends: Any, tanks: Any, pots: Any, audit: Any) -> None:
    """Carry the flows of the ends into volumes, cylinders and the audit."""
    first = tanks.size - pots.size
    for k in range(tanks.size):
        tanks[k].rate = 0.0
    for e in range(ends.size):
        end = ends[e]
        kind = end.kind
        if kind == TRANSMISSIVE:
            audit[0] -= end.mass
            audit[1] -= end.enthalpy
        if kind != VOLUME and kind != VALVE:
            continue
        k = end.ref
        if kind == VALVE:
            pots[k].through += end.mass
            pots[k].back_flow += max(-end.mass, 0.0)
            k += first
        tank = tanks[k]
        if tank.finite == 1:
            tank.mass += end.mass
            tank.energy += end.enthalpy
            tank.burned += end.burned
            tank.rate += 0.4 * end.enthalpy / tank.size
        else:
            audit[0] -= end.mass
            audit[1] -= end.enthalpy
        audit[7] += abs(end.mass)
        audit[8] += abs(end.enthalpy)


@kernel
def exhaust_flow(tank: Any, pot: Any, area: float, audit: Any, dt: float,
                 gas_constant: float) -> None:
    """Exhaust valve against the back pressure; implicit in the pressure difference (no overshoot).

    The mass of a step is m dt/(1 + s m/|dp|), s = 1.4 R T dt/V the pressure it would undo. Gas
    that flows back has the mean temperature of what left before, and is all burned.
    """
    back = pot.back_pressure
    p = tank.p
    if area <= 0.0 or p == back:
        return
    if p > back:
        t, sign = tank.t, 1.0
        flow = area * nozzle_flow(p, t, back, gas_constant)
    else:
        t, sign = pot.exhaust_t, -1.0
        flow = area * nozzle_flow(back, t, p, gas_constant)
    damp = 1.4 * gas_constant * t * dt / tank.size * flow / abs(p - back)
    m = sign * flow * dt / (1.0 + damp)
    h = 3.5 * gas_constant * t * m
    tank.mass -= m
    tank.energy -= h
    tank.burned -= m * (tank.y if m > 0.0 else 1.0)
    tank.rate -= 0.4 * h / tank.size
    if m > 0.0:
        pot.exhaust_m += m
        pot.exhaust_h += m * t
    audit[5] += m
    audit[6] += h


@kernel
def valve_events(tank: Any, pot: Any, audit: Any, angle: float, gas_constant: float) -> None:
    """Intake closing: note what is trapped, set the state for exhaust opening; opening: go on."""
    local = (angle - pot.tdc) % 720.0
    if pot.opens <= local < pot.closes:
        pot.shut = 0
        return
    if pot.shut == 1:
        return
    cv = 2.5 * gas_constant
    m = tank.mass
    fresh = m - tank.burned
    t = tank.energy / (m * cv)
    pot.trapped = m
    pot.fresh = fresh
    pot.trapped_t = t
    pot.trapped_p = 0.4 * tank.energy / tank.size
    pot.trapped_size = tank.size
    hot = pot.gain * t + pot.rise * fresh / m
    audit[4] += m * cv * (hot - t)
    tank.energy = m * cv * hot
    tank.burned = m - fresh * pot.unburned
    pot.shut = 1
    if pot.exhaust_m > 0.0:
        pot.exhaust_t = pot.exhaust_h / pot.exhaust_m
    pot.exhaust_m = 0.0
    pot.exhaust_h = 0.0


@kernel
def advance_tanks(ends: Any, tanks: Any, pots: Any, areas: Any, audit: Any, dt: float,
                  angle: float, turn: float, gas_constant: float) -> bool:
    """Volumes and cylinders over one step; False if one runs empty or loses all its energy."""
    first = tanks.size - pots.size
    cv = 2.5 * gas_constant
    collect(ends, tanks, pots, audit)
    for k in range(tanks.size):
        tank = tanks[k]
        if tank.finite == 0:
            continue
        if k >= first:
            pot = pots[k - first]
            size = pot_volume(pot, angle + turn)
            if pot.shut == 0:
                after = angle + 0.5 * turn - pot.tdc
                area = cyclic_lookup(after, areas[1, k - first])  # type: ignore[no-untyped-call]
                exhaust_flow(tank, pot, area, audit, dt, gas_constant)
                work = tank.p_half * (size - tank.size)
                tank.energy -= work
                audit[3] += work
            tank.size = size
            valve_events(tank, pot, audit, angle + turn, gas_constant)
        if not (tank.mass > 0.0 and tank.energy > 0.0):
            return False
        tank.p = 0.4 * tank.energy / tank.size
        tank.t = tank.energy / (tank.mass * cv)
        tank.y = tank.burned / tank.mass
        tank.rate /= dt
    return True
