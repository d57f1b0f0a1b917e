"""Boundary fluxes of all duct ends for one step, and the ghost cells beside them."""

from __future__ import annotations

import math
from typing import Any

from distrib.engine.compiled import cyclic_lookup
from distrib.kernels import kernel
from distrib.unsteady.joint import solve_joint
from distrib.unsteady.nozzle import entering, leaving, space_end, stagnant_ratio, throttled, wall
from distrib.unsteady.tables import (
    AREA_L,
    AREA_R,
    BUR,
    CLOSED,
    ENE,
    FE,
    FM,
    FU,
    FY,
    INV_VOLUME,
    JUNCTION,
    MOM,
    PL,
    PR,
    RHO,
    RL,
    RR,
    TAKEOFF,
    THROTTLE,
    TRANSMISSIVE,
    UL,
    UR,
    VALVE,
    VOLUME,
    YL,
    YR,
    P,
    U,
    Y,
)


@kernel
def set_ghosts(ends: Any, cells: Any) -> None:
    """Ghost cells: mirror at a wall, copy where waves leave, else the line through the boundary
    state of the last step (second order where the flow is smooth)."""
    for e in range(ends.size):
        end = ends[e]
        c, g = end.cell, end.ghost
        r, u, p, y = cells[RHO, c], cells[U, c], cells[P, c], cells[Y, c]
        if end.kind == CLOSED:
            u = -u
        elif end.kind != TRANSMISSIVE:
            u = 2.0 * end.u - u
            d = 2.0 * end.rho - r
            q = 2.0 * end.p - p
            r = d if d > 0.2 * r else end.rho
            p = q if q > 0.2 * p else end.p
            y = min(max(2.0 * end.y - y, 0.0), 1.0)
        cells[RHO, g], cells[U, g], cells[P, g], cells[Y, g] = r, u, p, y
        cells[MOM, g] = r * u
        cells[ENE, g] = 2.5 * p + 0.5 * r * u * u
        cells[BUR, g] = r * y


@kernel
def end_state(ends: Any, cells: Any, e: int) -> tuple[float, float, float, float]:
    """Half-step state of the gas at end e: density, velocity out of the duct, pressure, burned."""
    c = ends[e].cell
    if ends[e].side > 0.0:
        return cells[RR, c], cells[UR, c], cells[PR, c], cells[YR, c]
    return cells[RL, c], -cells[UL, c], cells[PL, c], cells[YL, c]


@kernel
def put(ends: Any, cells: Any, e: int, p: float, v: float, d: float, m: float, h: float, y: float,
        dt: float) -> None:
    """Set the flux of end e: mass flux m, stagnation enthalpy h, out of the duct positive."""
    end = ends[e]
    side = end.side
    face = end.cell if side > 0.0 else end.ghost
    cells[FM, face] = side * m
    cells[FU, face] = p + m * v
    cells[FE, face] = side * m * h
    cells[FY, face] = side * m * y
    flow = m * end.area * dt
    end.rho = d
    end.u = side * v
    end.p = p
    end.y = y
    end.mass = flow
    end.enthalpy = flow * h
    end.burned = flow * y


@kernel
def _factor(k: Any, q: float) -> float:
    return float(k[3] + k[4] * q if q < k[5] else k[6])


@kernel
def _under_mouth(mouth: Any, weights: Any, cells: Any,
                 dt: float) -> tuple[float, float, float, float, float]:
    """Mean state of the header under a mouth half a step ahead: p, density, u^2, total enthalpy,
    burned. Extrapolated in time from this and the last step (the half-step states of the cells
    are off there by the limiter, since the velocity has a kink at the rim of a mouth)."""
    p, d, w2, h, y = 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(mouth.count):
        c = mouth.first + i
        g = weights[mouth.weight_at + i]
        r, u, q = cells[RHO, c], cells[U, c], cells[P, c]
        p += g * q
        d += g * r
        w2 += g * u * u
        h += g * (3.5 * q / r + 0.5 * u * u)
        y += g * cells[Y, c]
    k = 0.5 * dt / mouth.dt if mouth.dt > 0.0 else 0.0
    last = mouth.mean
    ahead = p + k * (p - last[0])
    thick = d + k * (d - last[1])
    square = max(w2 + k * (w2 - last[2]), 0.0)
    total = h + k * (h - last[3])
    last[0], last[1], last[2], last[3] = p, d, w2, h
    if ahead < 0.5 * p or thick < 0.5 * d or total < 0.5 * h:
        return p, d, w2, h, y
    return ahead, thick, square, total, y


@kernel
def _cross_flow(mouth: Any, cells: Any) -> tuple[float, float]:
    """Speeds with which header gas comes to a mouth from the left and from the right."""
    b, a = mouth.before, mouth.after
    left = max(cells[U, b], 0.0) if b >= 0 else 0.0
    right = max(-cells[U, a], 0.0) if a >= 0 else 0.0
    return left, right


