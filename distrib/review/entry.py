"""Rules on the entry: cone, jump into the plenum, jet and mouths, baffle, balance tube."""

from __future__ import annotations

import math
from typing import Final

from distrib.case.schema import Entry, Plenum
from distrib.results import Source
from distrib.review import estimates
from distrib.review.rules import (
    MEMORY,
    OWN,
    PRACTICE,
    Limits,
    Outcome,
    Rule,
    not_applicable,
    worst,
)
from distrib.review.subject import Subject, circle_m2

WIDE_CONE: Final = Source(
    "wide-cone",
    "flow in a 30 deg diffuser attaches to one wall and stays there: wind-tunnel study, "
    "R&D Journal vol. 24 (2008), abstract read",
    "published",
)
BORDA: Final = Source("borda", "sudden expansion, (1 - A1/A2)^2 upstream heads", "computed")
AIMED: Final = Source(
    "aimed-jet",
    "an engine-building note advises to let the inflow strike the floor so that no mouth sees "
    "the jet; the angle is an own estimate",
    "published",
)


def section_near(plenum: Plenum, entry: Entry) -> float:
    """Plenum area that an entry opens into, m^2."""
    return float(plenum.area_m2(entry.at_m))


def meets_with_m(entry: Entry) -> float:
    """Diameter with which the entry reaches the plenum, m."""
    return entry.diameter_m if entry.diffuser is None else entry.diffuser.exit_diameter_m


def check_cone(subject: Subject, limits: Limits) -> Outcome:
    """Included angle of the entry cone, degrees."""
    values = [
        (
            e.name,
            estimates.cone_angle_deg(e.diameter_m, e.diffuser.exit_diameter_m, e.diffuser.length_m),
        )
        for e in subject.case.entries
        if e.diffuser is not None and e.diffuser.exit_diameter_m > e.diameter_m
    ]
    if not values:
        return not_applicable("no widening cone; the entry opens as a dump")
    name, value = worst(values, "at most")
    return Outcome(limits.grade(value), f"entry {name}: cone of {value:.0f} deg included", value)


def check_dump(subject: Subject, limits: Limits) -> Outcome:
    """Loss of the jump from entry into plenum at the highest flow, kPa."""
    values = []
    for entry in subject.case.entries:
        if entry.kind != "side":
            continue
        plenum = subject.case.plenum(entry.plenum)
        small, large = circle_m2(meets_with_m(entry)), section_near(plenum, entry)
        if small < large:
            loss = estimates.dump_loss_pa(subject.entry_flow(entry), small, large, subject.density)
            values.append((entry.name, loss / 1e3))
    if not values:
        return not_applicable("no side entry that widens at once")
    name, value = worst(values, "at most")
    return Outcome(
        limits.grade(value),
        f"entry {name}: about {value:.2g} kPa lost in the jump ({subject.flow_basis}), and a jet "
        "that must mix before the first mouth",
        value,
    )


def _straight_m(subject: Subject, entry: Entry) -> float:
    """Shortest way from where the entry meets the plenum to the edge of a mouth, m."""
    plenum = subject.case.plenum(entry.plenum)
    ways = []
    for runner in subject.runners_of(plenum):
        along = abs(runner.station_m - entry.at_m)
        across = 0.0
        if entry.kind != "side":
            across = math.sqrt(4.0 * float(plenum.area_m2(entry.at_m)) / math.pi)
            if runner.roof_clearance_m is not None:
                across = runner.roof_clearance_m
        ways.append(max(0.0, math.hypot(along, across) - runner.diameter_m / 2.0))
    return min(ways)


