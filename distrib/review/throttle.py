"""Rules on the throttle: loss, speed, direction of the shaft, opening."""

from __future__ import annotations

from typing import Final

from distrib.results import Source
from distrib.review import estimates
from distrib.review.rules import (
    MEMORY,
    OWN,
    Limits,
    Outcome,
    Rule,
    not_applicable,
    worst,
)
from distrib.review.subject import Subject, circle_m2

THROTTLE_LOG: Final = Source(
    "throttle-log",
    "check by pressure before and after the plate at full power (trade article on inlet "
    "manifolds); value 1 to 2 kPa common practice",
    "common practice",
)


def check_throttle_loss(subject: Subject, limits: Limits) -> Outcome:
    """Loss of the plate wide open at the highest flow, kPa."""
    values = []
    for entry in subject.case.entries:
        if entry.throttle is None:
            continue
        t = entry.throttle
        fraction = estimates.open_fraction(t.bore_m, t.shaft_diameter_m, 90.0, t.closed_angle_deg)
        loss = estimates.throttle_loss_pa(
            subject.entry_flow(entry),
            t.bore_m,
            fraction,
            subject.density,
            t.discharge_coefficient,
        )
        values.append((entry.name, loss / 1e3))
    if not values:
        return not_applicable("no throttle in the case")
    name, value = worst(values, "at most")
    return Outcome(
        limits.grade(value),
        f"entry {name}: about {value:.2g} kPa lost over the wide-open plate "
        f"({subject.flow_basis}); a log of the pressure either side proves it",
        value,
    )


def check_throttle_speed(subject: Subject, limits: Limits) -> Outcome:
    """Mach number in the throttle bore behind the shaft, wide open."""
    values = []
    c = subject.case.conditions
    for entry in subject.case.entries:
        if entry.throttle is None:
            continue
        t = entry.throttle
        fraction = estimates.open_fraction(t.bore_m, t.shaft_diameter_m, 90.0, t.closed_angle_deg)
        mach = estimates.mach_number(
            subject.entry_flow(entry),
            circle_m2(t.bore_m) * fraction,
            c.charge_pressure_pa,
            c.charge_temperature_k,
        )
        values.append((entry.name, mach))
    if not values:
        return not_applicable("no throttle in the case")
    name, value = worst(values, "at most")
    return Outcome(
        limits.grade(value),
        f"entry {name}: {estimates.mach_text(value)} in the bore ({subject.flow_basis})",
        value,
    )


def check_shaft(subject: Subject, limits: Limits) -> Outcome:
    """Whether the plate throws the stream to one end of the row at part opening."""
    thrown = [
        e.name
        for e in subject.case.entries
        if e.throttle is not None and e.kind != "side" and e.throttle.shaft == "across"
    ]
    if not any(e.throttle is not None for e in subject.case.entries):
        return not_applicable("no throttle in the case")
    if thrown:
        return Outcome(
            "ask",
            f"entry {', '.join(thrown)}: shaft across the row, so the plate throws the stream to "
            "one end at part opening, though not when wide open",
        )
    return Outcome("ok", "the plate does not prefer one end of the row")


def check_part_throttle(subject: Subject, limits: Limits) -> Outcome:
    """Plate angle of the case: a part-open plate is a case of its own."""
    values = [
        (e.name, e.throttle.plate_angle_deg) for e in subject.case.entries if e.throttle is not None
    ]
    if not values:
        return not_applicable("no throttle in the case")
    name, value = worst(values, "at least")
    return Outcome(
        limits.grade(value), f"entry {name}: plate at {value:.0f} deg (90 is wide open)", value
    )


RULES: Final = (
    Rule(
        "throttle-loss",
        "throttle",
        "Throttle loss at full load",
        checks="pressure lost over the wide-open plate at the highest flow",
        why="lost pressure is lost charge; a bore that is too large costs control at small opening",
        todo="log the pressure either side of the plate; enlarge the bore when that confirms it",
        origin=THROTTLE_LOG,
        test=check_throttle_loss,
        unit="kPa",
        sense="at most",
        limit=1.0,
        hard=2.0,
    ),
    Rule(
        "throttle-mach",
        "throttle",
        "Speed in the throttle bore",
        checks="Mach number beside the shaft of the wide-open plate at the highest flow",
        why="loss grows with the square of the speed and the wake reaches the first mouth",
        todo="enlarge the bore",
        origin=MEMORY,
        test=check_throttle_speed,
        unit="-",
        sense="at most",
        limit=0.2,
        hard=0.3,
    ),
    Rule(
        "shaft-direction",
        "throttle",
        "Direction of the throttle shaft",
        checks="shaft along or across the row of mouths, for an entry across the plenum",
        why="a part-open plate throws the stream to one side",
        todo="turn the throttle body by a quarter so that the shaft lies along the row",
        origin=MEMORY,
        test=check_shaft,
    ),
    Rule(
        "part-throttle",
        "throttle",
        "Plate angle of this case",
        checks="opening of the plate that the case describes",
        why="balance at part opening is another case than balance at full load",
        todo="run the case wide open too before you judge full load",
        origin=OWN,
        test=check_part_throttle,
        unit="deg",
        sense="at least",
        limit=80.0,
    ),
)
