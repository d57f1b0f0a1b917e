"""Rules on the drawing itself: marks, flange, gasket, brackets, clearances, cleaning, road use."""

from __future__ import annotations

import itertools
from typing import Final

from distrib.case.schema import Structure
from distrib.results import Source
from distrib.review.rules import (
    PRACTICE,
    Limits,
    Outcome,
    Rule,
    missing,
)
from distrib.review.services import drawing_of
from distrib.review.subject import Subject

MARKS: Final = ("cylinder 1", "view", "firing order", "inlet end")

CONVENTIONS: Final = Source(
    "conventions",
    "firing order and numbering conventions differ between makers (encyclopaedia pages; ISO 1204 "
    "and DIN 73021 from memory)",
    "common practice",
)
FLATNESS: Final = Source(
    "flatness",
    "service data of one production four: intake flange at the head 0.13 mm new, 0.20 mm in "
    "service",
    "published",
)
ROAD_LAW: Final = Source(
    "road-law",
    "USA: Clean Air Act section 203(a)(3), 42 USC 7522(a)(3); elsewhere type approval and "
    "inspection (from memory)",
    "published",
)


def structure_of(subject: Subject) -> Structure:
    """The structure section, empty when the case has none."""
    return subject.case.structure or Structure()


def check_marks(subject: Subject, limits: Limits) -> Outcome:
    """Cylinder 1 end, view, firing order and inlet end marked on the drawing."""
    marked = {m.strip().lower() for m in drawing_of(subject).marks}
    lacking = [m for m in MARKS if m not in marked]
    if lacking:
        return missing(f"mark {', '.join(lacking)}")
    c = subject.case
    return Outcome(
        "ok",
        f"marked; cylinder 1 at the {c.cylinder_1_end}, seen {c.view}, firing order "
        + "-".join(str(n) for n in c.engine.firing_order),
    )


def check_firing_order(subject: Subject, limits: Limits) -> Outcome:
    """Neighbours on one plenum row that draw one after the other."""
    order = subject.case.engine.firing_order
    following = list(zip(order, order[1:] + order[:1], strict=True))
    pairs = []
    for plenum in subject.case.plenums:
        runners = subject.runners_of(plenum)
        for row in {r.row for r in runners}:
            line = [r.cylinder for r in runners if r.row == row]
            beside = set(itertools.pairwise(line))
            pairs += [(a, b) for a, b in following if (a, b) in beside or (b, a) in beside]
    if not pairs:
        return Outcome("ok", "no neighbours draw one after the other", 0.0)
    listed = ", ".join(f"{a} then {b}" for a, b in sorted(pairs))
    value = float(len(pairs))
    return Outcome(
        limits.grade(value), f"neighbours that draw one after the other: {listed}", value
    )


def check_flange(subject: Subject, limits: Limits) -> Outcome:
    """Thickness of the head flange, mm."""
    thickness = structure_of(subject).flange_thickness_m
    if thickness is None:
        return missing("thickness of the head flange")
    value = thickness * 1e3
    return Outcome(limits.grade(value), f"head flange {value:.1f} mm thick", value)


def check_flatness(subject: Subject, limits: Limits) -> Outcome:
    """Flatness of the head flange after welding, mm."""
    flatness = structure_of(subject).flange_flatness_m
    if flatness is None:
        return missing("flatness of the flange after welding")
    value = flatness * 1e3
    return Outcome(limits.grade(value), f"flange flat within {value:.2f} mm", value)


def check_machined(subject: Subject, limits: Limits) -> Outcome:
    """Flange and throttle faces machined after welding."""
    machined = structure_of(subject).machined_after_weld
    if machined is None:
        return missing("whether flange and throttle faces are machined after welding")
    if not machined:
        return Outcome("change", "faces are not machined after welding")
    return Outcome("ok", "faces are machined after welding")


