"""Entries: pipe, throttle, diffuser, baffle, dump into the plenum, and their jets at the mouths."""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.build.draws import Draws
from distrib.build.laws import LawBook
from distrib.build.pipes import bends_loss, circle_m2, friction, given, taper
from distrib.case.schema import Case, Entry, Plenum, Runner
from distrib.losses import jets
from distrib.losses.registry import law
from distrib.network.graph import OPEN_AREA_M2, FlowGraph

ENTRY_SIGMA = 0.25
"""Relative 1-sigma of the entry's losses together (scatter of handbook fittings)."""
WIDE_OPEN_DEG = 89.0
"""Plate angle from which the throttle counts as wide open."""


def add_entry_pipe(flow: FlowGraph, case: Case, entry: Entry, book: LawBook, draws: Draws) -> str:
    """Add reservoir-to-plenum pipe of an entry up to joint `NAME mouth`; returns that joint.

    Losses stand on the head in the pipe: throttle, bends, friction. The way back out of the pipe
    loses one head. A part-open throttle can choke.
    """
    name = entry.name
    where = f"entry {name}"
    joint = f"{where} mouth"
    area = circle_m2(entry.diameter_m)
    flow.joint(joint)
    choke: Any = OPEN_AREA_M2
    if entry.loss is not None:
        k: Any = given(draws, f"given.entry.{name}.loss", entry.loss)
        flow.duct(f"{where} pipe", "charge", joint, OPEN_AREA_M2, area, k_v_forward=k,
                  k_v_back=1.0, entry=name, length_m=entry.length_m)
        return _cone(flow, entry, joint, area, book, where)
    bends, _ = bends_loss(book, where, entry.bends, entry.diameter_m, entry.roughness_m)
    total, choke = bends, OPEN_AREA_M2
    if entry.throttle is not None:
        k_plate, choke = _throttle(entry, area, book, where)
        total += k_plate
    scale = draws.factor(f"law.entry.{name}", ENTRY_SIGMA)
    numbers = friction(draws, entry.length_m, entry.diameter_m, entry.diameter_m, area,
                       entry.roughness_m, case.conditions.charge_temperature_k)
    # the open end of the reservoir has no head, so all of the pipe's friction stands on side v
    numbers["friction_v"] = 2.0 * numbers["friction_v"]
    numbers["friction_u"] = 0.0
    flow.duct(f"{where} pipe", "charge", joint, OPEN_AREA_M2, area, k_v_forward=total * scale,
              k_v_back=1.0 + total * scale, choke_m2=choke, entry=name, length_m=entry.length_m,
              **numbers)
    return _cone(flow, entry, joint, area, book, where)


def _throttle(entry: Entry, area: float, book: LawBook, where: str) -> tuple[float, float]:
    """Loss of the plate on the head in the pipe, and its choking area."""
    plate = entry.throttle
    assert plate is not None
    fraction, _ = book.value(f"{where} throttle", "throttle.area", None,
                             plate_deg=plate.plate_angle_deg, closed_deg=plate.closed_angle_deg,
                             shaft_over_bore=plate.shaft_diameter_m / plate.bore_m)
    cd = plate.discharge_coefficient
    if cd is None:
        cd, _ = book.value(f"{where} throttle", "auto", "throttle", fraction=fraction)
    bore = circle_m2(plate.bore_m)
    jet = cd * fraction * bore
    wide_open = plate.plate_angle_deg >= WIDE_OPEN_DEG
    # wide open, the stream follows plate and shaft: Borda of the blocked area without contraction
    on_bore = (1.0 / fraction - 1.0) ** 2 if wide_open and plate.discharge_coefficient is None \
        else (bore / jet - 1.0) ** 2
    return on_bore * (area / bore) ** 2, jet


def _cone(flow: FlowGraph, entry: Entry, joint: str, area: float, book: LawBook,
          where: str) -> str:
    if entry.diffuser is None:
        return joint
    wide = circle_m2(entry.diffuser.exit_diameter_m)
    outlet = f"{where} cone end"
    flow.joint(outlet)
    k = taper(book, f"{where} diffuser", area, wide, entry.diffuser.length_m)
    flow.duct(f"{where} cone", joint, outlet, area, wide, k_u_forward=k[0], k_v_forward=k[1],
              k_u_back=k[2], k_v_back=k[3], entry=entry.name,
              length_m=entry.diffuser.length_m)
    return outlet


