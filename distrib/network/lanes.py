"""Element equations on lanes: one case per lane, so that the compiler can use SIMD.

Every function works on one flat scratch array `w` whose row k holds LANES numbers, one per
case, at `w[k * LANES + lane]`. Row numbers are literal, so the compiler knows that rows do not
overlap. Residuals and derivatives come from the same lines.

Equations (steady, adiabatic, perfect gas with gamma = 7/5, for which the stagnation relations
of NACA Report 1135 (1953), eqs. 43-44, need square roots only). With static pressure p, mass
flow m, area A and c = R T0 / gamma, the group phi^2 = c m^2 / (p A)^2 fixes the Mach number:
x (1 + x) = phi^2 / 5 with x = M^2 / 5, and the total pressure is p (1 + x)^3.5.
"""

from __future__ import annotations

import math
from typing import Any

from distrib.kernels import inline
from distrib.vectors import LANES

CHOKE = 1.728
"""(6/5)^3: total pressure over m sqrt(c)/A at Mach 1 for gamma = 7/5."""

GAMMA = 1.4
SONIC = 1.2 ** -3.5
"""Static over total pressure at Mach 1 for gamma = 7/5 (NACA 1135, eq. 44)."""

WEAK = 1e-7
"""Slope given to the pressure that a choked element does not feel, so that the fixed pivot order
never meets a zero. The equations themselves do not hold it: the answer is that of exact choking,
and each step is off by this part only."""

_L = LANES


@inline
def stagnation(phi2: Any) -> Any:
    """x = M^2/5 of a stream with group phi^2, (1 + x)^3.5 - 1, and five times its slope in phi^2.

    From x (1 + x) = phi^2/5: dx/d phi^2 = 0.2/(1 + 2 x), and d(1 + x)^3.5/dx = 3.5 (1 + x)^2.5.
    No near numbers are subtracted, so that slow streams keep all their digits.
    """
    root = math.sqrt(1.0 + 0.8 * phi2)
    x = 0.4 * phi2 / (1.0 + root)
    s = math.sqrt(1.0 + x)
    y = 1.0 + x
    # 1 + 2 x = root; one division serves both quotients
    both = 1.0 / ((1.0 + s) * root)
    rise = x * (3.0 + x * (3.0 + x)) * s + x * root * both
    return x, rise, 3.5 * y * y * s * (1.0 + s) * both


@inline
def head_block(w: Any, n: int) -> None:
    """Dynamic head h = p0 - p and its derivatives.

    A flow m through the area needs at least the total pressure of its sonic stream. Where p is
    too low for that the stream stays sonic and the total pressure keeps that value, whatever the
    pressure behind (the fall from there is lost): h = p0(sonic) - p, joined with equal slopes.

    in rows: 0 p (absolute, Pa), 1 m (kg/s), 2 one over the area (1/m2), 3 c = R T0/gamma (m2/s2)
    out rows: 4 h (Pa), 5 dh/dp, 6 dh/dm
    """
    for i in range(_L):
        p = w[i]
        c_area = w[3 * _L + i] * w[2 * _L + i]
        phi = w[_L + i] * w[2 * _L + i] / p
        phi2 = phi * phi * w[3 * _L + i]
        x, g, slope = stagnation(phi2)
        sonic = x > 0.2
        size = math.sqrt(phi2)
        w[4 * _L + i] = p * (CHOKE * size - 1.0) if sonic else p * g
        w[5 * _L + i] = WEAK - 1.0 if sonic else g - 2.0 * x * (1.0 + x) * slope
        w[6 * _L + i] = (
            CHOKE * phi * c_area / (size + 1e-300) if sonic else 0.4 * slope * phi * c_area
        )


