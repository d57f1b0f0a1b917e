"""Steady solution of a compiled network for a whole batch at once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from distrib.errors import NoSolution
from distrib.kernels import in_parts, kernel
from distrib.network.compiled import Network
from distrib.network.elements import evaluate
from distrib.network.newton import Options, Scratch, advance, begin, largest
from distrib.network.sparse import Program, order, program
from distrib.network.tables import Params, Topology, lanes_of
from distrib.vectors import LANES, copy

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
_L = LANES


class Work(NamedTuple):
    """Scratch rows of one evaluation."""

    w: Any
    head: Any
    c_flow: Any
    inv_dp: Any
    inv_m: Any
    small: Any


@dataclass(frozen=True)
class Plan:
    """A network's topology with positions in the filled Jacobian, and its elimination."""

    topology: Topology
    program: Program
    jacobian_rows: int


@dataclass(frozen=True)
class Solution:
    """x (slots, B) with pressures as differences from `p_reference`, NaN where not solved.

    `worst` is the equation of the largest residual where not solved, else -1.
    """

    x: FloatArray
    p_reference: FloatArray
    iterations: IntArray
    residual: FloatArray
    worst: IntArray

    @property
    def solved(self) -> NDArray[np.bool_]:
        """Which cases converged, (B,)."""
        return self.iterations > 0


@kernel
def make_work(top: Any) -> Any:
    """Scratch for `evaluate`."""
    return Work(
        np.zeros(44 * _L), np.zeros((3 * top.end_i.shape[0] + 1) * _L),
        np.zeros((top.sizes[2] + 1) * _L), np.zeros(_L), np.zeros(_L), np.zeros(_L),
    )


@kernel
def make_scratch(slots: int, rows: int, jacobian_rows: int) -> Any:
    """Scratch for `newton`."""
    return Scratch(
        np.zeros(slots * _L), np.zeros(rows * _L), np.zeros(jacobian_rows * _L),
        np.zeros(rows * _L), np.zeros(rows * _L), np.zeros(_L), np.zeros(_L), np.zeros(_L),
        np.zeros(2, dtype=np.int64),
    )


@kernel
def take(source: Any, block: int, target: Any, n: int) -> None:
    """Copy columns block*LANES.. of source (rows, B) into flat lanes."""
    first = block * _L
    if n == _L:
        flat = source.reshape(-1)
        for k in range(source.shape[0]):
            copy(target, k * _L, flat, k * source.shape[1] + first)
        return
    for k in range(source.shape[0]):
        for i in range(n):
            target[k * _L + i] = source[k, first + i]


@kernel
def blank(par: Any) -> Any:
    """Flat lanes for every parameter table of `par`."""
    return Params(
        np.ones(par.area.shape[0] * _L), np.ones(par.area.shape[0] * _L),
        np.zeros(par.duct.shape[0] * _L),
        np.zeros(par.duct_f.shape[0] * _L), np.zeros(par.station.shape[0] * _L),
        np.zeros(par.mouth.shape[0] * _L), np.zeros(par.jet.shape[0] * _L),
        np.zeros(par.nozzle.shape[0] * _L), np.ones(par.c_node.shape[0] * _L),
        np.ones(par.scalars.shape[0] * _L),
    )


@kernel
def load(par: Any, block: int, flat: Any, n: int) -> None:
    """Copy one block of parameters into flat lanes."""
    take(par.area, block, flat.area, n)
    take(par.inv_area, block, flat.inv_area, n)
    take(par.duct, block, flat.duct, n)
    take(par.duct_f, block, flat.duct_f, n)
    take(par.station, block, flat.station, n)
    take(par.mouth, block, flat.mouth, n)
    take(par.jet, block, flat.jet, n)
    take(par.nozzle, block, flat.nozzle, n)
    take(par.c_node, block, flat.c_node, n)
    take(par.scalars, block, flat.scalars, n)


