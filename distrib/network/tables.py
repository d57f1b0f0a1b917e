"""The arrays of a compiled network: who touches which unknown, and with which numbers.

Topology is integers, shared by all cases of a batch. Parameters are float rows with one column
per case; a block of LANES cases is copied into flat scratch rows before it is solved.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from distrib.vectors import LANES


class Topology(NamedTuple):
    """Integer tables; every `*_i` has one row per element, every `pos` points into the Jacobian."""

    sizes: Any  # n unknowns, n pressures, n flows, n slots of x, n Jacobian slots, n of mass rows
    end_i: Any  # p slot, flow, area row
    flow_i: Any  # node temperature at a, at b
    duct_i: Any  # end a, end b, row, flow, pos a, pos b, pos m
    station_i: Any  # end L, end R, row, pos pL, pos pR, pos mL, pos mR
    mouth_i: Any  # end L, end R, end 1, row, pos pL, pR, mL, mR, p1, m
    jet_i: Any  # row, end, sign, pos p, pos m
    nozzle_i: Any  # end a, p slot b, flow, row, pos a, pos b, pos m
    mass_ptr: Any  # start of each mass row in mass_term
    mass_term: Any  # flow, sign, pos
    mass_i: Any  # row


class Params(NamedTuple):
    """Float rows of one block: shape (rows * LANES,), or (rows, B) for the whole batch."""

    area: Any  # m2, of ends
    inv_area: Any  # 1/m2
    duct: Any  # 9 rows each: Ka+ Kb+ Ka- Kb- L/2Da L/2Db  rel. roughness  Re/|m|  1/(Cd A) choke
    duct_f: Any  # fixed Darcy factor, negative where the friction law applies
    station: Any  # 5 rows each: c0 c1 c2 c8 gain
    mouth: Any  # 10 rows each: k_ww k_vv k_exit a0 a1 q1 a2 k_wv(left) k_wv(right) 1/area of plenum
    jet: Any  # coefficient on the entry head
    nozzle: Any  # Cd A
    c_node: Any  # R T0 / gamma of each temperature node
    scalars: Any  # p reference, flow scale, pressure difference scale, smoothing phi


DUCT_ROWS = 9
STATION_ROWS = 5
MOUTH_ROWS = 10
CLOSED_AREA_M2 = 1e-10
"""A nozzle narrower than this is a closed valve: its flow is zero."""

RE_FLOOR = 1.0
"""Below this Reynolds number the friction factor stays constant, so that still air has one."""


def lanes_of(rows: int) -> np.ndarray[Any, Any]:
    """Flat scratch for `rows` rows of LANES numbers."""
    return np.zeros(max(rows, 1) * LANES)
