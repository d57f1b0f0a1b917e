"""Valves of a case as flow areas, and what is assumed where the case is silent."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from distrib.build.draws import NOMINAL, Draws
from distrib.build.unknowns import FLOW_SIGMA, drawn_valve
from distrib.case.schema import Case, Valve
from distrib.engine.valves import (
    ValveFlow,
    discharge_scale_from_bench,
    exhaust_events,
    intake_events,
)
from distrib.errors import InputError, Problem
from distrib.gas.properties import density
from distrib.results import Assumed

WHY_VALVES = "usual for the bore of a modern four-valve head (common practice, no source)"


@dataclass(frozen=True)
class Ports:
    """Intake and exhaust valve sets of every cylinder."""

    intake: ValveFlow
    exhaust: ValveFlow
    assumed: tuple[Assumed, ...]


def ports(case: Case, draws: Draws = NOMINAL, k: int = 0) -> Ports:
    """Valve sets of a case, of sample k of `draws`; assumed ones are listed.

    Drawn are the timing, lift and size of valves that were assumed, and the flow of valves without
    a bench figure of the port or a coefficient of their own.
    """
    assumed: list[Assumed] = []
    intake, exhaust = case.engine.intake_valve, case.engine.exhaust_valve
    bore = case.engine.bore_m
    if intake is None:
        intake = Valve(count=2, diameter_m=0.39 * bore, max_lift_m=0.115 * bore, opens_deg=10.0,
                       closes_deg=50.0)
        assumed.append(Assumed("engine.intake_valve", _words(intake), WHY_VALVES))
        intake = drawn_valve(intake, draws, "intake_valve", k)
    if exhaust is None:
        exhaust = Valve(count=2, diameter_m=0.335 * bore, max_lift_m=0.11 * bore, opens_deg=52.0,
                        closes_deg=10.0)
        assumed.append(Assumed("engine.exhaust_valve", _words(exhaust), WHY_VALVES))
        exhaust = drawn_valve(exhaust, draws, "exhaust_valve", k)
    scale = _coefficient(draws, "intake_valve", k)
    events = intake_events(intake.opens_deg, intake.closes_deg)
    flow = _flow(intake, events, scale)
    port = case.engine.port_flow
    if port is not None:
        rho = float(density(case.conditions.ambient_pressure_pa,
                            case.conditions.ambient_temperature_k))
        bench = discharge_scale_from_bench(
            flow, port.flow_m3_s, port.depression_pa, port.lift_m, rho,
            case.conditions.ambient_pressure_pa)
        flow = _flow(intake, events, bench)
    out = _flow(exhaust, exhaust_events(exhaust.opens_deg, exhaust.closes_deg),
                _coefficient(draws, "exhaust_valve", k))
    return Ports(flow, out, tuple(assumed))


def _coefficient(draws: Draws, name: str, k: int) -> float:
    """Sample k of the factor on a handbook discharge coefficient."""
    return float(np.ravel(draws.factor(f"{name}.flow", FLOW_SIGMA))[k]) if draws.samples else 1.0


def lift_area_m2(case: Case, lift_m: float) -> float:
    """Effective area of one cylinder's intake valves at a lift."""
    return float(ports(case).intake.effective_area_at_lift_m2(lift_m))


def bench_lift_m(case: Case) -> float:
    """Valve lift of the rig with the head fitted; InputError when the case does not say."""
    if case.bench.valve_lift_m is None:
        raise InputError([Problem("bench.valve_lift", "nothing", "a lift, as the head is fitted")])
    return case.bench.valve_lift_m


def _flow(valve: Valve, events: tuple[float, float], scale: float = 1.0) -> ValveFlow:
    return ValveFlow(valve.count, valve.diameter_m, valve.stem_diameter_m, events[0], events[1],
                     valve.max_lift_m, valve.lift_table, valve.discharge_coefficient, scale)


def _words(valve: Valve) -> str:
    size = f"{valve.count} x {valve.diameter_m * 1e3:.1f} mm, lift {valve.max_lift_m * 1e3:.1f} mm"
    return f"{size}, opens {valve.opens_deg:g} deg, closes {valve.closes_deg:g} deg"