def check_flange_bolts(subject: Subject, limits: Limits) -> Outcome:
    """Bolts on both sides of every port."""
    both = structure_of(subject).bolts_both_sides
    if both is None:
        return missing("bolts on both sides of every port")
    if not both:
        return Outcome("change", "a port without bolts on both sides leaks at its free side")
    return Outcome("ok", "bolts on both sides of every port")


def check_bolt_span(subject: Subject, limits: Limits) -> Outcome:
    """Largest distance between flange bolts over flange thickness."""
    s = structure_of(subject)
    if s.bolt_span_m is None or s.flange_thickness_m is None:
        return missing("largest distance between flange bolts, and flange thickness")
    value = s.bolt_span_m / s.flange_thickness_m
    return Outcome(
        limits.grade(value),
        f"bolts up to {s.bolt_span_m * 1e3:.0f} mm apart = {value:.1f} flange thicknesses",
        value,
    )


def check_gasket(subject: Subject, limits: Limits) -> Outcome:
    """Gasket hole larger than the port all round, mm; gasket stated."""
    d = drawing_of(subject)
    if not d.gasket or d.gasket_larger_m is None:
        return missing("gasket and how much its holes are larger than the ports")
    value = d.gasket_larger_m * 1e3
    if value > 2.0:
        return Outcome("ask", f"gasket hole {value:.1f} mm larger all round: a pocket", value)
    return Outcome(limits.grade(value), f"gasket hole {value:.1f} mm larger all round", value)


def check_brackets(subject: Subject, limits: Limits) -> Outcome:
    """Stays and brackets stated."""
    text = drawing_of(subject).brackets
    return Outcome("ok", f"brackets: {text}") if text else missing("stays and brackets")


def check_growth(subject: Subject, limits: Limits) -> Outcome:
    """Thermal growth stated."""
    text = drawing_of(subject).thermal_growth
    if not text:
        return missing("how throttle pipe and stays let the plenum grow when hot")
    return Outcome("ok", f"thermal growth: {text}")


def check_clearance(subject: Subject, limits: Limits) -> Outcome:
    """Smallest clearance beyond the engine's own movement, mm."""
    d = drawing_of(subject)
    if d.clearance_m is None:
        return missing("smallest clearance to bonnet, strut, steering, alternator, servo")
    value = d.clearance_m * 1e3
    text = f"smallest clearance {value:.0f} mm"
    if d.engine_roll_m is not None:
        value -= d.engine_roll_m * 1e3
        return Outcome(
            "ok" if value >= 0.0 else "change",
            f"{text}, {value:.0f} mm left after the stated engine movement",
            d.clearance_m * 1e3,
        )
    return Outcome(limits.grade(value), text, value)


def check_cleaning(subject: Subject, limits: Limits) -> Outcome:
    """Cleaning and deburring step on the drawing."""
    if drawing_of(subject).cleaning:
        return Outcome("ok", "cleaning and deburring are on the drawing")
    return missing("cleaning step: weld drop-through dressed, no swarf or oxide left")


def check_road(subject: Subject, limits: Limits) -> Outcome:
    """Road use: local law checked."""
    if subject.case.use == "competition":
        return Outcome("ok", "competition use; check the rules of the series and local law")
    note = drawing_of(subject).road_note
    if not note:
        return missing("road use: what was found about local law (check local law)")
    return Outcome("ok", f"road use: {note}; check local law")


