"""One duct end against a space at rest, through a restriction: the boundary problem of the ends.

Symbols: r, v, p the gas in the duct at the end, v counted OUT of the duct; phi the effective
throat area over the duct area (a loss K on the duct head is phi = 1/sqrt(1 + K)). The wave that
runs back into the duct is taken as isentropic: c* + v/5 = c + v_i/5 (gamma = 7/5), so
p* = p (c*/c)^7. Between the duct section and the throat the flow is isentropic; the pressure of
the jet behind the throat is that of the space it enters (constant-pressure model), up to choking.
Source: Benson, The Thermodynamics and Gas Dynamics of Internal-Combustion Engines, vol. 1 (1982),
from memory; the equations are re-derived here from the stated assumptions.

Each solver returns (pressure, velocity out of the duct, density) of the duct section; the mass
flux is density x velocity.
"""

from __future__ import annotations

import math

from distrib.kernels import kernel

SONIC_W = 0.9128709291752769
"""Largest v/a0 of a subsonic section: sqrt(1/1.2)."""
CHOKED_TAU = 5.0 / 6.0
"""T/T0 of a choked throat."""
STEPS = 40
STOP = 1e-7
"""Newton stops when a step is below this; the error left is of the order of its square."""


@kernel
def wall(r: float, v: float, p: float) -> float:
    """Pressure on a closed end."""
    k = 1.0 + 0.2 * v / math.sqrt(1.4 * p / r)
    k2 = k * k
    return p * k2 * k2 * k2 * k


@kernel
def stagnant_ratio(r: float, v: float, p: float, space_p: float) -> float:
    """(pressure of the end if it were closed / space pressure)^(1/7); above 1 gas leaves."""
    root = (p / space_p) ** (1.0 / 7.0)
    return float((1.0 + 0.2 * v / math.sqrt(1.4 * p / r)) * root)


@kernel
def leaving(r: float, v: float, p: float, ratio: float, phi: float,
            guess: float) -> tuple[float, float, float]:
    """Gas leaves the duct into a space with `stagnant_ratio` `ratio` > 1; see the module text.

    `guess`: velocity to start from, 0 if unknown.

    The unknown is the Mach number M of the duct section. With k = 1 + M/5, x = 1 + M^2/5 and the
    throat Mach number squared z: z = 5 (B x/k^2 - 1) (1 if choked), continuity
    M^2/x^6 = phi^2 z/(1 + z/5)^6. Newton inside a bracket that always holds the root.
    """
    c = math.sqrt(1.4 * p / r)
    if v >= c:
        return p, v, r
    k0 = 1.0 + 0.2 * v / c
    big = ratio * ratio
    f2 = phi * phi
    z0 = 5.0 * (big - 1.0)
    if z0 <= 0.0 or f2 <= 0.0:
        k2 = k0 * k0
        k7 = k2 * k2 * k2 * k0
        return p * k7, 0.0, r * k2 * k2 * k0
    lo, hi = 0.0, 1.0
    if guess > 0.0:
        m = min(guess / c, 0.999)
    else:
        b = big * f2
        m = min(math.sqrt(b * b + f2 * min(z0, 1.0)) - b, 0.999)
    for _ in range(STEPS):
        x = 1.0 + 0.2 * m * m
        k = 1.0 + 0.2 * m
        z = 5.0 * (big * x / (k * k) - 1.0)
        dz = 2.0 * big * (m - 1.0) / (k * k * k)
        if z > 1.0:
            z, dz = 1.0, 0.0
        t = 1.0 + 0.2 * z
        x3 = x * x * x
        t3 = t * t * t
        f = m * m / (x3 * x3) - f2 * z / (t3 * t3)
        df = 2.0 * m * (1.0 - m * m) / (x3 * x3 * x) - f2 * (1.0 - z) * dz / (t3 * t3 * t)
        if f > 0.0:
            hi = m
        else:
            lo = m
        new = m - f / df if df > 0.0 else 0.5 * (lo + hi)
        if not lo <= new <= hi:
            new = 0.5 * (lo + hi)
        moved = abs(new - m)
        m = new
        if moved < STOP:
            break
    s = k0 / (1.0 + 0.2 * m)
    s2 = s * s
    s5 = s2 * s2 * s
    return p * s5 * s2, m * c * s, r * s5


