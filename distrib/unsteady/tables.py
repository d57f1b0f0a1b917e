"""Flat tables the compiled kernels read and write, and the names of their rows.

Several runs lie side by side in lanes. A float table is an array (rows, items x lanes) with the
lane as the fastest index: item k of lane j stands at k x lanes + j. Items are cells, duct ends,
take-offs, tanks (volumes, then cylinders), cylinders ("pots"), junctions. All ducts lie end to end
in one row of cells, each with one ghost cell at either side; inert cells fill the row up. A face
has the number of the cell on its left. Row numbers are unique over all tables (see `flat.get`).
What is where (neighbours, numbers of things) is the same in all lanes and stands in integer tables.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

from distrib.results import FloatArray, IntArray

TABLE_STEP: Final = 100
"""Row numbers of one table lie within a hundred of their own."""


def _rows(table: int, names: str) -> tuple[int, ...]:
    return tuple(range(table * TABLE_STEP, table * TABLE_STEP + len(names.split())))


TAKEOFF: Final = 0
VALVE: Final = 1
VOLUME: Final = 2
JUNCTION: Final = 3
THROTTLE: Final = 4
TRANSMISSIVE: Final = 5
CLOSED: Final = 6
"""Kinds of ends, in the order in which ends stand in their table."""

OK: Final = 0
NOT_FINITE: Final = 1
JUNCTION_FAILED: Final = 2
TOO_MANY_STEPS: Final = 3
EMPTY_VOLUME: Final = 4
RUNNING: Final = 5
IDLE: Final = 6
"""State of a lane: reached its stop time; failed; on its way; empty (its state stays)."""

_CELLS = ("rho mom ene bur u p y speed drag film rl ul pl yl rr ur pr yr fm fu fe fy wall pull "
          "inverse_rho dt inverse_c2 sound")
(RHO, MOM, ENE, BUR, U, P, Y, SPEED, DRAG, FILM, RL, UL, PL, YL, RR, UR, PR, YR, FM, FU, FE,
 FY, WALL, PULL, INV_RHO, DT, INV_C2, SOUND) = _rows(0, _CELLS)
"""Cells: conserved state per volume, primitive state, (|u| + c)/dx, wall terms, half-step states
at the left and right face, fluxes through the right face, half-step pressure and drag force,
1/density, time step of the lane, 1/sound speed^2, sound speed."""

_GRID = ("inverse_dx geometry area_left area_right inverse_volume diameter roughness "
         "wall_friction loss_per_m wall_temperature heat")
GRID_ROWS: Final = tuple(_GRID.split())
(INV_DX, GEOMETRY, AREA_L, AREA_R, INV_VOLUME, DIAMETER, ROUGHNESS, WALL_FRICTION, LOSS_PER_M,
 WALL_T, HEAT) = _rows(1, _GRID)
"""Sizes of cells; inverse_volume is 0 in ghosts, so that they are never updated; geometry is
(area_right - area_left)/mean area; roughness is its term in the
friction law, wall_friction a factor on the law, heat 0 or 1."""

_ENDS = ("area side phi_in phi_out total loss_in loss_out rho u p y mass enthalpy burned "
         "gr gv gp gy given back t_in y_in fin fout ratio backward c state "
         "pb vb db m h yb wallp q hmix g dg slope moved")
(E_AREA, E_SIDE, E_PHI_IN, E_PHI_OUT, E_TOTAL, E_LOSS_IN, E_LOSS_OUT, E_RHO, E_U, E_P, E_Y, E_MASS,
 E_ENTHALPY, E_BURNED, E_GR, E_GV, E_GP, E_GY, E_GIVEN, E_BACK, E_T_IN, E_Y_IN, E_FIN, E_FOUT,
 E_RATIO, E_BACKWARD, E_C, E_STATE, E_PB, E_VB, E_DB, E_M, E_H, E_YB, E_WALLP, E_Q, E_HMIX, E_G,
 E_DG, E_SLOPE, E_MOVED) = _rows(2, _ENDS)
"""Duct ends: loss numbers; boundary state (u along x); what left the duct in the last step (kg, J,
kg). Of this step: gas at the end half a step ahead (velocity out of the duct); the space it meets
(pressure for what comes, pressure for what goes, temperature, burned, throat ratios); wall
pressure over space pressure to the 1/7, sound speed, what happens; boundary state, mass flux,
stagnation enthalpy, burned; the iteration of junctions."""

_MOUTHS = ("momentum join_cos l0 l1 l2 l3 l4 l5 l6 r0 r1 r2 r3 r4 r5 r6 run0 run1 run2 run3 header "
           "v push dt mp md mw mh p d w h y from_left from_right jet share")
(M_MOMENTUM, M_JOIN_COS, M_L0, M_L1, M_L2, M_L3, M_L4, M_L5, M_L6, M_R0, M_R1, M_R2, M_R3, M_R4,
 M_R5, M_R6, M_RUN0, M_RUN1, M_RUN2, M_RUN3, M_HEADER, M_V, M_PUSH, M_DT, M_MP, M_MD, M_MW, M_MH,
 M_P, M_D, M_W, M_H, M_Y, M_FROM_LEFT, M_FROM_RIGHT, M_JET, M_SHARE) = _rows(3, _MOUTHS)
"""Take-offs: coefficients and header area; of the last step: speed into the end, axial push
(N s), step (s), means under the mouth (p, density, u^2, total enthalpy); of this step: the means,
burned fraction, cross-flow from either side, pressure of jets, branch share."""

_TANKS = "size finite p t y mass energy burned rate p_half"
(T_SIZE, T_FINITE, T_P, T_T, T_Y, T_MASS, T_ENERGY, T_BURNED, T_RATE, T_P_HALF) = _rows(4, _TANKS)
"""Volumes, then cylinders: size in m^3 and state; rate is the pressure rise by flows, Pa/s."""

_POTS = ("tdc bore stroke rod ratio closes opens back_pressure gain rise unburned shut trapped "
         "fresh trapped_p trapped_t trapped_size back_flow through exhaust_t exhaust_m exhaust_h "
         "angle turn next intake exhaust out_m out_h work heat event")
(C_TDC, C_BORE, C_STROKE, C_ROD, C_RATIO, C_CLOSES, C_OPENS, C_BACK_PRESSURE, C_GAIN, C_RISE,
 C_UNBURNED, C_SHUT, C_TRAPPED, C_FRESH, C_TRAPPED_P, C_TRAPPED_T, C_TRAPPED_SIZE, C_BACK_FLOW,
 C_THROUGH, C_EXHAUST_T, C_EXHAUST_M, C_EXHAUST_H, C_ANGLE, C_TURN, C_NEXT, C_INTAKE, C_EXHAUST,
 C_OUT_M, C_OUT_H, C_WORK, C_HEAT, C_EVENT) = _rows(5, _POTS)
"""Cylinders: dimensions, then what the last closing of the intake valve trapped, flows through
the intake valve since the last reset, mean state of what left by the exhaust; of this step: crank
angle after own dead centre, degrees turned, next volume, valve areas, what left by the exhaust,
work, heat of combustion, whether a valve event is due."""

_LANES = ("t stop steps state dt degrees_per_s gas_constant longest most top mass_in energy_in "
          "heat work combustion exhaust_mass exhaust_energy mass_throughput energy_throughput")
(L_T, L_STOP, L_STEPS, L_STATE, L_DT, L_SPEED, L_GAS, L_LONGEST, L_MOST, L_TOP, A_MASS, A_ENERGY,
 A_HEAT, A_WORK, A_COMBUSTION, A_EXHAUST_MASS, A_EXHAUST_ENERGY, A_MASS_THROUGH,
 A_ENERGY_THROUGH) = _rows(6, _LANES)
"""Lanes: clock and limits of each run; what crossed the borders of the whole system since the
last reset (kg, J)."""

AUDIT: Final = tuple(_LANES.split()[10:])

_JOINTS = "q lo hi h_any y_any h_mix y_mix rising mass f ahead slope scale moved open good"
(J_Q, J_LO, J_HI, J_H_ANY, J_Y_ANY, J_H_MIX, J_Y_MIX, J_RISING, J_MASS, J_F, J_AHEAD, J_SLOPE,
 J_SCALE, J_MOVED, J_OPEN, J_GOOD) = _rows(7, _JOINTS)
"""Junctions: pressure (kept from step to step) and the numbers of its iteration."""

_WORK = "base phi c v given t guess gain f2 choke x lo hi open p u d"
(W_BASE, W_PHI, W_C, W_V, W_GIVEN, W_T, W_GUESS, W_GAIN, W_F2, W_CHOKE, W_X, W_LO, W_HI, W_OPEN,
 W_P, W_U, W_D) = _rows(8, _WORK)
"""Ends at which gas moves, gathered from all kinds and lanes, for the iterations of `nozzle`."""

S_WEIGHT, S_JET, S_THROTTLE = (_rows(k, "only")[0] for k in (9, 10, 11))
"""Weights of the cells under take-offs; factors of jets; throttle areas."""

ROWS_OF: Final = tuple(len(names.split()) for names in (
    _CELLS, _GRID, _ENDS, _MOUTHS, _TANKS, _POTS, _LANES, _JOINTS, _WORK,
    "weight", "jet", "throttle"))
ROW: Final = {f"{table}.{name}": k % TABLE_STEP for table, names, start in (
    ("ends", _ENDS, E_AREA), ("mouths", _MOUTHS, M_MOMENTUM), ("tanks", _TANKS, T_SIZE),
    ("pots", _POTS, C_TDC), ("lanes", _LANES, L_T), ("joints", _JOINTS, J_Q))
    for k, name in enumerate(names.split(), start)}
"""Place of a row in its own table, by table and name."""


class Plan(NamedTuple):
    """What is the same in all lanes. `starts` (8,): first end of each kind, then their number;
    `ends` (E, 4): what it is joined to, cell, ghost, 1 if right; `mouths` (T, 5): first cell and
    number of cells of the window, first weight, first jet, jets; `jets` (J,): end; `joints` (K, 2):
    first end, ends; `throttles` (N, 2): both ends; `areas` points of a valve table."""

    starts: IntArray
    ends: IntArray
    mouths: IntArray
    jets: IntArray
    joints: IntArray
    throttles: IntArray


class Tables(NamedTuple):
    """All numbers of the runs in the lanes.

    `beside` (2, T x lanes): cells left and right of each take-off, -1 at a wall; `areas`
    (2, n, C x lanes): intake and exhaust valve areas over the cycle. The others by row, see above.
    """

    cells: FloatArray
    grid: FloatArray
    ends: FloatArray
    mouths: FloatArray
    tanks: FloatArray
    pots: FloatArray
    lanes: FloatArray
    joints: FloatArray
    weights: FloatArray
    jets: FloatArray
    throttles: FloatArray
    beside: Any
    areas: FloatArray


class Record(NamedTuple):
    """Traces at equal times: rows (lanes, 4, S, K) of rho, u, p, y in cells `cell`
    (lanes, K); cylinders (lanes, 2, S, C): pressure and mass flow through the intake valve into
    the cylinder, kg/s.

    `clock` (lanes, 4): start time, step (0: no traces now), time of the previous values, next row.
    """

    cell: IntArray
    rows: FloatArray
    cylinders: FloatArray
    previous: FloatArray
    previous_cylinder: FloatArray
    clock: FloatArray
