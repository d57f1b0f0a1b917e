"""The injector sets of a case for the fuel arithmetic: one set, or the stages it lists."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from distrib.case.schema import Case, Injector
from distrib.case.stages import AT_CYLINDERS
from distrib.fuelling import (
    FuelProperties,
    InjectorSet,
    Stage,
    TrimError,
    fuel,
    trim_of_stage,
)
from distrib.results import FloatArray


@dataclass(frozen=True)
class FuelSet:
    """One set: what it shares and where, its injectors (None where the case does not give them).

    `place` is empty and `stage.name` too for the only set of a case without stages.
    `rail_pressure_pa` is the difference over the injector in use.
    """

    stage: Stage
    place: str
    injectors: InjectorSet | None
    rail_pressure_pa: float | None


def fuel_sets(case: Case) -> tuple[FuelSet, ...]:
    """The sets of a case in its order; a single unnamed one, trimmed, when it lists no stages.

    A set at the cylinders without an injector of its own has that of the fuel.
    """
    burned = fuel(case.fuel.kind, case.fuel.ethanol_volume_fraction)
    shared = case.fuel.injector
    if not case.fuel.stages:
        stage = Stage("", 1.0, False, True)
        return (_made(stage, "", shared, 1.0, burned),)
    out = []
    for given in case.fuel.stages:
        central = given.place not in AT_CYLINDERS
        stage = Stage(given.name, given.share, central, given.trimmed)
        injector = given.injector or (None if central else shared)
        per_cylinder = None if given.count is None else given.count / case.engine.cylinders
        out.append(_made(stage, given.place, injector, per_cylinder, burned))
    return tuple(out)


def _made(
    stage: Stage, place: str, given: Injector | None, per_cylinder: float | None,
    burned: FuelProperties,
) -> FuelSet:
    if given is None or per_cylinder is None:
        return FuelSet(stage, place, None, None)
    flow = given.static_flow_kg_s
    if flow is None and given.static_flow_m3_s is not None:
        flow = given.static_flow_m3_s * burned.density_kg_m3
    if flow is None:
        return FuelSet(stage, place, None, given.rail_pressure_pa)
    made = InjectorSet(flow, given.at_pressure_pa, given.dead_time_s, stage.name, stage.share,
                       stage.follows_air, per_cylinder)
    return FuelSet(stage, place, made, given.rail_pressure_pa)


def enlargement(case: Case) -> float:
    """Percent on the trimmed sets for one percent on all fuel at the ports: 1 without stages.

    TrimError when no set at the cylinders is trimmed, so that nothing can be corrected.
    """
    if not case.fuel.stages:
        return 1.0
    return float(trim_of_stage(1.0, [s.stage for s in fuel_sets(case)]))


def on_trimmed_sets(case: Case, port_percent: FloatArray) -> FloatArray:
    """Percent to set on the trimmed sets for percents of all fuel at the ports, any shape.

    TrimError when no set is trimmed, or when the trimmed ones would have to take fuel away.
    """
    made = np.asarray(port_percent * enlargement(case), dtype=np.float64)
    if np.any(made <= -100.0):
        raise TrimError("the trimmed injector sets carry too little fuel: at some cylinder they "
                        "would have to inject nothing or less. Trim further sets as well")
    return made