@inline
def duct_block(w: Any, n: int) -> None:
    """A duct with losses: total pressures at both ends differ by the losses in flow direction.

    in rows: 0 pa 1 ha 2 dha/dp 3 dha/dm, 4 pb 5 hb 6 dhb/dp 7 dhb/dm (p as differences from the
    reference pressure), 8 m, 9 Ka+ 10 Kb+ (loss on the heads at a and b for flow a to b),
    11 Ka- 12 Kb- (for flow b to a), 13 L/2Da 14 L/2Db, 15 friction factor 16 its slope in m,
    17 smoothing flow over area, 18 one over the choking Cd A, 19 reference pressure, 24 c,
    25 area at a 26 at b
    out rows: 20 residual (Pa), 21 d/dpa, 22 d/dpb, 23 d/dm
    """
    for i in range(_L):
        pa = w[i]
        ha = w[_L + i]
        hap = w[2 * _L + i]
        ham = w[3 * _L + i]
        pb = w[4 * _L + i]
        hb = w[5 * _L + i]
        hbp = w[6 * _L + i]
        hbm = w[7 * _L + i]
        m = w[8 * _L + i]
        forward = m >= 0.0
        # both are loaded before one is chosen: a conditional load would forbid SIMD
        ka_f = w[9 * _L + i]
        kb_f = w[10 * _L + i]
        ka_b = w[11 * _L + i]
        kb_b = w[12 * _L + i]
        ka = ka_f if forward else ka_b
        kb = kb_f if forward else kb_b
        f = w[15 * _L + i]
        fm = w[16 * _L + i]
        la = w[13 * _L + i]
        lb = w[14 * _L + i]
        area_a = w[25 * _L + i]
        area_b = w[26 * _L + i]
        ms = w[17 * _L + i] * (area_a if area_a < area_b else area_b)
        rs = 1.0 / math.sqrt(m * m + ms * ms)
        sign = m * rs
        dsign = ms * ms * rs * rs * rs
        ca = ka + f * la
        cb = kb + f * lb
        pref = w[19 * _L + i]
        # an end that would be supersonic: upstream its pressure carries the sonic stream p/SONIC,
        # downstream the flow does; losses stand on the sonic head
        over_a = (1.0 - SONIC) * (pa + pref) < SONIC * ha
        over_b = (1.0 - SONIC) * (pb + pref) < SONIC * hb
        ext_a = over_a & forward
        ext_b = over_b & (not forward)
        ta = (pa + pref) / SONIC - pref if ext_a else pa + ha
        tb = (pb + pref) / SONIC - pref if ext_b else pb + hb
        ta_p = 1.0 / SONIC if ext_a else 1.0 + hap
        tb_p = 1.0 / SONIC if ext_b else 1.0 + hbp
        ta_m = 0.0 if ext_a else ham
        tb_m = 0.0 if ext_b else hbm
        la_h = (1.0 - SONIC) * (ta + pref) if over_a else ha
        lb_h = (1.0 - SONIC) * (tb + pref) if over_b else hb
        la_p = (1.0 - SONIC) * ta_p if over_a else hap
        lb_p = (1.0 - SONIC) * tb_p if over_b else hbp
        la_m = (1.0 - SONIC) * ta_m if over_a else ham
        lb_m = (1.0 - SONIC) * tb_m if over_b else hbm
        loss = ca * la_h + cb * lb_h
        wall = la * la_h + lb * lb_h
        # not choked: p0a - p0b - loss
        r = ta - tb - sign * loss
        da = ta_p - sign * ca * la_p
        db = -tb_p - sign * cb * lb_p
        dm = ta_m - tb_m - sign * (ca * la_m + cb * lb_m) - dsign * loss - sign * fm * wall
        # choked: the upstream total pressure is set by the flow through the narrowest section, or
        # the stream is sonic at the upstream end itself
        slope = CHOKE * math.sqrt(w[24 * _L + i]) * w[18 * _L + i]
        need = abs(m) * slope - pref
        own_a = (pa + pref) / SONIC - pref - (pa + ha)
        own_b = (pb + pref) / SONIC - pref - (pb + hb)
        end_a = own_a < ta - need
        end_b = own_b < tb - need
        ra = own_a if end_a else ta - need
        rb = -own_b if end_b else need - tb
        ra_p = 1.0 / SONIC - 1.0 - hap if end_a else ta_p
        rb_p = 1.0 + hbp - 1.0 / SONIC if end_b else -tb_p
        ra_m = -ham if end_a else ta_m - slope
        rb_m = hbm if end_b else -slope - tb_m
        choked_forward = forward & (ra < r)
        choked_back = (not forward) & (rb > r)
        r = ra if choked_forward else (rb if choked_back else r)
        da = ra_p if choked_forward else (WEAK if choked_back else da)
        db = -WEAK if choked_forward else (rb_p if choked_back else db)
        dm = ra_m if choked_forward else (rb_m if choked_back else dm)
        w[20 * _L + i] = r
        w[21 * _L + i] = da
        w[22 * _L + i] = db
        w[23 * _L + i] = dm


