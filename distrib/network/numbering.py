"""Numbering of a flow graph: unknowns, ends, equations and Jacobian entries."""

from __future__ import annotations

import networkx as nx
import numpy as np
from numpy.typing import ArrayLike

from distrib.errors import InputError, Problem


class Builder:
    """Collects rows while walking the graph; one use."""

    def __init__(self, graph: nx.MultiDiGraph) -> None:
        self.graph = graph
        self.unknowns: list[str] = []
        self.slot: dict[str, tuple[int, int]] = {}
        self.temperature_node = {str(n): i for i, n in enumerate(graph.nodes)}
        self.nodes = dict(graph.nodes(data=True))
        self.edges = [(u, v, d) for u, v, d in graph.edges(data=True)]
        self.flow = {d["name"]: k for k, (_, _, d) in enumerate(self.edges)}
        self._pressures()
        self.n_p = len(self.unknowns)
        self.n_f = len(self.edges)
        self.unknowns += [f"flow of {d['name']}" for _, _, d in self.edges]
        self.n = self.n_p + self.n_f
        self._fixed()
        self.ends: dict[tuple[int, int, bytes], int] = {}
        self.end_rows: list[tuple[int, int, int]] = []
        self.areas: list[ArrayLike] = []
        self.position: dict[tuple[int, int], int] = {}
        self.equations: list[str] = []

    def _pressures(self) -> None:
        for name, data in self.nodes.items():
            if data["kind"] == "station":
                self.slot[name] = (len(self.unknowns), len(self.unknowns) + 1)
                self.unknowns += [f"pressure left of {name}", f"pressure right of {name}"]
            elif data["kind"] == "joint":
                self.slot[name] = (len(self.unknowns),) * 2
                self.unknowns.append(f"pressure at {name}")

    def _fixed(self) -> None:
        self.fixed = [n for n, d in self.nodes.items() if d["kind"] == "reservoir"]
        # flows of x sit in slots n_p.. n_p + n_f, then the dead flow, then the pools
        for i, name in enumerate(self.fixed):
            self.slot[name] = (self.n + 1 + i,) * 2

    @property
    def dead(self) -> int:
        """Flow number whose slot is always zero: the end wall of a plenum."""
        return self.n_f

    def end(self, slot: int, flow: int, area: ArrayLike) -> int:
        """Number of the end (pressure slot, flow, area); equal ends are shared."""
        key = (slot, flow, np.asarray(area, dtype=float).tobytes())
        if key not in self.ends:
            self.ends[key] = len(self.end_rows)
            self.end_rows.append((slot, flow, len(self.areas)))
            self.areas.append(area)
        return self.ends[key]

    def row(self, equation: str) -> int:
        self.equations.append(equation)
        return len(self.equations) - 1

    def pos(self, row: int, slot: int) -> int:
        """Temporary number of the Jacobian entry; -1 for a slot that is not unknown."""
        if slot >= self.n:
            return -1
        return self.position.setdefault((row, slot), len(self.position))

    def face(self, node: str, face: str) -> int:
        """Pressure slot of a node, or of the given face of a station."""
        left, right = self.slot[node]
        return right if face == "R" else left

    def mflow(self, k: int) -> int:
        """Slot of flow k; the dead flow lies at n."""
        return self.n_p + k


def faces(b: Builder, node: str) -> tuple[tuple[int, int], tuple[int, int]]:
    """Flows at the left and the right face of a station, each (flow, sign to the right)."""
    found: dict[str, tuple[int, int]] = {}
    for u, v, d in b.edges:
        if d["kind"] != "duct":
            continue
        k = b.flow[d["name"]]
        if v == node and d["face_v"]:
            sign = 1 if d["face_v"] == "L" else -1
            found[d["face_v"]] = (k, sign)
        if u == node and d["face_u"]:
            sign = 1 if d["face_u"] == "R" else -1
            found[d["face_u"]] = (k, sign)
    for side, (_, sign) in found.items():
        if sign != 1:
            raise InputError([Problem(
                f"plenum station {node}", f"a duct against the axis at face {side}",
                "ducts along the plenum run from left to right", code="graph")])
    return found.get("L", (b.dead, 1)), found.get("R", (b.dead, 1))
