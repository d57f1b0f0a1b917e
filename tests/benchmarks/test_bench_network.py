"""Batched solve of a six-runner compressible network against scipy's hybr on the same residual."""

from __future__ import annotations

import time
from typing import Any

import numpy as np
import pytest
from scipy.optimize import root

from distrib.network.compiled import Network, compile_graph
from distrib.network.solve import Plan, evaluate_batch, plan
from distrib.network.start import linear_start, scaled, solve_steady
from distrib.verification.headers import end_fed, family

BATCH = 1600
LEAST_RATIO = 300.0
SAME = 1e-9
"""Relative difference of flows: hybr stops at a step of 1e-12, ours at a residual of 1e-12."""


def six_runners(batch: int) -> tuple[Network, Plan, Any]:
    """Six runners of 40 mm on 80 mm, 20 kPa below 250 kPa, runner losses 0.3 to 0.9."""
    run, mouth = family("rennels", 4.0)
    flow = end_fed(6, 1.2566e-3, 5.0265e-3, run=run, mouth=mouth, pressure_pa=2.5e5, drop_pa=2e4)
    rng = np.random.default_rng(1)
    for i in range(6):
        edge = flow.graph.edges[f"lateral {i}", f"end {i}", f"pipe {i}"]
        edge["k_u_forward"] = rng.uniform(0.3, 0.9, batch)
    network = scaled(compile_graph(flow.graph), flow.graph)
    return network, plan(network), linear_start(network, flow.graph)


def hybr(network: Network, made: Plan, start: Any, case: int) -> Any:
    """Solution of one case by scipy from the same start, unknowns scaled to order one."""
    n, n_p = int(network.topology.sizes[0]), network.n_pressures
    one = type(network.params)(*(np.ascontiguousarray(t[:, case:case + 1])
                                 for t in network.params))
    size = np.where(np.arange(n) < n_p, one.scalars[2, 0], one.scalars[1, 0])
    x = start[:, case:case + 1].copy()
    r, jacobian = np.zeros((n, 1)), np.zeros((made.jacobian_rows, 1))

    def residual(y: Any) -> Any:
        x[:n, 0] = y * size
        evaluate_batch(made.topology, one, made.jacobian_rows, x, r, jacobian)
        return r[:, 0].copy()

    found = root(residual, start[:n, case] / size, method="hybr", tol=1e-12)
    assert found.success
    return found.x * size


@pytest.mark.benchmark(group="network")
def test_batched_solve_against_hybr(benchmark: Any) -> None:
    """Ratio of processor times of one thread, so that other work on the machine does not count."""
    network, made, start = six_runners(BATCH)
    solve_steady(network, made, start)  # compiled and loaded
    hybr(network, made, start, 0)
    spent: list[float] = []

    def ours() -> Any:
        begun = time.thread_time()
        found = solve_steady(network, made, start)
        spent.append((time.thread_time() - begun) / BATCH)
        return found

    found = benchmark.pedantic(ours, rounds=200)
    assert found.solved.all()
    n = int(network.topology.sizes[0])
    theirs = []
    for case in range(20):
        begun = time.thread_time()
        x = hybr(network, made, start, case)
        theirs.append(time.thread_time() - begun)
        np.testing.assert_allclose(found.x[:n, case], x, rtol=SAME, atol=SAME * np.abs(x).max())
    ratio = min(theirs) / min(spent)
    benchmark.extra_info["ratio"] = ratio
    print(f"\nbatched {1e6 * min(spent):.1f} us, hybr {1e6 * min(theirs):.0f} us a solve, "
          f"one thread each: {ratio:.0f} times")
    assert ratio >= LEAST_RATIO
