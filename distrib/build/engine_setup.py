"""From a case to setups of the unsteady solver: the nominal design, or samples of all draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from distrib.build.draws import NOMINAL, Draws, parts_of
from distrib.build.engine_ducts import (
    FLANGED,
    Parts,
    add_entry,
    add_plenums,
    add_runner,
    add_tube,
)
from distrib.build.graph import BuiltGraph, build_graph, runner_order
from distrib.build.pipes import ROUGH_SIGMA
from distrib.build.ports import ports
from distrib.build.runners import PORT_SIGMA
from distrib.build.unknowns import (
    END_SIGMA,
    EXHAUST_ASSUMED_SIGMA,
    EXHAUST_SIGMA,
    PORT_LENGTH_SIGMA,
    ROD_SIGMA,
    ROUGH_ASSUMED_SIGMA,
    wall_excess_k,
    was_assumed,
)
from distrib.case.schema import Case
from distrib.engine.firing import tdc_offsets_deg
from distrib.gas.properties import gas_constant
from distrib.results import Assumed
from distrib.unsteady.cylinders import make_cylinders
from distrib.unsteady.setup import Cylinder, UnsteadySetup, Volume


@dataclass(frozen=True)
class CaseSetup:
    """A setup for one operating point and what belongs to it: the graph, who is where, notes."""

    setup: UnsteadySetup
    built: BuiltGraph
    plenum_ducts: dict[str, int]
    assumed: tuple[Assumed, ...]
    warnings: tuple[str, ...]


def case_setup(case: Case, rpm: float, charge_pressure_pa: float | None = None,
               charge_temperature_k: float | None = None) -> CaseSetup:
    """Setup of the nominal design at one operating point; conditions default to the case's.

    Cylinders are numbered in ascending order. Exhaust pressure keeps its ratio to the charge.
    """
    con = case.conditions
    pressure = con.charge_pressure_pa if charge_pressure_pa is None else charge_pressure_pa
    temperature = con.charge_temperature_k if charge_temperature_k is None else charge_temperature_k
    built = build_graph(case, charge_pressure_pa=pressure, charge_temperature_k=temperature)
    return _setup(_parts(case, built, NOMINAL, 0), rpm, pressure, temperature)


def drawn_setups(case: Case, rpm: float, draws: Draws, charge_pressure_pa: float | None = None,
                 charge_temperature_k: float | None = None) -> tuple[UnsteadySetup, ...]:
    """A setup for every sample of `draws`; the charge is drawn about the given state.

    Waves run with the speed of sound, so that tuning follows the charge temperature. The graph is
    built once with all samples as arrays.
    """
    con, sigma = case.conditions, case.uncertainty
    draws = parts_of(draws, (0, draws.samples))[0]  # draws every name once
    pressure = (con.charge_pressure_pa if charge_pressure_pa is None else charge_pressure_pa) \
        * np.asarray(draws.factor("conditions.charge_pressure",
                                  sigma.charge_pressure_percent / 100.0))
    temperature = (con.charge_temperature_k if charge_temperature_k is None
                   else charge_temperature_k) + sigma.charge_temperature_kelvin * np.asarray(
                       draws.z("conditions.charge_temperature"))
    built = build_graph(case, draws, charge_pressure_pa=pressure, charge_temperature_k=temperature)
    return tuple(_setup(_parts(case, built, draws, k), rpm, float(pressure[k]),
                        float(temperature[k])).setup for k in range(draws.samples))


def _parts(case: Case, built: BuiltGraph, draws: Draws, k: int) -> Parts:
    edges = {data["name"]: data for _, _, data in built.graph.edges(data=True)}
    parts = Parts(case, built, draws, k, edges)
    rough = ROUGH_SIGMA
    if was_assumed(case, "runners.roughness") or was_assumed(case, "plenum.roughness"):
        rough = ROUGH_ASSUMED_SIGMA
    parts.friction = parts.factor("law.friction", rough)
    parts.end_correction = FLANGED * parts.factor("law.end_correction", END_SIGMA)
    return parts


def _setup(parts: Parts, rpm: float, pressure: float, temperature: float) -> CaseSetup:
    """Put the parts of one sample together."""
    case, con, engine = parts.case, parts.case.conditions, parts.case.engine
    parts.volumes.append(Volume("charge", None, pressure, temperature))
    excess = wall_excess_k(parts.draws)
    if excess is not None and parts.number(excess) > 0.0:
        parts.wall_k = temperature + parts.number(excess)
    add_plenums(parts)
    for entry in case.entries:
        add_entry(parts, entry)
    order = runner_order(case)
    port_m = engine.port_length_m
    if was_assumed(case, "engine.port_length"):
        port_m *= parts.factor("engine.port_length", PORT_LENGTH_SIGMA)
    for runner in sorted(case.runners, key=lambda r: r.cylinder):
        add_runner(parts, runner, order.index(runner.cylinder), port_m)
    for number, tube in enumerate(case.balance_tubes, start=1):
        add_tube(parts, tube, number)
    setup = UnsteadySetup(
        ducts=tuple(parts.ducts), volumes=tuple(parts.volumes), junctions=parts.junctions,
        throttles=tuple(parts.throttles), cylinders=_cylinders(parts, order, pressure),
        jets=tuple(parts.jets), rpm=rpm, ambient_pressure_pa=pressure,
        ambient_temperature_k=temperature,
        gas_constant_j_kg_k=float(gas_constant(con.ambient_pressure_pa, con.ambient_temperature_k,
                                               con.relative_humidity)),
        record=tuple(parts.plenum_at.values()), title=case.title)
    return CaseSetup(setup, parts.built, dict(parts.plenum_at), tuple(parts.assumed),
                     tuple(parts.warnings))


def _cylinders(parts: Parts, order: Sequence[int], pressure: float) -> tuple[Cylinder, ...]:
    """Cylinders with their valves; drawn: port flow and exhaust pressure of each."""
    case, engine = parts.case, parts.case.engine
    valves = ports(case, parts.draws, parts.k)
    parts.assumed.extend(valves.assumed)
    offsets = np.asarray(tdc_offsets_deg(engine.firing_order, engine.firing_intervals_deg))
    exhaust = engine.exhaust_pressure_pa / case.conditions.charge_pressure_pa * pressure
    if was_assumed(case, "engine.exhaust_pressure"):
        exhaust *= parts.factor("engine.exhaust_pressure", EXHAUST_ASSUMED_SIGMA)
    rod = engine.rod_m
    if was_assumed(case, "engine.rod"):
        rod *= parts.factor("engine.rod", ROD_SIGMA)
    made = make_cylinders(
        offsets[np.array(order) - 1].tolist(), engine.bore_m, engine.stroke_m, rod,
        engine.compression_ratio, valves.intake, valves.exhaust, exhaust, case.fuel.lambda_target)
    return tuple(
        replace(one, intake_area_m2=one.intake_area_m2
                * parts.factor(f"made.port.{number}", PORT_SIGMA),
                exhaust_pressure_pa=one.exhaust_pressure_pa
                * parts.factor(f"exhaust_pressure.{number}", EXHAUST_SIGMA))
        for one, number in zip(made, order, strict=True))
