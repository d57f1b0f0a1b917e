"""The phased model: the case's network stepped through the crank cycle with storage."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from distrib.build.bench import station_flows
from distrib.build.collect import shares_result
from distrib.build.draws import NOMINAL, Draws
from distrib.build.graph import BuiltGraph, build_graph, runner_order
from distrib.build.pipes import circle_m2
from distrib.build.ports import Ports, ports
from distrib.build.runners import PORT_SIGMA
from distrib.case.geometry import cylinder_volume_m3
from distrib.case.schema import Case
from distrib.engine.closed import DEFAULT_CLOSED, heat_released
from distrib.engine.firing import tdc_offsets_deg
from distrib.errors import InputError, Problem
from distrib.gas.properties import gas_constant
from distrib.kernels import in_parts
from distrib.network.compiled import Network, compile_graph
from distrib.network.newton import Options
from distrib.network.solve import Plan, plan
from distrib.network.start import linear_start
from distrib.phased.cycle import run_blocks
from distrib.phased.state import Conditions, Engine
from distrib.results import Assumed, FloatArray, Profile, Shares
from distrib.vectors import LANES

STEPS = 360
"""Steps per cycle. Halving the step moves the deviations of the demonstration cases by less than
0.005 percent points (measured 0.003; see tests/phased)."""
CYCLES = 60
"""Most cycles before a case counts as not repeating."""
REPEATS = 1e-6
"""A case repeats when no cylinder's trapped air moves by more than this part."""
EXHAUST_K = 1000.0
WHY_EXHAUST = "gas that comes back through the exhaust valve; usual order (from memory)"
PORTIONS = 4
"""Parts of a batch for each thread: few enough to cost nothing, enough that a busy core can leave
work to the other."""
PORT_PART = 0.9
"""Largest effective valve area as a part of the port flange (own choice, see `_intake_table`)."""
START_FLOW = 0.01
"""Flow of every duct at the start, as a part of the flow scale."""
PRESSURE_SCALE = 0.05
"""Pressure scale of the residuals as a part of the charge pressure."""


@dataclass(frozen=True)
class PhasedModel:
    """Everything a phased run needs, for a batch of points times samples."""

    case: Case
    built: BuiltGraph
    network: Network
    plan: Plan
    engine: Engine
    conditions: Conditions
    start: FloatArray
    points: int
    assumed: tuple[Assumed, ...]


@dataclass(frozen=True)
class PhasedRun:
    """Raw outcome of a batch (B): trapped air, means over the last cycle, audit."""

    trapped_kg: FloatArray
    charge_kg: FloatArray
    mean: FloatArray
    low: FloatArray
    mass_residual: FloatArray
    cycles: NDArray[np.int64]
    change: FloatArray
    trace: FloatArray
    final: FloatArray


def operating_points(
    case: Case, rpm: ArrayLike | None, charge_pressure_pa: ArrayLike | None,
    charge_temperature_k: ArrayLike | None,
) -> dict[str, FloatArray]:
    """Broadcast conditions to (P,), defaults from the case. InputError for impossible values."""
    speed = np.asarray(case.conditions.rpm if rpm is None else rpm, dtype=float)
    pressure = np.asarray(case.conditions.charge_pressure_pa if charge_pressure_pa is None
                          else charge_pressure_pa, dtype=float)
    temperature = np.asarray(case.conditions.charge_temperature_k if charge_temperature_k is None
                             else charge_temperature_k, dtype=float)
    try:
        table = np.broadcast_arrays(np.atleast_1d(speed), pressure, temperature)
    except ValueError as error:
        raise InputError([Problem("conditions", str(error), "arrays that broadcast")]) from error
    names = ("rpm", "charge_pressure_pa", "charge_temperature_k")
    wrong = [Problem(n, f"{v}", "above zero") for n, v in zip(names, table, strict=True)
             if not np.all(v > 0.0)]
    if wrong:
        raise InputError(wrong)
    return {n: np.array(v, dtype=float) for n, v in zip(names, table, strict=True)}


