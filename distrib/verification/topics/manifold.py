"""Dead-end headers: closed forms, exact ladders, and junction families in one network."""

from __future__ import annotations

import math
from functools import partial

import numpy as np

from distrib.verification import headers
from distrib.verification.headers import FloatArray
from distrib.verification.published import Published

MOMENTUM = ("header momentum equation 2 w'w'' + 2 m^2 w w' + K w^2 = 0 (Bajura and Acrivos form, "
            "from memory), closed form, evaluated outside the project")
NUMERICAL = "header momentum equation, boundary-value solution at 1e-11 made outside the project"
LADDER = "exact ladder recursion, closed form, evaluated outside the project"
NETWORK = "incompressible header network marched exactly outside the project"
COUNTS = (8, 16, 32)
LIMIT = ("six digits kept outside; limit of 8, 16, 32 laterals with errors a/N + b/N^2 taken out "
         "leaves c/N^3")
ENDS = np.array([0.0, 1.0])
QUARTERS = np.linspace(0.0, 1.0, 5)

FRICTION_FREE = {  # regain, sum of lateral over header area, lateral zeta: u(0), u(1) over mean
    (1.0, 1.0, 1.0): (0.642093, 1.1884), (1.0, 1.0, 2.5): (0.86297, 1.06991),
    (0.8, 1.0, 1.5): (0.815562, 1.09475), (1.0, 0.6, 1.5): (0.91869, 1.04115)}
FRICTION = {0.5: (1.0599, 0.979817), 1.0: (1.11522, 0.960822), 5.0: (1.45656, 0.838797)}
COMBINED = {(0.5, 0.5): (0.898312, 0.955661, 1.00949, 1.04898, 1.06418),
            (0.4, 1.0): (0.993527, 0.983174, 0.995255, 1.01461, 1.02472)}
LAMINAR = {0.5: (1.08198, 0.959517), 1.0: (1.31304, 0.850918)}
QUADRATIC = {(4, 0.01): (1.04298, 1.00018, 0.980853, 0.975985),
             (4, 0.05): (1.18424, 1.00299, 0.917438, 0.895328),
             (8, 0.005): (1.20576, 1.10592, 1.03018, 0.976104, 0.94074, 0.920553, 0.911506,
                          0.909236)}
# laterals, header diameter in mm (laterals 40 mm, K 0.6, 5 kPa): flow/mean, total kg/s
NETWORKS: dict[tuple[int, int], dict[str, tuple[float, ...]]] = {
    (4, 60): {
        "bassett": (0.648671, 0.966392, 1.15989, 1.22505, 0.299864),
        "idelchik04": (0.663457, 0.924065, 1.14218, 1.2703, 0.277171),
        "rennels": (0.70477, 0.9567, 1.12993, 1.2086, 0.278805),
        "static": (0.625174, 0.908032, 1.15042, 1.31638, 0.275962)},
    (4, 80): {
        "bassett": (0.931552, 1.0009, 1.03419, 1.03337, 0.345274),
        "idelchik04": (0.891316, 0.987294, 1.04624, 1.07515, 0.319772),
        "rennels": (0.911778, 0.988401, 1.03872, 1.0611, 0.321034),
        "static": (0.875196, 0.975475, 1.05103, 1.0983, 0.340928)},
    (6, 80): {
        "bassett": (0.739244, 0.899138, 1.01577, 1.09138, 1.12768, 1.12679, 0.491655),
        "idelchik04": (0.721554, 0.861212, 0.984288, 1.09028, 1.15537, 1.1873, 0.432469),
        "rennels": (0.754138, 0.884845, 0.99407, 1.07761, 1.13247, 1.15686, 0.44564),
        "static": (0.690918, 0.842566, 0.977269, 1.08924, 1.17361, 1.22639, 0.457978)},
    (8, 100): {
        "bassett": (0.821824, 0.905825, 0.972324, 1.02217, 1.05604, 1.0746, 1.07854, 1.06867,
                    0.684382),
        "idelchik04": (0.782786, 0.861256, 0.932222, 0.995431, 1.05136, 1.10245, 1.13087, 1.14362,
                       0.605996),
        "rennels": (0.807565, 0.881818, 0.947818, 1.00429, 1.05016, 1.08459, 1.10694, 1.11682,
                    0.622737),
        "static": (0.762031, 0.84985, 0.9292, 0.998803, 1.05754, 1.10442, 1.13864, 1.15952,
                   0.651434)},
    (2, 80): {
        "bassett": (1.0004, 0.999604, 0.175206), "idelchik04": (0.986368, 1.01363, 0.17087),
        "rennels": (0.989346, 1.01065, 0.167558), "static": (0.978009, 1.02199, 0.183192)},
}


def friction_free(regain: float, area_ratio: float, zeta: float) -> FloatArray:
    """u/u_mean at feed and dead end of a friction-free header, limit of many laterals."""
    return headers.limit(lambda n: headers.along(headers.continuous(
        n, regain, 0.0, zeta=zeta, area_ratio=area_ratio), ENDS), COUNTS)


