"""One duct end against a space at rest, through a restriction: the boundary problem of the ends.

Symbols: r, v, p the gas in the duct at the end, v counted OUT of the duct; phi the effective
throat area over the duct area (a loss K on the duct head is phi = 1/sqrt(1 + K)). The wave that
runs back into the duct is taken as isentropic: c* + v/5 = c + v_i/5 (gamma = 7/5), so
p* = p (c*/c)^7. Between the duct section and the throat the flow is isentropic; the pressure of
the jet behind the throat is that of the space it enters (constant-pressure model), up to choking.
Source: Benson, The Thermodynamics and Gas Dynamics of Internal-Combustion Engines, vol. 1 (1982),
from memory; the equations are re-derived here from the stated assumptions.

Each solver returns (pressure, velocity out of the duct, density) of the duct section; the mass
flux is density x velocity. The iterations run over many ends at once (`leave_all`, `enter_all`);
one end has the same formulas one by one.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from distrib.kernels import inline, inner, kernel
from distrib.unsteady.flat import get, put, seventh_root, wide
from distrib.unsteady.tables import (
    W_BASE,
    W_C,
    W_CHOKE,
    W_D,
    W_F2,
    W_GAIN,
    W_GIVEN,
    W_GUESS,
    W_HI,
    W_LO,
    W_OPEN,
    W_P,
    W_PHI,
    W_T,
    W_U,
    W_V,
    W_X,
)

SONIC_W = 0.9128709291752769
"""Largest v/a0 of a subsonic section: sqrt(1/1.2)."""
CHOKED_TAU = 5.0 / 6.0
"""T/T0 of a choked throat."""
STEPS = 40
STOP = 1e-7
"""Newton stops when a step is below this; the error left is of the order of its square."""


@inline
def wall(r: float, v: float, p: float) -> Any:
    """Pressure on a closed end."""
    k = 1.0 + 0.2 * v / np.sqrt(1.4 * p / r)
    k2 = k * k
    return p * k2 * k2 * k2 * k


@inline
def stagnant_ratio(r: float, v: float, p: float, space_p: float) -> Any:
    """(pressure of the end if it were closed / space pressure)^(1/7); above 1 gas leaves."""
    return (1.0 + 0.2 * v / np.sqrt(1.4 * p / r)) * seventh_root(p / space_p)


@inline
def _leaving_start(base: float, phi: float, c: float, guess: float) -> float:
    """First Mach number of `leaving`: of the guessed velocity, else of a linear throat."""
    big, f2 = base * base, phi * phi
    b = big * f2
    m = np.sqrt(b * b + f2 * min(5.0 * (big - 1.0), 1.0)) - b
    return min(guess / c if guess > 0.0 else m, 0.999)


@inline
def _leaving_step(m: float, lo: float, hi: float, big: float,
                  f2: float) -> tuple[float, float, float]:
    """One Newton step for the Mach number of gas that leaves, inside its bracket.

    With k = 1 + M/5, x = 1 + M^2/5 and the throat Mach number squared z: z = 5 (B x/k^2 - 1) (1 if
    choked), continuity M^2/x^6 = phi^2 z/(1 + z/5)^6.
    """
    x = 1.0 + 0.2 * m * m
    k = 1.0 / (1.0 + 0.2 * m)
    z = 5.0 * (big * x * k * k - 1.0)
    choked = z > 1.0
    dz = 0.0 if choked else 2.0 * big * (m - 1.0) * k * k * k
    z = 1.0 if choked else z
    t = 1.0 + 0.2 * z
    both = 1.0 / (x * t)
    x1, t1 = both * t, both * x
    x3, t3 = x1 * x1 * x1, t1 * t1 * t1
    f = m * m * x3 * x3 - f2 * z * t3 * t3
    df = 2.0 * m * (1.0 - m * m) * x3 * x3 * x1 - f2 * (1.0 - z) * dz * t3 * t3 * t1
    hi = m if f > 0.0 else hi
    lo = lo if f > 0.0 else m
    new = m - f / df if df > 0.0 else 0.5 * (lo + hi)
    return new if (new >= lo) & (new <= hi) else 0.5 * (lo + hi), lo, hi


@inline
def _left(base: float, p: float, v: float, r: float, c: float,
          m: float) -> tuple[float, float, float]:
    """Pressure, velocity and density of gas that leaves with Mach number m (as it is if sonic)."""
    s = (1.0 + 0.2 * v / c) / (1.0 + 0.2 * m)
    s2 = s * s
    s5 = s2 * s2 * s
    sonic = v >= c
    return p if sonic else p * s5 * s2, v if sonic else m * c * s, r if sonic else r * s5


@kernel
def leaving(r: float, v: float, p: float, ratio: float, phi: float,
            guess: float) -> tuple[float, float, float]:
    """Gas leaves the duct into a space with `stagnant_ratio` `ratio` > 1; see the module text.

    `guess`: velocity to start from, 0 if unknown. The unknown is the Mach number of the duct
    section; Newton inside a bracket that always holds the root.
    """
    c = math.sqrt(1.4 * p / r)
    if v < c and (ratio <= 1.0 or phi <= 0.0):
        return _left(ratio, p, v, r, c, 0.0)
    m, lo, hi = _leaving_start(ratio, phi, c, guess), 0.0, 1.0
    for _ in range(STEPS):
        new, lo, hi = _leaving_step(m, lo, hi, ratio * ratio, phi * phi)
        moved = abs(new - m)
        m = new
        if moved < STOP:
            break
    return _left(ratio, p, v, r, c, m)


@inner
def leave_all(w: Any, n: int) -> None:
    """`leaving` for the first n ends of the work table; P, V, D become those of the section."""
    wide()
    for i in range(n):
        put(w, W_F2, i, get(w, W_PHI, i) * get(w, W_PHI, i))
        put(w, W_GAIN, i, get(w, W_BASE, i) * get(w, W_BASE, i))
        put(w, W_X, i, _leaving_start(get(w, W_BASE, i), get(w, W_PHI, i), get(w, W_C, i),
                                      get(w, W_GUESS, i)))
        put(w, W_LO, i, 0.0)
        put(w, W_HI, i, 1.0)
        put(w, W_OPEN, i, 1.0)
    for _ in range(STEPS):
        going = 0
        for i in range(n):
            m, lo, hi = get(w, W_X, i), get(w, W_LO, i), get(w, W_HI, i)
            new, low, high = _leaving_step(m, lo, hi, get(w, W_GAIN, i), get(w, W_F2, i))
            on = get(w, W_OPEN, i) > 0.0
            put(w, W_X, i, new if on else m)
            put(w, W_LO, i, low)
            put(w, W_HI, i, high)
            more = on & (abs(new - m) >= STOP)
            put(w, W_OPEN, i, 1.0 if more else 0.0)
            going += 1 if more else 0
        if going == 0:
            break
    for i in range(n):
        p, v, d = _left(get(w, W_BASE, i), get(w, W_P, i), get(w, W_V, i), get(w, W_D, i),
                        get(w, W_C, i), get(w, W_X, i))
        put(w, W_P, i, p)
        put(w, W_U, i, v)
        put(w, W_D, i, d)


@inline
def _entering_start(base: float, gain: float, f2: float, a0: float, guess: float) -> float:
    """First velocity of `entering` over the sound speed of the space."""
    t0 = max(base, 0.3)
    a = t0 * t0 * t0 * t0
    b = 5.0 * f2 * base * gain
    w = (np.sqrt(b * b + a * 5.0 * f2 * (1.0 - t0 * t0)) - b) / a
    return min(-guess / a0 if guess < 0.0 else w, 0.9)


@inline
def _entering_step(w: float, lo: float, hi: float, base: float, gain: float, f2: float,
                   choke: float) -> tuple[float, float, float]:
    """One Newton step for the velocity w of gas that enters, over the space's sound speed.

    With tau = T/T0 of the isentropic throat at the duct's pressure, tau = (D (k0 + a0 w/(5 c)))^2:
    continuity w^2 tau^2/(1 - w^2/5)^2 = 5 phi^2 (1 - tau), or, choked (tau < 5/6),
    w^2 tau^7/(1 - w^2/5)^2 = phi^2 (5/6)^6.
    """
    g = base + gain * w
    tau = g * g
    dtau = 2.0 * g * gain
    z = 1.0 / (1.0 - 0.2 * w * w)
    u = w * w * z * z
    du = 2.0 * w * (1.0 + 0.2 * w * w) * z * z * z
    t2 = tau * tau
    t6 = t2 * t2 * t2
    free = tau >= CHOKED_TAU
    f = u * t2 - 5.0 * f2 * (1.0 - tau) if free else u * t6 * tau - choke
    df = du * t2 + (2.0 * u * tau + 5.0 * f2) * dtau if free else (
        du * t6 * tau + 7.0 * u * t6 * dtau)
    hi = w if f > 0.0 else hi
    lo = lo if f > 0.0 else w
    new = w - f / df if df > 0.0 else 0.5 * (lo + hi)
    return new if (new >= lo) & (new <= hi) else 0.5 * (lo + hi), lo, hi


@inline
def _entered(base: float, gain: float, space_p: float, rt: float, phi: float,
             w: float) -> tuple[float, float, float]:
    """Pressure, velocity and density of gas that has entered; rt: gas constant x temperature."""
    z = 1.0 - 0.2 * w * w
    g = base + gain * w
    g2 = g * g
    sonic = w > SONIC_W - 1e-6
    pb = phi * space_p * CHOKED_TAU**3 * z / w if sonic else space_p * g2 * g2 * g2 * g
    return pb, -w * np.sqrt(1.4 * rt), pb / (rt * z)


@kernel
def entering(r: float, v: float, p: float, ratio: float, space_p: float, space_t: float,
             phi: float, gas_constant: float, guess: float) -> tuple[float, float, float]:
    """Gas enters the duct from a space at rest (`space_p`, `space_t`); `ratio` < 1.

    `guess`: velocity (negative) to start from, 0 if unknown. The velocity returned is negative.
    """
    c, a0 = math.sqrt(1.4 * p / r), math.sqrt(1.4 * gas_constant * space_t)
    if ratio >= 1.0 or phi <= 0.0:
        return wall(r, v, p), 0.0, space_p / (gas_constant * space_t)
    gain, f2 = ratio * 0.2 * a0 / (c + 0.2 * v), phi * phi
    w, lo, hi = _entering_start(ratio, gain, f2, a0, guess), 0.0, SONIC_W
    for _ in range(STEPS):
        new, lo, hi = _entering_step(w, lo, hi, ratio, gain, f2, f2 * CHOKED_TAU**6)
        moved = abs(new - w)
        w = new
        if moved < STOP:
            break
    return _entered(ratio, gain, space_p, gas_constant * space_t, phi, w)


@inner
def enter_all(w: Any, n: int) -> None:
    """`entering` for the first n ends of the work table (T: gas constant x temperature)."""
    wide()
    for i in range(n):
        f2 = get(w, W_PHI, i) * get(w, W_PHI, i)
        base, a0 = get(w, W_BASE, i), np.sqrt(1.4 * get(w, W_T, i))
        gain = base * 0.2 * a0 / (get(w, W_C, i) + 0.2 * get(w, W_V, i))
        put(w, W_F2, i, f2)
        put(w, W_CHOKE, i, f2 * CHOKED_TAU**6)
        put(w, W_GAIN, i, gain)
        put(w, W_X, i, _entering_start(base, gain, f2, a0, get(w, W_GUESS, i)))
        put(w, W_LO, i, 0.0)
        put(w, W_HI, i, SONIC_W)
        put(w, W_OPEN, i, 1.0)
    for _ in range(STEPS):
        going = 0
        for i in range(n):
            x, lo, hi = get(w, W_X, i), get(w, W_LO, i), get(w, W_HI, i)
            new, low, high = _entering_step(x, lo, hi, get(w, W_BASE, i), get(w, W_GAIN, i),
                                            get(w, W_F2, i), get(w, W_CHOKE, i))
            on = get(w, W_OPEN, i) > 0.0
            put(w, W_X, i, new if on else x)
            put(w, W_LO, i, low)
            put(w, W_HI, i, high)
            more = on & (abs(new - x) >= STOP)
            put(w, W_OPEN, i, 1.0 if more else 0.0)
            going += 1 if more else 0
        if going == 0:
            break
    for i in range(n):
        p, v, d = _entered(get(w, W_BASE, i), get(w, W_GAIN, i), get(w, W_GIVEN, i),
                           get(w, W_T, i), get(w, W_PHI, i), get(w, W_X, i))
        put(w, W_P, i, p)
        put(w, W_U, i, v)
        put(w, W_D, i, d)


@inline
def nozzle_flow(p0: float, t0: float, p1: float, gas_constant: float) -> Any:
    """Isentropic mass flux from (p0, t0) at rest to pressure p1 < p0, kg/(s m^2), choked or not."""
    root = seventh_root(p1 / p0)
    tau = max(root * root, CHOKED_TAU)
    return p0 / np.sqrt(gas_constant * t0) * tau * tau * np.sqrt(7.0 * tau * (1.0 - tau))


@kernel
def throttled(ra: float, va: float, pa: float, rb: float, vb: float, pb: float, area_a: float,
              area_b: float, throat: float,
              guess_p: float) -> tuple[float, float, float, float, float, float, float]:
    """A restriction between two duct ends a and b; returns (p, v, r) of a, (p, v, r) of b, p_b.

    The pressure behind the throat is that of the receiving duct. Unknown: that pressure q; the
    giving end answers `leaving(q)`, the receiving end the isentropic wave and the stagnation
    temperature of the giver; their mass flows must agree. The caller applies the giver's mass
    flow to both sides, so mass is exact. Bracketed secant (Illinois).
    """
    wa = wall(ra, va, pa)
    wb = wall(rb, vb, pb)
    if throat <= 0.0:
        return wa, 0.0, ra, wb, 0.0, rb, guess_p
    forward = wa >= wb
    if forward:
        r1, v1, p1, a1, r2, v2, p2, a2 = ra, va, pa, area_a, rb, vb, pb, area_b
        lo, hi = wb, wa
    else:
        r1, v1, p1, a1, r2, v2, p2, a2 = rb, vb, pb, area_b, ra, va, pa, area_a
        lo, hi = wa, wb
    phi = min(throat / a1, 1.0)
    c1 = math.sqrt(1.4 * p1 / r1)
    h1 = c1 + 0.2 * v1
    c2 = math.sqrt(1.4 * p2 / r2)
    f_lo, f_hi = 0.0, 0.0
    q = guess_p if lo < guess_p < hi else 0.5 * (lo + hi)
    pg, vg, rg, v, density = p1, 0.0, r1, 0.0, r2
    side = 0
    known_lo = known_hi = False
    for _ in range(60):
        pg, vg, rg = leaving(r1, v1, p1, stagnant_ratio(r1, v1, p1, q), phi, 0.0)
        cg = h1 - 0.2 * vg
        h0 = 2.5 * cg * cg + 0.5 * vg * vg
        v = 5.0 * c2 * (seventh_root(q / p2) - 1.0) - v2
        density = 3.5 * q / (h0 - 0.5 * v * v)
        f = a1 * rg * vg - a2 * density * v
        if abs(f) <= 1e-10 * (a1 * rg * c1) or hi - lo <= 1e-12 * hi:
            break
        if f > 0.0:
            lo, f_lo, known_lo = q, f, True
            if side == 1:
                f_hi *= 0.5
            side = 1
        else:
            hi, f_hi, known_hi = q, f, True
            if side == -1:
                f_lo *= 0.5
            side = -1
        if known_lo and known_hi:
            q = (lo * f_hi - hi * f_lo) / (f_hi - f_lo)
            if not lo < q < hi:
                q = 0.5 * (lo + hi)
        else:
            q = 0.5 * (lo + hi)
    if forward:
        return pg, vg, rg, q, -v, density, q
    return q, -v, density, pg, vg, rg, q
