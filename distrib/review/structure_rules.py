"""Rules on strength under boost: a caution, never a certificate."""

from __future__ import annotations

from typing import Final, NamedTuple

from distrib.case.schema import Structure
from distrib.results import Source
from distrib.review import structure
from distrib.review.drawing import structure_of
from distrib.review.geometry import volume_m3
from distrib.review.rules import (
    PRACTICE,
    Limits,
    Outcome,
    Rule,
    Verdict,
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
JOINT_FAILURES: Final = Source(
    "joint-failures",
    "two owners' reports: a seam split by a start-up backfire, a lid torn off along its weld",
    "published",
)
BACKFIRE: Final = Source(
    "backfire",
    "closed stoichiometric deflagration reaches about 7 to 8 times the initial absolute "
    "pressure (from memory)",
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


def _panel(subject: Subject, pressure_pa: float) -> structure.Plate | None:
    s = structure_of(subject)
    if s.panel_width_m is None or s.panel_length_m is None or s.wall_thickness_m is None:
        return None
    return structure.plate(
        pressure_pa,
        s.panel_width_m,
        s.panel_length_m,
        s.wall_thickness_m,
        70e9 if s.youngs_modulus_pa is None else s.youngs_modulus_pa,
        s.panel_edges or "clamped",
    )


def _all_round(subject: Subject) -> bool:
    return all(p.shape == "round" for p in subject.case.plenums)


def _flat(subject: Subject) -> Outcome | None:
    """Outcome when the case has no flat panel to check, or lacks its sizes."""
    s = structure_of(subject)
    if s.panel_width_m is None and _all_round(subject) and s.lid in ("none", None):
        return not_applicable("round plenum, no flat panel given")
    lacking = [
        name
        for name, value in (
            ("panel width", s.panel_width_m),
            ("panel length", s.panel_length_m),
            ("wall thickness", s.wall_thickness_m),
        )
        if value is None
    ]
    return missing(", ".join(lacking)) if lacking else None


def check_panel_stress(subject: Subject, limits: Limits) -> Outcome:
    """Bending stress of the largest flat panel over the yield at its edge."""
    early = _flat(subject)
    if early is not None:
        return early
    load = working_load(subject)
    panel = _panel(subject, load.pressure_pa)
    strength = weld_yield(structure_of(subject))
    if panel is None or strength is None:
        return missing("yield strength of the sheet")
    value = panel.stress_pa / strength[0]
    edges = structure_of(subject).panel_edges or "clamped (assumed)"
    text = (
        f"{panel.stress_pa / 1e6:.0f} MPa at the {panel.where} ({load.text}, edges {edges}) = "
        f"{value:.2f} of {strength[0] / 1e6:.0f} MPa ({strength[1]})"
    )
    if panel.cautions:
        text += "; " + "; ".join(panel.cautions)
    return Outcome(limits.grade(value), text, value)


def check_panel_deflection(subject: Subject, limits: Limits) -> Outcome:
    """Deflection of the largest flat panel in wall thicknesses."""
    early = _flat(subject)
    if early is not None:
        return early
    load = working_load(subject)
    panel = _panel(subject, load.pressure_pa)
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


def check_data(subject: Subject, limits: Limits) -> Outcome:
    """Material, yield, weld factor and wall on the drawing."""
    s = structure_of(subject)
    lacking = [
        name
        for name, value in (
            ("material", s.material),
            ("yield strength", s.yield_pa),
            ("weld factor", s.weld_factor),
            ("wall thickness", s.wall_thickness_m),
        )
        if value is None
    ]
    if lacking:
        return missing(", ".join(lacking))
    return Outcome("ok", f"{s.material}, wall {(s.wall_thickness_m or 0.0) * 1e3:.1f} mm")


def check_weld_factor(subject: Subject, limits: Limits) -> Outcome:
    """Weld knock-down the design counts on."""
    s = structure_of(subject)
    if s.weld_factor is None:
        return missing("share of the parent strength that is left beside a weld")
    return Outcome(
        limits.grade(s.weld_factor),
        f"the design counts on {s.weld_factor:.0%} of the parent strength beside a weld",
        s.weld_factor,
    )


def check_joint(subject: Subject, limits: Limits) -> Outcome:
    """Type of the seams."""
    joint = structure_of(subject).joint
    if joint is None:
        return missing("weld of the seams")
    if joint == "one side":
        return Outcome("change", "seams welded from one side only: a lone seam in peel tears")
    return Outcome("ok", f"seams: {joint}")


def check_proof(subject: Subject, limits: Limits) -> Outcome:
    """Proof test: medium, pressure and stored energy."""
    s = structure_of(subject)
    if s.test_pressure_pa is None or s.test_medium is None:
        return missing("proof pressure and medium")
    ambient = subject.case.conditions.ambient_pressure_pa
    gauge = max(s.test_pressure_pa - ambient, 0.0)
    volume = sum(volume_m3(p) for p in subject.case.plenums)
    gas = structure.gas_energy_j(ambient + gauge, ambient, volume)
    water = structure.water_energy_j(gauge, volume)
    energy = gas if s.test_medium == "air" else water
    verdict: Verdict = "change" if s.test_medium == "air" else "ok"
    return Outcome(
        verdict,
        f"{s.test_medium} at {gauge / 1e5:.2f} bar gauge in {volume * 1e3:.1f} L: air would hold "
        f"{gas:.3g} J, water {water:.2g} J; prove strength with water, part off the engine, "
        "bores plugged; air only for leaks, low, in steps, with regulator, relief and shield, "
        "nobody in line with lid, plugs or hose",
        energy,
    )


def check_proof_ratio(subject: Subject, limits: Limits) -> Outcome:
    """Proof pressure over working boost."""
    s = structure_of(subject)
    if subject.gauge_pa <= 0.0:
        return not_applicable("no boost")
    if s.test_pressure_pa is None:
        return missing("proof pressure")
    gauge = s.test_pressure_pa - subject.case.conditions.ambient_pressure_pa
    value = gauge / subject.gauge_pa
    return Outcome(
        limits.grade(value), f"proof at {gauge / 1e5:.2f} bar gauge = {value:.2f} x boost", value
    )


def check_proof_stress(subject: Subject, limits: Limits) -> Outcome:
    """Stress of the largest panel at proof pressure over yield at the weld."""
    s = structure_of(subject)
    early = _flat(subject)
    if early is not None:
        return early
    if s.test_pressure_pa is None:
        return missing("proof pressure")
    gauge = s.test_pressure_pa - subject.case.conditions.ambient_pressure_pa
    panel = _panel(subject, gauge)
    strength = weld_yield(s)
    if panel is None or strength is None:
        return missing("yield strength of the sheet")
    value = panel.stress_pa / strength[0]
    return Outcome(
        limits.grade(value),
        f"{panel.stress_pa / 1e6:.0f} MPa at proof pressure = {value:.2f} of the yield at the weld",
        value,
    )


def check_backfire(subject: Subject, limits: Limits) -> Outcome:
    """Relief or burst panel for a backfire; hoop and panel figures do not cover it."""
    relief = structure_of(subject).relief
    peak = 7.5 * subject.case.conditions.charge_pressure_pa / 1e5
    text = f"a closed backfire could reach about {peak:.0f} bar absolute"
    if relief is None:
        return missing(f"relief valve or burst panel; {text}")
    if not relief:
        return Outcome("ask", f"no relief valve or burst panel; {text}")
    return Outcome("ok", "relief or burst panel fitted; aim it away from people, fuel, hot exhaust")


_ADVICE: Final = structure.ADVICE

RULES: Final = (
    Rule(
        "structure-data",
        "structure",
        "Material and wall on the drawing",
        checks="material, yield strength, weld factor and wall thickness",
        why="without them nobody can say whether the plenum holds",
        todo="write alloy, temper, wall and filler on the drawing",
        origin=PRACTICE,
        test=check_data,
    ),
    Rule(
        "panel-stress",
        "structure",
        "Flat panel under load",
        checks="bending stress of the largest flat panel over the yield beside its weld",
        why="flat panels carry pressure badly: stress grows with the square of width over thickness",
        todo=f"add ribs, thickness or curvature; {_ADVICE}",
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
        todo=f"add ribs or thickness; {_ADVICE}",
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
        todo=f"increase the wall; {_ADVICE}",
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
        todo=f"more or larger bolts, both sides welded, ribs; {_ADVICE}",
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
        todo=f"count on 0.4 to 0.5 for heat-treated alloys unless tested; {_ADVICE}",
        origin=WELD_SOURCE,
        test=check_weld_factor,
        unit="-",
        sense="at most",
        limit=0.7,
        hard=0.95,
    ),
    Rule(
        "joint",
        "structure",
        "Weld of the seams",
        checks="full penetration or both sides; no lone seam in peel",
        why="seams split in backfires, lids tear off along a single bead",
        todo=f"weld both sides or with full penetration; {_ADVICE}",
        origin=JOINT_FAILURES,
        test=check_joint,
    ),
    Rule(
        "proof-test",
        "structure",
        "Proof test and its energy",
        checks="medium and stored energy of the strength test",
        why="compressed air gives its energy back in one bang, water hardly any",
        todo=f"prove with water; {_ADVICE}",
        origin=structure.PCC2,
        test=check_proof,
        unit="J",
        sense="report",
    ),
    Rule(
        "proof-ratio",
        "structure",
        "Proof pressure",
        checks="proof pressure over ambient against working boost",
        why="a proof below working pressure proves nothing",
        todo=f"prove at 1.3 to 1.5 times boost with water; {_ADVICE}",
        origin=Source(
            "proof-ratio",
            "process-piping practice of 1.5 x design with water, quoted by a secondary page; an "
            "analogy only",
            "published",
        ),
        test=check_proof_ratio,
        unit="-",
        sense="at least",
        limit=1.3,
        hard=1.0,
    ),
    Rule(
        "proof-stress",
        "structure",
        "Stress at proof pressure",
        checks="bending stress of the largest flat panel at proof pressure over the yield at its weld",
        why="a proof test must not bend the part",
        todo=f"lower the proof or stiffen the panel; {_ADVICE}",
        origin=structure.ROARK,
        test=check_proof_stress,
        unit="-",
        sense="at most",
        limit=0.9,
        hard=1.0,
    ),
    Rule(
        "backfire",
        "structure",
        "Backfire",
        checks="relief valve or burst panel",
        why="a backfire loads the plenum far beyond boost",
        todo=f"add a burst panel that points away from people, fuel and hot exhaust; {_ADVICE}",
        origin=BACKFIRE,
        test=check_backfire,
    ),
)
