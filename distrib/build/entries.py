"""Entries: pipe, throttle, diffuser, baffle, and the dump into the plenum (jets: entry_jets)."""

from __future__ import annotations

import math
from typing import Any

from distrib.build.draws import Draws
from distrib.build.laws import LawBook
from distrib.build.pipes import (
    bends_loss,
    circle_m2,
    friction,
    given,
    narrowing,
    stall_remark,
    taper,
    uncertain,
    widening,
)
from distrib.case.schema import Case, Entry, Plenum
from distrib.network.graph import OPEN_AREA_M2, FlowGraph

ENTRY_SIGMA = 0.25
"""Relative 1-sigma of the entry's losses together (scatter of handbook fittings)."""
WIDE_OPEN_DEG = 89.0
"""Plate angle from which the throttle counts as wide open."""
SHARP_HOLE = math.pi / (math.pi + 2.0)
"""Contraction of a plane sharp-edged jet (Kirchhoff, closed form), for baffle = "contraction"."""


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
        return _cone(flow, entry, joint, area, book, draws, where)
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
    return _cone(flow, entry, joint, area, book, draws, where)


def _throttle(entry: Entry, area: float, book: LawBook, where: str) -> tuple[float, float]:
    """Loss of the plate on the head in the pipe, and its choking area."""
    plate = entry.throttle
    assert plate is not None
    fraction, _ = book.value(f"{where} throttle", "throttle.area", None,
                             plate_deg=plate.plate_angle_deg, closed_deg=plate.closed_angle_deg,
                             shaft_over_bore=plate.shaft_diameter_m / plate.bore_m)
    cd = plate.discharge_coefficient
    if cd is None:
        cd, _ = book.value(f"{where} throttle", "discharge", "throttle", fraction=fraction)
    bore = circle_m2(plate.bore_m)
    jet = cd * fraction * bore
    choice = book.choice.throttle
    if plate.discharge_coefficient is not None:
        on_bore = (bore / jet - 1.0) ** 2
    elif choice == "auto" and plate.plate_angle_deg >= WIDE_OPEN_DEG:
        # wide open, the stream follows plate and shaft: Borda of the blocked area, no contraction
        on_bore = (1.0 / fraction - 1.0) ** 2
    elif choice == "loss":
        on_bore, _ = book.value(f"{where} throttle", "loss", "throttle", fraction=fraction)
    else:
        on_bore = (bore / jet - 1.0) ** 2
    return on_bore * (area / bore) ** 2, jet


def _cone(flow: FlowGraph, entry: Entry, joint: str, area: float, book: LawBook, draws: Draws,
          where: str) -> str:
    if entry.diffuser is None:
        return joint
    wide = circle_m2(entry.diffuser.exit_diameter_m)
    outlet = f"{where} cone end"
    flow.joint(outlet)
    k = taper(book, draws, f"{where} diffuser", area, wide, entry.diffuser.length_m)
    stall_remark(book, f"{where} diffuser", area, wide, entry.diffuser.length_m)
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
    more = {"contraction": SHARP_HOLE} if book.choice.baffle == "contraction" else {}
    k, sigma = book.value(f"entry {entry.name} baffle", book.choice.baffle, "sheet",
                          open_fraction=entry.baffle.open_fraction, **more)
    return uncertain(draws, "law.baffle", k, sigma)


def sheet_between(case: Case, plenum: Plenum, from_m: float, to_m: float, book: LawBook,
                  draws: Draws) -> Any:
    """Loss of the sheets that stand in a plenum between two positions, on the plenum head."""
    total: Any = 0.0
    for entry in case.entries:
        baffle = entry.baffle
        if entry.plenum == plenum.name and baffle is not None and baffle.at_m is not None \
                and from_m < baffle.at_m <= to_m:
            total = total + baffle_loss(entry, book, draws)
    return total


def add_dump(flow: FlowGraph, case: Case, entry: Entry, plenum: Plenum, joint: str, station: str,
             distance_m: float, book: LawBook, draws: Draws) -> None:
    """Side entry: sudden widening from the pipe into the plenum's end, and the way to the first
    station."""
    _, area = last_duct(entry)
    wall_m = plenum.length_m
    at = 0.0 if entry.end != "far" else wall_m
    wide = float(plenum.area_m2(at))
    station_area = float(flow.graph.nodes[station]["area_m2"])
    where = f"entry {entry.name}"
    widens = area < wide
    ratio = min(area / wide, wide / area)
    # Borda and contraction both stand on the narrow side's head
    k = (widening if widens else narrowing)(book, draws, where, ratio)
    into = (narrowing if widens else widening)(book, draws, where, ratio)
    pipe_in, plenum_in = (k, 0.0) if widens else (0.0, k)
    pipe_out, plenum_out = (into, 0.0) if widens else (0.0, into)
    # a sheet over the entry meets the pipe's stream, one that stands in the plenum the plenum's
    over = entry.baffle is not None and entry.baffle.at_m is None
    on_pipe = baffle_loss(entry, book, draws) if over else 0.0
    reach = (0.0, distance_m) if entry.end != "far" else (wall_m - distance_m, wall_m)
    sheet = sheet_between(case, plenum, reach[0] - 1e-9, reach[1], book, draws)
    d_h = float(plenum.hydraulic_diameter_m(at))
    numbers = friction(draws, distance_m, d_h, d_h, wide, plenum.roughness_m,
                       case.conditions.charge_temperature_k)
    if entry.end == "far":
        numbers["friction_u"], numbers["friction_v"] = (
            numbers["friction_u"] + numbers["friction_v"], 0.0)
        flow.duct(f"{where} dump", station, joint, station_area, area, face_u="R",
                  k_v_back=pipe_in + on_pipe, k_u_back=plenum_in + sheet,
                  k_v_forward=pipe_out + on_pipe,
                  k_u_forward=plenum_out + sheet, entry=entry.name, length_m=distance_m, **numbers)
    else:
        numbers["friction_u"], numbers["friction_v"] = (
            0.0, numbers["friction_u"] + numbers["friction_v"])
        flow.duct(f"{where} dump", joint, station, area, station_area, face_v="L",
                  k_u_forward=pipe_in + on_pipe, k_v_forward=plenum_in + sheet,
                  k_u_back=pipe_out + on_pipe,
                  k_v_back=plenum_out + sheet, entry=entry.name, length_m=distance_m, **numbers)


def add_inflow(flow: FlowGraph, entry: Entry, joint: str, station: str, book: LawBook,
               draws: Draws) -> None:
    """Center or ducted entry: the stream enters at a station and loses its head in mixing.

    It is a mouth of the plenum that feeds; drawn backwards it is a sharp mouth.
    """
    _, area = last_duct(entry)
    over = entry.baffle is not None and entry.baffle.at_m is None
    sheet = baffle_loss(entry, book, draws) if over else 0.0
    sharp, _ = book.value(f"entry {entry.name}", "entrance.idelchik", None, radius_over_d=0.0)
    flow.mouth(f"entry {entry.name} inflow", station, joint, area, k_vv=sharp,
               k_exit=1.0 + sheet, entry=entry.name)