def phased_model(
    case: Case, points: Mapping[str, FloatArray], draws: Draws = NOMINAL, *,
    steps: int = STEPS, cycles: int = CYCLES, forced: bool = False,
    forced_drop_pa: float | None = None,
) -> PhasedModel:
    """Build the phased model for (P,) points, each with all samples of `draws`.

    forced: every intake valve stays at its largest area and every cylinder is a pool
    `forced_drop_pa` below the charge; the model must then give the bench figure.
    """
    count = points["rpm"].shape[0]
    samples = max(draws.samples, 1)
    draws = replace(draws, repeat=count)
    spread = {k: np.repeat(v, samples) for k, v in points.items()}
    ratio = case.engine.exhaust_pressure_pa / case.conditions.charge_pressure_pa
    built = build_graph(case, draws, charge_pressure_pa=spread["charge_pressure_pa"],
                        charge_temperature_k=spread["charge_temperature_k"])
    valves = ports(case)
    network = _network(case, built, spread, ratio, draws)
    scalars = _scales(case, network, spread, forced_drop_pa)
    network = replace(
        network, params=network.params._replace(scalars=scalars),
        x_fixed=network.x_fixed - scalars[0],
    )
    con = _conditions(case, network, spread, draws, forced)
    network = replace(network, params=network.params._replace(
        storage=_typical_storage(network, con, steps)))
    made = plan(network, valves_close=True)
    engine = _engine(case, network, valves, steps, cycles, built)
    start = linear_start(network, built.graph)
    start[:-network.x_fixed.shape[0]] = 0.0
    # a little flow everywhere: in a loop of ducts exact rest leaves the flows undetermined
    for k, (_, _, edge) in enumerate(built.graph.edges(data=True)):
        if edge["kind"] != "nozzle":
            start[network.n_pressures + k] = START_FLOW * (1.0 + 0.1 * k) * scalars[1]
    more = (*valves.assumed, Assumed("exhaust gas temperature", f"{EXHAUST_K:g} K", WHY_EXHAUST))
    return PhasedModel(case, built, network, made, engine, con, start, count, more)


def _network(case: Case, built: BuiltGraph, spread: Mapping[str, FloatArray], ratio: float,
             draws: Draws) -> Network:
    for runner in case.runners:
        built.flow.graph.add_node(f"cylinder {runner.cylinder}", kind="cylinder",
                                  volume_m3=cylinder_volume_m3(case))
    # the exhaust must be the last node: its gas is burned gas
    built.flow.reservoir("exhaust", spread["charge_pressure_pa"] * ratio, EXHAUST_K)
    for runner in case.runners:
        c = runner.cylinder
        made = 1.0 + case.uncertainty.tolerance_m / runner.end_diameter_m * draws.z(
            f"made.runner.{c}.diameter")
        built.flow.nozzle(f"intake valve {c}", f"port {c}", f"cylinder {c}",
                          circle_m2(runner.end_diameter_m * made), 1e-4, cylinder=c)
        built.flow.nozzle(f"exhaust valve {c}", f"cylinder {c}", "exhaust", 1e3, 1e-4, cylinder=c)
    gas = float(gas_constant(case.conditions.ambient_pressure_pa,
                             case.conditions.ambient_temperature_k,
                             case.conditions.relative_humidity))
    network = compile_graph(built.graph, gas_constant=gas, storing=True)
    # nodes start at the charge temperature, not at the exhaust's
    c_node = network.params.c_node.copy()
    c_charge = c_node[network.temperature_node["charge"]]
    for name, number in network.temperature_node.items():
        if name != "exhaust":
            c_node[number] = c_charge
    return replace(network, params=network.params._replace(c_node=c_node))


def _scales(case: Case, network: Network, spread: Mapping[str, FloatArray],
            drop_pa: float | None) -> FloatArray:
    p_ref = spread["charge_pressure_pa"]
    rho = p_ref / (1.4 * network.params.c_node[network.temperature_node["charge"]])
    flow = rho * cylinder_volume_m3(case) * spread["rpm"] / 15.0
    dp = PRESSURE_SCALE * p_ref if drop_pa is None else np.full_like(p_ref, drop_pa)
    smoothing = np.full_like(p_ref, 1e-3 if drop_pa is None else 1e-4)
    return np.stack([p_ref, flow, dp, smoothing])


def _typical_storage(network: Network, con: Conditions, steps: int) -> FloatArray:
    """Storage coefficients of the first step, so that the elimination order suits all others."""
    nodes = network.topology.mass_i[:, 5]
    per_second = 6.0 * con.rpm * steps / 720.0
    return np.asarray(con.volume / (1.96 * network.params.c_node[nodes]) * per_second)


