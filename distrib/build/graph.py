"""From a case to the one flow graph that bench and engine read.

Node names: `charge` (before the throttle), `PLENUM x` stations (from the cylinder-1 end),
`runner N mouth`, `port N`, `pool N` or `cylinder N`. Every numeric attribute may be an array over
the samples of an uncertain design.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import networkx as nx

from distrib.build.choices import chosen
from distrib.build.draws import NOMINAL, Draws
from distrib.build.entries import add_dump, add_entry_pipe, add_inflow, sheet_between
from distrib.build.entry_jets import add_jets
from distrib.build.laws import LawBook
from distrib.build.pipes import circle_m2, friction, given, stall_remark, taper, uncertain
from distrib.build.runners import add_mouth, add_runner
from distrib.case.geometry import inlet_positions_m
from distrib.case.schema import Case, Plenum
from distrib.errors import InputError, Problem
from distrib.losses.junctions import RunCoefficients, run_coefficients
from distrib.losses.registry import law
from distrib.network.graph import FlowGraph

SAME_STATION_M = 1e-3
"""Mouths closer than this along the axis share one station."""


@dataclass(frozen=True)
class Station:
    """One cross-section of a plenum where something enters or leaves."""

    name: str
    plenum: str
    x_m: float
    area_m2: float
    runners: tuple[int, ...]


@dataclass(frozen=True)
class BuiltGraph:
    """The flow graph of a case, its plenum stations in order, and the laws that made it."""

    flow: FlowGraph
    stations: tuple[Station, ...]
    book: LawBook

    @property
    def graph(self) -> nx.MultiDiGraph:
        """The networkx graph itself."""
        return self.flow.graph


def build_graph(case: Case, draws: Draws = NOMINAL, *, charge_pressure_pa: Any = None,
                charge_temperature_k: Any = None) -> BuiltGraph:
    """Graph of the intake from the charge to the ports (joints `port N`), without pools.

    charge_pressure_pa, charge_temperature_k: override the case's, scalars or (B,).
    """
    book = LawBook(chosen(case.losses, case.path))
    flow = FlowGraph()
    flow.reservoir(
        "charge",
        case.conditions.charge_pressure_pa if charge_pressure_pa is None else charge_pressure_pa,
        case.conditions.charge_temperature_k if charge_temperature_k is None
        else charge_temperature_k,
    )
    stations: list[Station] = []
    for plenum in case.plenums:
        stations += _add_plenum(flow, case, plenum, book, draws)
    for runner in case.runners:
        add_runner(flow, case, runner, book, draws)
        plenum = _plenum(case, runner.plenum)
        add_mouth(flow, case, runner, plenum, _at(stations, plenum.name, runner.station_m), book,
                  draws)
    for entry in case.entries:
        plenum = _plenum(case, entry.plenum)
        joint = add_entry_pipe(flow, case, entry, book, draws)
        own = [s for s in stations if s.plenum == plenum.name]
        if entry.kind == "side":
            first = own[0] if entry.end != "far" else own[-1]
            distance = first.x_m if entry.end != "far" else plenum.length_m - first.x_m
            add_dump(flow, case, entry, plenum, joint, first.name, distance, book, draws)
        else:
            add_inflow(flow, entry, joint, _at(stations, plenum.name, entry.at_m), book, draws)
        add_jets(flow, entry, plenum, [r for r in case.runners if r.plenum == plenum.name], book,
                 draws)
    for number, tube in enumerate(case.balance_tubes, start=1):
        _add_tube(flow, case, tube, number, stations, book, draws)
    return BuiltGraph(flow, tuple(stations), book)


def _plenum(case: Case, name: str) -> Plenum:
    return next(p for p in case.plenums if p.name == name)


def _at(stations: list[Station], plenum: str, x_m: float) -> str:
    own = [s for s in stations if s.plenum == plenum]
    return min(own, key=lambda s: abs(s.x_m - x_m)).name


def _run(plenum: Plenum, book: LawBook, draws: Draws) -> tuple[Any, Any, Any, Any]:
    """Run-loss coefficients of a plenum with their uncertainty, zero without a draw."""
    if plenum.regain is not None:
        r = given(draws, f"given.plenum.{plenum.name}.regain", plenum.regain)
        return 1.0 - r, 0.0, -(1.0 - r), 0.0
    chosen: RunCoefficients = run_coefficients(book.choice.run)
    record = law(f"run.{chosen.law}")
    book.note(record.name, record.source, record.weak)
    # the uncertainty vanishes where nothing is drawn: it acts as a change of regain
    delta = chosen.sigma * draws.z("law.run")
    return chosen.c0 + delta, chosen.c1, chosen.c2 - delta, chosen.c8


def _positions(case: Case, plenum: Plenum) -> list[float]:
    raw = [r.station_m for r in case.runners if r.plenum == plenum.name]
    raw += [e.at_m for e in case.entries if e.plenum == plenum.name and e.kind != "side"]
    for tube in case.balance_tubes:
        if tube.from_plenum == plenum.name:
            raw.append(tube.from_at_m)
        if tube.to_plenum == plenum.name:
            raw.append(tube.to_at_m)
    kept: list[float] = []
    for x in sorted(raw):
        if not kept or x - kept[-1] > SAME_STATION_M:
            kept.append(x)
    return kept


def _add_plenum(flow: FlowGraph, case: Case, plenum: Plenum, book: LawBook,
                draws: Draws) -> list[Station]:
    positions = _positions(case, plenum)
    if not positions:
        raise InputError([Problem(f"plenum {plenum.name}", "no runner and no entry",
                                  "at least one runner and one way in")])
    run = _run(plenum, book, draws)
    _stall_remarks(case, plenum, book)
    stations: list[Station] = []
    for x in positions:
        area = float(plenum.area_m2(x))
        runners = tuple(r.cylinder for r in case.runners
                        if r.plenum == plenum.name and abs(r.station_m - x) <= SAME_STATION_M)
        name = f"{plenum.name} {len(stations) + 1}"
        flow.station(name, area, run, x_m=x, plenum=plenum.name)
        if stations:
            _add_section(flow, case, plenum, stations[-1], name, x, area, book, draws)
        stations.append(Station(name, plenum.name, x, area, runners))
    return stations


def _stall_remarks(case: Case, plenum: Plenum, book: LawBook) -> None:
    """Warn of parts of a plenum that widen too fast along the stream from an inlet."""
    if plenum.profile == "step":
        return
    inlets = inlet_positions_m(case, plenum.name)
    for a, b in pairwise(plenum.sections):
        downstream = any(x <= a.at_m for x in inlets)
        upstream = any(x >= b.at_m for x in inlets)
        if (b.area_m2 > a.area_m2 and downstream) or (b.area_m2 < a.area_m2 and upstream):
            stall_remark(book, f"plenum {plenum.name}", min(a.area_m2, b.area_m2),
                         max(a.area_m2, b.area_m2), b.at_m - a.at_m)


def _add_section(flow: FlowGraph, case: Case, plenum: Plenum, last: Station, name: str, x: float,
                 area: float, book: LawBook, draws: Draws) -> None:
    length = x - last.x_m
    sudden = plenum.profile == "step"
    k = taper(book, draws, f"plenum {plenum.name}", last.area_m2, area,
              0.0 if sudden else length)
    sheet = sheet_between(case, plenum, last.x_m, x, book, draws)
    numbers = friction(
        draws, length, float(plenum.hydraulic_diameter_m(last.x_m)),
        float(plenum.hydraulic_diameter_m(x)), 0.5 * (last.area_m2 + area), plenum.roughness_m,
        case.conditions.charge_temperature_k)
    flow.duct(f"{last.name} to {name.split()[-1]}", last.name, name, last.area_m2, area,
              face_u="R", face_v="L", k_u_forward=k[0] + sheet, k_v_forward=k[1],
              k_u_back=k[2], k_v_back=k[3] + sheet, length_m=length, plenum=plenum.name, **numbers)


def _add_tube(flow: FlowGraph, case: Case, tube: Any, number: int, stations: list[Station],
              book: LawBook, draws: Draws) -> None:
    area = circle_m2(tube.diameter_m)
    name = f"balance tube {number}"
    ends = []
    for side, plenum, at in (("a", tube.from_plenum, tube.from_at_m),
                             ("b", tube.to_plenum, tube.to_at_m)):
        joint = f"{name} {side}"
        flow.joint(joint)
        sharp = uncertain(draws, "law.tube.mouth",
                          *book.value(name, "entrance.idelchik", None, radius_over_d=0.0))
        flow.mouth(f"{joint} mouth", _at(stations, plenum, at), joint, area, k_vv=sharp)
        ends.append(joint)
    extra = given(draws, f"given.{name}", tube.loss) if tube.loss is not None else 0.0
    flow.duct(name, ends[0], ends[1], area, area, k_v_forward=extra, k_u_back=extra,
              length_m=tube.length_m,
              **friction(draws, tube.length_m, tube.diameter_m, tube.diameter_m, area, 2e-5,
                         case.conditions.charge_temperature_k))


def runner_order(case: Case) -> list[int]:
    """Cylinder numbers in ascending order: the last axis of every result."""
    return sorted(r.cylinder for r in case.runners)