def friction_only(k: float) -> FloatArray:
    """u/u_mean at feed and dead end of a header with friction and no regain, limit."""
    return headers.limit(lambda n: headers.along(headers.continuous(n, 0.0, k), ENDS), COUNTS)


def combined(m2: float, k: float) -> FloatArray:
    """u/u_mean at the quarters of a header with regain 1.5 m^2 and friction, limit."""
    return headers.limit(lambda n: headers.along(headers.continuous(n, 1.5 * m2, k), QUARTERS),
                         COUNTS)


def laminar(m: float) -> FloatArray:
    """u/u_mean at both ends of a header of capillaries, limit; m^2 = N R_header/R_lateral."""
    return headers.limit(lambda n: headers.along(headers.relative(headers.lateral_flows(
        headers.capillary_ladder(n, m * m / n**2), headers.CAPILLARY_SMOOTHING)), ENDS), COUNTS)


def fibonacci() -> FloatArray:
    """Flows of five equal capillary rungs over the last one, dead end first."""
    flows = headers.lateral_flows(headers.capillary_ladder(5, 1.0), headers.CAPILLARY_SMOOTHING)
    return np.asarray(flows[::-1] / flows[-1])


def quadratic(count: int, k: float) -> FloatArray:
    """Flow/mean of laterals dp = q^2 on a header of sections dp = k Q^2 without regain."""
    lateral, header, zeta = 1e-3, 1e-2, 1.5
    g = headers.end_fed(count, lateral, header, run=headers.STILL_RUN, mouth={"k_vv": 0.0},
                        lateral_k=zeta - 1.0,
                        segment_friction=k * zeta * (header / lateral) ** 2)
    return headers.relative(headers.lateral_flows(g))


def junction_network(count: int, header_mm: float, family: str) -> FloatArray:
    """Flow/mean of the laterals and total flow (kg/s) of an end-fed header of a junction family."""
    psi = (header_mm / 40.0) ** 2
    run, mouth = headers.family(family, psi)
    area = 0.25 * math.pi * 0.04**2
    flows = headers.lateral_flows(headers.end_fed(count, area, area * psi, run=run, mouth=mouth,
                                                  lateral_k=0.6))
    return np.append(headers.relative(flows), flows.sum())


CHECKS = (
    *(Published(f"manifold.friction-free.{r:g}.{a:g}.{z:g}", MOMENTUM, "no friction: u(0) = m cot "
                f"m, u(1) = m/sin m; regain {r:g}, area ratio {a:g}, lateral loss {z:g}", printed,
                LIMIT, partial(friction_free, r, a, z), "manifold", "closed form", rtol=5e-5)
      for (r, a, z), printed in FRICTION_FREE.items()),
    *(Published(f"manifold.friction.{k:g}", MOMENTUM, f"no regain, K {k:g}: u at feed and dead end "
                "by the hypergeometric function", printed, LIMIT, partial(friction_only, k),
                "manifold", "closed form", rtol=5e-5) for k, printed in FRICTION.items()),
    *(Published(f"manifold.combined.{m2:g}.{k:g}", NUMERICAL, f"m^2 {m2:g}, K {k:g}: u at x/L 0, "
                "0.25, 0.5, 0.75, 1", printed, LIMIT, partial(combined, m2, k), "manifold",
                "computed outside", rtol=5e-5) for (m2, k), printed in COMBINED.items()),
    *(Published(f"manifold.laminar.{m:g}", "cosh law of a linear header, closed form, evaluated "
                "outside the project", f"m {m:g}: u at feed and dead end", printed, LIMIT,
                partial(laminar, m), "manifold", "closed form", rtol=5e-5)
      for m, printed in LAMINAR.items()),
    Published("manifold.fibonacci", LADDER, "five equal linear rungs: odd Fibonacci numbers, dead "
              "end first", (1.0, 2.0, 5.0, 13.0, 34.0), "velocity heads of the capillaries are "
              "7e-6 of their friction, summed over the rungs", fibonacci, "manifold", "closed form",
              rtol=3e-5),
    *(Published(f"manifold.quadratic.{n}.{k:g}", LADDER, f"{n} laterals dp = q^2, sections dp = "
                f"{k:g} Q^2, flow/mean from the feed", printed, "six digits kept outside",
                partial(quadratic, n, k), "manifold", "closed form", rtol=5e-6)
      for (n, k), printed in QUADRATIC.items()),
    *(Published(f"manifold.network.{n}.{d}.{name}", NETWORK, f"{n} laterals of 40 mm on {d} mm, "
                f"family {name}: flow/mean from the feed, total kg/s", printed, "six digits kept "
                "outside; 5 kPa on 1 GPa leaves density changes of 5e-6", partial(
                    junction_network, n, float(d), name), "manifold", "computed outside", rtol=1e-5)
      for (n, d), table in NETWORKS.items() for name, printed in table.items()),
)