@kernel
def give(xl: Any, s: Any, status: Any, block: int, x: Any, iterations: Any, residual: Any,
         worst: Any, rows: int, n: int) -> None:
    """Copy the answer of one block back; NaN where it did not converge."""
    first = block * _L
    all_solved = True
    for i in range(n):
        iterations[first + i] = status[i]
        residual[first + i] = s.norm[i]
        worst[first + i] = -1
        all_solved &= status[i] > 0
    if all_solved and n == _L:
        flat = x.reshape(-1)
        for k in range(x.shape[0]):
            copy(flat, k * x.shape[1] + first, xl, k * _L)
        return
    for k in range(rows):
        for i in range(n):
            if status[i] <= 0 and abs(s.residual[k * _L + i]) >= s.norm[i]:
                worst[first + i] = k
    for k in range(x.shape[0]):
        for i in range(n):
            x[k, first + i] = xl[k * _L + i] if status[i] > 0 else np.nan


@kernel
def solve_batch(top: Any, par: Any, prog: Any, jacobian_rows: int, x: Any, options: Any,
                iterations: Any, residual: Any, worst: Any, first: int, last: int) -> None:
    """Solve the blocks first..last of a batch; x (slots, B) holds the start and the answer."""
    batch = x.shape[1]
    slots = x.shape[0]
    rows = prog.pivot.shape[0]
    flat = blank(par)
    work = make_work(top)
    s = make_scratch(slots, rows, jacobian_rows)
    xl = np.zeros(slots * _L)
    status = np.zeros(_L, dtype=np.int64)
    for block in range(first, last):
        n = min(_L, batch - block * _L)
        load(par, block, flat, n)
        take(x, block, xl, n)
        ctx = (top, flat, work)
        begin(xl, s, status, n)
        evaluate(ctx, s.trial, s.residual, s.jacobian, n)
        while advance(prog, xl, flat.scalars, top.sizes[1], options, s, status, n):
            evaluate(ctx, s.trial, s.residual, s.jacobian, n)
        # the last evaluation was made at x itself, for every lane
        largest(s.residual, s.norm, rows, n)
        give(xl, s, status, block, x, iterations, residual, worst, rows, n)


