"""Seeded random intakes straight as flow graphs: one topology, all numbers as arrays (B,).

The wild ranges are wider than anything built: pressure ratios from a breath to far beyond choking,
mouths as wide as the plenum, rammed and starved mouths, pools above the charge (flow backwards),
closed valves, throttles nearly shut.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from distrib.network.graph import OPEN_AREA_M2, FlowGraph

Numbers = np.ndarray[Any, np.dtype[np.float64]]
RUNS = {"rennels": (0.36, -0.98, 0.62, 0.03), "bassett": (0.5, -1.5, 1.0, 0.0),
        "idelchik": (0.4, -0.8, 0.4, 0.0), "bernoulli": (0.0, 0.0, 0.0, 0.0)}


@dataclass
class Random:
    """Draws arrays of one batch; `wild` ranges reach beyond anything built."""

    rng: np.random.Generator
    batch: int
    wild: bool = True

    def between(self, low: float, high: float) -> Numbers:
        return self.rng.uniform(low, high, self.batch)

    def log(self, low: float, high: float) -> Numbers:
        return np.exp(self.rng.uniform(np.log(low), np.log(high), self.batch))

    def chance(self, p: float) -> np.ndarray[Any, np.dtype[np.bool_]]:
        return self.rng.uniform(size=self.batch) < p


def gentle(seed: int, batch: int) -> Random:
    """Draws within what is built: a plenum wider than its mouths, pressure ratio up to 1.4."""
    return Random(np.random.default_rng(seed), batch, wild=False)


def plenum(g: FlowGraph, r: Random, prefix: str, count: int, area: Numbers) -> list[str]:
    """Stations of a tapering plenum with sections between them."""
    run = RUNS[list(RUNS)[int(r.rng.integers(4))]]
    names = []
    for i in range(count):
        here = area * (1.0 - 0.4 * r.between(0.0, 1.0) * i / count)
        name = f"{prefix} {i + 1}"
        g.station(name, here, run, gain=r.between(1.5, 2.0), plenum=prefix)
        if names:
            before = g.graph.nodes[names[-1]]["area_m2"]
            g.duct(f"{names[-1]} to {i + 1}", names[-1], name, before, here, face_u="R",
                   face_v="L", **wall(r, 0.02, 0.6), k_u_forward=r.between(0.0, 0.1),
                   k_u_back=r.between(0.0, 0.3))
        names.append(name)
    return names


def wall(r: Random, low: float, high: float) -> dict[str, Any]:
    """Wall friction of `low` to `high` diameters at either end."""
    return {"friction_u": r.between(low, high), "friction_v": r.between(low, high),
            "rel_rough": r.log(1e-6, 1e-2), "re_per_flow": r.log(3e5, 3e6), "darcy": -1.0}


def runner(g: FlowGraph, r: Random, station: str, number: int, feed: Numbers,
           depression: Numbers) -> None:
    """Mouth, runner and nozzle into a pool of its own; some closed, some blowing back."""
    area = r.log(3e-4, 3e-3) if r.wild else r.between(8e-4, 2e-3)
    psi = g.graph.nodes[station]["area_m2"] / area
    mouth, end = f"runner {number} mouth", f"port {number}"
    g.joint(mouth)
    g.joint(end)
    kind = int(r.rng.integers(3))
    branch: dict[str, Any] = (
        {"k_ww": 1.0, "k_wv_left": r.between(-1.8, 0.0), "k_wv_right": r.between(-1.8, 0.0),
         "k_vv": r.between(0.9, 1.1)},
        {"k_ww": r.between(0.8, 1.2), "k_wv_left": -1.13 / psi, "k_wv_right": -1.13 / psi,
         "k_vv": r.between(0.03, 0.8)},
        {"k_ww": 1.0, "k_vv": 1.0, "factor": (1.1, -0.7, 0.25 / 0.7, 0.85)},
    )[kind]
    g.mouth(mouth, station, mouth, area, **branch)
    taper = r.between(0.6, 1.2)
    g.duct(f"runner {number}", mouth, end, area, area * taper, k_u_forward=r.between(0.0, 1.0),
           k_v_forward=r.between(0.0, 1.0), k_u_back=r.between(0.0, 1.0),
           k_v_back=r.between(0.0, 1.0), **wall(r, 1.0, 10.0))
    own = depression * r.between(0.7, 1.3) * np.where(r.chance(0.05 * r.wild), -0.5, 1.0)
    g.reservoir(f"pool {number}", np.maximum(feed - own, 0.02 * feed), 300.0)
    open_area = area * taper * r.between(0.05, 1.0)
    g.nozzle(f"valve {number}", end, f"pool {number}", area * taper,
             np.where(r.chance(0.1), 0.0, open_area))


def entry(g: FlowGraph, r: Random, name: str, stations: list[str], kind: str,
          mouths: list[str], area: Numbers) -> None:
    """A pipe with a throttle from the charge, along the plenum or across it, with jets."""
    joint = f"{name} end"
    pipe = area * (r.between(0.2, 1.0) if r.wild else r.between(0.4, 1.0))
    throttle = np.where(r.chance(0.5 * r.wild), pipe * r.log(0.02, 0.9), OPEN_AREA_M2)
    g.joint(joint)
    g.duct(name, "charge", joint, OPEN_AREA_M2, pipe, k_v_forward=r.log(0.05, 30.0),
           k_v_back=r.log(1.0, 30.0), choke_m2=throttle, **wall(r, 0.0, 3.0))
    if kind == "left":
        g.duct(f"{name} dump", joint, stations[0], pipe,
               g.graph.nodes[stations[0]]["area_m2"], k_u_forward=r.between(0.0, 1.0), face_v="L")
    elif kind == "right":
        g.duct(f"{name} dump", stations[-1], joint, g.graph.nodes[stations[-1]]["area_m2"], pipe,
               k_v_back=r.between(0.0, 1.0), face_u="R")
    else:
        middle = stations[len(stations) // 2]
        g.mouth(f"{name} inflow", middle, joint, pipe, k_vv=0.5, k_exit=1.0)
    for mouth in mouths:
        g.jet(mouth, name, r.between(-0.3, 0.5))


def make(r: Random, runners: int, entries: tuple[str, ...], plenums: int = 1,
         tubes: int = 0) -> FlowGraph:
    """An intake of `plenums` equal plenums; entries go to each of them in turn."""
    g = FlowGraph()
    feed = r.between(0.8e5, 3.5e5)
    g.reservoir("charge", feed, r.between(260.0, 380.0))
    depression = feed * (r.log(1e-4, 0.9) if r.wild else r.log(1e-3, 0.3))
    rows = []
    each = runners // plenums
    for p in range(plenums):
        area = r.log(1e-3, 1.5e-2) if r.wild else r.between(3e-3, 9e-3)
        stations = plenum(g, r, f"plenum {p + 1}", each + (entries[0] == "center"), area)
        own = [s for i, s in enumerate(stations)
               if entries[0] != "center" or i != len(stations) // 2]
        for i, station in enumerate(own):
            runner(g, r, station, p * each + i + 1, feed, depression)
        rows.append((stations, area, [f"runner {p * each + i + 1} mouth" for i in range(each)]))
    for number, kind in enumerate(entries):
        stations, area, mouths = rows[number % plenums]
        entry(g, r, f"entry {number + 1}", stations, kind, mouths, area)
    for t in range(tubes):
        ends = [f"tube {t + 1} {side}" for side in "ab"]
        size = r.log(1e-4, 3e-3)
        for end, (stations, _, _) in zip(ends, rows, strict=True):
            g.joint(end)
            g.mouth(f"{end} mouth", stations[t], end, size, k_vv=0.5)
        g.duct(f"tube {t + 1}", *ends, size, size, **wall(r, 1.0, 10.0))
    return g


TOPOLOGIES: dict[str, Callable[[Random], FlowGraph]] = {
    "three, left": lambda r: make(r, 3, ("left",)),
    "four, left": lambda r: make(r, 4, ("left",)),
    "four, right": lambda r: make(r, 4, ("right",)),
    "four, center": lambda r: make(r, 4, ("center",)),
    "five, center": lambda r: make(r, 5, ("center",)),
    "six, left": lambda r: make(r, 6, ("left",)),
    "six, both ends": lambda r: make(r, 6, ("left", "right")),
    "six, two plenums": lambda r: make(r, 6, ("left", "right"), plenums=2),
    "six, two plenums and tube": lambda r: make(r, 6, ("left", "left"), plenums=2, tubes=1),
    "eight, two plenums, one fed through tubes": lambda r: make(
        r, 8, ("left",), plenums=2, tubes=2),
}
