"""Rules on the runners: bells, lengths, bends, area, port match."""

from __future__ import annotations

import math
from typing import Final

from distrib.case.schema import Runner
from distrib.results import Source
from distrib.review import estimates
from distrib.review.rules import (
    MEMORY,
    PRACTICE,
    Limits,
    Outcome,
    Rule,
    cylinders,
    missing,
    not_applicable,
    percent_range,
    worst,
)
from distrib.review.subject import Subject, circle_m2

ROUNDED: Final = ("rounded", "bell")
BELL_SOURCE: Final = Source(
    "rounded-entrance",
    "rounded pipe entrances in handbooks (Miller; Idelchik; Crane TP-410) lose 0.03 to 0.06 "
    "heads from a radius of 0.2 D on, a sharp edge about 0.5",
    "published",
)
BEND_SOURCE: Final = Source(
    "smooth-bend",
    "smooth 90 deg bends in handbooks (Miller; Rennels & Hudson; Ito) lose about 0.45 heads at "
    "R/D 0.75, 0.3 at 1 and 0.2 at 2; the limit 1.5 from memory",
    "from memory",
)


def mach_of(subject: Subject, runner: Runner) -> float:
    """Mach number in a mouth while its cylinder draws, mean over the intake event."""
    c = subject.case.conditions
    event = subject.case.engine.cylinders / subject.drawing_cylinders
    flow = subject.mass_flow / len(subject.case.runners) * event
    return estimates.mach_number(
        flow,
        circle_m2(min(runner.diameter_m, runner.end_diameter_m)),
        c.charge_pressure_pa,
        c.charge_temperature_k,
    )


def check_bell(subject: Subject, limits: Limits) -> Outcome:
    """Smallest edge radius over mouth diameter."""
    values = [
        (
            f"cylinder {r.cylinder} ({r.mouth})",
            r.mouth_radius_m / r.diameter_m if r.mouth in ROUNDED else 0.0,
        )
        for r in subject.case.runners
    ]
    name, value = worst(values, "at least")
    return Outcome(limits.grade(value), f"{name}: edge radius {value:.2f} D", value)


def check_bells_alike(subject: Subject, limits: Limits) -> Outcome:
    """Largest difference of radius over diameter; different shapes always ask."""
    shapes = {r.mouth for r in subject.case.runners}
    if len(shapes) > 1:
        return Outcome("change", f"mouths of different shape: {', '.join(sorted(shapes))}")
    ratios = [r.mouth_radius_m / r.diameter_m for r in subject.case.runners]
    value = max(ratios) - min(ratios)
    return Outcome(limits.grade(value), f"radius over diameter differs by {value:.3f}", value)


def check_clearances_alike(subject: Subject, limits: Limits) -> Outcome:
    """Range of the mouths' wall clearances, in mouth diameters: end bells against inner ones."""
    shown = [
        (r.cylinder, r.wall_clearance_m / r.diameter_m)
        for r in subject.case.runners
        if r.wall_clearance_m is not None
    ]
    if len(shown) < len(subject.case.runners):
        return missing("wall clearance of every mouth, end mouths above all")
    near = min(shown, key=lambda pair: pair[1])
    value = max(v for _, v in shown) - near[1]
    return Outcome(
        limits.grade(value),
        f"clearances differ by {value:.2f} D; nearest to a wall: cylinder {near[0]}",
        value,
    )


def check_lengths(subject: Subject, limits: Limits) -> Outcome:
    """Range of runner lengths over their mean, percent."""
    runners = subject.case.runners
    value = percent_range([r.length_m for r in runners])
    short = min(runners, key=lambda r: r.length_m)
    long = max(runners, key=lambda r: r.length_m)
    text = f"runner lengths differ by {value:.1f} %"
    if value > 0.0:
        text += f" (shortest cylinder {short.cylinder}, longest cylinder {long.cylinder})"
    return Outcome(limits.grade(value), text, value)


def check_bend_radius(subject: Subject, limits: Limits) -> Outcome:
    """Tightest bend over the local diameter."""
    values = [
        (f"cylinder {r.cylinder}", b.radius_m / max(r.diameter_m, r.end_diameter_m))
        for r in subject.case.runners
        for b in r.bends
    ]
    if not values:
        return not_applicable("no bend in any runner")
    name, value = worst(values, "at least")
    return Outcome(limits.grade(value), f"{name}: bend radius {value:.2f} D", value)


