"""Junction of any number of duct ends in a point without volume.

One pressure q of the junction is sought so that the mass flows close. Each end follows its own
isentropic wave (see `nozzle`) and its own loss: gas that leaves the duct with velocity v brings
p + (e - K_in) h, gas that enters a duct takes p + (e + K_out) h, where h is the compressible
velocity head rho v^2/2 (1 + M^2/4 + M^4/40) and e is 1 (total pressure) or 0 (one static
pressure). The incoming streams mix: all outgoing gas has their mean stagnation enthalpy and
composition. After the iteration the outgoing flows are scaled by in/out, a correction below 1e-8,
so that mass and energy close to round-off. Linear limit for n equal ducts: R = (2 - n)/n.
"""

from __future__ import annotations

import math
from typing import Any

from distrib.kernels import kernel


@kernel
def _giver(r: float, v0: float, p0: float, c0: float, q: float, e: float,
           start: float) -> tuple[float, float, float, float]:
    """Velocity out of a duct that feeds the junction: (v, p, density, slope dv/dq)."""
    top = (c0 + 0.2 * v0) / 1.2
    v = start
    p, d, slope = p0, r, 0.0
    for _ in range(30):
        s = (c0 + 0.2 * (v0 - v)) / c0
        s2 = s * s
        s5 = s2 * s2 * s
        d = r * s5
        p = p0 * s5 * s2
        c = c0 * s
        m2 = v * v / (c * c)
        head = 0.5 * d * v * v * (1.0 + 0.25 * m2 + 0.025 * m2 * m2)
        g = p + e * head - q
        dg = -d * c + e * d * v * (1.0 + 0.5 * m2)
        new = v - g / dg if dg < 0.0 else 0.5 * (v + top)
        new = min(max(new, 0.0), top)
        slope = 1.0 / dg if dg < 0.0 else 0.0
        moved = abs(new - v)
        v = new
        if moved <= 1e-8 * c0:
            break
    if v >= top:
        slope = 0.0
    return v, p, d, slope


@kernel
def _taker(v0: float, p0: float, c0: float, q: float, e: float, h0: float,
           start: float) -> tuple[float, float, float, float]:
    """Velocity into a duct fed by the junction: (w, p, density, slope dw/dq)."""
    top = math.sqrt(h0 / 3.0)
    w = start
    p, d, slope = p0, 3.5 * p0 / h0, 0.0
    for _ in range(30):
        s = (c0 + 0.2 * (v0 + w)) / c0
        s2 = s * s
        p = p0 * s2 * s2 * s2 * s
        c = c0 * s
        d = 3.5 * p / (h0 - 0.5 * w * w)
        m2 = 2.5 * w * w / (h0 - 0.5 * w * w)
        head = 0.5 * d * w * w * (1.0 + 0.25 * m2 + 0.025 * m2 * m2)
        g = p + e * head - q
        dg = 1.4 * p / c + e * d * w * (1.0 + 0.5 * m2)
        new = min(max(w - g / dg, 0.0), top)
        slope = 1.0 / dg
        moved = abs(new - w)
        w = new
        if moved <= 1e-8 * c0:
            break
    if w >= top:
        slope = 0.0
    return w, p, d, slope


@kernel
def _prepare(numbers: Any, at: int, count: int, ends: Any,
             state: Any) -> tuple[float, float, float, float]:
    """Wall pressure (column 9) and sound speed (10) of each end, the last velocity as start (4).

    Returns lowest and highest wall pressure and the area means of stagnation enthalpy and burned
    fraction (used only while nothing flows).
    """
    lo, hi = 1e300, 0.0
    h, y, area = 0.0, 0.0, 0.0
    for k in range(count):
        end = ends[numbers[at + k]]
        r, v, p = state[k, 0], state[k, 1], state[k, 2]
        c = math.sqrt(1.4 * p / r)
        s = 1.0 + 0.2 * v / c
        s2 = s * s
        w = p * s2 * s2 * s2 * s
        lo = min(lo, w)
        hi = max(hi, w)
        state[k, 4] = end.side * end.u
        state[k, 9], state[k, 10] = w, c
        h += end.area * (2.5 * c * c + 0.5 * v * v)
        y += end.area * state[k, 3]
        area += end.area
    return lo, hi, h / area, y / area