@inline
def station_block(w: Any, n: int) -> None:
    """Static pressure along a plenum past a mouth, right face against left face.

    in rows: 0 pL 1 hL 2 dhL/dp 3 dhL/dm, 4 pR 5 hR 6 dhR/dp 7 dhR/dm, 8 mL 9 mR (both positive
    towards the right), 10 c0 11 c1 12 c2 13 c8 of the run loss K(q') on the upstream head,
    14 regain factor where the branch feeds the plenum (2: it brings no axial momentum)
    out rows: 20 residual (Pa), 21 d/dpL, 22 d/dpR, 23 d/dmL, 24 d/dmR

    Past a draw the loss K(q') acts on the upstream head, q' = downstream over upstream flow.
    Where the plenum gains flow, and where two streams meet or part, the momentum balance of a
    straight section holds with a constant regain factor, joined continuously.
    """
    for i in range(_L):
        ml = w[8 * _L + i]
        mr = w[9 * _L + i]
        hl = w[_L + i]
        hr = w[5 * _L + i]
        c0 = w[10 * _L + i]
        c1 = w[11 * _L + i]
        c2 = w[12 * _L + i]
        c8 = w[13 * _L + i]
        gain = w[14 * _L + i]
        k1 = c0 + c1 + c2 + c8
        al = abs(ml)
        ar = abs(mr)
        same = ml * mr >= 0.0
        right = ml + mr >= 0.0
        turn = 1.0 if right else -1.0
        up = al if right else ar
        down = ar if right else al
        h_up = hl if right else hr
        h_down = hr if right else hl
        drawing = down <= up
        most = up if drawing else down
        safe = most if most > 1e-30 else 1e-30
        q = (down if drawing else up) / safe
        q2 = q * q
        q4 = q2 * q2
        k = c0 + q * (c1 + q * c2) + c8 * q4 * q4
        kq = c1 + 2.0 * c2 * q + 8.0 * c8 * q4 * q2 * q
        # pR - pL = hl - hr - turn (on_up h_up + on_down h_down), one stream
        on_up = k if drawing else k1
        on_down = 0.0 if drawing else (gain - 1.0) * (1.0 - q2)
        slope = (kq * h_up if drawing else -2.0 * q * (gain - 1.0) * h_down) / safe
        both = 1.0 - c0 if ml > 0.0 else gain
        lost_l = on_up if right else on_down
        lost_r = on_down if right else on_up
        cl = 1.0 - turn * lost_l if same else both
        cr = 1.0 + turn * lost_r if same else both
        # derivative of turn (on_up h_up + on_down h_down) through q = smaller over larger flow
        small = turn * slope if same else 0.0
        large = -q * small
        d_up = large if drawing else small
        d_down = small if drawing else large
        # both flows have the sign of `turn` here, so d|m| = turn dm
        w[20 * _L + i] = w[4 * _L + i] - w[i] - cl * hl + cr * hr
        w[21 * _L + i] = -1.0 - cl * w[2 * _L + i]
        w[22 * _L + i] = 1.0 + cr * w[6 * _L + i]
        w[23 * _L + i] = -cl * w[3 * _L + i] + turn * (d_up if right else d_down)
        w[24 * _L + i] = cr * w[7 * _L + i] + turn * (d_down if right else d_up)


