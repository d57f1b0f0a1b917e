"""From a graph to arrays: numbering, parameter rows, Jacobian pattern and pivot order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import networkx as nx
import numpy as np
from numpy.typing import ArrayLike, NDArray

from distrib.constants import GAMMA, R_DRY_AIR
from distrib.errors import InputError, Problem
from distrib.network import graph as flow_graph
from distrib.network import rows as element_rows
from distrib.network.numbering import Builder
from distrib.network.tables import Params, Topology

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Network:
    """A compiled network: topology, parameters (rows, B), names of unknowns and equations.

    `x_fixed` holds the pressures of the pools (slots after the unknowns) as differences from the
    reference pressure; `slot` maps node names to pressure slots, `flow` edge names to flows.
    """

    topology: Topology
    params: Params
    unknowns: tuple[str, ...]
    equations: tuple[str, ...]
    slot: dict[str, tuple[int, int]]
    flow: dict[str, int]
    temperature_node: dict[str, int]
    mass_row: dict[str, int]
    nozzle: dict[str, int]
    x_fixed: FloatArray
    pattern: NDArray[np.bool_]
    entries: tuple[tuple[int, int], ...]
    batch: int

    @property
    def n_pressures(self) -> int:
        """Number of unknown pressures; they come first in x, then the flows."""
        return int(self.topology.sizes[1])


def compile_graph(
    graph: nx.MultiDiGraph, *, gas_constant: ArrayLike = R_DRY_AIR
) -> Network:
    """Compile a flow graph into arrays.

    gas_constant of the air, J/(kg K), scalar or (B,). Raises InputError with every reason when the
    graph cannot be solved.
    """
    faults = flow_graph.problems(graph)
    if faults:
        raise InputError([Problem("network", fault, "a connected, sound graph")
                          for fault in faults])
    b = Builder(graph)
    ducts = element_rows.ducts(b)
    stations = element_rows.stations(b)
    mouths = element_rows.mouths(b)
    nozzles = element_rows.nozzles(b)
    jets = _jets(b)
    masses, terms, pointer = _masses(b)
    entries = tuple(b.position)
    n = b.n
    if len(b.equations) != n:
        raise InputError([Problem("network", f"{len(b.equations)} equations for {n} unknowns",
                                  "as many equations as unknowns")])
    batch = _batch(graph, gas_constant)
    pattern = np.zeros((n, n), dtype=bool)
    for i, j in entries:
        pattern[i, j] = True
    temperature = [b.nodes[m].get("temperature_k", np.nan) for m in b.nodes]
    flows = [(b.temperature_node[u], b.temperature_node[v]) for u, v, _ in b.edges]
    flows.append((0, 0))
    top = Topology(
        np.array([n, b.n_p, b.n_f, n + 1 + len(b.fixed), len(entries) + 1, len(masses)]),
        _ints(b.end_rows, 3), _ints(flows, 2), _ints(ducts[0], 7), _ints(stations[0], 7),
        _ints(mouths[0], 10), _ints(jets[0], 5), _ints(nozzles[0], 7),
        np.array(pointer, dtype=np.int64), _ints(terms, 3), np.array(masses, dtype=np.int64),
    )
    fill = _feed_temperature(b, temperature, batch)
    areas = stack(b.areas, batch)
    params = Params(
        areas, 1.0 / areas, stack(ducts[1], batch), stack(ducts[2], batch),
        stack(stations[1], batch), stack(mouths[1], batch), stack(jets[1], batch),
        stack(nozzles[1], batch), fill * np.asarray(gas_constant, dtype=float) / GAMMA,
        np.ones((4, batch)),
    )
    fixed = stack([b.nodes[m]["pressure_pa"] for m in b.fixed], batch)
    return Network(
        top, params, tuple(b.unknowns), tuple(b.equations), b.slot, b.flow,
        b.temperature_node, {m: i for i, m in enumerate(_free(b))}, nozzles[2], fixed, pattern,
        entries, batch,
    )


def stack(values: list[Any], batch: int) -> FloatArray:
    """Scalars or (B,) arrays stacked as (rows, B)."""
    out = np.empty((len(values), batch))
    for i, value in enumerate(values):
        out[i] = value
    return out


def _ints(data: list[Any], width: int) -> IntArray:
    return np.array(data, dtype=np.int64).reshape(-1, width)


def _feed_temperature(b: Builder, values: list[Any], batch: int) -> FloatArray:
    """Temperature (nodes, B); nodes without one take that of the pool of highest pressure."""
    table = stack(values, batch)
    numbers = [b.temperature_node[m] for m in b.fixed]
    pools = stack([b.nodes[m]["pressure_pa"] for m in b.fixed], batch)
    feed = np.array(numbers)[np.argmax(pools, axis=0)]
    return np.where(np.isnan(table), table[feed, np.arange(batch)], table)


def _batch(graph: nx.MultiDiGraph, gas_constant: ArrayLike) -> int:
    shapes = [np.shape(gas_constant)]
    for _, data in graph.nodes(data=True):
        for value in data.values():
            shapes += [np.shape(v) for v in (value if isinstance(value, tuple) else (value,))
                       if not isinstance(v, str)]
    for _, _, data in graph.edges(data=True):
        for value in data.values():
            shapes += [np.shape(v) for v in (value if isinstance(value, tuple) else (value,))
                       if not isinstance(v, str)]
    shapes += [np.shape(jet[2]) for jet in graph.graph["jets"]]
    shape = np.broadcast_shapes(*shapes)
    if len(shape) > 1:
        raise InputError([Problem("network", f"parameters of shape {shape}", "scalars or (B,)")])
    return int(shape[0]) if shape else 1


def _jets(b: Builder) -> tuple[list[Any], list[Any]]:
    index: list[Any] = []
    values: list[Any] = []
    edges = {d["name"]: (u, v, d) for u, v, d in b.edges}
    for mouth, duct, coefficient, end in b.graph.graph["jets"]:
        u, v, d = edges[duct]
        node = v if end == "v" else u
        slot = b.face(node, d[f"face_{end}"])
        k = b.flow[duct]
        e = b.end(slot, k, d[f"area_{end}_m2"])
        row = b.equations.index(f"mouth {mouth}")
        # the duct feeds this end while it flows towards it
        sign = 1 if end == "v" else -1
        index.append((row, e, sign, b.pos(row, slot), b.pos(row, b.mflow(k))))
        values.append(coefficient)
    return index, values


def _free(b: Builder) -> list[str]:
    return [m for m, d in b.nodes.items() if d["kind"] != "reservoir"]


def _masses(b: Builder) -> tuple[list[int], list[Any], list[int]]:
    masses: list[int] = []
    terms: list[Any] = []
    pointer = [0]
    for name in _free(b):
        row = b.row(f"mass balance at {name}")
        for u, v, d in b.edges:
            for node, sign in ((u, -1), (v, 1)):
                if node == name:
                    k = b.flow[d["name"]]
                    terms.append((k, sign, b.pos(row, b.mflow(k))))
        pointer.append(len(terms))
        masses.append(row)
    return masses, terms, pointer