@kernel
def evaluate_batch(top: Any, par: Any, jacobian_rows: int, x: Any, r: Any, jac: Any) -> None:
    """Residual (n, B) and Jacobian values (jacobian_rows, B) at x (slots, B)."""
    batch = x.shape[1]
    flat = blank(par)
    work = make_work(top)
    rl = np.zeros(r.shape[0] * _L)
    jl = np.zeros(jacobian_rows * _L)
    xl = np.zeros(x.shape[0] * _L)
    for block in range((batch + _L - 1) // _L):
        n = min(_L, batch - block * _L)
        load(par, block, flat, n)
        take(x, block, xl, n)
        evaluate((top, flat, work), xl, rl, jl, n)
        for i in range(n):
            for k in range(r.shape[0]):
                r[k, block * _L + i] = rl[k * _L + i]
            for k in range(jacobian_rows):
                jac[k, block * _L + i] = jl[k * _L + i]


def _moved(top: Topology, where: IntArray) -> Topology:
    """Topology with entry numbers replaced by `where[entry]` (last item: scratch)."""
    def move(table: IntArray, columns: slice) -> IntArray:
        out = table.copy()
        out[:, columns] = where[table[:, columns]]
        return out

    sizes = top.sizes.copy()
    sizes[4] = int(where.max()) + 1
    return top._replace(
        sizes=sizes,
        duct_i=move(top.duct_i, slice(4, 7)),
        station_i=move(top.station_i, slice(3, 7)),
        mouth_i=move(top.mouth_i, slice(4, 10)),
        jet_i=move(top.jet_i, slice(3, 5)),
        nozzle_i=move(top.nozzle_i, slice(4, 7)),
        mass_term=move(top.mass_term, slice(2, 3)),
    )


def sample_states(network: Network, count: int = LANES) -> FloatArray:
    """Generic states x (slots, count): flows of several signs and sizes, unequal pressures."""
    rng = np.random.default_rng(20)
    slots = int(network.topology.sizes[3])
    n_p, n_f = network.n_pressures, int(network.topology.sizes[2])
    scalars = network.params.scalars[:, 0]
    x = np.zeros((slots, count))
    x[:n_p] = -scalars[2] * rng.uniform(0.1, 0.9, (n_p, count))
    # the flow of one runner, so that no stream of the sample is sonic
    runner = scalars[1] / max(network.topology.nozzle_i.shape[0], 1)
    size = runner * rng.uniform(0.05, 0.6, (n_f, count))
    sign = np.where(rng.uniform(size=(n_f, count)) < np.linspace(0, 0.6, count), -1.0, 1.0)
    # some states nearly at rest: there only pressures can serve as pivots of many equations
    sign[:, 1::4] *= 1e-5
    x[n_p:n_p + n_f] = size * sign
    x[n_p + n_f + 1:] = network.x_fixed[:, :1]
    return x


def residual_and_jacobian(network: Network, x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Scaled residual (B, n) and dense Jacobian (B, n, n) at x (slots, B), rows as `equations`."""
    entries = np.array(network.entries, dtype=np.int64).reshape(-1, 2)
    scratch, n = entries.shape[0], int(network.topology.sizes[0])
    top = _moved(network.topology, np.append(np.arange(scratch), scratch))
    r = np.zeros((n, x.shape[1]))
    values = np.zeros((scratch + 1, x.shape[1]))
    evaluate_batch(top, network.params, scratch + 1, x, r, values)
    jacobian = np.zeros((x.shape[1], n, n))
    jacobian[:, entries[:, 0], entries[:, 1]] = values[:scratch].T
    return np.ascontiguousarray(r.T), jacobian


def plan(network: Network, *, valves_close: bool = False) -> Plan:
    """Choose the pivot order of a network. Raises NoSolution when it is singular."""
    count = LANES
    states = sample_states(network, count)
    one = Params(*(np.repeat(t[:, :1], count, axis=1) for t in network.params))
    if valves_close and one.nozzle.size:
        shut = np.random.default_rng(21).uniform(size=one.nozzle.shape) < 0.4
        shut[:, 0] = False
        one = one._replace(nozzle=np.where(shut, 0.0, np.maximum(one.nozzle, 1e-5)))
    _, samples = residual_and_jacobian(replace(network, params=one, batch=count), states)
    try:
        sequence = order(network.pattern, list(samples))
    except ArithmeticError as error:
        raise NoSolution(f"the network is singular: {_named(str(error), network)}") from error
    prog, position = program(network.pattern, sequence)
    index = np.array(network.entries, dtype=np.int64).reshape(-1, 2)
    filled = int(position.max()) + 1
    where = np.append(position[index[:, 0], index[:, 1]], filled)
    return Plan(_moved(network.topology, where), prog, filled + 1)


def _named(text: str, network: Network) -> str:
    import re

    def name(match: re.Match[str]) -> str:
        return "; ".join(network.equations[int(i)] for i in match.group(1).split(",")[:4])

    return re.sub(r"rows \[([^\]]*)\]", name, text)


def solve(
    network: Network, made: Plan, start: FloatArray, options: Options | None = None,
    threads: int = 1, overwrite: bool = False,
) -> Solution:
    """Solve every case of a batch from `start` (slots, B), which `overwrite` lends for the answer.

    Cases that do not converge hold NaN, with the equation of the largest residual in `worst`.
    Two threads use two cores; the result does not depend on their number.
    """
    x = start if overwrite else np.array(start, dtype=float, order="C")
    batch = x.shape[1]
    iterations = np.zeros(batch, dtype=np.int64)
    residual = np.zeros(batch)
    worst = np.zeros(batch, dtype=np.int64)
    blocks = -(-batch // LANES)
    chosen = options or Options()

    def run(first: int, last: int) -> None:
        solve_batch(made.topology, network.params, made.program, made.jacobian_rows, x, chosen,
                    iterations, residual, worst, first, last)

    in_parts(run, blocks, threads)
    return Solution(x, network.params.scalars[0].copy(), iterations, residual, worst)


__all__ = [
    "Plan", "Solution", "evaluate_batch", "lanes_of", "plan", "residual_and_jacobian", "solve",
]
