"""Engine side of the models: crank, valves, firing order, closed cycle. Knows no case file."""

from __future__ import annotations

from distrib.engine.closed import (
    ClosedCycle,
    closed_pressure,
    heat_released,
    state_at_exhaust_opening,
)
from distrib.engine.firing import (
    COMMON_ORDERS,
    default_order,
    even_intervals,
    order_problems,
    tdc_offsets_deg,
)
from distrib.engine.kinematics import (
    cylinder_volume,
    cylinder_volume_per_degree,
    displacement,
    engine_air_flow,
    mach_index,
    mean_piston_speed,
    piston_speed,
    piston_travel,
    volumetric_efficiency,
)
from distrib.engine.valves import (
    ValveFlow,
    bench_effective_area,
    discharge_coefficient,
    discharge_scale_from_bench,
    exhaust_events,
    intake_events,
    lift_profile,
)

__all__ = [
    "COMMON_ORDERS", "ClosedCycle", "ValveFlow", "bench_effective_area",
    "closed_pressure", "cylinder_volume", "cylinder_volume_per_degree", "default_order",
    "discharge_coefficient", "discharge_scale_from_bench", "displacement", "engine_air_flow",
    "even_intervals", "exhaust_events", "heat_released", "intake_events", "lift_profile",
    "mach_index", "mean_piston_speed", "order_problems",
    "piston_speed", "piston_travel", "state_at_exhaust_opening", "tdc_offsets_deg",
    "volumetric_efficiency",
]