def last_duct(entry: Entry) -> tuple[str, float]:
    """Name of the duct that meets the plenum, and the area there."""
    if entry.diffuser is not None:
        return f"entry {entry.name} cone", circle_m2(entry.diffuser.exit_diameter_m)
    return f"entry {entry.name} pipe", circle_m2(entry.diameter_m)


def baffle_loss(entry: Entry, book: LawBook, draws: Draws) -> Any:
    """Loss of the entry's baffle on its approach head; 0 without one."""
    if entry.baffle is None:
        return 0.0
    if entry.baffle.loss is not None:
        return given(draws, f"given.entry.{entry.name}.baffle", entry.baffle.loss)
    k, sigma = book.value(f"entry {entry.name} baffle", "auto" if case_auto(book) else
                          book.choice.baffle, "sheet", open_fraction=entry.baffle.open_fraction)
    return k * draws.factor("law.baffle", sigma / k if k > 0.0 else 0.0)


def case_auto(book: LawBook) -> bool:
    """Whether the case leaves the baffle law to the build."""
    return book.choice.baffle == "auto"


def add_dump(flow: FlowGraph, case: Case, entry: Entry, plenum: Plenum, joint: str, station: str,
             distance_m: float, book: LawBook, draws: Draws) -> None:
    """Side entry: sudden widening from the pipe into the plenum's end, and the way to the first
    station."""
    _, area = last_duct(entry)
    at = 0.0 if entry.end != "far" else plenum.length_m
    wide = float(plenum.area_m2(at))
    station_area = float(flow.graph.nodes[station]["area_m2"])
    where = f"entry {entry.name}"
    widening = area < wide
    k, _ = book.value(where, "expansion.borda" if widening else "contraction.rennels", None,
                      area_ratio=min(area / wide, wide / area))
    into, _ = book.value(where, "contraction.rennels" if widening else "expansion.borda", None,
                         area_ratio=min(area / wide, wide / area))
    sheet = baffle_loss(entry, book, draws)
    # Borda stands on the narrow head (pipe), contraction on the narrow head as well
    side_pipe = widening
    d_h = float(plenum.hydraulic_diameter_m(at))
    numbers = friction(draws, distance_m, d_h, d_h, wide, plenum.roughness_m,
                       case.conditions.charge_temperature_k)
    pipe_in, plenum_in = (k, 0.0) if side_pipe else (0.0, k)
    pipe_out, plenum_out = (into, 0.0) if side_pipe else (0.0, into)
    if entry.end == "far":
        numbers["friction_u"], numbers["friction_v"] = (
            numbers["friction_u"] + numbers["friction_v"], 0.0)
        flow.duct(f"{where} dump", station, joint, station_area, area, face_u="R",
                  k_v_back=pipe_in, k_u_back=plenum_in + sheet, k_v_forward=pipe_out,
                  k_u_forward=plenum_out + sheet, entry=entry.name, length_m=distance_m, **numbers)
    else:
        numbers["friction_u"], numbers["friction_v"] = (
            0.0, numbers["friction_u"] + numbers["friction_v"])
        flow.duct(f"{where} dump", joint, station, area, station_area, face_v="L",
                  k_u_forward=pipe_in, k_v_forward=plenum_in + sheet, k_u_back=pipe_out,
                  k_v_back=plenum_out + sheet, entry=entry.name, length_m=distance_m, **numbers)


def add_inflow(flow: FlowGraph, entry: Entry, joint: str, station: str, book: LawBook,
               draws: Draws) -> None:
    """Center or ducted entry: the stream enters at a station and loses its head in mixing.

    It is a mouth of the plenum that feeds; drawn backwards it is a sharp mouth.
    """
    _, area = last_duct(entry)
    sheet = baffle_loss(entry, book, draws)
    sharp, _ = book.value(f"entry {entry.name}", "entrance.idelchik", None, radius_over_d=0.0)
    flow.mouth(f"entry {entry.name} inflow", station, joint, area, k_vv=sharp,
               k_exit=1.0 + sheet, entry=entry.name)


