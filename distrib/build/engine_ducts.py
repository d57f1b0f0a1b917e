"""Ducts and their ends from a case and its flow graph, for one sample of what is uncertain.

Geometry comes from the case, every loss from the edges of the one graph that the bench reads. What
the graph keeps at points is spread or placed here: pipe losses over the pipe's length, run losses
and mouth losses at the take-offs, the entry's sudden widening in the junction with the plenum's
end. Losses that differ with direction inside a pipe keep the forward value both ways.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from distrib.build.draws import Draws
from distrib.build.graph import BuiltGraph
from distrib.build.pipes import circle_m2
from distrib.build.runners import made_diameter
from distrib.build.unknowns import SUPPLY_BORE_SIGMA, supply_length_m
from distrib.case.geometry import section_volume_m3
from distrib.case.schema import Case, Entry, Plenum, Runner
from distrib.results import Assumed, FloatArray
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
    Volume,
)

FLANGED = 0.8216
"""End correction of a flanged open end over its radius: Norris and Sheng (1989), row ac.fl."""
SHORTEST_M = 0.02
"""Ducts below this would force needlessly small time steps; they are lengthened, with a warning."""
PROFILE_POINTS = 33
FEED_M = 0.5
"""Pipe that feeds a cooler or air box of given volume (own choice; its far end is still air)."""
REDUCER_M = 0.05
"""Length over which pipes of different bore pass into each other (own choice)."""
PART_OPEN_DEG = 89.0
"""Plate angle from which a throttle counts as wide open and acts by its loss alone."""


@dataclass
class Parts:
    """Collects what becomes the setup of sample k of the draws; positions are list positions."""

    case: Case
    built: BuiltGraph
    draws: Draws
    k: int
    edges: dict[str, dict[str, Any]]
    friction: float = 1.0
    end_correction: float = FLANGED
    wall_k: float | None = None
    volumes: list[Volume] = field(default_factory=list)
    assumed: list[Assumed] = field(default_factory=list)
    ducts: list[Duct] = field(default_factory=list)
    throttles: list[Throttle] = field(default_factory=list)
    jets: list[tuple[int, str]] = field(default_factory=list)
    junctions: int = 0
    plenum_at: dict[str, int] = field(default_factory=dict)
    entry_at: dict[str, int] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)

    def number(self, value: Any) -> float:
        """Sample k of a number that may have one value for all samples."""
        flat = np.ravel(np.asarray(value, dtype=float))
        return float(flat[self.k] if flat.size > 1 else flat[0])

    def factor(self, name: str, sigma: float) -> float:
        """Sample k of a lognormal factor."""
        return self.number(self.draws.factor(name, sigma))


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


def add_plenums(parts: Parts) -> None:
    """Plenum ducts, with the junctions of their side entries at the ends."""
    for plenum in parts.case.plenums:
        x, area, diameter = _plenum_profile(parts, plenum)
        ends: list[End] = []
        for end in ("cylinder-1", "far"):
            own = [e for e in parts.case.entries if e.plenum == plenum.name and e.kind == "side"
                   and ("far" if e.end == "far" else "cylinder-1") == end]
            if not own:
                ends.append(Closed())
                continue
            side = "u" if end == "far" else "v"
            dumps = [parts.edges[f"entry {e.name} dump"] for e in own]
            enters = max(parts.number(d[f"k_{side}_{'back' if end == 'far' else 'forward'}"])
                         for d in dumps)
            leaves = max(parts.number(d[f"k_{side}_{'forward' if end == 'far' else 'back'}"])
                         for d in dumps)
            ends.append(ToJunction(parts.junctions, True, leaves, enters))
            for e in own:
                parts.entry_at[e.name] = parts.junctions
            parts.junctions += 1
        parts.plenum_at[plenum.name] = len(parts.ducts)
        parts.ducts.append(Duct(f"plenum {plenum.name}", x, area, ends[0], ends[1],
                                hydraulic_diameter_m=diameter, roughness_m=plenum.roughness_m,
                                friction=parts.friction, wall_temperature_k=parts.wall_k))


def _entry_end(parts: Parts, entry: Entry, bore: float) -> End:
    """Where an entry meets its plenum."""
    if entry.kind == "side":
        dump = parts.edges[f"entry {entry.name} dump"]
        far = entry.end == "far"
        leaves = parts.number(dump["k_v_back" if far else "k_u_forward"])
        enters = parts.number(dump["k_v_forward" if far else "k_u_back"])
        return ToJunction(parts.entry_at[entry.name], True, leaves, enters)
    mouth = parts.edges[f"entry {entry.name} inflow"]
    k = (1.0, 0.0, parts.number(mouth["k_vv"]), 1.0, 0.0, 2.0, 1.0)
    lean = math.sin(math.radians(entry.tilt_deg)) if entry.kind == "center" else 0.0
    plenum = next(p for p in parts.case.plenums if p.name == entry.plenum)
    return TakeOff(parts.plenum_at[plenum.name], entry.at_m, bore, k, k,
                   loss_out=max(parts.number(mouth["k_exit"]) - 1.0, 0.0), join_cos=lean)


def add_entry(parts: Parts, entry: Entry) -> None:
    """Entry pipe with its cone as one duct; a part-open throttle parts it in the middle."""
    name = f"entry {entry.name}"
    pipe = parts.edges[f"{name} pipe"]
    length = _long_enough(parts, name, entry.length_m)
    x, area = _cone(length, entry.diameter_m, entry.diameter_m)
    entry_m, entry_m2 = length, float(area[0])
    k = parts.number(pipe["k_v_forward"])
    losses = [(0.0, length, k)] if k > 0.0 else []
    bore = entry.diameter_m
    if entry.diffuser is not None:
        bore = entry.diffuser.exit_diameter_m
        more, wide = _cone(entry.diffuser.length_m, entry.diameter_m, bore, length)
        x, area = np.append(x, more[1:]), np.append(area, wide[1:])
        cone = parts.edges[f"{name} cone"]
        loss = parts.number(cone["k_u_forward"]) + parts.number(cone["k_v_forward"])
        if loss > 0.0:
            losses.append((length, float(x[-1]), loss))
    friction = 0.0 if entry.loss is not None else parts.friction
    end = _entry_end(parts, entry, bore)
    source, before = _supply(parts, entry)
    if before is not None:
        x, area = np.append(before[0], before[0][-1] + x[1:]), np.append(before[1], area[1:])
        losses = [(a + before[0][-1], b + before[0][-1], v) for a, b, v in losses]
        length += float(before[0][-1])
    start: End = ToVolume(source)
    plate = entry.throttle
    if plate is not None and plate.plate_angle_deg < PART_OPEN_DEG and entry.loss is None:
        parts.warnings.append(f"{name}: the part-open throttle acts in the engine model as a "
                              "restriction that carries all losses of the pipe")
        at = length - 0.5 * entry_m
        number = len(parts.throttles)
        parts.throttles.append(Throttle(name, circle_m2(entry.diameter_m) / math.sqrt(1.0 + k)))
        first = np.append(x[x < at], at)
        parts.ducts.append(Duct(f"{name} before throttle", first, np.interp(first, x, area), start,
                                ToThrottle(number), roughness_m=entry.roughness_m,
                                friction=parts.friction))
        losses = [(a - at, b - at, v) for a, b, v in losses if a > at]
        x, area = np.append(at, x[x > at]) - at, np.append(entry_m2, area[x > at])
        start = ToThrottle(number)
    parts.entry_at[entry.name] = len(parts.ducts)
    parts.ducts.append(Duct(name, x, area, start, end, roughness_m=entry.roughness_m,
                            friction=friction, losses=tuple(losses)))


def _supply(parts: Parts, entry: Entry) -> tuple[int, tuple[FloatArray, FloatArray] | None]:
    """Volume that feeds the entry, and positions and areas of the pipe between the two.

    Without a given supply the entry opens into still charge air, or in a draw into a pipe of the
    entry's bore. A cooler or air box of given volume is fed by a short pipe from still air.
    """
    own = entry.supply
    bore = entry.diameter_m
    if own is None:
        drawn = supply_length_m(parts.draws, entry.name)
        if drawn is None:
            parts.assumed.append(Assumed(
                f"entry {entry.name}: supply", "none in the figure, 0.2 to 2 m in the band",
                "pipe from cooler or air box to the entry, not given"))
            return 0, None
        return 0, _cone(parts.number(drawn), bore, bore)
    wide = own.diameter_m
    if wide is None:
        wide = bore * parts.factor(f"supply.{entry.name}.diameter", SUPPLY_BORE_SIGMA)
    source = 0
    if own.volume_m3 is not None:
        source = len(parts.volumes)
        air = parts.volumes[0]
        parts.volumes.append(Volume(f"supply of {entry.name}", own.volume_m3, air.pressure_pa,
                                    air.temperature_k))
        x, area = _cone(FEED_M, wide, wide)
        parts.ducts.append(Duct(f"feed of {entry.name}", x, area, ToVolume(0), ToVolume(source),
                                friction=parts.friction))
    if own.length_m < SHORTEST_M:
        return source, None
    if wide == bore:
        return source, _cone(own.length_m, bore, bore)
    reducer = min(REDUCER_M, 0.5 * own.length_m)
    x, area = _cone(reducer, wide, bore, own.length_m - reducer)
    return source, (np.append(0.0, x), np.append(area[0], area))


def _jets(parts: Parts, cylinder: int) -> tuple[tuple[int, float], ...]:
    """Jets at the mouth of a runner, as (jet number, coefficient)."""
    out: list[tuple[int, float]] = []
    for row in parts.built.graph.graph["jets"]:
        mouth, duct, c = row[0], row[1], parts.number(row[2])
        if mouth != f"runner {cylinder} mouth" or c == 0.0:
            continue
        entry = duct.removeprefix("entry ").removesuffix(" pipe").removesuffix(" cone")
        where = (parts.entry_at[entry], "right")
        if where not in parts.jets:
            parts.jets.append(where)
        out.append((parts.jets.index(where), c))
    return tuple(out)


def _run_law(parts: Parts, plenum: str, x_m: float) -> tuple[float, float, float, float]:
    own = [s for s in parts.built.stations if s.plenum == plenum]
    station = min(own, key=lambda s: abs(s.x_m - x_m))
    c0, c1, c2, c8 = (parts.number(c) for c in parts.built.graph.nodes[station.name]["run"])
    return c0, c1, c2, c8


def add_runner(parts: Parts, runner: Runner, cylinder: int, port_m: float) -> None:
    """Runner and port passage as one duct from the mouth to the valve."""
    c = runner.cylinder
    name = f"runner {c}"
    edge = parts.edges[name]
    mouth = parts.edges[f"{name} mouth"]
    length = _long_enough(parts, name, runner.length_m)
    made = parts.number(made_diameter(parts.case, runner, parts.draws))
    bore = runner.diameter_m * made
    x, area = _cone(length, bore, runner.end_diameter_m * made)
    if port_m > 0.0:
        x, area = np.append(x, length + port_m), np.append(area, area[-1])
    near, far = (parts.number(edge["k_u_forward"]), parts.number(edge["k_v_forward"]))
    losses = [(a, b, k) for a, b, k in ((0.0, 0.5 * length, near), (0.5 * length, length, far))
              if k > 0.0]
    a0, a1, q1, a2 = (parts.number(v) for v in mouth["factor"])
    k_ww, k_vv = parts.number(mouth["k_ww"]), parts.number(mouth["k_vv"])
    left = (k_ww, parts.number(mouth["k_wv_left"]), k_vv, a0, a1, q1, a2)
    right = (k_ww, parts.number(mouth["k_wv_right"]), k_vv, a0, a1, q1, a2)
    take_off = TakeOff(
        parts.plenum_at[runner.plenum], runner.station_m, bore, left, right,
        run=_run_law(parts, runner.plenum, runner.station_m),
        loss_out=max(parts.number(mouth["k_exit"]) - 1.0, 0.0), jets=_jets(parts, c),
        end_correction_m=parts.end_correction * 0.5 * bore)
    parts.ducts.append(Duct(name, x, area, take_off, ToValve(cylinder),
                            roughness_m=runner.roughness_m,
                            friction=parts.friction if runner.loss is None else 0.0,
                            losses=tuple(losses), wall_temperature_k=parts.wall_k))


def add_tube(parts: Parts, tube: Any, number: int) -> None:
    """A tube between two plenums, with a mouth at either end."""
    name = f"balance tube {number}"
    edge = parts.edges[name]
    length = _long_enough(parts, name, tube.length_m)
    ends: list[TakeOff] = []
    for side, plenum, at in (("a", tube.from_plenum, tube.from_at_m),
                             ("b", tube.to_plenum, tube.to_at_m)):
        mouth = parts.edges[f"{name} {side} mouth"]
        k = (parts.number(mouth["k_ww"]), 0.0, parts.number(mouth["k_vv"]), 1.0, 0.0, 2.0, 1.0)
        ends.append(TakeOff(parts.plenum_at[plenum], at, tube.diameter_m, k, k,
                            run=_run_law(parts, plenum, at),
                            end_correction_m=parts.end_correction * 0.5 * tube.diameter_m))
    x, area = _cone(length, tube.diameter_m, tube.diameter_m)
    loss = parts.number(edge["k_u_forward"]) + parts.number(edge["k_v_forward"])
    parts.ducts.append(Duct(name, x, area, ends[0], ends[1], roughness_m=2e-5,
                            friction=parts.friction,
                            losses=((0.0, length, loss),) if loss > 0.0 else ()))


