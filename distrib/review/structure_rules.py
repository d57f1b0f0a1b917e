"""Rules on strength under boost: a caution, never a certificate."""

from __future__ import annotations

from typing import Final, NamedTuple

from distrib.case.schema import Structure
from distrib.results import Source
from distrib.review import structure
from distrib.review.drawing import structure_of
from distrib.review.rules import (
    Limits,
    Outcome,
    Rule,
    missing,
    not_applicable,
)
from distrib.review.subject import Subject

CLOSED_THROTTLE_PA: Final = 80e3
"""Depression behind a closed throttle, Pa (from memory, 70 to 80 kPa): loads panels inward."""
WELD_GUESS: Final = 0.4
"""Yield left beside a weld in heat-treated aluminium where the case is silent (from memory)."""
PROOF_PA: Final = {"8.8": 580e6, "10.9": 830e6, "12.9": 970e6}
"""Proof stress of steel bolts up to 16 mm, ISO 898-1."""

WELD_SOURCE: Final = Source(
    "weld-strength",
    "as-welded 6061 about 165 MPa tensile against more than 275 MPa parent (owners' forum "
    "figure); yield beside the weld 105 to 125 MPa from memory",
    "from memory",
)


class Load(NamedTuple):
    """Pressure difference that loads the walls, Pa, and where it comes from."""

    pressure_pa: float
    text: str


def working_load(subject: Subject) -> Load:
    """Boost over ambient, or the depression behind a closed throttle when that is larger."""
    boost = subject.gauge_pa
    throttled = any(e.throttle is not None for e in subject.case.entries)
    if throttled and boost < CLOSED_THROTTLE_PA:
        return Load(CLOSED_THROTTLE_PA, "0.8 bar inward behind the closed throttle")
    return Load(boost, f"{boost / 1e5:.2f} bar boost")


def weld_yield(s: Structure) -> tuple[float, str] | None:
    """Yield beside the weld, Pa, and how it came about; None without parent yield."""
    if s.yield_pa is None:
        return None
    if s.panel_welded is False:
        return s.yield_pa, "parent yield, panel edge is no weld"
    if s.weld_factor is None:
        return s.yield_pa * WELD_GUESS, f"{WELD_GUESS:g} of parent yield assumed at the weld"
    return s.yield_pa * s.weld_factor, f"{s.weld_factor:g} of parent yield at the weld"


def panel_size(subject: Subject) -> tuple[float, float, str] | None:
    """Width and length (m) of the largest flat panel, and where they come from.

    As given; else the widest wall of a rectangular plenum over its whole length, without ribs.
    """
    s = structure_of(subject)
    if s.panel_width_m is not None and s.panel_length_m is not None:
        return s.panel_width_m, s.panel_length_m, "panel as given"
    walls = [
        (side, p.length_m)
        for p in subject.case.plenums
        for section in p.sections
        for side in (section.width_m, section.height_m)
        if side is not None
    ]
    if not walls:
        return None
    width, length = max(walls, key=lambda wall: min(wall))
    return width, length, "whole plenum wall, no ribs"


def loaded_panel(subject: Subject, pressure_pa: float) -> structure.Plate | None:
    """The largest flat panel under a pressure difference (Pa); None without its sizes."""
    s = structure_of(subject)
    size = panel_size(subject)
    if size is None or s.wall_thickness_m is None:
        return None
    return structure.plate(
        pressure_pa,
        size[0],
        size[1],
        s.wall_thickness_m,
        70e9 if s.youngs_modulus_pa is None else s.youngs_modulus_pa,
        s.panel_edges or "clamped",
    )


def _all_round(subject: Subject) -> bool:
    return all(p.shape == "round" for p in subject.case.plenums)


def no_flat(subject: Subject) -> Outcome | None:
    """Outcome when the case has no flat panel to check, or lacks its sizes."""
    s = structure_of(subject)
    size = panel_size(subject)
    if size is None and _all_round(subject) and s.lid == "none":
        return not_applicable("round plenum without a lid, no flat panel given")
    lacking = [
        name
        for name, value in (
            ("width and length of the largest flat panel", size),
            ("wall thickness", s.wall_thickness_m),
        )
        if value is None
    ]
    return missing(", ".join(lacking)) if lacking else None


def check_panel_stress(subject: Subject, limits: Limits) -> Outcome:
    """Bending stress of the largest flat panel over the yield at its edge."""
    early = no_flat(subject)
    if early is not None:
        return early
    load = working_load(subject)
    panel = loaded_panel(subject, load.pressure_pa)
    strength = weld_yield(structure_of(subject))
    if panel is None or strength is None:
        return missing("yield strength of the sheet")
    value = panel.stress_pa / strength[0]
    edges = structure_of(subject).panel_edges or "clamped (assumed)"
    size = panel_size(subject)
    text = (
        f"{panel.stress_pa / 1e6:.0f} MPa at the {panel.where} ({load.text}, "
        f"{size[2] if size else ''}, edges {edges}) = "
        f"{value:.2f} of {strength[0] / 1e6:.0f} MPa ({strength[1]})"
    )
    if panel.cautions:
        text += "; " + "; ".join(panel.cautions)
    return Outcome(limits.grade(value), text, value)


def check_panel_deflection(subject: Subject, limits: Limits) -> Outcome:
    """Deflection of the largest flat panel in wall thicknesses."""
    early = no_flat(subject)
    if early is not None:
        return early
    load = working_load(subject)
    panel = loaded_panel(subject, load.pressure_pa)
    thickness = structure_of(subject).wall_thickness_m
    if panel is None or thickness is None:
        return missing("panel size and wall thickness")
    value = panel.deflection_m / thickness
    modulus = structure_of(subject).youngs_modulus_pa
    note = "" if modulus is not None else ", modulus of aluminium 70 GPa assumed"
    return Outcome(
        limits.grade(value),
        f"bows by {panel.deflection_m * 1e3:.2f} mm = {value:.2f} thicknesses ({load.text}{note})",
        value,
    )