def add_jets(flow: FlowGraph, case: Case, entry: Entry, plenum: Plenum, book: LawBook,
             draws: Draws) -> None:
    """Let the entry's jet act on the mouths of its plenum."""
    runners = [r for r in case.runners if r.plenum == plenum.name]
    coefficient, sigma = jet_coefficients(case, entry, plenum, runners)
    duct, _ = last_duct(entry)
    laws = ("jet-side.borda", "jet-side.recovered") if entry.kind != "center" else (
        "jet-center.head", "jet-center.aim")
    reach = np.abs(coefficient).max(initial=0.0)
    if reach < 1e-6:
        return
    for name in laws:
        record = law(name)
        book.note(record.name, record.source, record.weak)
    shared = draws.z(f"law.jet.{entry.kind}")
    for runner, c, s in zip(runners, coefficient, sigma, strict=True):
        flow.jet(f"runner {runner.cylinder} mouth", duct, c + s * shared)


def jet_coefficients(
    case: Case, entry: Entry, plenum: Plenum, runners: list[Runner]
) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Jet coefficient of each runner's mouth on the head in the entry, and its 1-sigma."""
    del case
    _, area = last_duct(entry)
    stations = np.array([r.station_m for r in runners])
    at = {"cylinder-1": 0.0, "far": plenum.length_m}.get(entry.end or "", entry.at_m)
    origin = entry.at_m if entry.kind == "ducted" else at
    wide = float(plenum.area_m2(origin))
    open_fraction = entry.baffle.open_fraction if entry.baffle is not None else None
    bore = 2.0 * float(np.sqrt(area / np.pi))
    if entry.kind == "center":
        depth = _depth(plenum, entry.at_m)
        reach = plenum.length_m * _width(plenum, entry.at_m)
        found = jets.center_entry(
            stations, at_m=entry.at_m, distance_m=depth, entry_diameter_m=bore,
            mouth_diameter_m=np.array([r.diameter_m for r in runners]),
            reach_area_m2=max(reach, area), aim_deg=entry.aim_deg, tilt_deg=entry.tilt_deg,
            offset_m=entry.offset_m, baffle_open_fraction=open_fraction)
        c, s = found.c, found.sigma
    else:
        # a ducted stream points away from the end it comes from; mouths behind it feel nothing
        direction = -1.0 if entry.end == "far" else 1.0
        ahead = direction * (stations - origin)
        if area >= wide:
            return np.zeros(stations.size), np.zeros(stations.size)
        found = jets.side_entry(np.maximum(ahead, 0.0), area, wide, offset_m=entry.offset_m,
                                baffle_open_fraction=open_fraction)
        c = np.where(ahead >= -1e-9, found.c, 0.0)
        s = np.where(ahead >= -1e-9, found.sigma, 0.0)
    extra, extra_sigma = _plate_throw(entry, stations, origin, area, wide)
    return c + extra, np.hypot(s, extra_sigma)


def _plate_throw(entry: Entry, stations: Any, origin: float, area: float,
                 wide: float) -> tuple[Any, Any]:
    """What a part-open plate does: coefficients and their 1-sigma.

    Shaft across the row at a center entry: the stream goes to the far half (assumed: the plate's
    lower lip points there). At a side or ducted entry the stream goes to one wall, and whether
    that is the wall of the mouths the case does not say: it widens the band only.
    """
    plate = entry.throttle
    zero = np.zeros(stations.size)
    if plate is None or plate.plate_angle_deg >= WIDE_OPEN_DEG or area >= wide:
        return zero, zero
    if entry.kind == "center" and plate.shaft != "across":
        return zero, zero
    fraction = float(law("throttle.area").evaluate(
        plate_deg=plate.plate_angle_deg, closed_deg=plate.closed_angle_deg,
        shaft_over_bore=plate.shaft_diameter_m / plate.bore_m).value)
    side = np.sign(stations - origin) if entry.kind == "center" else np.ones(stations.size)
    found = jets.throttle_throw(fraction, side, np.abs(stations - origin),
                                2.0 * float(np.sqrt(area / np.pi)), area, wide)
    if entry.kind == "center":
        return found.c, found.sigma
    return zero, np.abs(found.c)


def _depth(plenum: Plenum, at_m: float) -> float:
    """Distance across the plenum, from the entry's wall to the mouths' wall."""
    return 2.0 * float(np.sqrt(plenum.area_m2(at_m) / np.pi))


def _width(plenum: Plenum, at_m: float) -> float:
    return _depth(plenum, at_m)
