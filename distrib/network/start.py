"""Scales and starting points of a steady solve."""

from __future__ import annotations

from dataclasses import replace

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from distrib.network.compiled import Network
from distrib.network.solve import Plan, Solution, plan, solve
from distrib.network.surface import LEAST_BATCH, pilots, surface_start

FloatArray = NDArray[np.float64]
SMOOTHING = 1e-4
"""Smoothing flow around zero, as a part of the flow that the whole pressure difference drives."""


def scaled(network: Network, graph: nx.MultiDiGraph) -> Network:
    """The network with reference pressure and scales set from its pools and nozzles.

    Pressures become differences from the highest pool, so that small differences keep all
    their digits.
    """
    fixed = network.x_fixed
    p_ref = fixed.max(axis=0)
    dp = np.maximum(p_ref - fixed.min(axis=0), 1e-9 * p_ref)
    c = network.params.c_node.max(axis=0)
    area = np.maximum(_narrow_area(network, graph), 1e-9)
    flow = area * p_ref / np.sqrt(c) * np.minimum(np.sqrt(2.8 * dp / p_ref), 0.57)
    smoothing = SMOOTHING * np.sqrt(np.minimum(dp / p_ref, 1.0))
    scalars = np.stack([p_ref, flow, dp, smoothing])
    params = network.params._replace(scalars=scalars)
    return replace(network, params=params, x_fixed=fixed - p_ref)


def _narrow_area(network: Network, graph: nx.MultiDiGraph) -> FloatArray:
    if network.nozzle:
        return np.asarray(network.params.nozzle.sum(axis=0))
    areas = [np.min(d.get("area_v_m2", 1e-3)) for _, _, d in graph.edges(data=True)]
    return np.full(network.batch, min(areas))


def linear_start(network: Network, graph: nx.MultiDiGraph) -> FloatArray:
    """Start (slots, B) from the linear network with conductances like the narrowest areas."""
    names = list(graph.nodes)
    number = {name: i for i, name in enumerate(names)}
    edges = [(u, v, d) for u, v, d in graph.edges(data=True)]
    n = len(names)
    laplace = np.zeros((n, n))
    known = np.array([graph.nodes[m]["kind"] == "reservoir" for m in names])
    level = np.zeros(n)
    for m in names:
        if known[number[m]]:
            level[number[m]] = float(np.ravel(graph.nodes[m]["pressure_pa"])[0])
    conductance = []
    for u, v, d in edges:
        areas = [float(np.ravel(d[k])[0]) for k in ("area_u_m2", "area_v_m2", "cd_area_m2")
                 if k in d]
        g = max(min(areas), 1e-9)
        i, j = number[u], number[v]
        conductance.append(g)
        laplace[[i, i, j, j], [i, j, j, i]] += np.array([1.0, -1.0, 1.0, -1.0]) * g
    free = ~known
    if free.any():
        level[free] = np.linalg.solve(
            laplace[np.ix_(free, free)], -laplace[np.ix_(free, known)] @ level[known]
        )
    drop = float(level.max() - level.min()) or 1.0
    flows = np.array([(level[number[u]] - level[number[v]]) * g
                      for (u, v, _), g in zip(edges, conductance, strict=True)])
    largest = float(np.abs(flows).max()) or 1.0
    scalars = network.params.scalars
    x = np.zeros((int(network.topology.sizes[3]), network.batch))
    n_p = network.n_pressures
    for m in names:
        if graph.nodes[m]["kind"] != "reservoir":
            for slot in network.slot[m]:
                x[slot] = (level[number[m]] - level.max()) / drop * scalars[2]
    x[n_p:n_p + len(edges)] = (0.8 * flows / largest)[:, None] * scalars[1]
    x[n_p + len(edges) + 1:] = network.x_fixed
    return x


def scaled_start(network: Network, solved: FloatArray, scalars: FloatArray) -> FloatArray:
    """Start (slots, B) from one solved case x (slots,) with its own scales (4,)."""
    n_p, n_f = network.n_pressures, int(network.topology.sizes[2])
    x = np.zeros((solved.shape[0], network.batch))
    x[:n_p] = solved[:n_p, None] / scalars[2] * network.params.scalars[2]
    x[n_p:n_p + n_f] = solved[n_p:n_p + n_f, None] / scalars[1] * network.params.scalars[1]
    x[n_p + n_f + 1:] = network.x_fixed
    return x


def solve_steady(
    network: Network, made: Plan, start: FloatArray, threads: int = 1
) -> Solution:
    """Solve; cases that fail are tried again by raising their pressure difference in steps.

    What still fails is tried once more, each case with an elimination order of its own: one that
    was chosen for a breath of air may lose all digits where a stream chokes.
    """
    near = _near_start(network, made, start, threads) if network.batch > 1 else None
    if near is None:
        near = np.array(start)
    found = solve(network, made, near, threads=threads, overwrite=True)
    bad = np.flatnonzero(~found.solved)
    if bad.size:
        found = _with(found, bad, _in_steps(_columns(network, bad), made, start[:, bad], threads))
    for k in np.flatnonzero(~found.solved):
        one = _columns(network, np.array([k]))
        found = _with(found, np.array([k]), _in_steps(one, plan(one), start[:, [k]], 1))
    return found


def _in_steps(network: Network, made: Plan, start: FloatArray, threads: int) -> Solution:
    """Solve by raising the pressure difference in steps, each from the answer before."""
    x = start * 0.03
    n_fixed = network.x_fixed.shape[0]
    answer = None
    for part in (0.001, 0.01, 0.05, 0.15, 0.3, 0.5, 0.7, 0.85, 0.95, 1.0):
        step = replace(
            network, x_fixed=network.x_fixed * part,
            params=network.params._replace(scalars=network.params.scalars * _scale(part)),
        )
        if n_fixed:
            x[-n_fixed:] = step.x_fixed
        answer = solve(step, made, x, threads=threads)
        x = np.where(np.isnan(answer.x), x, answer.x)
    assert answer is not None
    return answer


def _with(found: Solution, which: NDArray[np.int64], answer: Solution) -> Solution:
    """`found` with the cases `which` taken from `answer`."""
    x, iterations = found.x.copy(), found.iterations.copy()
    residual, worst = found.residual.copy(), found.worst.copy()
    x[:, which], iterations[which] = answer.x, answer.iterations
    residual[which], worst[which] = answer.residual, answer.worst
    return Solution(x, found.p_reference, iterations, residual, worst)


def _near_start(
    network: Network, made: Plan, start: FloatArray, threads: int
) -> FloatArray | None:
    """A start near the answers of a batch, from its first case or from a surface; None if unsolved.

    A large batch whose cases differ in little starts on the surface through some of its cases.
    """
    first = solve(_columns(network, np.array([0])), made, start[:, :1])
    if not first.solved[0]:
        return None
    solved, scalars = first.x[:, 0], network.params.scalars[:, 0]
    if network.batch >= LEAST_BATCH:
        which = pilots(network.batch)
        sub = _columns(network, which)
        found = solve(sub, made, scaled_start(sub, solved, scalars), threads=threads)
        near = (surface_start(network, which, found.x, threads) if found.solved.all()
                else None)
        if near is not None:
            return near
    return scaled_start(network, solved, scalars)


def _scale(part: float) -> FloatArray:
    return np.array([[1.0], [part**0.5], [part], [part**0.5]])


def _columns(network: Network, which: NDArray[np.int64]) -> Network:
    params = type(network.params)(
        *(np.ascontiguousarray(t[:, which]) for t in network.params)
    )
    return replace(network, params=params, x_fixed=network.x_fixed[:, which],
                   batch=int(which.size))
