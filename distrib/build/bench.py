"""The bench model: the network in steady flow, chosen runners open to one common depression."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from distrib.build.collect import shares_result
from distrib.build.draws import NOMINAL, Draws
from distrib.build.graph import BuiltGraph, build_graph, runner_order
from distrib.build.pipes import circle_m2
from distrib.build.ports import bench_lift_m, lift_area_m2
from distrib.build.runners import PORT_SIGMA
from distrib.case.schema import Case
from distrib.errors import InputError, Problem
from distrib.gas.properties import gas_constant
from distrib.network.compiled import Network, compile_graph
from distrib.network.diagnose import describe
from distrib.network.solve import Plan, Solution, plan
from distrib.network.start import linear_start, scaled, solve_steady
from distrib.results import FloatArray, Profile, Shares

DEEPEST = 0.5
"""Of the ambient pressure. Losses stand on the dynamic head downstream; behind a throttle the flow
of such a law is largest at half the pressure before it and falls again beyond: with a loss K large
against 1, m^2 goes as p (p0 - p). No flow bench pulls as much."""


@dataclass(frozen=True)
class BenchModel:
    """The compiled steady network of a case, ready to solve."""

    case: Case
    built: BuiltGraph
    network: Network
    plan: Plan
    start: FloatArray


def open_set(case: Case, open_runners: Sequence[int] | None) -> tuple[int, ...]:
    """Cylinders whose runners are open; InputError for one that does not exist."""
    chosen = open_runners if open_runners is not None else case.bench.open_runners
    every = runner_order(case)
    if chosen is None:
        return tuple(every)
    wrong = [c for c in chosen if c not in every]
    if wrong or not chosen:
        raise InputError([Problem("open runners", f"{list(chosen)}",
                                  f"some of the cylinders {every}")])
    return tuple(sorted(set(chosen)))


def bench_model(
    case: Case, *, depression_pa: ArrayLike | None = None,
    open_runners: Sequence[int] | None = None, draws: Draws = NOMINAL,
) -> BenchModel:
    """Build the steady network: ambient air before the throttle, a pool behind each port.

    With the head removed the port flange is an open end; with the head fitted port and valve at
    the stated lift are one nozzle.
    """
    ambient = case.conditions.ambient_pressure_pa
    depression = np.asarray(case.bench.depression_pa if depression_pa is None else depression_pa,
                            dtype=float)
    if not np.all((depression > 0.0) & (depression <= DEEPEST * ambient * (1.0 + 1e-12))):
        deepest = f"{DEEPEST * ambient / 1e3:.1f} kPa"
        raise InputError([Problem(
            "depression", f"{np.ravel(depression)[:4]} Pa",
            f"above zero and up to {deepest}, half the ambient pressure",
            "losses are no longer those of a rig where a throttle or an end chokes")])
    # a change of condition and a sample cannot share an axis: samples win, one depression each
    built = build_graph(case, draws, charge_pressure_pa=ambient,
                        charge_temperature_k=case.conditions.ambient_temperature_k)
    chosen = open_set(case, open_runners)
    for runner in case.runners:
        c = runner.cylinder
        made = 1.0 + case.uncertainty.tolerance_m / runner.end_diameter_m * draws.z(
            f"made.runner.{c}.diameter")
        area = circle_m2(runner.end_diameter_m * made)
        if case.bench.head == "fitted":
            nozzle: Any = lift_area_m2(case, bench_lift_m(case)) * draws.factor(
                f"made.port.{c}", PORT_SIGMA)
        else:
            nozzle = area
        built.flow.reservoir(f"pool {c}", ambient - depression,
                             case.conditions.ambient_temperature_k)
        built.flow.nozzle(f"open end {c}", f"port {c}", f"pool {c}", area,
                          nozzle if c in chosen else 0.0 * nozzle, cylinder=c)
    gas = float(gas_constant(ambient, case.conditions.ambient_temperature_k,
                             case.conditions.relative_humidity))
    network = scaled(compile_graph(built.graph, gas_constant=gas), built.graph)
    made_plan = plan(network)  # with the closed runners closed
    return BenchModel(case, built, network, made_plan, linear_start(network, built.graph))


def run_bench(model: BenchModel, threads: int = 1) -> Solution:
    """Solve every point or sample of a bench model."""
    return solve_steady(model.network, model.plan, model.start, threads=threads)


def runner_flows(model: BenchModel, solution: Solution) -> FloatArray:
    """Mass flow of each runner, kg/s, (B, N) in order of cylinders."""
    n_p = model.network.n_pressures
    rows = [n_p + model.network.flow[f"open end {c}"] for c in runner_order(model.case)]
    return np.ascontiguousarray(solution.x[rows].T)


def solve_bench(
    case: Case, *, depression_pa: ArrayLike | None = None,
    open_runners: Sequence[int] | None = None, draws: Draws = NOMINAL, threads: int = 1,
) -> Shares:
    """Shares on the steady rig; P points, one per depression (or per sample of `draws`).

    depression_pa: behind the open runners, Pa, scalar or (P,); default the case's bench. A point
    that does not converge is NaN with a reason. Sources: the laws listed in the result.
    """
    model = bench_model(case, depression_pa=depression_pa, open_runners=open_runners, draws=draws)
    found = run_bench(model, threads)
    air = runner_flows(model, found)
    depression = -model.network.x_fixed.min(axis=0)
    reason = tuple("" if ok else describe(model.network, found, k)
                   for k, ok in enumerate(found.solved))
    return shares_result(
        case, "bench", air,
        {"depression_pa": depression,
         "ambient_pressure_pa": case.conditions.ambient_pressure_pa,
         "ambient_temperature_k": case.conditions.ambient_temperature_k},
        found.solved, mass_residual(model.network, found), reason, model.built,
        bench_profiles(model, found),
        drawing=np.isin(runner_order(case), open_set(case, open_runners)),
    )


def mass_residual(network: Network, found: Solution) -> FloatArray:
    """Largest mass imbalance of any node over the flow that enters, (B,)."""
    n_p, n_f = network.n_pressures, int(network.topology.sizes[2])
    m = found.x[n_p:n_p + n_f]
    top = network.topology
    worst = np.zeros(network.batch)
    for j in range(top.mass_i.shape[0]):
        terms = top.mass_term[top.mass_ptr[j]:top.mass_ptr[j + 1]]
        worst = np.maximum(worst, np.abs((m[terms[:, 0]] * terms[:, 1:2]).sum(axis=0)))
    inflow = np.abs(m).max(axis=0)
    return np.asarray(worst / np.where(inflow > 0.0, inflow, 1.0))


def bench_profiles(model: BenchModel, found: Solution) -> tuple[Profile, ...]:
    """Static pressure and velocity along each plenum, before and after every station."""
    network = model.network
    n_p = network.n_pressures
    out = []
    for plenum in model.case.plenums:
        own = [s for s in model.built.stations if s.plenum == plenum.name]
        x, p, w, a = [], [], [], []
        for station in own:
            left, right = network.slot[station.name]
            k_l, k_r = station_flows(network, station.name)
            for slot, k in ((left, k_l), (right, k_r)):
                pressure = found.x[slot] + found.p_reference
                flow = found.x[n_p + k] if k >= 0 else np.zeros(network.batch)
                rho = pressure / (network.params.c_node[0] * 1.4)
                x.append(station.x_m)
                p.append(pressure)
                w.append(flow / (rho * station.area_m2))
                a.append(station.area_m2)
        out.append(Profile(plenum.name, np.array(x), np.array(p).T, np.array(w).T, np.array(a)))
    return tuple(out)


def station_flows(network: Network, name: str) -> tuple[int, int]:
    """Flow numbers at the left and right face of a station; -1 at an end wall."""
    left, _ = network.slot[name]
    top = network.topology
    dead = int(top.sizes[2])
    for row in top.station_i:
        if top.end_i[row[0], 0] == left:
            k_l, k_r = int(top.end_i[row[0], 1]), int(top.end_i[row[1], 1])
            return (-1 if k_l == dead else k_l), (-1 if k_r == dead else k_r)
    raise KeyError(name)
