"""The start of a large batch on a surface: nearer, and the answers are those of single solves."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from distrib.network.compiled import Network, compile_graph
from distrib.network.solve import Plan, plan, solve
from distrib.network.start import linear_start, scaled, scaled_start, solve_steady
from distrib.network.surface import LEAST_BATCH, fill, pilots, surface_start
from distrib.vectors import LANES
from distrib.verification.headers import end_fed, family


def header(batch: int, vary: int) -> tuple[Network, Plan, Any]:
    """Six runners of which `vary` have an own loss in every case."""
    run, mouth = family("rennels", 4.0)
    flow = end_fed(6, 1.2566e-3, 5.0265e-3, run=run, mouth=mouth, pressure_pa=2.5e5, drop_pa=2e4)
    rng = np.random.default_rng(3)
    for i in range(6):
        edge = flow.graph.edges[f"lateral {i}", f"end {i}", f"pipe {i}"]
        edge["k_u_forward"] = rng.uniform(0.3, 0.9, batch) if i < vary else np.full(batch, 0.6)
    network = scaled(compile_graph(flow.graph), flow.graph)
    return network, plan(network), linear_start(network, flow.graph)


def columns(network: Network, which: Any) -> Network:
    return replace(network, batch=len(which), x_fixed=network.x_fixed[:, which],
                   params=type(network.params)(*(np.ascontiguousarray(t[:, which])
                                                 for t in network.params)))


def test_answers_are_those_of_single_solves_in_fewer_iterations() -> None:
    network, made, start = header(LEAST_BATCH + 5, 6)
    found = solve_steady(network, made, start)
    assert found.solved.all() and (found.worst == -1).all()
    plain = solve(network, made, start)
    assert found.iterations.mean() < plain.iterations.mean() - 1.5
    n = int(network.topology.sizes[0])
    for case in (0, 17, LEAST_BATCH - 1, LEAST_BATCH + 4):
        alone = solve_steady(columns(network, [case]), made, start[:, [case]])
        size = np.abs(alone.x[:n]).max()
        np.testing.assert_allclose(found.x[:n, case], alone.x[:n, 0], rtol=1e-11,
                                   atol=1e-12 * size)


@pytest.mark.parametrize("vary", [0, 1, 2])
def test_start_is_on_the_surface_of_the_parameters_that_vary(vary: int) -> None:
    """Two losses of a header vary: a quadratic misses the answer by the third order of a change of
    at most 0.3 in a loss coefficient of about 2.3, that is by less than 0.13^3 = 0.2 %."""
    network, made, start = header(LEAST_BATCH, vary)
    which = pilots(network.batch)
    solved = solve(columns(network, which), made, start[:, which])
    near = surface_start(network, which, solved.x)
    if vary == 0:
        assert near is None
        return
    assert near is not None
    answer = solve(network, made, start).x
    n = int(network.topology.sizes[0])
    off = np.abs(near[:n] - answer[:n]).max(axis=1) / np.abs(answer[:n]).max(axis=1)
    assert off.max() < 2e-3
    np.testing.assert_array_equal(near[n + 1:], network.x_fixed)


def test_too_many_directions_for_the_pilots_make_no_surface() -> None:
    network, made, start = header(LEAST_BATCH, 6)
    rng = np.random.default_rng(5)
    params = network.params._replace(
        duct=network.params.duct * rng.uniform(0.9, 1.1, network.params.duct.shape))
    wild = replace(network, params=params)
    which = pilots(wild.batch)
    solved = solve(columns(wild, which), made, start[:, which])
    assert surface_start(wild, which, solved.x) is None
    assert solve_steady(wild, made, start).solved.all()


@pytest.mark.parametrize("batch", [1, LANES, LANES + 3])
def test_surface_is_evaluated_as_numpy_does(batch: int) -> None:
    rng = np.random.default_rng(batch)
    axes, n, n_p = rng.normal(size=(3, batch)), 5, 2
    coefficients, scalars = rng.normal(size=(10, n)), rng.uniform(1.0, 2.0, (4, batch))
    x = np.zeros((n + 2, batch))
    fill(coefficients, axes, scalars, n_p, x, 0, -(-batch // LANES))
    terms = np.array([np.ones(batch), *axes,
                      *(axes[a] * axes[b] for a in range(3) for b in range(a, 3))])
    expected = coefficients.T @ terms * np.where((np.arange(n) < n_p)[:, None], scalars[2],
                                                 scalars[1])
    np.testing.assert_allclose(x[:n], expected, rtol=0.0, atol=1e-13)
    assert not x[n:].any()


def test_scaled_start_keeps_pressures_and_flows_over_their_scales() -> None:
    network, made, start = header(LANES, 6)
    solved = solve(network, made, start).x[:, 0]
    near = scaled_start(network, solved, network.params.scalars[:, 0])
    n = int(network.topology.sizes[0])
    np.testing.assert_allclose(near[:n, 0], solved[:n], rtol=1e-14)