@kernel
def _jet_head(mouth: Any, jets: Any, ends: Any) -> float:
    """Pressure that entry jets add at a mouth, while gas leaves their ends."""
    total = 0.0
    for i in range(mouth.jet_at, mouth.jet_at + mouth.jets):
        end = ends[jets[i].end]
        if end.mass > 0.0:
            total += jets[i].c * 0.5 * end.rho * end.u * end.u
    return total


@kernel
def mouth_flux(ends: Any, mouths: Any, weights: Any, jets: Any, cells: Any, grid: Any, e: int,
               dt: float, gas_constant: float) -> None:
    """A take-off: the end against the cells of the header it opens into (see `setup.TakeOff`).

    Also leaves the axial push of the run loss for `apply_mouths`. Upstream total pressure is the
    local static pressure plus the local mean velocity head; the speed in this end and the branch
    share q are those of the last step.
    """
    mouth = mouths[ends[e].ref]
    p, d, w2, h, y = _under_mouth(mouth, weights, cells, dt)
    from_left, from_right = _cross_flow(mouth, cells)
    cross = from_left + from_right
    left = from_left / cross if cross > 0.0 else 0.5
    w = left * from_left + (1.0 - left) * from_right
    mid = mouth.first + mouth.count // 2
    header = 0.5 * (grid[AREA_L, mid] + grid[AREA_R, mid])
    last = max(mouth.v, 0.0)
    share = last * ends[e].area / (cross * header) if cross > 1e-9 else 1e9
    fl = left * _factor(mouth.left, share)
    fr = (1.0 - left) * _factor(mouth.right, share)
    k_vv = fl * mouth.left[2] + fr * mouth.right[2]
    jet = _jet_head(mouth, jets, ends)
    given = p + jet + 0.5 * d * (
        w2 - (fl * mouth.left[0] + fr * mouth.right[0]) * w * w
        - (fl * mouth.left[1] + fr * mouth.right[1]) * w * last)
    phi = 1.0
    if k_vv > 0.0:
        phi = 1.0 / math.sqrt(1.0 + k_vv)
    else:
        given -= 0.5 * d * k_vv * last * last
    r, v, q, yi = end_state(ends, cells, e)
    push = 0.0
    guess = ends[e].side * ends[e].u
    ratio = stagnant_ratio(r, v, q, given)
    back = stagnant_ratio(r, v, q, p + jet) if ratio >= 1.0 else 1.0
    if ratio < 1.0:
        t = h / (3.5 * gas_constant)
        pb, vb, db = entering(r, v, q, ratio, given, t, phi, gas_constant, guess)
        put(ends, cells, e, pb, vb, db, db * vb, h, y, dt)
        s = 1.0 - min(share, 1.0)
        run = mouth.run
        loss = run[0] + s * (run[1] + s * run[2]) + run[3] * s**8
        push = 0.5 * d * loss * header * (from_right * from_right - from_left * from_left)
    elif back > 1.0:
        pb, vb, db = leaving(r, v, q, back, ends[e].phi_out, guess)
        put(ends, cells, e, pb, vb, db, db * vb, 3.5 * pb / db + 0.5 * vb * vb, yi, dt)
        push = db * vb * vb * ends[e].area * mouth.join_cos
    else:
        put(ends, cells, e, wall(r, v, q), 0.0, r, 0.0, h, yi, dt)
    mouth.v = -ends[e].mass / (ends[e].rho * ends[e].area * dt)
    mouth.push = push * dt
    mouth.dt = dt


@kernel
def lean_mouths(ends: Any, mouths: Any, weights: Any, cells: Any, grid: Any, dt: float) -> None:
    """Half a step of the take-offs' flows of the last step on the half-step states under them.

    Without it the half-step pressure under a mouth would miss what leaves there (first order).
    """
    for k in range(mouths.size):
        mouth = mouths[k]
        end = ends[mouth.end]
        if mouth.dt <= 0.0:
            continue
        part = 0.5 * dt / mouth.dt
        m = end.mass * part
        for i in range(mouth.count):
            c = mouth.first + i
            g = weights[mouth.weight_at + i] * grid[INV_VOLUME, c]
            r = 0.5 * (cells[RL, c] + cells[RR, c])
            u = 0.5 * (cells[UL, c] + cells[UR, c])
            q = 0.5 * (cells[PL, c] + cells[PR, c])
            force = mouth.push * part + (m * u * mouth.momentum if m < 0.0 else 0.0)
            enthalpy = end.enthalpy * part
            dr = g * m
            du = g * (force - m * u) / r
            dp = 0.4 * g * (enthalpy - u * force + 0.5 * u * u * m)
            if r + dr > 0.2 * r and q + dp > 0.2 * q:
                cells[RL, c] += dr
                cells[RR, c] += dr
                cells[UL, c] += du
                cells[UR, c] += du
                cells[PL, c] += dp
                cells[PR, c] += dp