def check_first_mouth(subject: Subject, limits: Limits) -> Outcome:
    """Throttle plate (or pipe end) to the first mouth, in bore diameters."""
    values = []
    for entry in subject.case.entries:
        bore = entry.diameter_m if entry.throttle is None else entry.throttle.bore_m
        cone = 0.0 if entry.diffuser is None else entry.diffuser.length_m
        pipe = 0.0 if entry.throttle is None else entry.throttle.to_plenum_m or 0.0
        way = (cone + _straight_m(subject, entry)) / bore
        values.append((entry.name, way, way + pipe / bore, entry))
    name, value, _, entry = min(values, key=lambda item: item[2])
    if entry.throttle is None:
        text = f"entry {name}: first mouth {value:.2f} pipe diameters from the pipe end"
        return Outcome(limits.grade(value), text, value)
    near = f"entry {name}: first mouth {value:.2f} bores behind the wall or cone"
    if entry.throttle.to_plenum_m is not None:
        value += entry.throttle.to_plenum_m / entry.throttle.bore_m
        text = f"entry {name}: first mouth {value:.2f} bores behind the plate"
        return Outcome(limits.grade(value), text, value)
    if limits.grade(value) == "ok":
        return Outcome("ok", near, value)
    most = value + entry.length_m / entry.throttle.bore_m
    if limits.grade(most) != "ok":
        text = f"{near}; even with the plate at the pipe start {most:.2f} bores"
        return Outcome(limits.grade(most), text, most)
    return Outcome(
        "ask",
        f"{near}; the pipe between plate and plenum is not stated (0 to "
        f"{entry.length_m * 1e3:.0f} mm)",
        value,
    )


def _in_line(subject: Subject, entry: Entry) -> list[int]:
    """Cylinders whose mouth lies in the straight path of the jet."""
    plenum = subject.case.plenum(entry.plenum)
    hit = []
    for runner in subject.runners_of(plenum):
        drift = 0.0
        if entry.kind != "side" and runner.roof_clearance_m is not None:
            drift = runner.roof_clearance_m * math.tan(math.radians(entry.tilt_deg))
        reach = (meets_with_m(entry) + runner.diameter_m) / 2.0
        if entry.kind == "side" or abs(entry.at_m + drift - runner.station_m) < reach:
            hit.append(runner.cylinder)
    return hit


def check_aim(subject: Subject, limits: Limits) -> Outcome:
    """Angle between jet and the way to the mouths in its path, degrees."""
    values = []
    for entry in subject.case.entries:
        hit = _in_line(subject, entry)
        if hit:
            listed = ", ".join(str(n) for n in hit)
            values.append((f"entry {entry.name}, mouths {listed}", entry.aim_deg))
    if not values:
        return Outcome("ok", "no mouth lies in the straight path of a jet")
    name, value = worst(values, "at least")
    seen = "the jet sees these mouths" if limits.grade(value) != "ok" else "no direct line"
    return Outcome(limits.grade(value), f"{name}: {value:.0f} deg off the jet, {seen}", value)


def check_baffle(subject: Subject, limits: Limits) -> Outcome:
    """Whether a thin plate stands in the stream."""
    found = [(e.name, e.baffle.open_fraction) for e in subject.case.entries if e.baffle is not None]
    if not found:
        return not_applicable("no baffle")
    name, value = worst(found, "at least")
    return Outcome(
        "ask",
        f"entry {name}: perforated plate, {100.0 * value:.0f} % open; ask for thickness, support "
        "and radii: a fragment goes into the engine",
        value,
    )


def check_center_position(subject: Subject, limits: Limits) -> Outcome:
    """Distance of a center or ducted entry from the middle of the mouths, in pitches."""
    values = []
    for entry in subject.case.entries:
        plenum = subject.case.plenum(entry.plenum)
        mouths = [r.station_m for r in subject.runners_of(plenum)]
        if entry.kind == "side" or len(subject.entries_of(plenum)) > 1 or len(mouths) < 2:
            continue
        pitch = (mouths[-1] - mouths[0]) / (len(mouths) - 1)
        middle = (mouths[-1] + mouths[0]) / 2.0
        values.append((entry.name, abs(entry.at_m - middle) / pitch))
    if not values:
        return not_applicable("no single center entry")
    name, value = worst(values, "at most")
    return Outcome(
        limits.grade(value),
        f"entry {name}: {value:.2f} pitches from the middle of the mouths",
        value,
    )


