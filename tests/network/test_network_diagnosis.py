"""What a failed solve says: the equation and its element; NaN instead of numbers; all faults."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from random_nets import TOPOLOGIES, gentle

from distrib.errors import InputError, NoSolution
from distrib.network.compiled import compile_graph
from distrib.network.diagnose import describe
from distrib.network.graph import OPEN_AREA_M2, FlowGraph
from distrib.network.newton import Options
from distrib.network.solve import plan, solve
from distrib.network.start import linear_start, scaled, solve_steady


def one_pipe() -> FlowGraph:
    g = FlowGraph()
    g.reservoir("charge", 1e5, 300.0)
    g.joint("port")
    g.reservoir("pool", 9e4, 300.0)
    g.duct("runner 1", "charge", "port", OPEN_AREA_M2, 1e-3, k_v_forward=0.5)
    g.nozzle("valve 1", "port", "pool", 1e-3, 5e-4)
    return g


def test_one_pipe_against_its_hand_calculation() -> None:
    """Incompressible limit: dp = rho v^2/2 (1 + 0.5 (A2/A1)^2) with v in the nozzle."""
    g = one_pipe()
    g.graph.nodes["charge"]["pressure_pa"] = 1e9
    g.graph.nodes["pool"]["pressure_pa"] = 1e9 - 1e4
    network = scaled(compile_graph(g.graph), g.graph)
    found = solve_steady(network, plan(network), linear_start(network, g.graph))
    rho = 1e9 / (287.05287 * 300.0)
    expected = 5e-4 * rho * np.sqrt(2.0 * 1e4 / rho / (1.0 + 0.5 * 0.5**2))
    flow = found.x[network.n_pressures + network.flow["valve 1"], 0]
    # 1e-5: density falls by 1e-5 over the drop
    assert flow == pytest.approx(expected, rel=1e-5)


def test_choked_nozzle_against_its_hand_calculation() -> None:
    """m = p0 A sqrt(gamma/(R T)) (2/(gamma+1))^3, gamma 1.4 (NACA 1135), whatever lies behind."""
    for behind in (4e4, 1e3):
        g = one_pipe()
        g.graph.edges["charge", "port", "runner 1"]["k_v_forward"] = 0.0
        g.graph.nodes["pool"]["pressure_pa"] = behind
        network = scaled(compile_graph(g.graph), g.graph)
        found = solve_steady(network, plan(network), linear_start(network, g.graph))
        flow = found.x[network.n_pressures + network.flow["valve 1"], 0]
        expected = 1e5 * 5e-4 * np.sqrt(1.4 / (287.05287 * 300.0)) / 1.2**3
        # 2e-6: the smoothing around zero flow acts on the square of 1e-4
        assert flow == pytest.approx(expected, rel=2e-6)


def test_failed_case_names_its_equation_and_holds_no_numbers() -> None:
    flow = TOPOLOGIES["four, left"](gentle(5, 20))
    network = scaled(compile_graph(flow.graph), flow.graph)
    found = solve(network, plan(network), linear_start(network, flow.graph), Options(limit=2))
    failed = ~found.solved
    assert failed.any()
    assert np.isnan(found.x[:, failed]).all()
    text = describe(network, found, int(np.flatnonzero(failed)[0]))
    worst = network.equations[found.worst[np.flatnonzero(failed)[0]]]
    assert f"'{worst}'" in text and "scaled residual" in text
    assert any(name in text for name in ("runner", "plenum", "entry", "valve", "port"))


def test_poisoned_parameter_fails_its_own_case_only() -> None:
    flow = TOPOLOGIES["four, left"](gentle(6, 8))
    network = scaled(compile_graph(flow.graph), flow.graph)
    made, start = plan(network), linear_start(network, flow.graph)
    clean = solve(network, made, start)
    duct = network.params.duct.copy()
    duct[0, 3] = np.nan
    poisoned = solve(replace(network, params=network.params._replace(duct=duct)), made, start)
    assert not poisoned.solved[3]
    assert "no finite value" in describe(network, poisoned, 3)
    others = np.arange(8) != 3
    np.testing.assert_array_equal(poisoned.x[:, others], clean.x[:, others])


def test_choking_pressure_difference_is_mentioned() -> None:
    g = one_pipe()
    g.graph.nodes["pool"]["pressure_pa"] = 3e4
    network = scaled(compile_graph(g.graph), g.graph)
    found = solve(network, plan(network), linear_start(network, g.graph), Options(limit=1))
    assert "70.0 kPa is above the choking ratio of 100.0 kPa" in describe(network, found, 0)


def test_all_faults_of_a_graph_are_told_at_once() -> None:
    g = one_pipe()
    g.joint("lost")
    g.joint("lost too")
    g.duct("between", "lost", "lost too", 1e-3, 1e-3)
    g.duct("runner 1", "charge", "port", 1e-3, -1e-3)
    g.mouth("no plenum", "port", "lost", 1e-3)
    g.graph.remove_edge("port", "lost", "no plenum")
    g.mouth("not a station", "port", "charge", 1e-3)
    with pytest.raises(InputError) as caught:
        compile_graph(g.graph)
    text = str(caught.value)
    for words in ("node lost: no path to any reservoir", "node lost too: no path to any reservoir",
                  "edge runner 1: area_v_m2 must not be negative",
                  "mouth not a station: starts at port, which is not a plenum station"):
        assert words in text
    assert len(caught.value.problems) == 4


def test_name_used_twice_between_other_nodes_is_a_fault() -> None:
    g = one_pipe()
    g.joint("side")
    g.duct("runner 1", "port", "side", 1e-3, 1e-3)
    with pytest.raises(InputError, match="edge runner 1: the name is used twice"):
        compile_graph(g.graph)


def test_duct_against_the_axis_of_the_plenum_is_refused() -> None:
    g = FlowGraph()
    g.reservoir("charge", 1e5, 300.0)
    for name in ("s 1", "s 2"):
        g.station(name, 1e-3, (0.0, 0.0, 0.0, 0.0))
    g.duct("entry", "charge", "s 1", 1e-3, 1e-3, face_v="L")
    g.duct("backwards", "s 2", "s 1", 1e-3, 1e-3, face_u="L", face_v="R")
    with pytest.raises(InputError, match="from left to right"):
        compile_graph(g.graph)


def test_arrays_of_unequal_length_are_refused_in_words() -> None:
    g = one_pipe()
    g.graph.nodes["pool"]["pressure_pa"] = np.array([8e4, 9e4])
    g.graph.edges["port", "pool", "valve 1"]["cd_area_m2"] = np.array([1e-4, 2e-4, 3e-4])
    with pytest.raises((InputError, ValueError), match="shape"):
        compile_graph(g.graph)


def test_singular_network_is_refused_in_words() -> None:
    """A valve that is shut in every case leaves the pressure behind it undetermined."""
    g = one_pipe()
    g.joint("dead end")
    g.nozzle("shut", "dead end", "pool", 1e-3, 0.0)
    network = scaled(compile_graph(g.graph), g.graph)
    with pytest.raises(NoSolution, match="the network is singular: no pivot left in"):
        plan(network)
