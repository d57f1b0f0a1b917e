"""Residual and Jacobian of a network on one block of lanes."""

from __future__ import annotations

import math
from typing import Any

from distrib.kernels import inline, kernel
from distrib.losses.compiled import darcy_scalar
from distrib.network.lanes import (
    crossflow_block,
    duct_block,
    head_block,
    mouth_block,
    nozzle_block,
    station_block,
)
from distrib.network.tables import CLOSED_AREA_M2, DUCT_ROWS, MOUTH_ROWS, RE_FLOOR, STATION_ROWS
from distrib.vectors import LANES, add, add_product, copy, multiply

_L = LANES
_darcy = darcy_scalar


@inline
def _get(w: Any, row: int, source: Any, k: int, n: int) -> None:
    copy(w, row * _L, source, k * _L)


@inline
def _clear(rows: Any, n: int) -> None:
    if n == _L:
        for i in range(rows.size):
            rows[i] = 0.0
    else:
        for k in range(rows.size // _L):
            for i in range(_L):
                rows[k * _L + i] = 0.0


@inline
def _add(target: Any, k: int, w: Any, row: int, scale: Any, n: int) -> None:
    add_product(target, k * _L, w, row * _L, scale, 0, 1.0)


@kernel
def stream_temperature(top: Any, par: Any, x: Any, c_flow: Any, w: Any, n: int) -> None:
    """c = R T0/gamma of every flow, taken from where it comes from: (flows * LANES,)."""
    n_p = top.sizes[1]
    for k in range(top.flow_i.shape[0]):
        a = top.flow_i[k, 0]
        b = top.flow_i[k, 1]
        _get(w, 0, x, n_p + k, n)
        _get(w, 1, par.c_node, a, n)
        _get(w, 2, par.c_node, b, n)
        for i in range(_L):
            c_a = w[_L + i]
            c_b = w[2 * _L + i]
            w[i] = c_a if w[i] >= 0.0 else c_b
        _get(c_flow, k, w, 0, n)


@kernel
def heads(top: Any, par: Any, x: Any, c_flow: Any, head: Any, w: Any, n: int) -> None:
    """Dynamic heads of all ends: rows 3e, 3e+1, 3e+2 of `head` hold h, dh/dp, dh/dm."""
    n_p = top.sizes[1]
    for e in range(top.end_i.shape[0]):
        p = top.end_i[e, 0]
        k = top.end_i[e, 1]
        area = top.end_i[e, 2]
        _get(w, 0, x, p, n)
        add(w, 0, par.scalars, 0, 1.0)
        _get(w, 1, x, n_p + k, n)
        _get(w, 2, par.inv_area, area, n)
        _get(w, 3, c_flow, k, n)
        head_block(w, n)
        for j in range(3):
            _get(head, 3 * e + j, w, 4 + j, n)


@inline
def _end(w: Any, row: int, top: Any, x: Any, head: Any, e: int, n: int) -> None:
    _get(w, row, x, top.end_i[e, 0], n)
    _get(w, row + 1, head, 3 * e, n)
    _get(w, row + 2, head, 3 * e + 1, n)
    _get(w, row + 3, head, 3 * e + 2, n)


@inline
def _friction(top: Any, par: Any, x: Any, d: int, w: Any, n: int) -> None:
    """Darcy factor and its slope in the flow, rows 15 and 16."""
    k = top.sizes[1] + top.duct_i[d, 3]
    law = False
    _get(w, 15, par.duct_f, d, n)
    for i in range(_L):
        law |= w[15 * _L + i] < 0.0
        w[16 * _L + i] = 0.0
    if not law:
        return
    for i in range(n):
        if par.duct_f[d * _L + i] < 0.0:
            m = x[k * _L + i]
            per_flow = par.duct[(DUCT_ROWS * d + 7) * _L + i]
            re = abs(m) * per_flow
            inside = re > RE_FLOOR
            f, slope = _darcy(
                re if inside else RE_FLOOR, par.duct[(DUCT_ROWS * d + 6) * _L + i]
            )
            w[15 * _L + i] = f
            w[16 * _L + i] = (slope * per_flow if m >= 0.0 else -slope * per_flow) * inside


@kernel
def ducts(top: Any, par: Any, x: Any, c_flow: Any, head: Any, w: Any, r: Any, jac: Any,
          inv_dp: Any, small: Any, n: int) -> None:
    """Duct equations of all ducts."""
    n_p = top.sizes[1]
    for d in range(top.duct_i.shape[0]):
        _end(w, 0, top, x, head, top.duct_i[d, 0], n)
        _end(w, 4, top, x, head, top.duct_i[d, 1], n)
        k = top.duct_i[d, 3]
        _get(w, 8, x, n_p + k, n)
        for j in range(6):
            _get(w, 9 + j, par.duct, DUCT_ROWS * d + j, n)
        _friction(top, par, x, d, w, n)
        _get(w, 17, small, 0, n)
        _get(w, 18, par.duct, DUCT_ROWS * d + 8, n)
        _get(w, 19, par.scalars, 0, n)
        _get(w, 24, c_flow, k, n)
        _get(w, 25, par.area, top.end_i[top.duct_i[d, 0], 2], n)
        _get(w, 26, par.area, top.end_i[top.duct_i[d, 1], 2], n)
        duct_block(w, n)
        _add(r, top.duct_i[d, 2], w, 20, inv_dp, n)
        for j in range(3):
            _add(jac, top.duct_i[d, 4 + j], w, 21 + j, inv_dp, n)


@kernel
def stations(top: Any, par: Any, x: Any, head: Any, w: Any, r: Any, jac: Any,
             inv_dp: Any, n: int) -> None:
    """Momentum along the plenum at every station."""
    n_p = top.sizes[1]
    for s in range(top.station_i.shape[0]):
        e_l = top.station_i[s, 0]
        e_r = top.station_i[s, 1]
        _end(w, 0, top, x, head, e_l, n)
        _end(w, 4, top, x, head, e_r, n)
        _get(w, 8, x, n_p + top.end_i[e_l, 1], n)
        _get(w, 9, x, n_p + top.end_i[e_r, 1], n)
        for j in range(5):
            _get(w, 10 + j, par.station, STATION_ROWS * s + j, n)
        station_block(w, n)
        _add(r, top.station_i[s, 2], w, 20, inv_dp, n)
        for j in range(4):
            _add(jac, top.station_i[s, 3 + j], w, 21 + j, inv_dp, n)


@kernel
def mouths(top: Any, par: Any, x: Any, c_flow: Any, head: Any, w: Any, r: Any, jac: Any,
           inv_dp: Any, small: Any, n: int) -> None:
    """Mouth equations, and the jets of the entries that reach the mouths."""
    n_p = top.sizes[1]
    for b in range(top.mouth_i.shape[0]):
        e_l = top.mouth_i[b, 0]
        e_r = top.mouth_i[b, 1]
        e_1 = top.mouth_i[b, 2]
        base = MOUTH_ROWS * b
        k = top.end_i[e_1, 1]
        area = top.end_i[e_1, 2]
        _end(w, 0, top, x, head, e_l, n)
        _end(w, 4, top, x, head, e_r, n)
        _get(w, 8, x, n_p + top.end_i[e_l, 1], n)
        _get(w, 9, x, n_p + top.end_i[e_r, 1], n)
        multiply(w, 10 * _L, small, 0, par.area, area * _L)
        multiply(w, 14 * _L, small, 0, par.area, area * _L)
        _get(w, 11, par.mouth, base + 7, n)
        _get(w, 12, par.mouth, base + 8, n)
        crossflow_block(w, n)
        _end(w, 0, top, x, head, e_1, n)
        _get(w, 4, x, n_p + k, n)
        for j in range(7):
            _get(w, 5 + j, par.mouth, base + j, n)
        multiply(w, 12 * _L, par.mouth, (base + 9) * _L, par.inv_area, area * _L)
        multiply(w, 12 * _L, w, 12 * _L, c_flow, k * _L)
        _get(w, 13, par.scalars, 0, n)
        mouth_block(w, n)
        _add(r, top.mouth_i[b, 3], w, 36, inv_dp, n)
        _add(jac, top.mouth_i[b, 8], w, 37, inv_dp, n)
        _add(jac, top.mouth_i[b, 9], w, 38, inv_dp, n)
        for j in range(4):
            _add(jac, top.mouth_i[b, 4 + j], w, 39 + j, inv_dp, n)
    for j in range(top.jet_i.shape[0]):
        row = top.jet_i[j, 0]
        e = top.jet_i[j, 1]
        sign = top.jet_i[j, 2]
        _get(w, 0, x, n_p + top.end_i[e, 1], n)
        multiply(w, _L, par.jet, j * _L, inv_dp, 0)
        for i in range(_L):
            on = w[_L + i]
            w[i] = on if w[i] * sign > 0.0 else 0.0
        add_product(r, row * _L, w, 0, head, 3 * e * _L, -1.0)
        add_product(jac, top.jet_i[j, 3] * _L, w, 0, head, (3 * e + 1) * _L, -1.0)
        add_product(jac, top.jet_i[j, 4] * _L, w, 0, head, (3 * e + 2) * _L, -1.0)


@inline
def _shut(area: Any, z: int, n: int) -> Any:
    """Whether a nozzle is closed in every lane: then its equation is m = 0 at once."""
    for i in range(n):  # noqa: SIM110, no generators in kernels
        if area[z * _L + i] >= CLOSED_AREA_M2:
            return False
    return True


@kernel
def nozzles(top: Any, par: Any, x: Any, c_flow: Any, head: Any, w: Any, r: Any, jac: Any,
            inv_dp: Any, inv_m: Any, n: int) -> None:
    """Nozzle equations: ports, valves and open ends."""
    n_p = top.sizes[1]
    for z in range(top.nozzle_i.shape[0]):
        k = top.nozzle_i[z, 2]
        if _shut(par.nozzle, z, n):
            row = top.nozzle_i[z, 3]
            add_product(r, row * _L, x, (n_p + k) * _L, inv_m, 0, 1.0)
            add(jac, top.nozzle_i[z, 6] * _L, inv_m, 0, 1.0)
            continue
        _end(w, 0, top, x, head, top.nozzle_i[z, 0], n)
        _get(w, 4, x, top.nozzle_i[z, 1], n)
        _get(w, 5, x, n_p + k, n)
        _get(w, 6, par.nozzle, z, n)
        _get(w, 7, c_flow, k, n)
        _get(w, 8, par.scalars, 3, n)
        _get(w, 9, par.scalars, 0, n)
        for i in range(_L):
            w[10 * _L + i] = CLOSED_AREA_M2
        multiply(w, 11 * _L, par.scalars, 2 * _L, inv_m, 0)
        nozzle_block(w, n)
        _add(r, top.nozzle_i[z, 3], w, 20, inv_dp, n)
        for j in range(3):
            _add(jac, top.nozzle_i[z, 4 + j], w, 21 + j, inv_dp, n)


@kernel
def masses(top: Any, x: Any, r: Any, jac: Any, inv_m: Any) -> None:
    """Mass balance of every node, in units of the flow scale."""
    n_p = top.sizes[1]
    for j in range(top.mass_i.shape[0]):
        row = top.mass_i[j]
        for q in range(top.mass_ptr[j], top.mass_ptr[j + 1]):
            k = top.mass_term[q, 0]
            sign = top.mass_term[q, 1]
            add_product(r, row * _L, inv_m, 0, x, (n_p + k) * _L, sign)
            add(jac, top.mass_term[q, 2] * _L, inv_m, 0, sign)


@kernel
def evaluate(ctx: Any, x: Any, r: Any, jac: Any, n: int) -> None:
    """Scaled residual r and Jacobian of the network in `ctx` at x, for n lanes.

    Element equations are divided by the pressure scale, mass balances by the flow scale.
    """
    top, par, work = ctx
    _clear(r, n)
    _clear(jac, n)
    for i in range(_L):
        work.inv_dp[i] = 1.0 / par.scalars[2 * _L + i]
        work.inv_m[i] = 1.0 / par.scalars[_L + i]
        # smoothing flow over area; of one temperature, so that it does not jump with direction
        work.small[i] = par.scalars[3 * _L + i] * par.scalars[i] / math.sqrt(par.c_node[i])
    stream_temperature(top, par, x, work.c_flow, work.w, n)
    heads(top, par, x, work.c_flow, work.head, work.w, n)
    ducts(top, par, x, work.c_flow, work.head, work.w, r, jac, work.inv_dp, work.small, n)
    stations(top, par, x, work.head, work.w, r, jac, work.inv_dp, n)
    mouths(top, par, x, work.c_flow, work.head, work.w, r, jac, work.inv_dp, work.small, n)
    nozzles(top, par, x, work.c_flow, work.head, work.w, r, jac, work.inv_dp, work.inv_m, n)
    masses(top, x, r, jac, work.inv_m)