def _intake_table(case: Case, valves: Ports, built: BuiltGraph) -> FloatArray:
    """Effective intake area over the cycle, at most PORT_PART of the narrowest port flange.

    A valve that opens wider than its port passes what the port passes; without that limit the
    head in the port would drive the flow uphill. A result says when the limit acted.
    """
    table = valves.intake.area_table(1440)
    limit = PORT_PART * min(float(circle_m2(r.end_diameter_m)) for r in case.runners)
    if table.max() > limit:
        built.book.remark("ports", "the valves open wider than the port flange: their effective "
                          f"area counts as at most {PORT_PART:g} of it in the phased model")
    return np.minimum(table, limit)


def _engine(case: Case, network: Network, valves: Ports, steps: int, cycles: int,
            built: BuiltGraph) -> Engine:
    e = case.engine
    order = runner_order(case)
    offsets = tdc_offsets_deg(e.firing_order, e.firing_intervals_deg)
    rows = [(network.mass_row[f"cylinder {c}"], network.nozzle[f"intake valve {c}"],
             network.nozzle[f"exhaust valve {c}"]) for c in order]
    closed = DEFAULT_CLOSED
    intake = _intake_table(case, valves, built)
    return Engine(
        np.array([e.bore_m, e.stroke_m, e.rod_m, e.compression_ratio]),
        np.array([valves.exhaust.open_deg % 720.0, valves.intake.close_deg % 720.0,
                  intake.max()]),
        np.array([closed.compression_exponent, closed.expansion_exponent,
                  closed.burned_cv_j_kg_k]),
        np.asarray(offsets, dtype=float)[np.array(order) - 1],
        intake, valves.exhaust.area_table(1440),
        np.array(rows, dtype=np.int64), np.array([steps, cycles]),
    )


def _conditions(case: Case, network: Network, spread: Mapping[str, FloatArray], draws: Draws,
                forced: bool) -> Conditions:
    order = runner_order(case)
    batch = network.batch
    port = np.ones((len(order), batch))
    for i, c in enumerate(order):
        port[i] = draws.factor(f"made.port.{c}", PORT_SIGMA)
    volume = np.zeros((len(network.mass_row), batch))
    for name, row in network.mass_row.items():
        volume[row] = network.volume[name]
    heat = float(heat_released(1.0, case.fuel.lambda_target, DEFAULT_CLOSED))
    c = network.params.c_node[network.temperature_node["charge"]]
    return Conditions(
        spread["rpm"], port, np.full(batch, heat), volume,
        1.4 * c / spread["charge_temperature_k"], np.full(batch, float(forced)),
    )


def run_phased(
    model: PhasedModel, threads: int = 1, *, seed: FloatArray | None = None,
    repeats: float = REPEATS,
) -> PhasedRun:
    """Run every case of the batch until it repeats; `final` holds the state each ended with.

    seed: states (rows, B) of a like model to start from, as `PhasedRun.final`; None: from rest.
    repeats: largest relative change of trapped air from cycle to cycle that counts as repeating.
    """
    x = np.ascontiguousarray(model.start)
    batch, slots = x.shape[1], x.shape[0]
    n = model.engine.row.shape[0]
    trapped = np.full((2 * n, batch), np.nan)
    mean = np.full((slots, batch), np.nan)
    low = np.full((slots, batch), np.nan)
    end = np.zeros((len(model.network.mass_row), 2, batch))
    cycles = np.zeros(batch, dtype=np.int64)
    change = np.zeros(batch)
    trace = np.zeros((slots, int(model.engine.steps[0])))
    start = np.zeros((0, 0)) if seed is None else np.ascontiguousarray(seed)
    final = np.zeros((_state_rows(model), batch))
    blocks = -(-batch // LANES)

    def run(first: int, last: int) -> None:
        run_blocks(model.plan.topology, model.network.params, model.plan.program,
                   model.plan.jacobian_rows, model.engine, model.conditions, x,
                   Options(tolerance=1e-7), repeats, trapped, mean, low, end, cycles, change,
                   trace, start, final, first, last)

    in_parts(run, blocks, threads, PORTIONS)
    return PhasedRun(trapped[0::2], trapped[1::2], mean, low, _audit(model, mean, end), cycles,
                     change, trace, final)


def _state_rows(model: PhasedModel) -> int:
    """Rows of a packed state: x, four tables of nodes and cylinders, two of temperatures."""
    nodes = len(model.network.mass_row)
    cylinders = int(model.engine.row.shape[0])
    temperatures = int(model.network.params.c_node.shape[0])
    return int(model.start.shape[0]) + 3 * nodes + 6 * cylinders + 2 * temperatures


def _audit(model: PhasedModel, mean: FloatArray, end: FloatArray) -> FloatArray:
    """Mass that came in less mass that went out less mass stored, over what came in, (B,)."""
    n_p = model.network.n_pressures
    period = 120.0 / model.conditions.rpm
    inflow = np.zeros(mean.shape[1])
    out = np.zeros(mean.shape[1])
    for u, v, d in model.built.graph.edges(data=True):
        flow = mean[n_p + model.network.flow[d["name"]]] * period
        inflow += flow if u == "charge" else 0.0
        out += flow if v == "exhaust" else 0.0
    stored = (end[:, 1] - end[:, 0]).sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.abs(inflow - out - stored) / np.abs(inflow))