def check_turning(subject: Subject, limits: Limits) -> Outcome:
    """Range of the total turning angle, degrees, take-off included."""
    turns = {
        r.cylinder: sum(b.angle_deg for b in r.bends) + abs(r.angle_deg - 90.0)
        for r in subject.case.runners
    }
    value = max(turns.values()) - min(turns.values())
    text = f"total turning differs by {value:.0f} deg between cylinders"
    if value > 0.0:
        most = [n for n, t in turns.items() if t == max(turns.values())]
        text += f"; most in {cylinders(most)}"
    return Outcome(limits.grade(value), text, value)


def check_takeoff(subject: Subject, limits: Limits) -> Outcome:
    """Whether all mouths lean alike away from square on a side-fed plenum."""
    values = [(f"cylinder {r.cylinder}", abs(r.angle_deg - 90.0)) for r in subject.case.runners]
    name, value = worst(values, "at most")
    if value == 0.0:
        return Outcome("ok", "all runners leave square", 0.0)
    return Outcome(
        limits.grade(value), f"{name}: leans {value:.0f} deg from square, a bias by design", value
    )


def check_diffusion(subject: Subject, limits: Limits) -> Outcome:
    """Included angle of a runner that widens towards the port, degrees."""
    values = [
        (
            f"cylinder {r.cylinder}",
            estimates.cone_angle_deg(r.diameter_m, r.end_diameter_m, r.length_m),
        )
        for r in subject.case.runners
        if r.end_diameter_m > r.diameter_m
    ]
    if not values:
        return not_applicable("no runner widens towards the port")
    name, value = worst(values, "at most")
    return Outcome(
        limits.grade(value), f"{name}: widens by {value:.1f} deg included over its length", value
    )


def check_taper(subject: Subject, limits: Limits) -> Outcome:
    """Mouth area over end area, percent more."""
    values = [
        (
            f"cylinder {r.cylinder}",
            100.0 * (circle_m2(r.diameter_m) / circle_m2(r.end_diameter_m) - 1.0),
        )
        for r in subject.case.runners
    ]
    name, value = worst(values, "at most")
    return Outcome(
        limits.grade(value), f"{name}: mouth area {value:+.0f} % against the port end", value
    )


def check_areas_alike(subject: Subject, limits: Limits) -> Outcome:
    """Range of the runner areas over their mean, percent, mouth and end."""
    mouth = percent_range([circle_m2(r.diameter_m) for r in subject.case.runners])
    end = percent_range([circle_m2(r.end_diameter_m) for r in subject.case.runners])
    value = max(mouth, end)
    where = "mouths" if mouth >= end else "port ends"
    return Outcome(limits.grade(value), f"areas of the {where} differ by {value:.1f} %", value)


def check_step(subject: Subject, limits: Limits) -> Outcome:
    """Lip that faces the flow at the port flange, mm."""
    unknown = [
        r.cylinder for r in subject.case.runners if not subject.given(r.cylinder, "flange_step")
    ]
    if unknown:
        return missing(f"step at the port flange, {cylinders(unknown)}")
    values = [(f"cylinder {r.cylinder}", r.flange_step_m * 1e3) for r in subject.case.runners]
    name, value = worst(values, "at most")
    if value <= 0.0:
        return Outcome("ok", "no lip faces the flow; a small step outward is tolerable", value)
    return Outcome(limits.grade(value), f"{name}: a lip of {value:.2f} mm faces the flow", value)


def check_runner_mach(subject: Subject, limits: Limits) -> Outcome:
    """Mach number in the narrowest runner section while its cylinder draws."""
    values = [(f"cylinder {r.cylinder}", mach_of(subject, r)) for r in subject.case.runners]
    name, value = worst(values, "at most")
    text = f"{name}: {estimates.mach_text(value)}"
    if math.isfinite(value):
        speed = value * estimates.sound_speed_m_s(subject.case.conditions.charge_temperature_k)
        text += f" (about {speed:.0f} m/s)"
    return Outcome(
        limits.grade(value),
        f"{text}, mean over the intake event ({subject.flow_basis})",
        value,
    )


