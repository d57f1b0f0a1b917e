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
from distrib.kernels import inline, kernel
from distrib.losses.friction import darcy_scalar
from distrib.unsteady.tables import (
    DIAMETER,
    DRAG,
    ENE,
    FILM,
    HEAT,
    INV_VOLUME,
    LOSS_PER_M,
    RELATIVE,
    RHO,
    SPEED,
    WALL_FRICTION,
    WALL_T,
    P,
    U,
)

darcy = inline(darcy_scalar)

PRANDTL_TERM = 1.2456
"""Pr^(-2/3) of air, Pr = 0.72 (Reynolds analogy after Colburn)."""


@inline
def primitives(rho: Any, mom: Any, ene: Any, bur: Any, u: Any, p: Any, y: Any, inverse_rho: Any,
               speed: Any, inverse_dx: Any) -> None:
    """Velocity, pressure, burned fraction, 1/density and (|u| + c)/dx of every cell."""
    for i in range(rho.size):
        k = 1.0 / rho[i]
        v = mom[i] * k
        q = 0.4 * (ene[i] - 0.5 * mom[i] * v)
        u[i] = v
        p[i] = q
        y[i] = bur[i] * k
        inverse_rho[i] = k
        fast = (abs(v) + np.sqrt(1.4 * q * k)) * inverse_dx[i]
        speed[i] = fast if q > 0.0 else np.nan


@inline
def fastest(cells: Any) -> float:
    """Largest (|u| + c)/dx; NaN if any is not finite (a negative pressure or density gives NaN).

    Four running maxima and sums, so that the processor need not wait for the last one.
    """
    speed = cells[SPEED]
    n = speed.size
    a, b, c, d = 0.0, 0.0, 0.0, 0.0
    sa, sb, sc, sd = 0.0, 0.0, 0.0, 0.0
    for i in range(0, n - 3, 4):
        a, b = max(a, speed[i]), max(b, speed[i + 1])
        c, d = max(c, speed[i + 2]), max(d, speed[i + 3])
        sa += speed[i]
        sb += speed[i + 1]
        sc += speed[i + 2]
        sd += speed[i + 3]
    for i in range(n - n % 4, n):
        a = max(a, speed[i])
        sa += speed[i]
    top = max(max(a, b), max(c, d))
    return top if np.isfinite(sa + sb + sc + sd) else np.nan


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


@inline
def faces(rho: Any, u: Any, p: Any, y: Any, inverse_rho: Any, drag: Any, rl: Any, ul: Any,
          pl: Any, yl: Any, rr: Any, ur: Any, pr: Any, yr: Any, wall: Any, pull: Any,
          inverse_dx: Any, geometry: Any, dt: float) -> None:
    """States at both faces of every cell, half a step ahead; wall pressure and drag force there.

    Velocity and pressure are limited by the central slope. The part of the density slope that is
    no sound, d rho - dp/c^2, and the burned fraction are only carried along and get the steeper
    limiter, which keeps the edge of a hot backflow within about five cells.
    Where the half step would bring density or pressure near zero the cell falls back to its mean
    values (first order), which keeps it positive.
    """
    h = 0.5 * dt
    for i in range(1, rho.size - 1):
        pa, pb = p[i] - p[i - 1], p[i + 1] - p[i]
        s = rho[i] / (1.4 * p[i])
        ep = _slope(pa, pb)
        eu = _slope(u[i] - u[i - 1], u[i + 1] - u[i])
        er = _steep(rho[i] - rho[i - 1] - s * pa, rho[i + 1] - rho[i] - s * pb) + s * ep
        ey = _steep(y[i] - y[i - 1], y[i + 1] - y[i])
        k = h * inverse_dx[i]
        div = eu + u[i] * geometry[i]
        hr = rho[i] - k * (u[i] * er + rho[i] * div)
        hu = u[i] - k * (u[i] * eu + ep * inverse_rho[i]) - h * drag[i] * u[i]
        hp = p[i] - k * (u[i] * ep + 1.4 * p[i] * div)
        hy = y[i] - k * u[i] * ey
        good = min(hr - 0.5 * abs(er) - 0.02 * rho[i],
                   (hp - 0.5 * abs(ep) - 0.02 * p[i]) * rho[i]) > 0.0
        hr = hr if good else rho[i]
        hu = hu if good else u[i]
        hp = hp if good else p[i]
        er = 0.5 * er if good else 0.0
        eu = 0.5 * eu if good else 0.0
        ep = 0.5 * ep if good else 0.0
        ey = 0.5 * ey if good else 0.0
        rl[i] = hr - er
        rr[i] = hr + er
        ul[i] = hu - eu
        ur[i] = hu + eu
        pl[i] = hp - ep
        pr[i] = hp + ep
        yl[i] = hy - ey
        yr[i] = hy + ey
        wall[i] = hp
        pull[i] = hr * hu * drag[i]