def reasons(model: PhasedModel, run: PhasedRun) -> tuple[str, ...]:
    """Why a case gave no numbers; empty text where it did."""
    out = []
    for cycles, change in zip(run.cycles, run.change, strict=True):
        if cycles > 0:
            out.append("")
        elif cycles == 0:
            out.append(f"no repeating cycle after {int(model.engine.steps[1])} cycles: trapped air "
                       f"still moves by {change:.1e} a cycle")
        else:
            name = model.network.equations[min(-int(cycles), len(model.network.equations)) - 1]
            out.append(f"a time step was not solved: equation '{name}'")
    return tuple(out)


def solve_phased(
    case: Case, *, rpm: ArrayLike | None = None, charge_pressure_pa: ArrayLike | None = None,
    charge_temperature_k: ArrayLike | None = None, steps: int = STEPS, cycles: int = CYCLES,
    threads: int = 1,
) -> Shares:
    """Shares of the phased model at (P,) points; conditions broadcast, defaults from the case.

    A cylinder's air is the fresh air trapped when its intake valve closes, times rpm/120. Exhaust
    pressure keeps its ratio to the charge pressure of the case. Points that fail are NaN with a
    reason. `extra`: residual_share, port_pressure_pa (P, N); cycles, change_of_last_cycle (P,).
    """
    points = operating_points(case, rpm, charge_pressure_pa, charge_temperature_k)
    model = phased_model(case, points, steps=steps, cycles=cycles)
    run = run_phased(model, threads)
    return phased_shares(model, points, run)


def phased_shares(model: PhasedModel, points: Mapping[str, FloatArray], run: PhasedRun) -> Shares:
    """The result of a nominal phased run."""
    case = model.case
    trapped = run.trapped_kg.T
    rho = points["charge_pressure_pa"] / (model.conditions.gas * points["charge_temperature_k"])
    efficiency = trapped / (rho[:, None] * cylinder_volume_m3(case))
    residual = 1.0 - trapped / run.charge_kg.T
    return shares_result(
        case, "phased", trapped * points["rpm"][:, None] / 120.0, points, run.cycles > 0,
        run.mass_residual, reasons(model, run), model.built, phased_profiles(model, run),
        more_assumed=model.assumed, trapped_air_kg=trapped, volumetric_efficiency=efficiency,
        extra={"residual_share": residual, "cycles": run.cycles.astype(float),
               "change_of_last_cycle": run.change, "port_pressure_pa": port_pressure(model, run)},
    )


def port_pressure(model: PhasedModel, run: PhasedRun) -> FloatArray:
    """Static pressure at the runner's end at the head, mean over the last cycle, (B, N) Pa.

    Columns in the order of the results; NaN where the case does not repeat.
    """
    network = model.network
    slots = [network.slot[f"port {c}"][0] for c in runner_order(model.case)]
    pressure = run.mean[slots] + network.params.scalars[0]
    return np.asarray(np.where(run.cycles > 0, pressure, np.nan).T)


def phased_profiles(model: PhasedModel, run: PhasedRun) -> tuple[Profile, ...]:
    """Mean static pressure and velocity along each plenum over the last cycle."""
    network = model.network
    n_p = network.n_pressures
    p_ref = network.params.scalars[0]
    c = network.params.c_node[network.temperature_node["charge"]]
    out = []
    for plenum in model.case.plenums:
        x, p, w, a = [], [], [], []
        for station in (s for s in model.built.stations if s.plenum == plenum.name):
            for slot, k in zip(network.slot[station.name], station_flows(network, station.name),
                               strict=True):
                pressure = run.mean[slot] + p_ref
                flow = run.mean[n_p + k] if k >= 0 else np.zeros(network.batch)
                x.append(station.x_m)
                p.append(pressure)
                w.append(flow * 1.4 * c / (pressure * station.area_m2))
                a.append(station.area_m2)
        out.append(Profile(plenum.name, np.array(x), np.array(p).T, np.array(w).T, np.array(a)))
    return tuple(out)
