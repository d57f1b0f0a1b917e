"""From a case and its flow graph to the ducts, ends and cylinders of the unsteady solver.

Geometry comes from the case, every loss from the edges of the one graph that bench and phased
read. What the graph keeps at points is spread or placed here: pipe losses over the pipe's length,
run losses and mouth losses at the take-offs, the entry's sudden widening in the junction with the
plenum's end. Losses that differ with direction inside a pipe keep the forward value both ways.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from distrib.build.draws import NOMINAL, Draws
from distrib.build.graph import BuiltGraph, build_graph, runner_order
from distrib.build.pipes import ROUGH_SIGMA, circle_m2
from distrib.build.ports import ports
from distrib.build.runners import PORT_SIGMA, made_diameter
from distrib.case.geometry import section_volume_m3
from distrib.case.schema import Case, Entry, Plenum, Runner
from distrib.engine.firing import tdc_offsets_deg
from distrib.gas.properties import gas_constant
from distrib.results import Assumed, FloatArray
from distrib.unsteady.cylinders import make_cylinders
from distrib.unsteady.setup import (
    Closed,
    Duct,
    End,
    TakeOff,
    Throttle,
    ToJunction,
    ToThrottle,
    ToValve,
    ToVolume,
    UnsteadySetup,
    Volume,
)

FLANGED = 0.8216
"""End correction of a flanged open end over its radius: Norris and Sheng (1989), row ac.fl."""
SHORTEST_M = 0.02
"""Ducts below this would force needlessly small time steps; they are lengthened, with a warning."""
PROFILE_POINTS = 33
PART_OPEN_DEG = 89.0
"""Plate angle from which a throttle counts as wide open and acts by its loss alone."""


@dataclass
class Parts:
    """Collects what becomes the setup; positions are list positions.

    friction: factor on wall friction; made: bore of each runner over the drawn one. Both are 1 in
    the nominal design.
    """

    friction: float = 1.0
    made: dict[int, float] = field(default_factory=dict)
    ducts: list[Duct] = field(default_factory=list)
    throttles: list[Throttle] = field(default_factory=list)
    jets: list[tuple[int, str]] = field(default_factory=list)
    junctions: int = 0
    plenum_at: dict[str, int] = field(default_factory=dict)
    entry_at: dict[str, int] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class CaseSetup:
    """A setup for one operating point and what belongs to it: the graph, who is where, notes."""

    setup: UnsteadySetup
    built: BuiltGraph
    plenum_ducts: dict[str, int]
    assumed: tuple[Assumed, ...]
    warnings: tuple[str, ...]


def _edge(built: BuiltGraph, name: str) -> dict[str, Any]:
    for _, _, data in built.graph.edges(data=True):
        if data["name"] == name:
            return dict(data)
    raise KeyError(name)


def _has(built: BuiltGraph, name: str) -> bool:
    return any(d["name"] == name for _, _, d in built.graph.edges(data=True))


def _number(value: Any) -> float:
    return float(np.asarray(value, dtype=float).reshape(-1)[0])


def _cone(length: float, d0: float, d1: float, start: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Profile points of a straight cone: positions and areas."""
    x = np.linspace(0.0, length, 9 if d0 != d1 else 2)
    d = d0 + (d1 - d0) * x / length
    return start + x, np.asarray(circle_m2(d))


def _long_enough(parts: Parts, name: str, length: float) -> float:
    if length >= SHORTEST_M:
        return length
    parts.warnings.append(f"{name}: {length * 1e3:.0f} mm long, taken as {SHORTEST_M * 1e3:.0f} mm "
                          "in the engine model (shorter ducts only shrink the time step)")
    return SHORTEST_M