@inline
def crossflow_block(w: Any, n: int) -> None:
    """What a mouth sees of the plenum: static pressure, head and flow of the stream past it.

    in rows: 0 pL 1 hL 2 dhL/dp 3 dhL/dm, 4 pR 5 hR 6 dhR/dp 7 dhR/dm, 8 mL 9 mR,
    10 smoothing flow, 11 k_wv from the left 12 k_wv from the right
    out rows: 20 static pressure, 21 d/dmL 22 d/dmR 23 weight of L (d/dpL; R has the rest),
    24 head of the stream, 25 d/dpL 26 d/dpR 27 d/dmL 28 d/dmR, 29 inflow, 30 k_wv x inflow
    31 d/dmL 32 d/dmR of that, 33 d inflow/dmL, 34 d inflow/dmR
    """
    for i in range(_L):
        ml = w[8 * _L + i]
        mr = w[9 * _L + i]
        e = w[10 * _L + i]
        from_left = ml > 0.0
        from_right = mr < 0.0
        a = ml if from_left else 0.0
        b = -mr if from_right else 0.0
        da = 1.0 if from_left else 0.0
        db = -1.0 if from_right else 0.0
        # what the station gains otherwise (an entry, a runner that blows back) meets the mouth
        # at the mean of both faces
        gained = mr > ml
        g = mr - ml if gained else 0.0
        dg = 1.0 if gained else 0.0
        total = 1.0 / (a + b + g + 2.0 * e)
        wl = (a + 0.5 * g + e) * total
        wr = 1.0 - wl
        wl_l = (wr * da - (0.5 - wl) * dg) * total
        wl_r = (-wl * db + (0.5 - wl) * dg) * total
        pl = w[i]
        pr = w[4 * _L + i]
        hl = w[_L + i] * da
        hr = -w[5 * _L + i] * db
        w[20 * _L + i] = wl * pl + wr * pr
        w[21 * _L + i] = wl_l * (pl - pr)
        w[22 * _L + i] = wl_r * (pl - pr)
        w[23 * _L + i] = wl
        w[24 * _L + i] = wl * hl + wr * hr
        w[25 * _L + i] = wl * da * w[2 * _L + i]
        w[26 * _L + i] = -wr * db * w[6 * _L + i]
        w[27 * _L + i] = wl_l * (hl - hr) + wl * da * w[3 * _L + i]
        w[28 * _L + i] = wl_r * (hl - hr) - wr * db * w[7 * _L + i]
        kl = w[11 * _L + i]
        kr = w[12 * _L + i]
        w[29 * _L + i] = a + b
        w[30 * _L + i] = kl * a + kr * b
        w[31 * _L + i] = kl * da
        w[32 * _L + i] = kr * db
        w[33 * _L + i] = da
        w[34 * _L + i] = db


@inline
def mouth_block(w: Any, n: int) -> None:
    """A mouth that draws from a plenum stream or feeds it.

    in rows: 20..34 of `crossflow_block`, 0 p1 (difference) 1 h1 2 dh1/dp 3 dh1/dm at the mouth's
    throat, 4 m (positive out of the plenum), 5 k_ww 6 k_vv 7 k_exit (share of its head that a
    stream entering the plenum loses), 8 a0 9 a1 10 q1 11 a2 of the factor F(q),
    12 c/(A A1) 13 reference pressure 14 smoothing flow
    out rows: 36 residual (Pa), 37 d/dp1, 38 d/dm, 39 d/dpL, 40 d/dpR, 41 d/dmL, 42 d/dmR

    Drawing: p0(mouth) = p + h_cross - F (k_ww h_cross + k_wv W v rho/2 + k_vv h1);
    feeding: p0(mouth) = p + (1 - a0 k_ww) h_cross + k_exit h1.
    """
    for i in range(_L):
        m = w[4 * _L + i]
        h1 = w[_L + i]
        h1p = w[2 * _L + i]
        h1m = w[3 * _L + i]
        p1 = w[i]
        pref = w[13 * _L + i]
        out = m > 0.0
        mp = m if out else 0.0
        dmp = 1.0 if out else 0.0
        k_ww = w[5 * _L + i]
        k_vv = w[6 * _L + i]
        hx = w[24 * _L + i]
        inflow = w[29 * _L + i]
        safe = 1.0 / (inflow + w[14 * _L + i])
        a1 = w[9 * _L + i]
        q = mp * safe
        low = q < w[10 * _L + i]
        f = w[8 * _L + i] + a1 * q if low else w[11 * _L + i]
        fq = a1 if low else 0.0
        group = 0.5 * GAMMA * w[12 * _L + i] / (pref + p1)
        stream = w[30 * _L + i]
        cross = group * stream * mp
        # the throat is sonic at most, as the ends of `duct_block`
        own = (pref + p1) / SONIC - pref - (p1 + h1)
        over = own < 0.0
        ext = over & (not out)
        t_1 = (pref + p1) / SONIC - pref if ext else p1 + h1
        t_1p = 1.0 / SONIC if ext else 1.0 + h1p
        t_1m = 0.0 if ext else h1m
        h_1 = (1.0 - SONIC) * (pref + t_1) if over else h1
        h_1p = (1.0 - SONIC) * t_1p if over else h1p
        h_1m = (1.0 - SONIC) * t_1m if over else h1m
        loss = k_ww * hx + cross + (k_vv * h_1 if out else 0.0)
        kh = k_vv * f if out else -w[7 * _L + i]
        lost = f * loss if out else w[8 * _L + i] * k_ww * hx - w[7 * _L + i] * h_1
        fx = f if out else w[8 * _L + i]
        # residual: p1 + h1 - (p + hx - lost); feeding, the stream is sonic at most in the throat
        r = t_1 - w[20 * _L + i] - hx + lost
        choked = (not out) & (own < r)
        w[36 * _L + i] = own if choked else r
        w[37 * _L + i] = (
            1.0 / SONIC - 1.0 - h1p if choked else t_1p + kh * h_1p - f * cross / (pref + p1)
        )
        w[38 * _L + i] = -h1m if choked else (
            t_1m + kh * h_1m + f * group * stream * dmp + fq * loss * safe * dmp
        )
        face = -(1.0 - fx * k_ww)
        fall = -fq * loss * q * safe if out else 0.0
        on = 0.0 if choked else 1.0
        w[39 * _L + i] = on * (-w[23 * _L + i] + face * w[25 * _L + i]) - (WEAK - WEAK * on)
        w[40 * _L + i] = on * (-(1.0 - w[23 * _L + i]) + face * w[26 * _L + i])
        w[41 * _L + i] = on * (
            -w[21 * _L + i] + face * w[27 * _L + i] + f * group * mp * w[31 * _L + i]
            + fall * w[33 * _L + i]
        )
        w[42 * _L + i] = on * (
            -w[22 * _L + i] + face * w[28 * _L + i] + f * group * mp * w[32 * _L + i]
            + fall * w[34 * _L + i]
        )