@inline
def fluxes(rl: Any, ul: Any, pl: Any, yl: Any, rr: Any, ur: Any, pr: Any, yr: Any, fm: Any,
           fu: Any, fe: Any, fy: Any) -> None:
    """HLLC flux through face i, between cell i and cell i + 1."""
    for i in range(1, rl.size - 2):
        r1, u1, p1 = rr[i], ur[i], pr[i]
        r2, u2, p2 = rl[i + 1], ul[i + 1], pl[i + 1]
        c1 = np.sqrt(1.4 * p1 / r1)
        c2 = np.sqrt(1.4 * p2 / r2)
        um = 0.5 * (u1 + u2)
        cm = 0.5 * (c1 + c2)
        s1 = min(u1 - c1, um - cm)
        s2 = max(u2 + c2, um + cm)
        q1 = r1 * (s1 - u1)
        q2 = r2 * (s2 - u2)
        sm = (p2 - p1 + q1 * u1 - q2 * u2) / (q1 - q2)
        left = sm >= 0.0
        r = r1 if left else r2
        v = u1 if left else u2
        p = p1 if left else p2
        s = s1 if left else s2
        q = q1 if left else q2
        c = min(s, 0.0) if left else max(s, 0.0)
        e = 2.5 * p + 0.5 * r * v * v
        d = 1.0 / (s - sm)
        rs = q * d
        es = ((s - v) * e - p * v + (p + q * (sm - v)) * sm) * d
        m = r * v + c * (rs - r)
        fm[i] = m
        fu[i] = r * v * v + p + c * (rs * sm - r * v)
        fe[i] = (e + p) * v + c * (es - e)
        fy[i] = m * (yr[i] if left else yl[i + 1])


@inline
def update(rho: Any, mom: Any, ene: Any, bur: Any, fm: Any, fu: Any, fe: Any, fy: Any, wall: Any,
           pull: Any, area_left: Any, area_right: Any, inverse_volume: Any, dt: float) -> None:
    """Add the fluxes of one step, the pressure on the side walls and the drag.

    The wall pressure is the half-step pressure of the cell: with still gas of one pressure it
    cancels the difference of the face terms to round-off (well balanced).
    """
    for i in range(1, rho.size - 1):
        k = dt * inverse_volume[i]
        a, b = k * area_left[i], k * area_right[i]
        rho[i] -= b * fm[i] - a * fm[i - 1]
        mom[i] -= b * (fu[i] - wall[i]) - a * (fu[i - 1] - wall[i]) + dt * pull[i]
        ene[i] -= b * fe[i] - a * fe[i - 1]
        bur[i] -= b * fy[i] - a * fy[i - 1]


@kernel
def wall_terms(cells: Any, grid: Any, gas_constant: float) -> None:
    """Refresh drag (1/s) and wall film coefficient (W/(m^3 K)) of every cell.

    drag = (f |u| / D + K' |u|) / 2, so that the momentum lost is drag x rho u; f |u| tends to the
    laminar 64 nu / D as u goes to 0, hence holding it over a few steps is harmless. Viscosity:
    Sutherland (US Standard Atmosphere 1976). Film: Reynolds analogy, h = f/8 rho |u| cp Pr^(-2/3).
    """
    rho, u, p = cells[RHO], cells[U], cells[P]
    drag, film = cells[DRAG], cells[FILM]
    inverse_volume, diameter, relative = grid[INV_VOLUME], grid[DIAMETER], grid[RELATIVE]
    wall_friction, loss_per_m, heat = grid[WALL_FRICTION], grid[LOSS_PER_M], grid[HEAT]
    for i in range(rho.size):
        if inverse_volume[i] == 0.0:
            continue
        speed = abs(u[i])
        fu = 0.0
        if wall_friction[i] > 0.0:
            t = p[i] / (rho[i] * gas_constant)
            mu = SUTHERLAND_BETA * t * np.sqrt(t) / (t + SUTHERLAND_S_K)
            re = rho[i] * speed * diameter[i] / mu
            if re > 1.0:
                f, _ = darcy(re, relative[i])
                fu = f * speed
            else:
                fu = 64.0 * mu / (rho[i] * diameter[i])
            fu *= wall_friction[i]
        drag[i] = 0.5 * (fu / diameter[i] + loss_per_m[i] * speed)
        if heat[i] > 0.0:
            cp = 3.5 * gas_constant
            film[i] = 0.5 * fu * rho[i] * cp * PRANDTL_TERM / diameter[i]


@kernel
def heat_exchange(cells: Any, grid: Any, gas_constant: float, dt: float) -> float:
    """Add wall heat to the cells; returns the heat added, J."""
    rho, p, ene = cells[RHO], cells[P], cells[ENE]
    film = cells[FILM]
    heat, wall_temperature, inverse_volume = grid[HEAT], grid[WALL_T], grid[INV_VOLUME]
    total = 0.0
    for i in range(rho.size):
        if heat[i] > 0.0 and inverse_volume[i] > 0.0:
            gain = dt * film[i] * (wall_temperature[i] - p[i] / (rho[i] * gas_constant))
            ene[i] += gain
            total += gain / inverse_volume[i]
    return total
