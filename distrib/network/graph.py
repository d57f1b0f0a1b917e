"""The graph of a flow network: what its nodes and edges mean, and checks before it is compiled.

Nodes (`kind`):
- ``reservoir``: fixed total pressure `pressure_pa` and temperature `temperature_k`;
- ``joint``: where pipes meet; one static pressure;
- ``station``: a cross-section of a plenum with a left and a right face; `area_m2`, run-loss
  coefficients `run` (c0, c1, c2, c8), `gain`.

Edges (`kind`, one directed edge each, named `name`):
- ``duct``: from u to v, `area_u_m2`, `area_v_m2`, loss coefficients `k_u_forward`,
  `k_v_forward`, `k_u_back`, `k_v_back` on the heads of either end, `friction_u`, `friction_v`
  (L/2D at either end), `rel_rough`, `re_per_flow` (Reynolds number over mass flow, s/kg),
  `darcy` (fixed factor, or negative for the friction law), `choke_m2` (narrowest Cd A);
  at a station, `face_u` / `face_v` says "L" or "R";
- ``mouth``: from a station u to a joint v, `area_v_m2` and the coefficients of
  `distrib.network.lanes.mouth_block`;
- ``nozzle``: from a joint u to a pool v, `area_u_m2`, `cd_area_m2`;
Jets are listed on the graph: `graph.graph["jets"]`, each (mouth edge name, duct edge name,
coefficient): the head of that duct's far end raises the pressure that the mouth sees.
All numbers may be scalars or arrays over the batch.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import networkx as nx
import numpy as np
from numpy.typing import ArrayLike

NODE_KINDS = ("reservoir", "joint", "station")
EDGE_KINDS = ("duct", "mouth", "nozzle")
OPEN_AREA_M2 = 1e3
"""Area of a reservoir seen by a duct: large enough that its head vanishes."""


@dataclass
class FlowGraph:
    """A thin builder around a networkx multigraph with keyed edges, so that names survive."""

    graph: nx.MultiDiGraph = field(default_factory=nx.MultiDiGraph)

    def __post_init__(self) -> None:
        self.graph.graph.setdefault("jets", [])

    def reservoir(self, name: str, pressure_pa: ArrayLike, temperature_k: ArrayLike) -> None:
        """A node of fixed total pressure and temperature."""
        self.graph.add_node(
            name, kind="reservoir", pressure_pa=pressure_pa, temperature_k=temperature_k
        )

    def joint(self, name: str) -> None:
        """A node where pipes meet."""
        self.graph.add_node(name, kind="joint")

    def station(
        self,
        name: str,
        area_m2: ArrayLike,
        run: tuple[ArrayLike, ArrayLike, ArrayLike, ArrayLike],
        gain: ArrayLike = 2.0,
        **more: object,
    ) -> None:
        """A section of a plenum; `run` are the coefficients of the run loss."""
        self.graph.add_node(
            name, kind="station", area_m2=area_m2, run=run, gain=gain, **more
        )

    def duct(
        self,
        name: str,
        u: str,
        v: str,
        area_u_m2: ArrayLike,
        area_v_m2: ArrayLike,
        *,
        k_u_forward: ArrayLike = 0.0,
        k_v_forward: ArrayLike = 0.0,
        k_u_back: ArrayLike = 0.0,
        k_v_back: ArrayLike = 0.0,
        friction_u: ArrayLike = 0.0,
        friction_v: ArrayLike = 0.0,
        rel_rough: ArrayLike = 0.0,
        re_per_flow: ArrayLike = 0.0,
        darcy: ArrayLike = 0.0,
        choke_m2: ArrayLike = OPEN_AREA_M2,
        face_u: str = "",
        face_v: str = "",
        **more: object,
    ) -> None:
        """A duct with losses; see the module text."""
        self.graph.add_edge(
            u, v, key=name, name=name, kind="duct", area_u_m2=area_u_m2, area_v_m2=area_v_m2,
            k_u_forward=k_u_forward, k_v_forward=k_v_forward, k_u_back=k_u_back,
            k_v_back=k_v_back, friction_u=friction_u, friction_v=friction_v,
            rel_rough=rel_rough, re_per_flow=re_per_flow, darcy=darcy, choke_m2=choke_m2,
            face_u=face_u, face_v=face_v, **more,
        )

    def mouth(
        self,
        name: str,
        u: str,
        v: str,
        area_v_m2: ArrayLike,
        *,
        k_ww: ArrayLike = 1.0,
        k_wv_left: ArrayLike = 0.0,
        k_wv_right: ArrayLike = 0.0,
        k_vv: ArrayLike = 0.5,
        k_exit: ArrayLike = 1.0,
        factor: tuple[ArrayLike, ArrayLike, ArrayLike, ArrayLike] = (1.0, 0.0, 2.0, 1.0),
        **more: object,
    ) -> None:
        """A mouth in the wall of station u that leads to joint v."""
        self.graph.add_edge(
            u, v, key=name, name=name, kind="mouth", area_v_m2=area_v_m2, k_ww=k_ww,
            k_wv_left=k_wv_left, k_wv_right=k_wv_right, k_vv=k_vv, k_exit=k_exit,
            factor=factor, **more,
        )

    def nozzle(
        self, name: str, u: str, v: str, area_u_m2: ArrayLike, cd_area_m2: ArrayLike,
        **more: object,
    ) -> None:
        """An isentropic nozzle of effective area Cd A from joint u into pool v."""
        self.graph.add_edge(
            u, v, key=name, name=name, kind="nozzle", area_u_m2=area_u_m2,
            cd_area_m2=cd_area_m2, **more,
        )

    def jet(self, mouth: str, duct: str, coefficient: ArrayLike, end: str = "v") -> None:
        """Let the head at an end of `duct` act on what `mouth` sees, while the duct feeds it."""
        self.graph.graph["jets"].append((mouth, duct, coefficient, end))


def problems(graph: nx.MultiDiGraph) -> list[str]:
    """What makes a graph unsolvable, in words; empty when it is sound."""
    out: list[str] = []
    for name, data in graph.nodes(data=True):
        if data.get("kind") not in NODE_KINDS:
            out.append(f"node {name}: unknown kind {data.get('kind')!r}")
    names: set[str] = set()
    for u, v, data in graph.edges(data=True):
        name = data["name"]
        if name in names:
            out.append(f"edge {name}: the name is used twice")
        names.add(name)
        if data["kind"] not in EDGE_KINDS:
            out.append(f"edge {name}: unknown kind {data['kind']!r}")
        if data["kind"] == "mouth" and graph.nodes[u].get("kind") != "station":
            out.append(f"mouth {name}: starts at {u}, which is not a plenum station")
        for key in ("area_u_m2", "area_v_m2", "cd_area_m2"):
            if key in data and not np.all(np.asarray(data[key]) >= 0.0):
                out.append(f"edge {name}: {key} must not be negative")
        del v
    plain = nx.Graph(graph)
    fixed = [n for n, d in graph.nodes(data=True) if d.get("kind") == "reservoir"]
    reached: set[str] = set()
    for node in fixed:
        reached |= nx.node_connected_component(plain, node)
    for node in sorted(set(graph.nodes) - reached, key=str):
        out.append(f"node {node}: no path to any reservoir")
    return out
