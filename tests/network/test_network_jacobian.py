"""The Jacobian of every element against central differences, in every regime."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from random_nets import TOPOLOGIES, Random

from distrib.network.compiled import Network, compile_graph
from distrib.network.solve import residual_and_jacobian
from distrib.network.start import scaled

STATES = 320
STEP = 1e-6
"""Part of the scale of an unknown by which it is moved."""
ATOL = 2e-5
"""Of derivatives scaled to order one: central differences are good to STEP^2 times the third
derivative plus rounding 1e-16/STEP; the slope WEAK of choked elements is 1e-7."""


def random_states(network: Network, rng: np.random.Generator) -> Any:
    """Unknowns (slots, STATES): flows of both signs from rest to beyond sonic."""
    p_ref, flow, dp, _ = network.params.scalars
    n_p, n = network.n_pressures, int(network.topology.sizes[0])
    x = np.zeros((int(network.topology.sizes[3]), STATES))
    # sometimes far below the pools, so that streams turn sonic
    deep = np.where(rng.uniform(size=STATES) < 0.3, 0.8 * p_ref, dp)
    x[:n_p] = -deep * rng.uniform(0.0, 1.0, (n_p, STATES))
    x[n_p:n] = flow * rng.uniform(-1.0, 1.0, (n - n_p, STATES)) / rng.choice(
        [1.0, 6.0, 60.0], STATES)
    x[n + 1:] = network.x_fixed
    return x


def central_difference(network: Network, x: Any, scale: Any) -> Any:
    n = int(network.topology.sizes[0])
    out = np.zeros((STATES, n, n))
    for j in range(n):
        up, down = x.copy(), x.copy()
        up[j] += STEP * scale[j]
        down[j] -= STEP * scale[j]
        out[:, :, j] = (residual_and_jacobian(network, up)[0]
                        - residual_and_jacobian(network, down)[0]) / (up[j] - down[j])[:, None]
    return out


@pytest.mark.parametrize("name", ["four, left", "five, center", "six, both ends",
                                  "six, two plenums and tube"])
def test_jacobian_is_the_derivative_of_the_residual(name: str) -> None:
    rng = np.random.default_rng(3)
    flow = TOPOLOGIES[name](Random(rng, STATES))
    network = scaled(compile_graph(flow.graph), flow.graph)
    x = random_states(network, rng)
    n_p, n = network.n_pressures, int(network.topology.sizes[0])
    scale = np.where((np.arange(n) < n_p)[:, None], network.params.scalars[2],
                     network.params.scalars[1])
    _, exact = residual_and_jacobian(network, x)
    difference = (exact - central_difference(network, x, scale)) * scale.T[:, None, :]
    # relative to the row: a narrow throat at many times its sonic flow has slopes of 1e4
    size = np.abs(exact * scale.T[:, None, :]).max(axis=2, keepdims=True)
    off = np.abs(difference) / np.maximum(size, 1.0)
    # a kink (choking, turning of a stream) within STEP of the state spoils single entries
    spoiled = off > ATOL
    worst = [(network.equations[i], network.unknowns[j], float(off[k, i, j]))
             for k, i, j in np.argwhere(spoiled)[:5]]
    assert spoiled.sum() <= KINKS, worst


KINKS = 6
"""Most single entries, of some 10^5, that may lie on a kink: each state has some 60 elements with
one or two kinks each, met with a chance of order STEP; very small flows near rest add some."""


def test_states_of_the_comparison_visit_every_regime() -> None:
    """The comparison would be empty if, say, no stream were choked in its states."""
    rng = np.random.default_rng(3)
    flow = TOPOLOGIES["six, both ends"](Random(rng, STATES))
    network = scaled(compile_graph(flow.graph), flow.graph)
    x = random_states(network, rng)
    n_p = network.n_pressures
    p = x[:n_p] + network.params.scalars[0]
    m = {name: x[n_p + k] for name, k in network.flow.items()}
    station = network.slot["plenum 1 3"]
    left, right = m["plenum 1 2 to 3"], m["plenum 1 3 to 4"]
    own = m["runner 3 mouth"]
    pipe = flow.graph.edges["charge", "entry 1 end", "entry 1"]
    sonic = 1.728 * np.abs(m["entry 1"]) * np.sqrt(network.params.c_node[0])
    valve = network.params.nozzle[network.nozzle["valve 3"]]
    port = p[network.slot["port 3"][0]]
    need = 1.728 * np.abs(m["valve 3"]) * np.sqrt(network.params.c_node[0]) / np.maximum(
        valve, 1e-9)
    regimes = {
        "one stream right": (left > 0) & (right > 0) & (right < left),
        "one stream left": (left < 0) & (right < 0) & (right > left),
        "gains": (left > 0) & (right > left), "parts": (left < 0) & (right > 0),
        "meets": (left > 0) & (right < 0),
        "mouth draws": own > 0, "mouth feeds": own < 0,
        "duct throttled to choking": sonic / pipe["choke_m2"] > network.params.scalars[0],
        "duct at rest": np.abs(m["entry 1"]) < 0.01 * network.params.scalars[1],
        "valve closed": valve < 1e-10, "valve open, sonic": (valve > 0) & (need > 1.9 * port),
        "valve open, slow": (valve > 1e-9) & (m["valve 3"] > 0) & (need < port),
        "valve blows back": (valve > 0) & (m["valve 3"] < 0),
    }
    assert station[0] != station[1]
    for name, states in regimes.items():
        assert np.any(states), name
