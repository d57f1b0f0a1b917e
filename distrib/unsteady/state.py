"""The state a run ends in, from which a like run may start."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from distrib.results import FloatArray
from distrib.unsteady import tables as tb
from distrib.unsteady.layout import Lane

_CELLS = (tb.RHO, tb.MOM, tb.ENE, tb.BUR, tb.DRAG, tb.FILM)
_ENDS = tuple(tb.ROW[f"ends.{n}"] for n in ("rho", "u", "p", "y"))
_TANKS = tuple(tb.ROW[f"tanks.{n}"] for n in ("p", "t", "mass", "energy", "burned", "size"))
_FLAGS = tuple(tb.ROW[f"pots.{n}"] for n in ("shut", "trapped", "fresh", "trapped_p", "trapped_t",
                                             "trapped_size", "exhaust_t", "exhaust_m", "exhaust_h"))


@dataclass(frozen=True)
class State:
    """A run at crank angle 0 after its last cycle: what `start_from` needs, by rows of the tables.

    `conditions`: ambient pressure, temperature and gas constant it was solved for; `count`: cells
    of each duct.
    """

    count: tuple[int, ...]
    conditions: tuple[float, float, float]
    cells: FloatArray
    ends: FloatArray
    tanks: FloatArray
    pots: FloatArray
    joints: FloatArray


def _conditions(lane: Lane) -> tuple[float, float, float]:
    s = lane.setup
    return s.ambient_pressure_pa, s.ambient_temperature_k, s.gas_constant_j_kg_k


def state_of(lane: Lane) -> State:
    """Copy the present state of a run."""
    t = lane.tables
    return State(tuple(lane.count.tolist()), _conditions(lane), t.cells[list(_CELLS)],
                 t.ends[list(_ENDS)], t.tanks[list(_TANKS)], t.pots[list(_FLAGS)],
                 t.joints[0].copy())


def start_from(lane: Lane, state: State) -> None:
    """Start a run from the state of another on the same grid, scaled to its own ambient.

    Pressures keep their ratio to the ambient pressure, temperatures to the ambient temperature,
    velocities to the speed of sound. Only the way to the repeating cycle gets shorter. ValueError
    if the grid is another.
    """
    pots = lane.tables.pots.shape[1]
    if state.count != tuple(lane.count.tolist()) or state.pots.shape[1] != pots:
        raise ValueError("start state of another grid: the numbers of cells and cylinders differ")
    new, old = _conditions(lane), state.conditions
    p, t = new[0] / old[0], new[1] / old[1]
    r = p / t * old[2] / new[2]
    u = math.sqrt(t * new[2] / old[2])
    tables = lane.tables
    tables.cells[list(_CELLS)] = state.cells * np.array([r, r * u, p, r, u, r * u])[:, None]
    tables.ends[list(_ENDS)] = state.ends * np.array([r, u, p, 1.0])[:, None]
    tables.joints[0] = state.joints * p
    finite = lane.row("tanks.finite") == 1.0
    held = lane.row("tanks.size")[finite] / state.tanks[5, finite]
    scale = np.array([p, t, r, p, r])[:, None] * np.stack([held**0, held**0, held, held, held])
    for row, values in zip(_TANKS[:5], state.tanks[:5, finite] * scale, strict=True):
        tables.tanks[row, finite] = values
    lane.row("tanks.y")[finite] = lane.row("tanks.burned")[finite] / lane.row("tanks.mass")[finite]
    lane.row("tanks.p_half")[:] = lane.row("tanks.p")
    tables.pots[list(_FLAGS)] = state.pots
