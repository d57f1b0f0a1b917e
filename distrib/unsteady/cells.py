"""The inner loops over all cells: primitive state, MUSCL-Hancock faces, HLLC flux, update.

Sources: Toro, Riemann Solvers and Numerical Methods for Fluid Dynamics (2009), chapters 10 (HLLC)
and 14 (MUSCL-Hancock); wave speeds as Batten et al., SIAM J. Sci. Comput. 18 (1997) 1553, with
the arithmetic mean in place of the Roe mean; limiters: monotonized central
(van Leer 1977), superbee (Roe 1986) on what is only carried along.
The loops have no branches that the compiler cannot turn into selections, and read arrays only.
gamma = 7/5 throughout.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.gas.properties import SUTHERLAND_BETA, SUTHERLAND_S_K
from distrib.kernels import inline, inner
from distrib.losses.compiled import darcy_from_root
from distrib.unsteady.flat import get, logarithm, put, wide
from distrib.unsteady.tables import (
    A_HEAT,
    AREA_L,
    AREA_R,
    BUR,
    DIAMETER,
    DRAG,
    DT,
    ENE,
    FE,
    FILM,
    FM,
    FU,
    FY,
    GEOMETRY,
    HEAT,
    INV_C2,
    INV_DX,
    INV_RHO,
    INV_VOLUME,
    L_DT,
    L_GAS,
    L_TOP,
    LOSS_PER_M,
    MOM,
    PL,
    PR,
    PULL,
    RHO,
    RL,
    ROUGHNESS,
    RR,
    SOUND,
    SPEED,
    UL,
    UR,
    WALL,
    WALL_FRICTION,
    WALL_T,
    YL,
    YR,
    P,
    U,
    Y,
)

PRANDTL_TERM = 1.2456
"""Pr^(-2/3) of air, Pr = 0.72 (Reynolds analogy after Colburn)."""


@inline
def primitives(c: Any, grid: Any) -> None:
    """Velocity, pressure, burned fraction, 1/density, 1/c^2 and (|u| + c)/dx of every cell.

    The last is infinite where pressure or density is not positive or anything is undefined.
    """
    for i in range(c.shape[1]):
        rho, mom = get(c, RHO, i), get(c, MOM, i)
        both = 0.4 * (get(c, ENE, i) * rho - 0.5 * mom * mom)
        inverse = 1.0 / (rho * both)
        k = both * inverse
        v = mom * k
        q = 0.4 * (get(c, ENE, i) - 0.5 * mom * v)
        put(c, U, i, v)
        put(c, P, i, q)
        put(c, Y, i, get(c, BUR, i) * k)
        put(c, INV_RHO, i, k)
        put(c, INV_C2, i, rho * rho * rho * inverse * (1.0 / 1.4))
        sound = np.sqrt(1.4 * q * k)
        put(c, SOUND, i, sound)
        fast = (abs(v) + sound) * get(grid, INV_DX, i)
        put(c, SPEED, i, fast if (q > 0.0) & (fast < np.inf) else np.inf)


@inline
def fastest(c: Any, lanes: Any) -> None:
    """Largest (|u| + c)/dx of each lane; four cells at a time (their number is a multiple)."""
    n = lanes.shape[1]
    for j in range(n):
        put(lanes, L_TOP, j, 0.0)
    for i in range(0, c.shape[1], 4 * n):
        for j in range(i, i + n):
            a, b = get(c, SPEED, j), get(c, SPEED, j + n)
            d, e = get(c, SPEED, j + n + n), get(c, SPEED, j + 3 * n)
            a, d, top = b if b > a else a, e if e > d else d, get(lanes, L_TOP, j - i)
            a = d if d > a else a
            put(lanes, L_TOP, j - i, a if a > top else top)


@inline
def spread_steps(c: Any, lanes: Any) -> None:
    """The time step of each lane beside each of its cells, four at a time."""
    n = lanes.shape[1]
    for i in range(0, c.shape[1], 4 * n):
        for j in range(i, i + n):
            dt = get(lanes, L_DT, j - i)
            put(c, DT, j, dt)
            put(c, DT, j + n, dt)
            put(c, DT, j + n + n, dt)
            put(c, DT, j + 3 * n, dt)


@inline
def _slope(a: float, b: float) -> float:
    """Monotonized central slope of the two one-sided differences."""
    m = min(0.5 * abs(a + b), min(2.0 * abs(a), 2.0 * abs(b)))
    return np.copysign(m, a + b) if a * b > 0.0 else 0.0


@inline
def _steep(a: float, b: float) -> float:
    """Superbee slope of the two one-sided differences: keeps contacts sharp."""
    x, y = abs(a), abs(b)
    m = max(min(2.0 * x, y), min(x, 2.0 * y))
    return np.copysign(m, a + b) if a * b > 0.0 else 0.0


@inner
def faces(c: Any, grid: Any, n: int) -> None:
    """States at both faces of every cell, half a step ahead; wall pressure and drag force there.

    Velocity and pressure are limited by the central slope. The part of the density slope that is
    no sound, d rho - dp/c^2, and the burned fraction are only carried along and get the steeper
    limiter, which keeps the edge of a hot backflow within about five cells.
    Where the half step would bring density or pressure near zero the cell falls back to its mean
    values (first order), which keeps it positive.
    """
    wide()
    for i in range(n, c.shape[1] - n):
        rho, u, p, y = get(c, RHO, i), get(c, U, i), get(c, P, i), get(c, Y, i)
        drag, h = get(c, DRAG, i), 0.5 * get(c, DT, i)
        pa, pb = p - get(c, P, i - n), get(c, P, i + n) - p
        s = get(c, INV_C2, i)
        ep = _slope(pa, pb)
        eu = _slope(u - get(c, U, i - n), get(c, U, i + n) - u)
        er = _steep(rho - get(c, RHO, i - n) - s * pa, get(c, RHO, i + n) - rho - s * pb) + s * ep
        ey = _steep(y - get(c, Y, i - n), get(c, Y, i + n) - y)
        k = h * get(grid, INV_DX, i)
        div = eu + u * get(grid, GEOMETRY, i)
        hr = rho - k * (u * er + rho * div)
        hu = u - k * (u * eu + ep * get(c, INV_RHO, i)) - h * drag * u
        hp = p - k * (u * ep + 1.4 * p * div)
        hy = y - k * u * ey
        good = min(hr - 0.5 * abs(er) - 0.02 * rho,
                   (hp - 0.5 * abs(ep) - 0.02 * p) * rho) > 0.0
        hr = hr if good else rho
        hu = hu if good else u
        hp = hp if good else p
        er = 0.5 * er if good else 0.0
        eu = 0.5 * eu if good else 0.0
        ep = 0.5 * ep if good else 0.0
        ey = 0.5 * ey if good else 0.0
        put(c, RL, i, hr - er)
        put(c, RR, i, hr + er)
        put(c, UL, i, hu - eu)
        put(c, UR, i, hu + eu)
        put(c, PL, i, hp - ep)
        put(c, PR, i, hp + ep)
        put(c, YL, i, hy - ey)
        put(c, YR, i, hy + ey)
        put(c, WALL, i, hp)
        put(c, PULL, i, hr * hu * drag)


@inner
def fluxes(c: Any, n: int) -> None:
    """HLLC flux through the right face of each cell (n: lanes, the distance of neighbours).

    The sound speeds in the wave speeds are one step of Heron's root from those of the cells: never
    below the true ones, and above them by an eighth of the square of the change of c^2.
    """
    wide()
    for i in range(n, c.shape[1] - n - n):
        r1, u1, p1 = get(c, RR, i), get(c, UR, i), get(c, PR, i)
        r2, u2, p2 = get(c, RL, i + n), get(c, UL, i + n), get(c, PL, i + n)
        both = 0.7 / (r1 * r2)
        a1, a2 = get(c, SOUND, i), get(c, SOUND, i + n)
        c1 = a1 * (0.5 + both * p1 * r2 * get(c, INV_C2, i))
        c2 = a2 * (0.5 + both * p2 * r1 * get(c, INV_C2, i + n))
        um = 0.5 * (u1 + u2)
        cm = 0.5 * (c1 + c2)
        s1 = min(u1 - c1, um - cm)
        s2 = max(u2 + c2, um + cm)
        q1 = r1 * (s1 - u1)
        q2 = r2 * (s2 - u2)
        over = p2 - p1 + q1 * u1 - q2 * u2
        under = q1 - q2
        left = over <= 0.0
        r = r1 if left else r2
        v = u1 if left else u2
        p = p1 if left else p2
        s = s1 if left else s2
        q = q1 if left else q2
        a = s * under - over
        k = 1.0 / (under * a)
        sm = over * a * k
        d = under * under * k
        f = min(s, 0.0) if left else max(s, 0.0)
        e = 2.5 * p + 0.5 * r * v * v
        w = sm - v
        rw = r * w
        m = r * v + f * rw * d
        put(c, FM, i, m)
        put(c, FU, i, r * v * v + p + f * rw * (1.0 + d * sm))
        put(c, FE, i, (e + p) * v + f * d * (e * w + (p + q * w) * sm - p * v))
        y1, y2 = get(c, YR, i), get(c, YL, i + n)
        put(c, FY, i, m * (y1 if left else y2))


@inner
def update(c: Any, grid: Any, n: int) -> None:
    """Add the fluxes of one step, the pressure on the side walls and the drag.

    The wall pressure is the half-step pressure of the cell: with still gas of one pressure it
    cancels the difference of the face terms to round-off (well balanced).
    """
    wide()
    for i in range(n, c.shape[1] - n):
        dt = get(c, DT, i)
        k = dt * get(grid, INV_VOLUME, i)
        a, b = k * get(grid, AREA_L, i), k * get(grid, AREA_R, i)
        put(c, RHO, i, get(c, RHO, i) - (b * get(c, FM, i) - a * get(c, FM, i - n)))
        wall = get(c, WALL, i)
        put(c, MOM, i, get(c, MOM, i) - (b * (get(c, FU, i) - wall)
                                         - a * (get(c, FU, i - n) - wall) + dt * get(c, PULL, i)))
        put(c, ENE, i, get(c, ENE, i) - (b * get(c, FE, i) - a * get(c, FE, i - n)))
        put(c, BUR, i, get(c, BUR, i) - (b * get(c, FY, i) - a * get(c, FY, i - n)))


@inner
def wall_terms(c: Any, grid: Any, first: int, step: int, gas_constant: float) -> None:
    """Refresh drag (1/s) and wall film coefficient (W/(m^3 K)) of the cells first, first + step...

    drag = (f |u| / D + K' |u|) / 2, so that the momentum lost is drag x rho u; f |u| tends to the
    laminar 64 nu / D as u goes to 0, hence holding it over a few steps is harmless. Viscosity:
    Sutherland (US Standard Atmosphere 1976). Film: Reynolds analogy, h = f/8 rho |u| cp Pr^(-2/3).
    """
    wide()
    for k in range(c.shape[1] // step):
        i = first + k * step
        rho, speed, diameter = get(c, RHO, i), abs(get(c, U, i)), get(grid, DIAMETER, i)
        t = get(c, P, i) / (rho * gas_constant)
        mu = SUTHERLAND_BETA * t * np.sqrt(t) / (t + SUTHERLAND_S_K)
        re = max(rho * speed * diameter / mu, 1.0)
        s = get(grid, ROUGHNESS, i) + 6.9 / max(re, 4000.0)
        f, _ = darcy_from_root(re, s, -1.8 * logarithm(s) * (1.0 / 2.302585092994046))
        fu = get(grid, WALL_FRICTION, i) * f * re * mu / (rho * diameter)
        put(c, DRAG, i, 0.5 * (fu / diameter + get(grid, LOSS_PER_M, i) * speed))
        put(c, FILM, i, 0.5 * fu * rho * 3.5 * gas_constant * PRANDTL_TERM / diameter)


@inner
def heat_exchange(c: Any, grid: Any, lanes: Any) -> None:
    """Add wall heat to the cells, and to the audit of each lane (J)."""
    count = lanes.shape[1]
    for i in range(c.shape[1]):
        size = get(grid, INV_VOLUME, i)
        if get(grid, HEAT, i) > 0.0 and size > 0.0:
            j = i % count
            t = get(c, P, i) / (get(c, RHO, i) * get(lanes, L_GAS, j))
            gain = get(c, DT, i) * get(c, FILM, i) * (get(grid, WALL_T, i) - t)
            put(c, ENE, i, get(c, ENE, i) + gain)
            put(lanes, A_HEAT, j, get(lanes, A_HEAT, j) + gain / size)