@kernel
def entering(r: float, v: float, p: float, ratio: float, space_p: float, space_t: float,
             phi: float, gas_constant: float, guess: float) -> tuple[float, float, float]:
    """Gas enters the duct from a space at rest (`space_p`, `space_t`); `ratio` < 1.

    `guess`: velocity (negative) to start from, 0 if unknown.

    The unknown is w, duct velocity over the sound speed of the space, in 0..sqrt(5/6). With
    tau = T/T0 of the isentropic throat at the duct's pressure, tau = (D (k0 + a0 w/(5 c)))^2:
    continuity w^2 tau^2/(1 - w^2/5)^2 = 5 phi^2 (1 - tau), or, choked (tau < 5/6),
    w^2 tau^7/(1 - w^2/5)^2 = phi^2 (5/6)^6. The velocity returned is negative.
    """
    c = math.sqrt(1.4 * p / r)
    a0 = math.sqrt(1.4 * gas_constant * space_t)
    base = ratio
    gain = ratio * 0.2 * a0 / (c + 0.2 * v)
    f2 = phi * phi
    if base >= 1.0 or f2 <= 0.0:
        return wall(r, v, p), 0.0, space_p / (gas_constant * space_t)
    choke = f2 * CHOKED_TAU**6
    lo, hi = 0.0, SONIC_W
    if guess < 0.0:
        w = min(-guess / a0, 0.9)
    else:
        t0 = max(base, 0.3)
        a = t0**4
        b = 5.0 * f2 * base * gain
        w = min((math.sqrt(b * b + a * 5.0 * f2 * (1.0 - t0 * t0)) - b) / a, 0.9)
    for _ in range(STEPS):
        g = base + gain * w
        tau = g * g
        dtau = 2.0 * g * gain
        z = 1.0 - 0.2 * w * w
        u = w * w / (z * z)
        du = 2.0 * w * (1.0 + 0.2 * w * w) / (z * z * z)
        if tau >= CHOKED_TAU:
            f = u * tau * tau - 5.0 * f2 * (1.0 - tau)
            df = du * tau * tau + (2.0 * u * tau + 5.0 * f2) * dtau
        else:
            t6 = tau * tau * tau * tau * tau * tau
            f = u * t6 * tau - choke
            df = du * t6 * tau + 7.0 * u * t6 * dtau
        if f > 0.0:
            hi = w
        else:
            lo = w
        new = w - f / df if df > 0.0 else 0.5 * (lo + hi)
        if not lo <= new <= hi:
            new = 0.5 * (lo + hi)
        moved = abs(new - w)
        w = new
        if moved < STOP:
            break
    z = 1.0 - 0.2 * w * w
    if w > SONIC_W - 1e-6:
        pb = phi * space_p * CHOKED_TAU**3 * z / w
    else:
        g = base + gain * w
        g2 = g * g
        pb = space_p * g2 * g2 * g2 * g
    return pb, -w * a0, pb / (gas_constant * space_t * z)


@kernel
def space_end(r: float, v: float, p: float, space_p: float, space_t: float, phi_in: float,
              phi_out: float, gas_constant: float, guess: float) -> tuple[float, float, float]:
    """One end against a space at rest, whichever way the gas goes; `guess` as in the others."""
    ratio = stagnant_ratio(r, v, p, space_p)
    if ratio > 1.0:
        return leaving(r, v, p, ratio, phi_out, guess)
    return entering(r, v, p, ratio, space_p, space_t, phi_in, gas_constant, guess)


@kernel
def nozzle_flow(p0: float, t0: float, p1: float, gas_constant: float) -> float:
    """Isentropic mass flux from (p0, t0) at rest to pressure p1 < p0, kg/(s m^2), choked or not."""
    tau = max((p1 / p0) ** (2.0 / 7.0), CHOKED_TAU)
    flux = p0 / math.sqrt(gas_constant * t0) * tau * tau * math.sqrt(7.0 * tau * (1.0 - tau))
    return float(flux)


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
        v = 5.0 * c2 * ((q / p2) ** (1.0 / 7.0) - 1.0) - v2
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