def _plenum_profile(parts: Parts, plenum: Plenum) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Positions, areas, hydraulic diameters; areas scaled to the given volume if there is one."""
    x = np.linspace(0.0, plenum.length_m, PROFILE_POINTS)
    if plenum.profile == "step":
        steps = np.array([s.at_m for s in plenum.sections if 0.0 < s.at_m < plenum.length_m])
        x = np.unique(np.concatenate([x, steps, steps - 1e-5]))
    area = np.asarray(plenum.area_m2(x), dtype=float)
    diameter = np.asarray(plenum.hydraulic_diameter_m(x), dtype=float)
    if plenum.volume_m3 is not None:
        scale = plenum.volume_m3 / section_volume_m3(plenum.sections, plenum.length_m,
                                                     plenum.profile)
        if abs(scale - 1.0) > 0.01:
            parts.warnings.append(f"plenum {plenum.name}: sections widened by {scale:.3f} in the "
                                  "engine model so that the volume is the given one")
        area, diameter = area * scale, diameter * math.sqrt(scale)
    return x, area, diameter


def _add_plenums(parts: Parts, case: Case, built: BuiltGraph) -> None:
    """Plenum ducts, with the junctions of their side entries at the ends."""
    for plenum in case.plenums:
        x, area, diameter = _plenum_profile(parts, plenum)
        ends: list[End] = []
        for end in ("cylinder-1", "far"):
            own = [e for e in case.entries if e.plenum == plenum.name and e.kind == "side"
                   and ("far" if e.end == "far" else "cylinder-1") == end]
            if not own:
                ends.append(Closed())
                continue
            side = "u" if end == "far" else "v"
            dumps = [_edge(built, f"entry {e.name} dump") for e in own]
            enters = max(_number(d[f"k_{side}_{'back' if end == 'far' else 'forward'}"])
                         for d in dumps)
            leaves = max(_number(d[f"k_{side}_{'forward' if end == 'far' else 'back'}"])
                         for d in dumps)
            ends.append(ToJunction(parts.junctions, True, leaves, enters))
            for e in own:
                parts.entry_at[e.name] = parts.junctions
            parts.junctions += 1
        parts.plenum_at[plenum.name] = len(parts.ducts)
        parts.ducts.append(Duct(f"plenum {plenum.name}", x, area, ends[0], ends[1],
                                hydraulic_diameter_m=diameter, roughness_m=plenum.roughness_m,
                                friction=parts.friction))


def _entry_end(parts: Parts, case: Case, entry: Entry, built: BuiltGraph, bore: float) -> End:
    """Where an entry meets its plenum."""
    if entry.kind == "side":
        dump = _edge(built, f"entry {entry.name} dump")
        far = entry.end == "far"
        leaves = _number(dump["k_v_back" if far else "k_u_forward"])
        enters = _number(dump["k_v_forward" if far else "k_u_back"])
        return ToJunction(parts.entry_at[entry.name], True, leaves, enters)
    mouth = _edge(built, f"entry {entry.name} inflow")
    k = (1.0, 0.0, _number(mouth["k_vv"]), 1.0, 0.0, 2.0, 1.0)
    lean = math.sin(math.radians(entry.tilt_deg)) if entry.kind == "center" else 0.0
    plenum = next(p for p in case.plenums if p.name == entry.plenum)
    return TakeOff(parts.plenum_at[plenum.name], entry.at_m, bore, k, k,
                   loss_out=max(_number(mouth["k_exit"]) - 1.0, 0.0), join_cos=lean)


def _add_entry(parts: Parts, case: Case, entry: Entry, built: BuiltGraph) -> None:
    """Entry pipe with its cone as one duct; a part-open throttle parts it in the middle."""
    name = f"entry {entry.name}"
    pipe = _edge(built, f"{name} pipe")
    length = _long_enough(parts, name, entry.length_m)
    x, area = _cone(length, entry.diameter_m, entry.diameter_m)
    k = _number(pipe["k_v_forward"])
    losses = [(0.0, length, k)] if k > 0.0 else []
    bore = entry.diameter_m
    if entry.diffuser is not None:
        bore = entry.diffuser.exit_diameter_m
        more, wide = _cone(entry.diffuser.length_m, entry.diameter_m, bore, length)
        x, area = np.append(x, more[1:]), np.append(area, wide[1:])
        cone = _edge(built, f"{name} cone")
        loss = _number(cone["k_u_forward"]) + _number(cone["k_v_forward"])
        if loss > 0.0:
            losses.append((length, float(x[-1]), loss))
    rough = entry.roughness_m
    smooth = entry.loss is not None
    end = _entry_end(parts, case, entry, built, bore)
    plate = entry.throttle
    if plate is not None and plate.plate_angle_deg < PART_OPEN_DEG and not smooth:
        throat = circle_m2(entry.diameter_m) / math.sqrt(1.0 + k)
        parts.warnings.append(f"{name}: the part-open throttle acts in the engine model as a throat "
                              "of the same loss; all losses of the pipe stand there")
        half = 0.5 * length
        number = len(parts.throttles)
        parts.throttles.append(Throttle(name, throat))
        parts.ducts.append(Duct(f"{name} before throttle", np.array([0.0, half]), area[:2],
                                ToVolume(0), ToThrottle(number), roughness_m=rough,
                                friction=parts.friction))
        keep = np.concatenate([[half], x[x > half]]) - half
        losses = [(a - half, b - half, v) for a, b, v in losses if a > half]
        x, area = keep, np.append(area[0], area[x > half])
        start: End = ToThrottle(number)
    else:
        start = ToVolume(0)
    parts.entry_at[entry.name] = len(parts.ducts)
    parts.ducts.append(Duct(name, x, area, start, end, roughness_m=rough,
                            friction=0.0 if smooth else parts.friction, losses=tuple(losses)))


def _jets(parts: Parts, built: BuiltGraph, cylinder: int) -> tuple[tuple[int, float], ...]:
    """Jets at the mouth of a runner, as (jet number, coefficient)."""
    out: list[tuple[int, float]] = []
    for row in built.graph.graph["jets"]:
        mouth, duct, c = row[0], row[1], _number(row[2])
        if mouth != f"runner {cylinder} mouth" or c == 0.0:
            continue
        entry = duct.removeprefix("entry ").removesuffix(" pipe").removesuffix(" cone")
        where = (parts.entry_at[entry], "right")
        if where not in parts.jets:
            parts.jets.append(where)
        out.append((parts.jets.index(where), c))
    return tuple(out)


def _run_law(built: BuiltGraph, plenum: str, x_m: float) -> tuple[float, float, float, float]:
    own = [s for s in built.stations if s.plenum == plenum]
    station = min(own, key=lambda s: abs(s.x_m - x_m))
    c0, c1, c2, c8 = (_number(c) for c in built.graph.nodes[station.name]["run"])
    return c0, c1, c2, c8


def _add_runner(parts: Parts, built: BuiltGraph, runner: Runner, cylinder: int,
                port_m: float) -> None:
    """Runner and port passage as one duct from the mouth to the valve."""
    c = runner.cylinder
    name = f"runner {c}"
    edge = _edge(built, name)
    mouth = _edge(built, f"{name} mouth")
    length = _long_enough(parts, name, runner.length_m)
    made = parts.made[c]
    bore = runner.diameter_m * made
    x, area = _cone(length, bore, runner.end_diameter_m * made)
    if port_m > 0.0:
        x, area = np.append(x, length + port_m), np.append(area, area[-1])
    near, far = (_number(edge["k_u_forward"]), _number(edge["k_v_forward"]))
    losses = [(a, b, k) for a, b, k in ((0.0, 0.5 * length, near), (0.5 * length, length, far))
              if k > 0.0]
    a0, a1, q1, a2 = (_number(v) for v in mouth["factor"])
    k_ww, k_vv = _number(mouth["k_ww"]), _number(mouth["k_vv"])
    left = (k_ww, _number(mouth["k_wv_left"]), k_vv, a0, a1, q1, a2)
    right = (k_ww, _number(mouth["k_wv_right"]), k_vv, a0, a1, q1, a2)
    take_off = TakeOff(
        parts.plenum_at[runner.plenum], runner.station_m, bore, left, right,
        run=_run_law(built, runner.plenum, runner.station_m),
        loss_out=max(_number(mouth["k_exit"]) - 1.0, 0.0), jets=_jets(parts, built, c),
        end_correction_m=FLANGED * 0.5 * bore)
    parts.ducts.append(Duct(name, x, area, take_off, ToValve(cylinder),
                            roughness_m=runner.roughness_m,
                            friction=parts.friction if runner.loss is None else 0.0,
                            losses=tuple(losses)))


def _add_tube(parts: Parts, built: BuiltGraph, tube: Any, number: int) -> None:
    name = f"balance tube {number}"
    edge = _edge(built, name)
    length = _long_enough(parts, name, tube.length_m)
    ends: list[TakeOff] = []
    for side, plenum, at in (("a", tube.from_plenum, tube.from_at_m),
                             ("b", tube.to_plenum, tube.to_at_m)):
        mouth = _edge(built, f"{name} {side} mouth")
        k = (_number(mouth["k_ww"]), 0.0, _number(mouth["k_vv"]), 1.0, 0.0, 2.0, 1.0)
        ends.append(TakeOff(parts.plenum_at[plenum], at, tube.diameter_m, k, k,
                            run=_run_law(built, plenum, at),
                            end_correction_m=FLANGED * 0.5 * tube.diameter_m))
    x, area = _cone(length, tube.diameter_m, tube.diameter_m)
    loss = _number(edge["k_u_forward"]) + _number(edge["k_v_forward"])
    parts.ducts.append(Duct(name, x, area, ends[0], ends[1], roughness_m=2e-5,
                            friction=parts.friction,
                            losses=((0.0, length, loss),) if loss > 0.0 else ()))


def case_setup(case: Case, rpm: float, charge_pressure_pa: float | None = None,
               charge_temperature_k: float | None = None, draws: Draws = NOMINAL) -> CaseSetup:
    """Wave setup of a case at one operating point; conditions default to the case's.

    Cylinders are numbered in ascending order. Exhaust pressure keeps its ratio to the charge.
    draws: the nominal design, or one draw of all that is uncertain (the first of several).
    """
    con, engine = case.conditions, case.engine
    pressure = con.charge_pressure_pa if charge_pressure_pa is None else charge_pressure_pa
    temperature = con.charge_temperature_k if charge_temperature_k is None else charge_temperature_k
    built = build_graph(case, draws, charge_pressure_pa=pressure,
                        charge_temperature_k=temperature)
    valves = ports(case)
    assumed = list(valves.assumed)
    parts = Parts(_number(draws.factor("law.friction", ROUGH_SIGMA)),
                  {r.cylinder: _number(made_diameter(case, r, draws)) for r in case.runners})
    _add_plenums(parts, case, built)
    for entry in case.entries:
        _add_entry(parts, case, entry, built)
    order = runner_order(case)
    for runner in sorted(case.runners, key=lambda r: r.cylinder):
        _add_runner(parts, built, runner, order.index(runner.cylinder), engine.port_length_m)
    for number, tube in enumerate(case.balance_tubes, start=1):
        _add_tube(parts, built, tube, number)
    offsets = np.asarray(tdc_offsets_deg(engine.firing_order, engine.firing_intervals_deg))
    exhaust = engine.exhaust_pressure_pa / con.charge_pressure_pa * pressure
    cylinders = make_cylinders(
        offsets[np.array(order) - 1].tolist(), engine.bore_m, engine.stroke_m, engine.rod_m,
        engine.compression_ratio, valves.intake, valves.exhaust, exhaust, case.fuel.lambda_target)
    cylinders = tuple(
        replace(one, intake_area_m2=one.intake_area_m2 * _number(
            draws.factor(f"made.port.{number}", PORT_SIGMA)))
        for one, number in zip(cylinders, order, strict=True))
    setup = UnsteadySetup(
        ducts=tuple(parts.ducts), volumes=(Volume("charge", None, pressure, temperature),),
        junctions=parts.junctions, throttles=tuple(parts.throttles), cylinders=cylinders,
        jets=tuple(parts.jets), rpm=rpm, ambient_pressure_pa=pressure,
        ambient_temperature_k=temperature,
        gas_constant_j_kg_k=float(gas_constant(con.ambient_pressure_pa, con.ambient_temperature_k,
                                               con.relative_humidity)),
        record=tuple(parts.plenum_at.values()), title=case.title)
    return CaseSetup(setup, built, dict(parts.plenum_at), tuple(assumed), tuple(parts.warnings))