RULES: Final = (
    Rule(
        "marks",
        "drawing",
        "Orientation marked",
        checks="cylinder 1 end, view, firing order and inlet end on the drawing",
        why="a swapped end turns every figure of this tool around",
        todo="mark all four on the drawing",
        origin=CONVENTIONS,
        test=check_marks,
    ),
    Rule(
        "firing-neighbours",
        "drawing",
        "Neighbours that draw in sequence",
        checks="number of neighbouring mouths of one row that draw one after the other",
        why="the later of two neighbours draws from a plenum that is still drooping",
        todo="look at these cylinders first when you measure",
        origin=CONVENTIONS,
        test=check_firing_order,
        unit="pairs",
        sense="at most",
        limit=2.0,
    ),
    Rule(
        "flange-thickness",
        "drawing",
        "Head flange thickness",
        checks="thickness of the head flange",
        why="a thin flange bends between its bolts and warps when it is welded",
        todo="use 10 to 13 mm",
        origin=PRACTICE,
        test=check_flange,
        unit="mm",
        sense="at least",
        limit=10.0,
        hard=6.0,
    ),
    Rule(
        "flange-flatness",
        "drawing",
        "Flange flatness after welding",
        checks="flatness of the head flange",
        why="a warped flange leaks at one port: that cylinder burns lean",
        todo="machine after welding and state 0.13 mm",
        origin=FLATNESS,
        test=check_flatness,
        unit="mm",
        sense="at most",
        limit=0.13,
        hard=0.20,
    ),
    Rule(
        "machined-after-weld",
        "drawing",
        "Faces machined last",
        checks="flange and throttle faces machined after welding",
        why="welding pulls every face out of true",
        todo="weld on a thick jig, then machine",
        origin=PRACTICE,
        test=check_machined,
    ),
    Rule(
        "flange-bolts",
        "drawing",
        "Bolts around each port",
        checks="bolts on both sides of every port",
        why="a port with bolts on one side leaks at the other",
        todo="add the bolt or a bridge",
        origin=PRACTICE,
        test=check_flange_bolts,
    ),
    Rule(
        "bolt-span",
        "drawing",
        "Distance between flange bolts",
        checks="largest distance between flange bolts in flange thicknesses",
        why="a flange that spans far lifts between its bolts",
        todo="add bolts or thickness",
        origin=Source("bolt-span", "8 thicknesses", "own estimate"),
        test=check_bolt_span,
        unit="-",
        sense="at most",
        limit=8.0,
        hard=14.0,
    ),
    Rule(
        "gasket",
        "drawing",
        "Gasket against port",
        checks="how much the gasket hole is larger than the port all round",
        why="a gasket that stands into the port trips the stream; one far larger leaves a pocket",
        todo="cut it 1 to 2 mm larger all round",
        origin=PRACTICE,
        test=check_gasket,
        unit="mm",
        sense="at least",
        limit=1.0,
        hard=0.0,
    ),
    Rule(
        "brackets",
        "drawing",
        "Stays and brackets",
        checks="how plenum and throttle are held",
        why="a hanging plenum cracks at the runners",
        todo="show stays, their bolts and bushes",
        origin=PRACTICE,
        test=check_brackets,
    ),
    Rule(
        "thermal-growth",
        "drawing",
        "Thermal growth",
        checks="how the parts may grow when hot; gasket that keeps heat out",
        why="a plenum held stiffly at both ends stresses its welds with every warm-up",
        todo="leave a slip joint or hose, and an insulating gasket",
        origin=PRACTICE,
        test=check_growth,
    ),
    Rule(
        "clearance",
        "drawing",
        "Clearances",
        checks="smallest clearance to bonnet, strut, steering, alternator, servo",
        why="an engine rolls by 10 to 15 mm under load",
        todo="leave 15 mm or state the engine's movement",
        origin=PRACTICE,
        test=check_clearance,
        unit="mm",
        sense="at least",
        limit=15.0,
        hard=5.0,
    ),
    Rule(
        "cleaning",
        "drawing",
        "Cleaning before fitting",
        checks="cleaning and deburring step",
        why=(
            "swarf, flux and oxide go straight into the engine; chlorinated cleaner and an arc "
            "make poison gas"
        ),
        todo="write the cleaning step and who signs it",
        origin=PRACTICE,
        test=check_cleaning,
    ),
    Rule(
        "road-use",
        "drawing",
        "Road use",
        checks="whether road use has been looked at",
        why="changing emission parts is barred or needs approval in many countries",
        todo="check local law before the car is driven on the road",
        origin=ROAD_LAW,
        test=check_road,
    ),
)
