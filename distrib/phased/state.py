"""Tables of the phased model and the state it carries through the cycle."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from distrib.engine import compiled
from distrib.engine.compiled import cylinder_volume
from distrib.kernels import inline, kernel
from distrib.vectors import LANES

_L = LANES
_GAMMA = 1.4
cyclic_lookup: Any = compiled.cyclic_lookup


class Engine(NamedTuple):
    """The engine, shared by all cases of a batch.

    geometry: bore, stroke, rod (m), compression ratio
    events: exhaust opening, intake closing (degrees after firing TDC), largest intake area (m2)
    closed: compression exponent, expansion exponent, burned cv (J/kg K)
    offset: firing TDC of each cylinder (deg, N)
    intake, exhaust: effective areas over 720 degrees (m2)
    row: per cylinder: mass row, intake nozzle, exhaust nozzle
    steps: steps a cycle, most cycles
    """

    geometry: Any
    events: Any
    closed: Any
    offset: Any
    intake: Any
    exhaust: Any
    row: Any
    steps: Any


class Conditions(NamedTuple):
    """Per case: rpm (B,), port factor (N, B), heat per kg of fresh air (B,), volumes (rows, B)."""

    rpm: Any
    port: Any
    heat: Any
    volume: Any
    gas: Any  # gas constant, J/(kg K), (B,)
    forced: Any  # (B,) 1: cylinders are pools and every valve stays at the table's largest area


class State(NamedTuple):
    """What one block of cases carries from step to step, flat lanes."""

    x: Any
    mass: Any  # of each storing node (row * LANES)
    burned: Any  # burned mass of each storing node
    volume: Any  # at the end of the step
    ivc: Any  # pressure at intake closing, volume there; rows 2 c, 2 c + 1
    evo: Any  # pressure at exhaust opening, volume there
    trapped: Any  # fresh air at the last intake closing, charge mass; rows 2 c, 2 c + 1
    share_node: Any  # burned share of every temperature node
    alive: Any  # 0 while fine, else the number of the worst equation + 1


@inline
def volume_at(engine: Any, c: int, theta_deg: float) -> Any:
    """Volume of cylinder c at crank angle theta."""
    g = engine.geometry
    return cylinder_volume(theta_deg - engine.offset[c], g[0], g[1], g[2], g[3])


@inline
def local_angle(engine: Any, c: int, theta_deg: float) -> Any:
    """Crank angle after the firing TDC of cylinder c, in [0, 720)."""
    return (theta_deg - engine.offset[c]) % 720.0


@inline
def is_closed(engine: Any, local: float) -> Any:
    """Whether both valves are shut: from intake closing over firing TDC to exhaust opening."""
    return local < engine.events[0] or local >= engine.events[1]


@kernel
def closed_state(engine: Any, heat: float, p_ivc: float, v_ivc: float, fresh: float,
                 mass: float, gas: float, v_evo: float) -> Any:
    """Pressure at exhaust opening, from `distrib.engine.closed.state_at_exhaust_opening`.

    Polytrope to TDC, constant-volume heat, polytrope to the opening; scalars.
    """
    g = engine.geometry
    v_c = cylinder_volume(0.0, g[0], g[1], g[2], g[3])
    n_c = engine.closed[0]
    n_e = engine.closed[1]
    t_ivc = p_ivc * v_ivc / (mass * gas)
    t_2 = t_ivc * (v_ivc / v_c) ** (n_c - 1.0)
    t_3 = t_2 + heat * fresh / (mass * engine.closed[2])
    t_evo = t_3 * (v_c / v_evo) ** (n_e - 1.0)
    return mass * gas * t_evo / v_evo


@kernel
def valve_areas(engine: Any, con: Any, flat: Any, theta: float, block: int, n: int) -> None:
    """Set the nozzle areas for a crank angle."""
    first = block * _L
    for c in range(engine.row.shape[0]):
        local = local_angle(engine, c, theta)
        intake = cyclic_lookup(local, engine.intake)
        exhaust = cyclic_lookup(local, engine.exhaust)
        if is_closed(engine, local):
            intake = 0.0
            exhaust = 0.0
        widest = engine.events[2]
        for i in range(n):
            forced = con.forced[first + i] > 0.0
            area = widest if forced else intake
            flat.nozzle[engine.row[c, 1] * _L + i] = area * con.port[c, first + i]
            flat.nozzle[engine.row[c, 2] * _L + i] = 0.0 if forced else exhaust


@kernel
def new_state(top: Any, engine: Any, con: Any, flat: Any, x: Any, block: int, n: int) -> Any:
    """State at crank angle 0: every node at the charge, cylinders as after a plain filling."""
    rows = top.mass_i.shape[0]
    cylinders = engine.row.shape[0]
    state = State(
        np.zeros(x.shape[0] * _L), np.zeros(rows * _L), np.zeros(rows * _L),
        np.zeros(rows * _L), np.zeros(2 * cylinders * _L), np.zeros(2 * cylinders * _L),
        np.zeros(2 * cylinders * _L), np.zeros(flat.c_node.shape[0]),
        np.zeros(_L, dtype=np.int64),
    )
    first = block * _L
    for k in range(x.shape[0]):
        for i in range(n):
            state.x[k * _L + i] = x[k, first + i]
    for j in range(rows):
        for i in range(n):
            p = flat.scalars[i] + state.x[top.mass_i[j, 1] * _L + i]
            v = con.volume[j, first + i]
            state.volume[j * _L + i] = v
            state.mass[j * _L + i] = p * v / (_GAMMA * flat.c_node[top.mass_i[j, 5] * _L + i])
    for c in range(cylinders):
        _fill(top, engine, con, flat, state, c, first, n)
    return state


@inline
def _fill(top: Any, engine: Any, con: Any, flat: Any, state: Any, c: int, first: int,
          n: int) -> None:
    j = engine.row[c, 0]
    v_ivc = volume_at(engine, c, engine.events[1] + engine.offset[c])
    v_evo = volume_at(engine, c, engine.events[0] + engine.offset[c])
    local = local_angle(engine, c, 0.0)
    v = volume_at(engine, c, 0.0)
    for i in range(n):
        p_c = flat.scalars[i]
        rt = _GAMMA * flat.c_node[top.mass_i[j, 5] * _L + i]
        mass = p_c * v_ivc / rt
        state.ivc[2 * c * _L + i] = p_c
        state.ivc[(2 * c + 1) * _L + i] = v_ivc
        p_evo = closed_state(engine, con.heat[first + i], p_c, v_ivc, 0.9 * mass, mass,
                             con.gas[first + i], v_evo)
        state.evo[2 * c * _L + i] = p_evo
        state.evo[(2 * c + 1) * _L + i] = v_evo
        p = p_c
        burned = 0.0
        if local < engine.events[0]:
            p = p_evo * (v_evo / v) ** engine.closed[1]
            burned = 1.0
        elif local >= engine.events[1]:
            p = p_c * (v_ivc / v) ** engine.closed[0]
        else:
            mass = p * v / rt
        if con.forced[first + i] > 0.0:
            p = flat.scalars[i] - flat.scalars[2 * _L + i]
        slot = top.mass_i[j, 1]
        state.x[slot * _L + i] = p - flat.scalars[i]
        state.volume[j * _L + i] = v
        state.mass[j * _L + i] = mass
        state.burned[j * _L + i] = burned * mass
        flat.c_node[top.mass_i[j, 5] * _L + i] = p * v / (_GAMMA * mass)


@inline
def _out(source: Any, i: int, target: Any, j: int, at: int) -> Any:
    rows = source.size // _L
    for k in range(rows):
        target[at + k, j] = source[k * _L + i]
    return at + rows


@inline
def _back(source: Any, i: int, target: Any, j: int, at: int) -> Any:
    rows = source.size // _L
    for k in range(rows):
        source[k * _L + i] = target[at + k, j]
    return at + rows


@kernel
def pack(state: Any, flat: Any, i: int, target: Any, j: int) -> None:
    """Write lane i of a state into column j of target (state_rows, B)."""
    at = _out(state.x, i, target, j, 0)
    at = _out(state.mass, i, target, j, at)
    at = _out(state.burned, i, target, j, at)
    at = _out(state.volume, i, target, j, at)
    at = _out(state.ivc, i, target, j, at)
    at = _out(state.evo, i, target, j, at)
    at = _out(state.trapped, i, target, j, at)
    at = _out(state.share_node, i, target, j, at)
    _out(flat.c_node, i, target, j, at)


@kernel
def unpack(state: Any, flat: Any, i: int, source: Any, j: int) -> None:
    """Set lane i of a state from column j of source."""
    at = _back(state.x, i, source, j, 0)
    at = _back(state.mass, i, source, j, at)
    at = _back(state.burned, i, source, j, at)
    at = _back(state.volume, i, source, j, at)
    at = _back(state.ivc, i, source, j, at)
    at = _back(state.evo, i, source, j, at)
    at = _back(state.trapped, i, source, j, at)
    at = _back(state.share_node, i, source, j, at)
    _back(flat.c_node, i, source, j, at)
