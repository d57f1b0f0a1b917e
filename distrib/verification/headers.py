"""Dead-end headers as flow networks: the real elements, driven to the limits of closed forms.

The closed forms are incompressible. The limit is reached by raising the absolute pressure to 1 GPa
at the stated density: the Mach number is then below 1e-3 and its square below the digits printed.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from distrib.constants import R_DRY_AIR
from distrib.network.compiled import compile_graph
from distrib.network.graph import OPEN_AREA_M2, FlowGraph
from distrib.network.solve import plan, solve
from distrib.network.start import linear_start, scaled, solve_steady

FloatArray = NDArray[np.float64]
HIGH_PRESSURE_PA = 1e9
DENSITY = 1.2
"""kg/m3"""
DROP_PA = 5000.0
STILL_RUN = (1.0, 0.0, -1.0, 0.0)
"""Run loss of a header whose static pressure does not rise as it gives flow away (regain 0)."""
CAPILLARY_SMOOTHING = 1e-9
"""Smoothing flow around zero for capillaries, whose flow is itself tiny."""

JUMP_NARROW = (1.1, -0.7, 0.4, 0.85)
JUMP_WIDE = (1.0, -0.6, 0.6, 0.6)
"""The factor A'(q) as printed in the handbook's table, which jumps where its pieces meet."""


def family(name: str, psi: float) -> tuple[tuple[float, ...], dict[str, object]]:
    """Run coefficients and mouth keywords of a junction family, as the check rows state them.

    psi: header area over lateral area. "bassett" K5, K6; "idelchik04" A'(1 + (q psi)^2) and
    0.4 (1-q')^2; "rennels" eqs. 16.13, 16.5; "static" 1 + 0.5 (q psi)^2 and no run loss.
    """
    d = psi**-0.5
    runs = {"bassett": (0.5, -1.5, 1.0, 0.0), "idelchik04": (0.4, -0.8, 0.4, 0.0),
            "rennels": (0.36, -0.98, 0.62, 0.03), "static": (0.0, 0.0, 0.0, 0.0)}
    mouths: dict[str, dict[str, object]] = {
        "bassett": {"k_wv_left": -2.0 * math.cos(math.radians(67.5)), "k_vv": 1.0},
        "idelchik04": {"k_vv": 1.0, "factor": JUMP_WIDE if 1.0 / psi > 0.35 else JUMP_NARROW},
        "rennels": {"k_wv_left": -1.13 / psi,
                    "k_vv": 0.81 * d**4 + 1.12 * d - 1.08 * d**3 + 0.57},
        "static": {"k_vv": 0.5},
    }
    return runs[name], mouths[name]


def end_fed(count: int, lateral_m2: float, header_m2: float, *,
            run: tuple[float, ...], mouth: dict[str, object], lateral_k: float = 0.0,
            segment_friction: float = 0.0, pressure_pa: float = HIGH_PRESSURE_PA,
            drop_pa: float = DROP_PA) -> FlowGraph:
    """A header closed at its far end, laterals 0 .. count-1 from the feed, each into the open.

    lateral_k: loss of a lateral on its own head, besides mouth and exit. segment_friction: f L/D of
    one section between laterals, on the head there.
    """
    g = FlowGraph()
    temperature = pressure_pa / (DENSITY * R_DRY_AIR)
    g.reservoir("feed", pressure_pa, temperature)
    g.reservoir("out", pressure_pa - drop_pa, temperature)
    for i in range(count):
        g.station(f"station {i}", header_m2, run)  # type: ignore[arg-type]
        if i == 0:
            g.duct("entry", "feed", "station 0", OPEN_AREA_M2, header_m2, face_v="L")
        else:
            g.duct(f"section {i}", f"station {i - 1}", f"station {i}", header_m2, header_m2,
                   face_u="R", face_v="L", darcy=1.0, friction_u=0.5 * segment_friction,
                   friction_v=0.5 * segment_friction)
        g.joint(f"lateral {i}")
        g.joint(f"end {i}")
        g.mouth(f"mouth {i}", f"station {i}", f"lateral {i}", lateral_m2,
                **mouth)  # type: ignore[arg-type]
        g.duct(f"pipe {i}", f"lateral {i}", f"end {i}", lateral_m2, lateral_m2,
               k_u_forward=lateral_k, k_u_back=lateral_k)
        g.nozzle(f"exit {i}", f"end {i}", "out", lateral_m2, lateral_m2)
    return g


def capillary_ladder(count: int, segment_over_lateral: float) -> FlowGraph:
    """A header and laterals of long capillaries: laminar, so that every one is a linear resistor.

    f = 64/Re of the friction law itself. The laterals have L/D 2e6, so that their velocity heads
    are below 1e-4 of the friction loss; the header's heads drop out as its regain is 0. Reynolds
    numbers stay within 1 to 2000, the laminar range. segment_over_lateral: ratio of resistances.
    """
    g = end_fed(count, 1e-6, 1e-6, run=STILL_RUN, mouth={"k_vv": 0.0})
    for i in range(count):
        _capillary(g, f"lateral {i}", f"end {i}", f"pipe {i}", 1e6, CAPILLARY_RE_PER_FLOW)
        if i > 0:
            # as much wider as it carries more: same Reynolds number, resistance as asked
            _capillary(g, f"station {i - 1}", f"station {i}", f"section {i}",
                       1e6 * segment_over_lateral / count, CAPILLARY_RE_PER_FLOW / count)
    return g


def _capillary(g: FlowGraph, u: str, v: str, name: str, half_length_over_d: float,
               re_per_flow: float) -> None:
    g.graph.edges[u, v, name].update(
        darcy=-1.0, friction_u=half_length_over_d, friction_v=half_length_over_d, rel_rough=0.0,
        re_per_flow=re_per_flow)


CAPILLARY_RE_PER_FLOW = 3e9
"""s/kg; only its place in 64/Re matters, the viscosity that it stands for is ours to choose."""


def lateral_flows(g: FlowGraph, smoothing: float | None = None) -> FloatArray:
    """Flow of each lateral in kg/s, feed end first. Raises ArithmeticError when unsolved."""
    network = scaled(compile_graph(g.graph), g.graph)
    if smoothing is not None:
        scalars = network.params.scalars.copy()
        scalars[3] = smoothing
        network = replace(network, params=network.params._replace(scalars=scalars))
    made = plan(network)
    start = linear_start(network, g.graph)
    found = solve_steady(network, made, start) if smoothing is None else solve(network, made, start)
    if not bool(found.solved.all()):
        raise ArithmeticError(f"header not solved: residual {found.residual}")
    count = sum(name.startswith("exit ") for name in network.flow)
    rows = [network.n_pressures + network.flow[f"exit {i}"] for i in range(count)]
    return np.asarray(found.x[rows, 0])


def relative(flows: FloatArray) -> FloatArray:
    """Flows over their mean."""
    return np.asarray(flows / flows.mean())


def continuous(count: int, regain: float, friction: float, *, zeta: float = 1.5,
               area_ratio: float = 1.0) -> FloatArray:
    """u/u_mean of `count` laterals of a header with static regain and constant friction factor.

    zeta: lateral loss with its exit head, 1 or more. area_ratio: sum of laterals over header.
    friction: K = (f L/D) area_ratio^2/zeta; m^2 = regain area_ratio^2/zeta.
    """
    header = 1e-2
    return relative(lateral_flows(end_fed(
        count, area_ratio * header / count, header, run=(1.0 - regain, 0.0, regain - 1.0, 0.0),
        mouth={"k_vv": 0.0}, lateral_k=zeta - 1.0,
        segment_friction=friction * zeta / area_ratio**2 / count)))


def along(values: FloatArray, x: FloatArray) -> FloatArray:
    """Values at x (0 feed, 1 dead end) of laterals that sit in the middle of equal cells."""
    count = values.size
    at = np.clip(x * count - 0.5, 0.0, count - 1.0)
    low = np.minimum(at.astype(int), count - 2)
    return np.asarray(values[low] + (at - low) * (values[low + 1] - values[low]))


def limit(solve_with: Callable[[int], FloatArray], counts: tuple[int, int, int]) -> FloatArray:
    """Value at infinite count, from three counts in ratio 2, errors a/N + b/N^2 taken out."""
    coarse, middle, fine = (solve_with(n) for n in counts)
    first, second = 2.0 * middle - coarse, 2.0 * fine - middle
    return np.asarray((4.0 * second - first) / 3.0)
