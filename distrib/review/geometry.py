"""Rules on the plenum: area ratio, sections, volume, dead ends, clearances."""

from __future__ import annotations

import itertools
from typing import Final

from distrib.case import geometry
from distrib.case.schema import Plenum
from distrib.results import Source
from distrib.review.rules import (
    PRACTICE,
    Limits,
    Outcome,
    Rule,
    missing,
    not_applicable,
    worst,
)
from distrib.review.subject import Subject, circle_m2

HEADER_THEORY: Final = Source(
    "header-theory",
    "direction: flow distribution manifolds, ASME paper 76-FE-7 (1976), opening read; "
    "limits from memory",
    "from memory",
)


def _fed(subject: Subject) -> list[Plenum]:
    return [p for p in subject.case.plenums if subject.runners_of(p)]


def check_area_ratio(subject: Subject, limits: Limits) -> Outcome:
    """Every plenum; an inlet between mouths makes two streams that feed half each."""
    values = []
    for plenum in _fed(subject):
        ratio = geometry.area_ratio(subject.case, plenum.name)
        values.append((plenum.name, ratio / subject.streams_of(plenum)))
    name, value = worst(values, "at most")
    return Outcome(
        limits.grade(value),
        f"plenum {name}: mouths fed by one stream over the plenum section = {value:.2f}",
        value,
    )


def check_last_section(subject: Subject, limits: Limits) -> Outcome:
    """Plenum section at the dead-end mouths over one mouth area."""
    values = []
    for plenum in _fed(subject):
        for runner in subject.last_runners(plenum):
            ratio = float(plenum.area_m2(runner.station_m)) / circle_m2(runner.diameter_m)
            values.append((f"cylinder {runner.cylinder}", ratio))
    if not values:
        return not_applicable("no mouth lies beyond the last entry")
    name, value = worst(values, "at least")
    return Outcome(
        limits.grade(value), f"{name}: plenum section is {value:.2f} x the mouth there", value
    )


def check_volume(subject: Subject, limits: Limits) -> Outcome:
    """Volume of all plenums over displacement; reported, never a change by itself."""
    total = geometry.total_plenum_volume_m3(subject.case)
    value = total / subject.displacement_m3
    usual = "below" if value < 1.5 else "above" if value > 2.0 else "within"
    return Outcome(
        limits.grade(value),
        f"plenum volume {total * 1e3:.2f} L = {value:.2f} x displacement, {usual} the usual 1.5 "
        "to 2; more volume costs response, less costs power; the section, not the volume, "
        "decides the balance",
        value,
    )


def _dead_lengths(subject: Subject) -> list[tuple[str, float]]:
    values = []
    for plenum in _fed(subject):
        runners = subject.runners_of(plenum)
        for runner in subject.last_runners(plenum):
            to_far = plenum.length_m - runner.station_m
            to_wall = to_far if runner is runners[-1] else runner.station_m
            if len(runners) == 1:
                to_wall = min(to_far, runner.station_m)
            free = (to_wall - runner.diameter_m / 2.0) / runner.diameter_m
            values.append((f"cylinder {runner.cylinder}", free))
    return values


def check_dead_short(subject: Subject, limits: Limits) -> Outcome:
    """Free length between the last mouth's edge and the end wall, in mouth diameters."""
    values = _dead_lengths(subject)
    if not values:
        return not_applicable("no dead end")
    name, value = worst(values, "at least")
    return Outcome(
        limits.grade(value), f"{name}: {value:.2f} mouth diameters to the end wall", value
    )


def check_dead_long(subject: Subject, limits: Limits) -> Outcome:
    """Same length against the other side: not long."""
    values = _dead_lengths(subject)
    if not values:
        return not_applicable("no dead end")
    name, value = worst(values, "at most")
    return Outcome(
        limits.grade(value), f"{name}: {value:.2f} mouth diameters to the end wall", value
    )


def check_roof(subject: Subject, limits: Limits) -> Outcome:
    """Mouth to the opposite wall, in mouth diameters."""
    unknown = [str(r.cylinder) for r in subject.case.runners if r.roof_clearance_m is None]
    values = [
        (f"cylinder {r.cylinder}", r.roof_clearance_m / r.diameter_m)
        for r in subject.case.runners
        if r.roof_clearance_m is not None
    ]
    if unknown:
        return missing(f"distance mouth to opposite wall, cylinder {', '.join(unknown)}")
    name, value = worst(values, "at least")
    return Outcome(
        limits.grade(value), f"{name}: {value:.2f} mouth diameters to the opposite wall", value
    )