@kernel
def _givers(q: float, numbers: Any, at: int, count: int, ends: Any,
            state: Any) -> tuple[float, float, float, float]:
    """All ends that feed the junction at pressure q: mass, enthalpy and burned in, slope."""
    mass, h_sum, y_sum, slope = 0.0, 0.0, 0.0, 0.0
    for k in range(count):
        if state[k, 9] <= q:
            continue
        end = ends[numbers[at + k]]
        v, p, d, dv = _giver(state[k, 0], state[k, 1], state[k, 2], state[k, 10], q,
                             end.total - end.loss_in, max(state[k, 4], 0.0))
        m = end.area * d * v
        c2 = 1.4 * p / d
        h = 2.5 * c2 + 0.5 * v * v
        state[k, 4], state[k, 5], state[k, 6], state[k, 7] = v, p, d, h
        mass += m
        h_sum += m * h
        y_sum += m * state[k, 3]
        slope += end.area * d * dv * (1.0 - v / math.sqrt(c2))
    return mass, h_sum, y_sum, slope


@kernel
def _takers(q: float, h_mix: float, y_mix: float, numbers: Any, at: int, count: int, ends: Any,
            state: Any) -> tuple[float, float]:
    """All ends fed by the junction at pressure q: mass out and slope."""
    mass, slope = 0.0, 0.0
    for k in range(count):
        if state[k, 9] > q:
            continue
        end = ends[numbers[at + k]]
        c = state[k, 10]
        w, p, d, dw = _taker(state[k, 1], state[k, 2], c, q, end.total + end.loss_out, h_mix,
                             max(-state[k, 4], 0.0))
        state[k, 4], state[k, 5], state[k, 6] = -w, p, d
        state[k, 7], state[k, 8] = h_mix, y_mix
        mass += end.area * d * w
        slope -= end.area * d * dw * (1.0 + w / c)
    return mass, slope


@kernel
def solve_joint(q: float, numbers: Any, at: int, count: int, ends: Any,
                state: Any) -> tuple[float, bool]:
    """Close one junction. `state` (count, 11): r, v, p, y in; v, p, density, h0, y, mass out.

    `numbers[at + k]` is the number of the k-th end in `ends`. v is counted out of the duct.
    Returns the pressure and whether the mass closed.
    """
    lo, hi, h_any, y_any = _prepare(numbers, at, count, ends, state)
    if not lo <= q <= hi:
        q = 0.5 * (lo + hi)
    good = hi - lo <= 1e-14 * hi
    mass_in, mass_out = 0.0, 0.0
    q_last, f_last = -1.0, 0.0
    for _ in range(80):
        mass_in, h_sum, y_sum, slope = _givers(q, numbers, at, count, ends, state)
        h_mix = h_sum / mass_in if mass_in > 0.0 else h_any
        y_mix = y_sum / mass_in if mass_in > 0.0 else y_any
        mass_out, falling = _takers(q, h_mix, y_mix, numbers, at, count, ends, state)
        slope += falling
        f = mass_in - mass_out
        if abs(f) <= 1e-8 * (mass_in + mass_out) + 1e-300:
            good = True
            break
        if f > 0.0:
            lo = q
        else:
            hi = q
        if hi - lo <= 1e-15 * hi:
            good = True
            break
        if q_last > 0.0 and (f - f_last) * (q - q_last) < 0.0:
            slope = (f - f_last) / (q - q_last)
        q_last, f_last = q, f
        new = q - f / slope if slope < 0.0 else 0.5 * (lo + hi)
        q = new if lo < new < hi else 0.5 * (lo + hi)
    ratio = mass_in / mass_out if mass_out > 0.0 else 0.0
    for k in range(count):
        m = ends[numbers[at + k]].area * state[k, 6] * state[k, 4]
        if state[k, 4] > 0.0:
            state[k, 8] = state[k, 3]
            m = m if mass_out > 0.0 else 0.0
        else:
            m *= ratio
        state[k, 9] = m
    return q, good