def check_balance_tube(subject: Subject, limits: Limits) -> Outcome:
    """Mach number in the tubes that feed a plenum without an entry."""
    c = subject.case.conditions
    values = []
    for plenum in subject.case.plenums:
        if subject.entries_of(plenum) or not subject.runners_of(plenum):
            continue
        tubes = [
            t for t in subject.case.balance_tubes if plenum.name in (t.from_plenum, t.to_plenum)
        ]
        area = sum(circle_m2(t.diameter_m) for t in tubes)
        mach = estimates.mach_number(
            subject.plenum_flow(plenum), area, c.charge_pressure_pa, c.charge_temperature_k
        )
        values.append((plenum.name, mach))
    if not values:
        return not_applicable("every plenum has an entry of its own")
    name, value = worst(values, "at most")
    return Outcome(
        limits.grade(value),
        f"plenum {name}: {estimates.mach_text(value)} in the tubes that feed it "
        f"({subject.flow_basis})",
        value,
    )


RULES: Final = (
    Rule(
        "cone-angle",
        "entry",
        "Cone between throttle and plenum",
        checks="included angle of the widening cone",
        why=(
            "beyond about 14 deg the stream leaves the wall, beyond 30 deg it may cling to either "
            "wall and stay there: a bias nobody designed"
        ),
        todo="lengthen the cone, or accept a dump and leave mixing length before the first mouth",
        origin=WIDE_CONE,
        test=check_cone,
        unit="deg",
        sense="at most",
        limit=14.0,
        hard=30.0,
    ),
    Rule(
        "entry-dump",
        "entry",
        "Jump from entry to plenum",
        checks="loss of the sudden widening of a side entry at the highest flow",
        why=(
            "the jump makes a jet: static pressure is low beside it and recovers over several step "
            "heights, so the first mouth may be short of air"
        ),
        todo="add a cone, or move the first mouth back",
        origin=BORDA,
        test=check_dump,
        unit="kPa",
        sense="at most",
        limit=1.0,
        hard=3.0,
    ),
    Rule(
        "first-mouth",
        "entry",
        "Throttle plate to the first mouth",
        checks="straight way from the plate to the edge of the first mouth, in bore diameters",
        why="wake and jet of the plate must mix before a mouth draws from them",
        todo="move the throttle away by one to two bores, or state the distance on the drawing",
        origin=PRACTICE,
        test=check_first_mouth,
        unit="D",
        sense="at least",
        limit=1.0,
        hard=0.5,
    ),
    Rule(
        "jet-sees-mouth",
        "entry",
        "Direct line from entry to a mouth",
        checks="angle between the entry jet and the way to the mouths in its path",
        why="a mouth in the jet takes ram air: more air at equal fuel burns lean",
        todo="aim the entry at the floor or a wall, tilt it, or place a deflector",
        origin=AIMED,
        test=check_aim,
        unit="deg",
        sense="at least",
        limit=45.0,
        hard=20.0,
    ),
    Rule(
        "center-position",
        "entry",
        "Center entry in the middle",
        checks="distance of a center entry from the middle of the mouths, in mouth pitches",
        why="an entry off the middle feeds unequal halves: the gain of a center entry is lost",
        todo="move it to the middle, or compare the shares of both places",
        origin=OWN,
        test=check_center_position,
        unit="pitch",
        sense="at most",
        limit=0.25,
        hard=1.0,
    ),
    Rule(
        "balance-tube",
        "entry",
        "Tube that feeds a plenum",
        checks="Mach number in the balance tubes that feed a plenum without an entry",
        why="a whole bank lives behind the loss of this tube",
        todo="enlarge the tube or give the second plenum an entry",
        origin=MEMORY,
        test=check_balance_tube,
        unit="-",
        sense="at most",
        limit=0.15,
        hard=0.3,
    ),
    Rule(
        "baffle",
        "entry",
        "Baffle in the stream",
        checks="perforated plate or diffuser plate in the stream",
        why="a thin plate evens the stream and costs pressure, but it can crack from fatigue",
        todo="give thickness, support and edge radius on the drawing, or leave it out",
        origin=PRACTICE,
        test=check_baffle,
    ),
)