@inline
def nozzle_block(w: Any, n: int) -> None:
    """An isentropic nozzle that discharges into a pool: port and valve, or an open end.

    in rows: 0 pa 1 ha 2 dha/dp 3 dha/dm (approach on side a), 4 pb 5 m 6 Cd A 7 c
    8 smoothing phi, 9 reference pressure, 10 closed below this area, 11 pressure over flow scale
    out rows: 20 residual (Pa), 21 d/dpa, 22 d/dpb, 23 d/dm

    The throat pressure is the downstream pressure until the throat is sonic; then the flow
    follows the upstream total pressure alone (NACA 1135). A closed valve gives m = 0.
    """
    for i in range(_L):
        m = w[5 * _L + i]
        area = w[6 * _L + i]
        c = w[7 * _L + i]
        pref = w[9 * _L + i]
        forward = m >= 0.0
        closed = area < w[10 * _L + i]
        area = 1.0 if closed else area
        p_a = w[i]
        p_b = w[4 * _L + i]
        down = (p_b if forward else p_a) + pref
        small = w[8 * _L + i]
        root_c = math.sqrt(c) / area
        phi = abs(m) * root_c / down
        smooth = math.sqrt(phi * phi + small * small)
        phi2 = phi * smooth
        phi2_d = smooth + phi * phi / smooth
        x, g, slope = stagnation(phi2)
        sonic = x > 0.2
        lin = CHOKE * root_c
        need = abs(m) * lin - pref if sonic else down - pref + down * g
        need_m = lin if sonic else 0.2 * slope * phi2_d * root_c
        need_p = WEAK if sonic else 1.0 + g - 0.2 * slope * phi2_d * phi
        # the approach is sonic at most; beyond, its pressure carries the sonic stream p/SONIC
        ha = w[_L + i]
        hap = w[2 * _L + i]
        ham = w[3 * _L + i]
        full = (p_a + pref) / SONIC - pref
        own = full - (p_a + ha)
        over = own < 0.0
        ta = full if over else p_a + ha
        ta_p = 1.0 / SONIC if over else 1.0 + hap
        ta_m = 0.0 if over else ham
        ra = ta - need
        rb = need - p_b
        narrow = own < ra
        ra = own if narrow else ra
        ra_p = 1.0 / SONIC - 1.0 - hap if narrow else ta_p
        ra_m = -ham if narrow else ta_m - need_m
        r = ra if forward else rb
        da = ra_p if forward else need_p
        db_f = -WEAK if narrow else -need_p
        db = db_f if forward else -1.0
        # need depends on |m|: forward d/dm = -need_m, backward d(need)/dm = -need_m as well
        dm = ra_m if forward else -need_m
        scale = w[11 * _L + i]
        w[20 * _L + i] = m * scale if closed else r
        w[21 * _L + i] = 0.0 if closed else da
        w[22 * _L + i] = 0.0 if closed else db
        w[23 * _L + i] = scale if closed else dm
