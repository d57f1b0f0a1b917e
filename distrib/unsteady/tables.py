"""Flat tables the compiled kernels read and write, and the names of their rows and fields.

All ducts lie end to end in one row of cells; each duct has one ghost cell at either side. A face
has the number of the cell on its left. What is looped over for every cell is a structure of
arrays (`cells`, `grid`: one row per quantity, row numbers below); what there are few of (ends,
mouths, tanks, cylinders) are arrays of named records. Few arguments keep calls and compilation
cheap.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from distrib.results import FloatArray, IntArray

CLOSED: Final = 0
TRANSMISSIVE: Final = 1
VOLUME: Final = 2
JUNCTION: Final = 3
THROTTLE: Final = 4
VALVE: Final = 5
TAKEOFF: Final = 6

OK: Final = 0
NOT_FINITE: Final = 1
JUNCTION_FAILED: Final = 2
TOO_MANY_STEPS: Final = 3
EMPTY_VOLUME: Final = 4

CELL_ROWS: Final = (
    "rho", "mom", "ene", "bur", "u", "p", "y", "speed", "drag", "film", "rl", "ul", "pl", "yl",
    "rr", "ur", "pr", "yr", "fm", "fu", "fe", "fy", "wall", "pull", "inverse_rho",
)
"""Rows of `cells`: conserved state per volume, primitive state, (|u| + c)/dx, wall terms,
half-step states at the left and right face, fluxes through the right face, half-step pressure and
drag force, 1/density."""

(RHO, MOM, ENE, BUR, U, P, Y, SPEED, DRAG, FILM, RL, UL, PL, YL, RR, UR, PR, YR, FM, FU, FE,
 FY, WALL, PULL, INV_RHO) = range(25)

GRID_ROWS: Final = (
    "inverse_dx", "geometry", "area_left", "area_right", "inverse_volume", "diameter",
    "relative_roughness", "wall_friction", "loss_per_m", "wall_temperature", "heat",
)
"""Rows of `grid`; inverse_volume is 0 in ghosts, so that they are never updated; geometry is
(area_right - area_left)/mean area; wall_friction is a factor on the friction law, heat 0 or 1."""

(INV_DX, GEOMETRY, AREA_L, AREA_R, INV_VOLUME, DIAMETER, RELATIVE, WALL_FRICTION, LOSS_PER_M,
 WALL_T, HEAT) = range(11)

_I, _F = np.int64, np.float64

END: Final = np.dtype([
    ("kind", _I), ("ref", _I), ("cell", _I), ("ghost", _I), ("side", _F), ("area", _F),
    ("phi_in", _F), ("phi_out", _F), ("total", _F), ("loss_in", _F), ("loss_out", _F),
    ("rho", _F), ("u", _F), ("p", _F), ("y", _F), ("mass", _F), ("enthalpy", _F), ("burned", _F),
])
"""One duct end, left then right of each duct: what it is; boundary state (u along x); what left
the duct in the last step (kg, J, kg)."""

MOUTH: Final = np.dtype([
    ("end", _I), ("first", _I), ("count", _I), ("weight_at", _I), ("before", _I), ("after", _I),
    ("jet_at", _I), ("jets", _I), ("momentum", _F), ("join_cos", _F), ("left", _F, (7,)),
    ("right", _F, (7,)), ("run", _F, (4,)), ("v", _F), ("push", _F),
    ("dt", _F), ("mean", _F, (4,)),
])
"""One take-off: header cells it covers, coefficients; of the last step: speed into the end, axial
push (N s), step (s), means under the mouth (p, density, u^2, total enthalpy)."""

JET: Final = np.dtype([("end", _I), ("c", _F)])
THROTTLE_ROW: Final = np.dtype([("a", _I), ("b", _I), ("area", _F), ("p", _F)])
JOINT: Final = np.dtype([("at", _I), ("count", _I), ("p", _F)])

TANK: Final = np.dtype([
    ("size", _F), ("finite", _I), ("p", _F), ("t", _F), ("y", _F), ("mass", _F), ("energy", _F),
    ("burned", _F), ("rate", _F), ("p_half", _F),
])
"""Volumes, then cylinders: size in m^3 and state; rate is the pressure rise by flows, Pa/s."""

POT: Final = np.dtype([
    ("tdc", _F), ("bore", _F), ("stroke", _F), ("rod", _F), ("ratio", _F), ("closes", _F),
    ("opens", _F), ("back_pressure", _F), ("gain", _F), ("rise", _F), ("unburned", _F),
    ("shut", _I), ("trapped", _F), ("fresh", _F), ("trapped_p", _F), ("trapped_t", _F),
    ("trapped_size", _F), ("back_flow", _F), ("through", _F), ("exhaust_t", _F),
    ("exhaust_m", _F), ("exhaust_h", _F),
])
"""One cylinder: dimensions, then what the last closing of its intake valve trapped, flows through
the intake valve since the last reset, and the mean state of what left by the exhaust."""

AUDIT: Final = (
    "mass_in", "energy_in", "heat", "work", "combustion", "exhaust_mass", "exhaust_energy",
    "mass_throughput", "energy_throughput",
)
"""What crossed the borders of the whole system since the last reset (kg, J)."""


@dataclass(frozen=True)
class Model:
    """All tables of one run. `areas` (2, C, n): intake and exhaust valve areas over the cycle."""

    grid: FloatArray
    cells: FloatArray
    first: IntArray
    count: IntArray
    ends: Any
    mouths: Any
    weights: FloatArray
    jets: Any
    joints: Any
    joint_ends: IntArray
    throttles: Any
    pots: Any
    areas: FloatArray
    tanks: Any
    audit: FloatArray
    clock: FloatArray
    scratch: FloatArray


@dataclass(frozen=True)
class Record:
    """Traces at equal times: rows (4, S, K) of rho, u, p, y in cells `cell` (K,); cylinders
    (2, S, C): pressure and mass flow through the intake valve into the cylinder, kg/s.

    `clock`: start time, step, time of the previous values, next row (as a float).
    """

    cell: IntArray
    rows: FloatArray
    cylinders: FloatArray
    previous: FloatArray
    previous_cylinder: FloatArray
    clock: FloatArray
