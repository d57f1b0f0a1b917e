"""What must hold in every network: mass, batch = single, similarity, symmetry, energy."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from random_nets import TOPOLOGIES, gentle

from distrib.network.compiled import Network, compile_graph
from distrib.network.graph import OPEN_AREA_M2, FlowGraph
from distrib.network.solve import Plan, Solution, plan, solve
from distrib.network.start import linear_start, scaled, solve_steady

MASS = 1e-10
"""Of the inflow: the requirement; the solver stops at 1e-12 of its flow scale."""
SAME = 1e-12
"""Relative: a batch runs the same arithmetic as single solves; only its start may differ."""
SHARES = 1e-10
"""Of a share: the requirement for symmetric designs."""


def solved(flow: FlowGraph) -> tuple[Network, Plan, Solution]:
    network = scaled(compile_graph(flow.graph), flow.graph)
    made = plan(network, valves_close=True)
    return network, made, solve_steady(network, made, linear_start(network, flow.graph))


def flow_of(network: Network, found: Solution, name: str) -> Any:
    return found.x[network.n_pressures + network.flow[name]]


@pytest.mark.parametrize("name", list(TOPOLOGIES))
def test_mass_of_every_node(name: str) -> None:
    flow = TOPOLOGIES[name](gentle(1, 200))
    network, _, found = solved(flow)
    inflow = sum(np.maximum(s * flow_of(network, found, d["name"]), 0.0)
                 for u, v, d in flow.graph.edges(data=True)
                 for node, s in ((u, 1.0), (v, -1.0))
                 if flow.graph.nodes[node]["kind"] == "reservoir")
    for node, data in flow.graph.nodes(data=True):
        if data["kind"] == "reservoir":
            continue
        balance = sum(flow_of(network, found, d["name"])
                      for _, _, d in flow.graph.in_edges(node, data=True)) - sum(
            flow_of(network, found, d["name"])
            for _, _, d in flow.graph.out_edges(node, data=True))
        assert np.all(np.abs(balance) <= MASS * inflow), node


def test_batch_equals_single_solves() -> None:
    """From the same start; each case on its own, in batches of odd sizes, on two threads."""
    flow = TOPOLOGIES["six, left"](gentle(2, 37))
    network = scaled(compile_graph(flow.graph), flow.graph)
    made = plan(network)
    start = linear_start(network, flow.graph)
    together = solve(network, made, start, threads=2)
    for k in range(37):
        single = replace(
            network, batch=1, x_fixed=network.x_fixed[:, k:k + 1],
            params=type(network.params)(*(np.ascontiguousarray(t[:, k:k + 1])
                                          for t in network.params)))
        alone = solve(single, made, start[:, k:k + 1])
        np.testing.assert_allclose(alone.x[:, 0], together.x[:, k], rtol=SAME, atol=0.0)
        assert alone.iterations[0] == together.iterations[k]


@pytest.mark.parametrize("name", ["four, left", "five, center", "six, two plenums and tube"])
def test_boost_alone_does_not_change_the_shares(name: str) -> None:
    """Every pressure times 2.7 with coefficients held: equal Mach numbers, flows times 2.7."""
    factor = 2.7
    shares = []
    for scale in (1.0, factor):
        flow = TOPOLOGIES[name](gentle(3, 50))
        for _, data in flow.graph.nodes(data=True):
            if data["kind"] == "reservoir":
                data["pressure_pa"] = data["pressure_pa"] * scale
        for _, _, data in flow.graph.edges(data=True):
            if data["kind"] == "duct":
                data["darcy"] = 0.02  # the Reynolds number must not act
        network, _, found = solved(flow)
        names = [n for n in network.flow if n.startswith("valve")]
        shares.append(np.array([flow_of(network, found, n) for n in names]) / scale)
    # 1e-9: both solves stop at 1e-12 of their own scales
    smallest = 1e-12 * np.abs(shares[0]).max()
    np.testing.assert_allclose(shares[1], shares[0], rtol=1e-9, atol=smallest)


def mirrored_pair(k_left: float) -> FlowGraph:
    """Two equal mouths to the left and right of a center entry."""
    g = FlowGraph()
    g.reservoir("charge", 1e5, 300.0)
    g.joint("entry end")
    g.duct("entry", "charge", "entry end", OPEN_AREA_M2, 2e-3, k_v_forward=0.5)
    for i in range(5):
        g.station(f"s {i}", 4e-3, (0.36, -0.98, 0.62, 0.03))
        if i:
            g.duct(f"section {i}", f"s {i - 1}", f"s {i}", 4e-3, 4e-3, face_u="R", face_v="L",
                   friction_u=0.3, friction_v=0.3, rel_rough=1e-4, re_per_flow=1e6, darcy=-1.0)
    g.mouth("inflow", "s 2", "entry end", 2e-3)
    for i in (0, 1, 3, 4):
        g.joint(f"m {i}")
        g.mouth(f"mouth {i}", f"s {i}", f"m {i}", 1.2e-3, k_wv_left=k_left, k_wv_right=k_left)
        g.reservoir(f"pool {i}", 0.93e5, 300.0)
        g.nozzle(f"valve {i}", f"m {i}", f"pool {i}", 1.2e-3, 0.9e-3)
    return g


def test_symmetric_design_has_symmetric_shares() -> None:
    network, _, found = solved(mirrored_pair(-0.4))
    air = np.array([flow_of(network, found, f"valve {i}")[0] for i in (0, 1, 3, 4)])
    share = air / air.sum()
    np.testing.assert_allclose(share, share[::-1], rtol=SHARES)
    assert abs(share[0] - share[1]) > 1e-4  # not equal by being trivial


def test_similar_designs_at_equal_mach_number_have_equal_shares() -> None:
    """Every length twice (areas four times) at fixed coefficients: each flow four times."""
    flows = []
    for scale in (1.0, 4.0):
        g = mirrored_pair(-0.9)
        g.graph.nodes["s 3"]["area_m2"] = 3e-3
        g.graph.edges["s 2", "s 3", "section 3"]["area_v_m2"] = 3e-3
        g.graph.edges["s 3", "s 4", "section 4"]["area_u_m2"] = 3e-3
        for _, data in g.graph.nodes(data=True):
            if "area_m2" in data:
                data["area_m2"] *= scale
        for _, _, data in g.graph.edges(data=True):
            data.update({k: data[k] * scale for k in ("area_u_m2", "area_v_m2", "cd_area_m2")
                         if k in data and data[k] < OPEN_AREA_M2})
            if data["kind"] == "duct":
                data["darcy"] = 0.02
        network, _, found = solved(g)
        flows.append(np.array([flow_of(network, found, f"valve {i}")[0] for i in (0, 1, 3, 4)]))
    np.testing.assert_allclose(flows[1] / flows[0], 4.0, rtol=1e-9)


@pytest.mark.parametrize("name", ["four, left", "six, both ends", "six, two plenums"])
def test_total_pressure_falls_along_passive_ducts(name: str) -> None:
    """p0 = p (1 + 0.2 M^2)^3.5, with M from flow, area and total temperature (NACA 1135)."""
    flow = TOPOLOGIES[name](gentle(4, 100))
    network, _, found = solved(flow)
    for u, v, data in flow.graph.edges(data=True):
        if data["kind"] != "duct":
            continue
        m = flow_of(network, found, data["name"])
        total = []
        for node, face, area in ((u, "face_u", "area_u_m2"), (v, "face_v", "area_v_m2")):
            slot = network.slot[node][1 if data[face] == "R" else 0]
            p = found.x[slot] + found.p_reference
            phi2 = network.params.c_node[0] * (m / (p * data[area])) ** 2
            x = 0.5 * (np.sqrt(1.0 + 0.8 * phi2) - 1.0)
            total.append(p * (1.0 + x) ** 3.5)
        # 1e-11 of the level: rounding of pressures that differ by pascals
        fall = (total[0] - total[1]) * np.sign(m)
        assert np.all(fall >= -1e-11 * found.p_reference), data["name"]


def test_jet_acts_only_while_its_duct_feeds_that_end() -> None:
    """A jet at the left end of a duct from left to right acts while the flow comes back."""
    residuals = []
    for end in ("u", "v"):
        g = mirrored_pair(0.0)
        g.duct("jet pipe", "s 4", "charge", 4e-3, 1e-3, face_u="R")
        g.duct("jet tail", "charge", "s 0", 1e-3, 4e-3, face_v="L")
        g.jet("mouth 4", "jet pipe" if end == "u" else "jet tail", 0.3, end=end)
        network = scaled(compile_graph(g.graph), g.graph)
        assert int(network.topology.jet_i[0, 2]) == (-1 if end == "u" else 1)
        residuals.append(plan(network))
    assert len(residuals) == 2