RULES: Final = (
    Rule(
        "bell-radius",
        "runners",
        "Radius of the runner mouths",
        checks="smallest edge radius over mouth diameter; 0 for a mouth without a radius",
        why="a sharp mouth loses about half a velocity head, a bell a tenth of that",
        todo="round every mouth with at least a fifth of its diameter",
        origin=BELL_SOURCE,
        test=check_bell,
        unit="D",
        sense="at least",
        limit=0.2,
        hard=0.05,
    ),
    Rule(
        "bells-alike",
        "runners",
        "All mouths alike",
        checks="difference of radius over diameter between cylinders; shapes must be the same",
        why="unequal mouths are unequal losses: a spread that is built in",
        todo="give all mouths one shape and radius",
        origin=PRACTICE,
        test=check_bells_alike,
        unit="D",
        sense="at most",
        limit=0.02,
        hard=0.1,
    ),
    Rule(
        "clearances-alike",
        "runners",
        "End mouths as free as the inner ones",
        checks="range of the wall clearances in mouth diameters",
        why="equal bells are not equal when the end ones sit closer to a wall",
        todo="move the end walls out or shift the row",
        origin=PRACTICE,
        test=check_clearances_alike,
        unit="D",
        sense="at most",
        limit=0.25,
    ),
    Rule(
        "length-equality",
        "runners",
        "Runner lengths alike",
        checks="range of the centre-line lengths over their mean",
        why="unequal lengths tune to unequal speeds, so the leanest cylinder changes with speed",
        todo="make them alike within 3 %, or write down why not",
        origin=PRACTICE,
        test=check_lengths,
        unit="%",
        sense="at most",
        limit=3.0,
        hard=10.0,
    ),
    Rule(
        "bend-radius",
        "runners",
        "Bend radius of the runners",
        checks="smallest centre-line radius over diameter",
        why="a tight bend separates on its inside; the loss then depends on small details",
        todo="bend with one and a half diameters or more",
        origin=BEND_SOURCE,
        test=check_bend_radius,
        unit="D",
        sense="at least",
        limit=1.5,
        hard=1.0,
    ),
    Rule(
        "turning-equality",
        "runners",
        "Equal turning of the runners",
        checks="range of the total turning angle between cylinders",
        why="unequal turning is unequal loss",
        todo="route the runners with the same total angle, or balance by radius",
        origin=MEMORY,
        test=check_turning,
        unit="deg",
        sense="at most",
        limit=10.0,
        hard=45.0,
    ),
    Rule(
        "take-off-angle",
        "runners",
        "Lean of the take-offs",
        checks="largest lean of a runner from square",
        why=(
            "leaning all mouths alike towards the entry eases the turn and biases a side feed in a "
            "new direction"
        ),
        todo="compare with square take-offs on the same assumptions",
        origin=MEMORY,
        test=check_takeoff,
        unit="deg",
        sense="at most",
        limit=20.0,
    ),
    Rule(
        "runner-diffusion",
        "runners",
        "Runner that widens towards the port",
        checks="included angle of a runner whose port end is larger than its mouth",
        why="a stream that widens faster than about 7 deg leaves the wall",
        todo="taper the other way, or widen more slowly",
        origin=MEMORY,
        test=check_diffusion,
        unit="deg",
        sense="at most",
        limit=7.0,
        hard=14.0,
    ),
    Rule(
        "runner-taper",
        "runners",
        "Runner taper",
        checks="mouth area against the area at the port end",
        why=(
            "10 to 20 % more area at the mouth keeps the entry slow; a much larger mouth crowds "
            "the plenum and raises the area ratio"
        ),
        todo="taper by 10 to 20 % of the area",
        origin=Source(
            "runner-taper", "general repair FAQ on runner sizing: weak authority", "published"
        ),
        test=check_taper,
        unit="%",
        sense="at most",
        limit=40.0,
        hard=100.0,
    ),
    Rule(
        "areas-alike",
        "runners",
        "Runner areas alike",
        checks="range of the mouth and port-end areas between cylinders",
        why="the flow follows the area: 2 % of area is 2 % of air on a rig",
        todo="ream or size all runners to one gauge",
        origin=PRACTICE,
        test=check_areas_alike,
        unit="%",
        sense="at most",
        limit=2.0,
        hard=6.0,
    ),
    Rule(
        "port-match",
        "runners",
        "Port match",
        checks="lip that faces the flow at the port flange",
        why="a lip that faces the flow throttles and trips the stream just before the valve",
        todo=(
            "open the port or make the runner no larger than the port; a small step outward is "
            "tolerable"
        ),
        origin=PRACTICE,
        test=check_step,
        unit="mm",
        sense="at most",
        limit=0.5,
        hard=1.5,
    ),
    Rule(
        "runner-mach",
        "runners",
        "Speed in the runners",
        checks="Mach number in the narrowest runner section while its cylinder draws",
        why="beyond a mean of about a quarter, loss and choking at the peak of the event grow fast",
        todo="enlarge the runner, or accept less air at the top",
        origin=Source(
            "runner-speed",
            "one general rule of thumb gives 73 to 85 m/s near the torque peak; limit from memory",
            "from memory",
        ),
        test=check_runner_mach,
        unit="-",
        sense="at most",
        limit=0.25,
        hard=0.4,
    ),
)