@kernel
def apply_mouths(ends: Any, mouths: Any, weights: Any, cells: Any, grid: Any) -> None:
    """Take from, or give to, the header cells what went through the take-offs this step."""
    for k in range(mouths.size):
        mouth = mouths[k]
        end = ends[mouth.end]
        m = end.mass
        for i in range(mouth.count):
            c = mouth.first + i
            g = weights[mouth.weight_at + i] * grid[INV_VOLUME, c]
            if m < 0.0:
                u = 0.5 * (cells[UL, c] + cells[UR, c])
                cells[MOM, c] += g * m * u * mouth.momentum
            cells[RHO, c] += g * m
            cells[ENE, c] += g * end.enthalpy
            cells[BUR, c] += g * end.burned
            cells[MOM, c] += g * mouth.push


@kernel
def joint_fluxes(ends: Any, joints: Any, joint_ends: Any, cells: Any, scratch: Any,
                 dt: float) -> bool:
    """All junctions; False if the mass of one did not close."""
    good = True
    for k in range(joints.size):
        a, n = joints[k].at, joints[k].count
        for i in range(n):
            r, v, p, y = end_state(ends, cells, joint_ends[a + i])
            scratch[i, 0], scratch[i, 1], scratch[i, 2], scratch[i, 3] = r, v, p, y
        q, closed = solve_joint(joints[k].p, joint_ends, a, n, ends, scratch)
        joints[k].p = q
        good = good and closed
        for i in range(n):
            e = joint_ends[a + i]
            put(ends, cells, e, scratch[i, 5], scratch[i, 4], scratch[i, 6],
                scratch[i, 9] / ends[e].area, scratch[i, 7], scratch[i, 8], dt)
    return good


@kernel
def throttle_fluxes(ends: Any, throttles: Any, cells: Any, dt: float, gas_constant: float) -> None:
    """All throttles: the giving side's mass flow and enthalpy on both sides."""
    for k in range(throttles.size):
        a, b = throttles[k].a, throttles[k].b
        ra, va, pa, ya = end_state(ends, cells, a)
        rb, vb, pb, yb = end_state(ends, cells, b)
        area_a, area_b = ends[a].area, ends[b].area
        qa, ua, da, qb, ub, db, q = throttled(ra, va, pa, rb, vb, pb, area_a, area_b,
                                              throttles[k].area, throttles[k].p)
        throttles[k].p = q
        if ua >= 0.0:
            flow, h, y = area_a * da * ua, 3.5 * qa / da + 0.5 * ua * ua, ya
        else:
            flow, h, y = -area_b * db * ub, 3.5 * qb / db + 0.5 * ub * ub, yb
        put(ends, cells, a, qa, ua, da, flow / area_a, h, y, dt)
        put(ends, cells, b, qb, ub, db, -flow / area_b, h, y, dt)


@kernel
def space_fluxes(ends: Any, tanks: Any, pots: Any, areas: Any, cells: Any, dt: float,
                 angle: float, gas_constant: float) -> None:
    """Ends at walls, volumes, valves and free ends; `angle`: crank angle half a step ahead."""
    volumes = tanks.size - pots.size
    for e in range(ends.size):
        kind = ends[e].kind
        if kind in (JUNCTION, THROTTLE, TAKEOFF):
            continue
        r, v, p, y = end_state(ends, cells, e)
        if kind == TRANSMISSIVE:
            put(ends, cells, e, p, v, r, r * v, 3.5 * p / r + 0.5 * v * v, y, dt)
            continue
        k = ends[e].ref
        phi_in, phi_out = ends[e].phi_in, ends[e].phi_out
        if kind == VALVE:
            area = cyclic_lookup(angle - pots[k].tdc, areas[0, k])  # type: ignore[no-untyped-call]
            phi_in = min(phi_in * area / ends[e].area, 1.0)
            phi_out = phi_in
            k += volumes
        if kind == CLOSED or phi_in <= 0.0:
            put(ends, cells, e, wall(r, v, p), 0.0, r, 0.0, 0.0, y, dt)
        elif kind in (VOLUME, VALVE):
            t = tanks[k].t
            pb, vb, db = space_end(r, v, p, tanks[k].p_half, t, phi_in, phi_out, gas_constant,
                                   ends[e].side * ends[e].u)
            out = vb > 0.0
            h = 3.5 * pb / db + 0.5 * vb * vb if out else 3.5 * gas_constant * t
            put(ends, cells, e, pb, vb, db, db * vb, h, y if out else tanks[k].y, dt)
