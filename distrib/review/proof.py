"""Rules on joints, proof test and backfire: a caution, never a certificate."""

from __future__ import annotations

from typing import Final

from distrib.case import geometry
from distrib.results import Source
from distrib.review import structure
from distrib.review.drawing import structure_of
from distrib.review.rules import (
    PRACTICE,
    Limits,
    Outcome,
    Rule,
    Verdict,
    missing,
    not_applicable,
)
from distrib.review.structure_rules import ADVICE, loaded_panel, no_flat, weld_yield
from distrib.review.subject import Subject

JOINT_FAILURES: Final = Source(
    "joint-failures",
    "two owners' reports: a seam split by a start-up backfire, a lid torn off along its weld",
    "published",
)
BACKFIRE: Final = Source(
    "backfire",
    "closed stoichiometric deflagration reaches about 7 to 8 times the initial absolute pressure",
    "from memory",
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
    volume = geometry.total_plenum_volume_m3(subject.case)
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
    early = no_flat(subject)
    if early is not None:
        return early
    if s.test_pressure_pa is None:
        return missing("proof pressure")
    gauge = s.test_pressure_pa - subject.case.conditions.ambient_pressure_pa
    panel = loaded_panel(subject, gauge)
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
        "joint",
        "structure",
        "Weld of the seams",
        checks="full penetration or both sides; no lone seam in peel",
        why="seams split in backfires, lids tear off along a single bead",
        todo=f"weld both sides or with full penetration; {ADVICE}",
        origin=JOINT_FAILURES,
        test=check_joint,
    ),
    Rule(
        "proof-test",
        "structure",
        "Proof test and its energy",
        checks="medium and stored energy of the strength test",
        why="compressed air gives its energy back in one bang, water hardly any",
        todo=f"prove with water; {ADVICE}",
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
        todo=f"prove at 1.3 to 1.5 times boost with water; {ADVICE}",
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
        checks="bending stress of the largest flat panel at proof pressure over its yield",
        why="a proof test must not bend the part",
        todo=f"lower the proof or stiffen the panel; {ADVICE}",
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
        todo=f"add a burst panel that points away from people, fuel and hot exhaust; {ADVICE}",
        origin=BACKFIRE,
        test=check_backfire,
    ),
)