def check_shell(subject: Subject, limits: Limits) -> Outcome:
    """Hoop stress of the widest round section over the yield beside a weld."""
    diameters = [
        s.diameter_m
        for p in subject.case.plenums
        if p.shape == "round"
        for s in p.sections
        if s.diameter_m is not None
    ]
    if not diameters:
        return not_applicable("no round plenum")
    s = structure_of(subject)
    strength = weld_yield(s)
    if s.wall_thickness_m is None or strength is None:
        return missing("wall thickness and yield strength")
    load = working_load(subject)
    stress = structure.hoop_stress_pa(load.pressure_pa, max(diameters), s.wall_thickness_m)
    value = stress / strength[0]
    return Outcome(
        limits.grade(value),
        f"hoop stress {stress / 1e6:.1f} MPa ({load.text}) = {value:.2f} of the yield; a round "
        "shell carries pressure far better than a flat one",
        value,
    )


def check_lid(subject: Subject, limits: Limits) -> Outcome:
    """Force on the lid, and bolt stress over proof stress where it is bolted."""
    s = structure_of(subject)
    if s.lid is None:
        return missing("how the lid is held (or that there is none)")
    if s.lid == "none":
        return not_applicable("no lid")
    if s.lid_length_m is None or s.lid_width_m is None:
        return missing("length and width of the lid")
    pressure = max(subject.gauge_pa, 0.0)
    force = structure.lid_force_n(pressure, s.lid_length_m, s.lid_width_m)
    text = f"{force / 1e3:.2f} kN ({force / 9.80665:.0f} kg) lift the lid at full boost"
    if s.lid == "welded":
        return Outcome("ok" if s.joint == "full penetration" else "ask", text + ", held by welds")
    if s.lid_bolts is None or s.lid_bolt_diameter_m is None or s.lid_bolt_class is None:
        return missing("number, size and class of the lid bolts; " + text)
    try:
        stress = structure.bolt_stress_pa(force, s.lid_bolts, s.lid_bolt_diameter_m)
    except ValueError as error:
        return Outcome("ask", f"{text}; {error}")
    value = stress / PROOF_PA[s.lid_bolt_class]
    return Outcome(
        limits.grade(value),
        f"{text}; {stress / 1e6:.0f} MPa in each of {s.lid_bolts} bolts = {value:.2f} of the "
        "proof stress, before gasket preload and prying; the thread in aluminium is weaker",
        value,
    )


def check_weld_factor(subject: Subject, limits: Limits) -> Outcome:
    """Weld knock-down the design counts on."""
    s = structure_of(subject)
    if s.weld_factor is None:
        return missing("share of the parent strength that is left beside a weld")
    return Outcome(
        limits.grade(s.weld_factor),
        f"the design counts on {100.0 * s.weld_factor:.0f} % of the parent strength beside a weld",
        s.weld_factor,
    )


ADVICE: Final = "caution, not a certificate: ask a licensed engineer"

RULES: Final = (
    Rule(
        "panel-stress",
        "structure",
        "Flat panel under load",
        checks="bending stress of the largest flat panel over the yield beside its weld",
        why="flat panels carry pressure badly: stress grows as width over thickness squared",
        todo=f"add ribs, thickness or curvature; {ADVICE}",
        origin=structure.ROARK,
        test=check_panel_stress,
        unit="-",
        sense="at most",
        limit=0.67,
        hard=1.0,
    ),
    Rule(
        "panel-deflection",
        "structure",
        "Bow of the flat panel",
        checks="deflection of the largest flat panel in wall thicknesses",
        why="a panel that breathes works its edge welds with every boost cycle",
        todo=f"add ribs or thickness; {ADVICE}",
        origin=structure.ROARK,
        test=check_panel_deflection,
        unit="t",
        sense="at most",
        limit=0.25,
        hard=0.5,
    ),
    Rule(
        "shell-stress",
        "structure",
        "Round shell",
        checks="hoop stress of the widest round section over the yield beside a weld",
        why="the seam of a round shell carries this stress",
        todo=f"increase the wall; {ADVICE}",
        origin=structure.THIN_SHELL,
        test=check_shell,
        unit="-",
        sense="at most",
        limit=0.4,
        hard=0.67,
    ),
    Rule(
        "lid-force",
        "structure",
        "Force on the lid",
        checks="pressure times lid area; bolt stress over proof stress of a bolted lid",
        why="a lid of moderate size is pushed off with about a tonne",
        todo=f"more or larger bolts, both sides welded, ribs; {ADVICE}",
        origin=structure.PRESSURE_AREA,
        test=check_lid,
        unit="-",
        sense="at most",
        limit=0.25,
        hard=0.5,
    ),
    Rule(
        "weld-factor",
        "structure",
        "Weld knock-down",
        checks="share of the parent strength that the design counts on beside a weld",
        why="heat-treated aluminium loses about half of its strength beside a weld",
        todo=(
            "count on 0.4 to 0.5 for heat-treated alloys unless tested; annealed alloys lose "
            f"little: set your own limit with the reason; {ADVICE}"
        ),
        origin=WELD_SOURCE,
        test=check_weld_factor,
        unit="-",
        sense="at most",
        limit=0.7,
        hard=0.95,
    ),
)
