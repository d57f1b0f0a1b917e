"""A sound case that keeps every rule quiet, and helpers that spoil one thing. Invented figures."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from distrib.case import schema
from distrib.case.schema import Case
from distrib.results import Band, Shares, deviation_percent, spread_percent

STATIONS_M = (0.080, 0.172, 0.264, 0.356)
Change = Callable[[Case], Case]


def sound() -> Case:
    """Inline four, side entry with a cone, wide round plenum, everything on the drawing."""
    return Case(
        title="sound inline four",
        invented=True,
        cylinder_1_end="front",
        view="from the intake side",
        use="competition",
        engine=_engine(),
        conditions=schema.Conditions(
            rpm=(3000.0, 6500.0),
            ambient_pressure_pa=101325.0,
            ambient_temperature_k=295.0,
            charge_pressure_pa=200e3,
            charge_temperature_k=318.0,
            boosted=True,
            wanted_rpm=(4500.0, 6500.0),
        ),
        plenums=(_plenum(0.100),),
        entries=(_entry(),),
        runners=tuple(_runner(n + 1, x) for n, x in enumerate(STATIONS_M)),
        bench=schema.Bench(),
        fuel=schema.Fuel(
            kind="gasoline",
            lambda_target=0.8,
            injection="sequential",
            injector=injector(2.0e-5),
        ),
        structure=_structure(),
        drawing=_drawing(),
        tree={"runners": {"flange_step": "0 mm"}},
    )


def _engine() -> schema.Engine:
    return schema.Engine(
        layout="inline-4",
        cylinders=4,
        bore_m=0.086,
        stroke_m=0.086,
        rod_m=0.143, port_length_m=0.095,
        compression_ratio=9.5,
        firing_order=(1, 3, 4, 2),
        firing_intervals_deg=(180.0,) * 4,
        intake_valve=schema.Valve(
            count=2, diameter_m=0.034, max_lift_m=0.010, opens_deg=12.0, closes_deg=52.0
        ),
        exhaust_pressure_pa=200e3,
    )


def _plenum(diameter_m: float, length_m: float = 0.406) -> schema.Plenum:
    area = np.pi / 4.0 * diameter_m**2
    return schema.Plenum(
        length_m=length_m,
        shape="round",
        sections=(
            schema.Section(
                at_m=0.0,
                area_m2=float(area),
                perimeter_m=float(np.pi * diameter_m),
                diameter_m=diameter_m,
            ),
        ),
    )


def _entry() -> schema.Entry:
    return schema.Entry(
        kind="side",
        end="cylinder-1",
        at_m=0.0,
        aim_deg=90.0,
        diameter_m=0.075,
        length_m=0.2,
        diffuser=schema.Diffuser(length_m=0.110, exit_diameter_m=0.100),
        throttle=schema.Throttle(bore_m=0.075),
    )


def _runner(cylinder: int, station_m: float) -> schema.Runner:
    return schema.Runner(
        cylinder=cylinder,
        station_m=station_m,
        length_m=0.320,
        diameter_m=0.040,
        end_diameter_m=0.038,
        mouth="bell",
        mouth_radius_m=0.0085,
        bends=(schema.Bend(angle_deg=45.0, radius_m=0.070),),
        roof_clearance_m=0.060,
        wall_clearance_m=0.025,
        flange_step_m=0.0,
    )


def injector(flow_m3_s: float, by_mass: bool = False) -> schema.Injector:
    """Injector of a static flow (2.0e-5 m3/s is 1200 cc/min) at 3 bar."""
    flow = {"static_flow_kg_s": flow_m3_s * 745.0} if by_mass else {"static_flow_m3_s": flow_m3_s}
    return schema.Injector(
        at_pressure_pa=3e5, rail_pressure_pa=3e5, dead_time_s=((14.0, 1e-3),), **flow
    )


def _structure() -> schema.Structure:
    return schema.Structure(
        material="5083-H111 aluminium",
        yield_pa=125e6,
        weld_factor=0.7,
        wall_thickness_m=0.005,
        panel_width_m=0.060,
        panel_length_m=0.300,
        panel_edges="clamped",
        panel_welded=True,
        youngs_modulus_pa=70e9,
        lid="bolted",
        lid_width_m=0.100,
        lid_length_m=0.300,
        lid_bolts=14,
        lid_bolt_diameter_m=0.006,
        lid_bolt_class="8.8",
        joint="full penetration",
        flange_thickness_m=0.012,
        flange_flatness_m=0.0001,
        bolts_both_sides=True,
        bolt_span_m=0.080,
        machined_after_weld=True,
        test_pressure_pa=249.5e3,
        test_medium="water",
        relief=True,
    )


def _drawing() -> schema.Drawing:
    return schema.Drawing(
        marks=("cylinder 1", "view", "firing order", "inlet end"),
        services=(schema.Service(name="brake servo", place="plenum centre"),),
        services_complete=True,
        pressure_tap_at_m=0.200,
        temperature_sensor_at_m=0.060,
        temperature_sensor_soaked=False,
        injector_to_valve_m=0.110,
        injector_aim="valve",
        injectors_alike=True,
        lambda_bosses="each port",
        temperature_bosses="each port",
        bosses_alike=True,
        plenum_taps=3,
        clearance_m=0.018,
        brackets="one stay at the far end, rubber bush",
        thermal_growth="hose at the throttle",
        test_plan="water 1.48 bar gauge, then air 0.7 bar gauge",
        leak_test_pressure_pa=171325.0,
        bench_report=True,
        acceptance="no bubbles in 5 min",
        gasket="1.5 mm",
        gasket_larger_m=0.0015,
        cleaning=True,
    )


def shares(
    deviation: tuple[float, ...] = (-0.4, -0.1, 0.1, 0.4),
    model: str = "engine",
    chance_lean: float | None = None,
    chance_leanest: float = 0.9,
) -> Shares:
    """Shares of one model at two speeds with the given deviations in percent."""
    share = (1.0 + np.array([deviation, deviation]) / 100.0) / len(deviation)
    ones = np.ones_like(share)
    band = None
    if chance_lean is not None:
        leanest = np.full_like(share, (1.0 - chance_leanest) / (len(deviation) - 1))
        leanest[:, -1] = chance_leanest
        band = Band(
            level=0.9,
            low_percent=deviation_percent(share) - 1.0,
            high_percent=deviation_percent(share) + 1.0,
            chance_leanest=leanest,
            chance_lean=ones * chance_lean,
            spread_low_percent=np.array([0.5, 0.5]),
            spread_high_percent=np.array([9.0, 9.0]),
            samples=200,
            failed=0,
            seed=1,
        )
    return Shares(
        model=model,  # type: ignore[arg-type]
        title="invented",
        case_hash="",
        cylinders=np.arange(1, len(deviation) + 1),
        distance_from_entry_m=np.array(STATIONS_M),
        conditions={"rpm": np.array([3000.0, 6500.0])},
        air_kg_s=share * np.array([[0.1], [0.23]]),
        share=share,
        deviation_percent=deviation_percent(share),
        spread_percent=spread_percent(share),
        converged=np.array([True, True]),
        mass_residual=np.zeros(2),
        reason=("", ""),
        band=band,
    )


def two_plenums(tube_diameter_m: float) -> Change:
    """Cylinders 3 and 4 on a second plenum that lives on a balance tube."""

    def change(case: Case) -> Case:
        first = _plenum(0.100, 0.222)
        second = first.model_copy(update={"name": "second"})
        moved = [
            r.model_copy(update={"plenum": "second", "station_m": r.station_m - 0.184})
            if r.cylinder > 2
            else r
            for r in case.runners
        ]
        tube = schema.BalanceTube(
            from_plenum="main",
            from_at_m=0.150,
            to_plenum="second",
            to_at_m=0.0,
            diameter_m=tube_diameter_m,
            length_m=0.1,
        )
        return case.model_copy(
            update={
                "plenums": (first, second),
                "runners": tuple(moved),
                "balance_tubes": (tube,),
            }
        )

    return change


def part(name: str, **values: Any) -> Change:
    """Change fields of one part: engine, conditions, structure, drawing, fuel, limits."""

    def change(case: Case) -> Case:
        old = getattr(case, name)
        return case.model_copy(update={name: old.model_copy(update=values)})

    return change


def valve(**values: Any) -> Change:
    """Change the intake valve."""

    def change(case: Case) -> Case:
        new = case.engine.intake_valve.model_copy(update=values)  # type: ignore[union-attr]
        return part("engine", intake_valve=new)(case)

    return change


def plenum(diameter_m: float = 0.100, length_m: float = 0.406, **values: Any) -> Change:
    """Another round plenum."""
    made = _plenum(diameter_m, length_m).model_copy(update=values)
    return lambda case: case.model_copy(update={"plenums": (made,)})


def entry(**values: Any) -> Change:
    """Change fields of the entry."""
    return lambda case: case.model_copy(
        update={"entries": (case.entries[0].model_copy(update=values),)}
    )


def throttle(**values: Any) -> Change:
    """Change fields of the throttle."""

    def change(case: Case) -> Case:
        old = case.entries[0].throttle
        return entry(throttle=old.model_copy(update=values))(case)  # type: ignore[union-attr]

    return change


def runners(**values: Any) -> Change:
    """Change all runners."""
    return lambda case: case.model_copy(
        update={"runners": tuple(r.model_copy(update=values) for r in case.runners)}
    )


def runner(cylinder: int, **values: Any) -> Change:
    """Change one runner."""
    return lambda case: case.model_copy(
        update={
            "runners": tuple(
                r.model_copy(update=values) if r.cylinder == cylinder else r for r in case.runners
            )
        }
    )


def top(**values: Any) -> Change:
    """Change top fields of the case."""
    return lambda case: case.model_copy(update=values)


def both(*changes: Change) -> Change:
    """Several changes, one after the other."""

    def change(case: Case) -> Case:
        for one in changes:
            case = one(case)
        return case

    return change


def same(case: Case) -> Case:
    """No change."""
    return case