def check_end_wall(subject: Subject, limits: Limits) -> Outcome:
    """Edge of each mouth to the nearest side wall, end wall or floor, in mouth diameters."""
    unknown = [str(r.cylinder) for r in subject.case.runners if r.wall_clearance_m is None]
    values = [
        (f"cylinder {r.cylinder}", r.wall_clearance_m / r.diameter_m)
        for r in subject.case.runners
        if r.wall_clearance_m is not None
    ]
    if unknown:
        return missing(f"distance mouth edge to nearest wall, cylinder {', '.join(unknown)}")
    name, value = worst(values, "at least")
    return Outcome(
        limits.grade(value), f"{name}: {value:.2f} mouth diameters to the nearest wall", value
    )


def check_lips(subject: Subject, limits: Limits) -> Outcome:
    """Free gap between the lips of neighbours in one row, mm."""
    values = []
    for plenum in _fed(subject):
        runners = subject.runners_of(plenum)
        for row in {r.row for r in runners}:
            line = [r for r in runners if r.row == row]
            for a, b in itertools.pairwise(line):
                lips = sum(
                    r.diameter_m / 2.0
                    + (r.mouth_radius_m if r.mouth in ("bell", "rounded") else 0.0)
                    for r in (a, b)
                )
                gap = (b.station_m - a.station_m - lips) * 1e3
                values.append((f"cylinders {a.cylinder} and {b.cylinder}", gap))
    if not values:
        return not_applicable("no neighbours in one row")
    name, value = worst(values, "at least")
    return Outcome(limits.grade(value), f"{name}: {value:.1f} mm between the lips", value)


RULES: Final = (
    Rule(
        "area-ratio",
        "geometry",
        "Runner mouths over plenum section",
        checks="sum of the mouth areas that one stream feeds over the plenum section at the inlet",
        why=(
            "the larger the ratio, the faster the plenum stream and the larger the pressure change "
            "along it; it grows with the square"
        ),
        todo="enlarge the plenum section, or feed from the center so that each stream feeds half",
        origin=HEADER_THEORY,
        test=check_area_ratio,
        unit="-",
        sense="at most",
        limit=0.7,
        hard=1.0,
    ),
    Rule(
        "last-section",
        "geometry",
        "Plenum section at the last mouth",
        checks="plenum section at a dead-end mouth over that mouth's area",
        why="cylinders draw one after another: the last section must pass one whole cylinder",
        todo="taper less: end with at least one and a half mouth areas",
        origin=PRACTICE,
        test=check_last_section,
        unit="-",
        sense="at least",
        limit=1.5,
        hard=1.0,
    ),
    Rule(
        "volume",
        "geometry",
        "Plenum volume over displacement",
        checks="inside volume of all plenums over displacement, reported",
        why="volume trades peak power against response; it does not decide the balance",
        todo="choose by response; never judge a plenum by this figure alone",
        origin=PRACTICE,
        test=check_volume,
        unit="-",
        sense="at least",
        limit=0.8,
    ),
    Rule(
        "dead-length-short",
        "geometry",
        "Space beyond the last mouth",
        checks="free length from the last mouth's edge to the end wall, in mouth diameters",
        why="a wall at the lip shrouds the last mouth and gives it less air than the others",
        todo="move the end wall out by half a mouth diameter",
        origin=PRACTICE,
        test=check_dead_short,
        unit="D",
        sense="at least",
        limit=0.5,
        hard=0.0,
    ),
    Rule(
        "dead-length-long",
        "geometry",
        "Dead length",
        checks="free length from the last mouth's edge to the end wall, in mouth diameters",
        why="a long dead end adds a resonating pocket and weight and fills with condensate",
        todo="shorten the plenum beyond the last mouth to one mouth diameter",
        origin=PRACTICE,
        test=check_dead_long,
        unit="D",
        sense="at most",
        limit=1.0,
    ),
    Rule(
        "roof-clearance",
        "geometry",
        "Mouth to the opposite wall",
        checks="distance from each mouth to the wall facing it, in mouth diameters",
        why="a near roof throttles the mouth and adds loss that differs between cylinders",
        todo="raise the roof or lower the mouths: one diameter, never below half",
        origin=PRACTICE,
        test=check_roof,
        unit="D",
        sense="at least",
        limit=1.0,
        hard=0.5,
    ),
    Rule(
        "wall-clearance",
        "geometry",
        "Mouth edge to the nearest wall",
        checks="distance from each mouth's edge to the nearest end wall, side wall or floor",
        why="end mouths that sit closer to a wall than the others are a geometric cause of spread",
        todo="give the end mouths half a diameter to the end wall, as the inner ones have",
        origin=PRACTICE,
        test=check_end_wall,
        unit="D",
        sense="at least",
        limit=0.5,
        hard=0.2,
    ),
    Rule(
        "lip-gap",
        "geometry",
        "Gap between neighbouring lips",
        checks="free distance between the lips of neighbours in one row",
        why="lips that touch have no room to be full bells and feed each other's wake",
        todo="use smaller radii or trim all lips alike",
        origin=PRACTICE,
        test=check_lips,
        unit="mm",
        sense="at least",
        limit=2.0,
        hard=0.0,
    ),
)
