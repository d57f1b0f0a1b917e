"""Sheets to hand over, each on a page of its own: for shop, flow bench, tuner and reviewer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from distrib.report import cautions
from distrib.report.charts import point_of
from distrib.report.data import ReportData
from distrib.report.document import (
    Blanks,
    Block,
    Bullets,
    Facts,
    Grid,
    Heading,
    Paragraph,
    Section,
)
from distrib.report.grid import Column, Table
from distrib.report.numbers import both, decimals_for, millimetres, plain, signed
from distrib.report.schedule import distances_m, entry_line, runner_columns
from distrib.report.tables import (
    conditions_in_words,
    findings_table,
    half_width,
    share_rows,
    spread_in_words,
    trim_table,
)
from distrib.units import display_both, display_gauge

if TYPE_CHECKING:
    from distrib.case.schema import Case


def shop_sheet(data: ReportData, label: str) -> Section:
    """Dimensions in both systems, order of work and tests."""
    case = data.case
    columns = runner_columns(case)
    rows = tuple(zip(*(cells for _, cells in columns), strict=True))
    runners = Table("Runners, inside dimensions", tuple(Column(name) for name, _ in columns), rows)
    blocks: tuple[Block, ...] = (
        Paragraph(f"{label}. Cylinder 1 at the {case.cylinder_1_end} of the engine; seen: "
                  f"{case.view or 'not stated'}. All dimensions are inside; plenum stations count "
                  "from the cylinder-1 end."),
        Facts(tuple((entry.name, entry_line(entry)) for entry in case.entries)
              + _plenum_facts(case)),
        Grid(runners),
        Facts(_structure_facts(case)),
        Heading("Order of work (common practice)"),
        Bullets(cautions.SHOP_ORDER, numbered=True),
        Heading("Tests"),
        *(Paragraph(text) for text in cautions.PRESSURE[:1]),
        Blanks(("tolerances agreed", "leak test: pressure, medium, result",
                "proof test: pressure, medium, result", "made by, date", "checked by, date")),
    )
    return Section("shop-sheet", f"Shop sheet: {label}", blocks, sheet=True)


def bench_sheet(data: ReportData, label: str) -> Section:
    """The form that goes to the flow bench, with what the bench model expects where it has run."""
    table = _bench_form(data)
    blocks: tuple[Block, ...] = (
        Paragraph(f"{label}. Cylinder 1 at the {data.case.cylinder_1_end} of the engine. Measure "
                  "every runner alone and all open together; three repeats, leak subtracted."),
        Blanks(("bench, depression", "air temperature and barometer", "leak flow subtracted",
                "valve lift, or head removed", "unit of flow", "runners open")),
        Grid(table),
        Paragraph(cautions.BENCH),
        Blanks(("measured by, date", "checked by, date")),
    )
    return Section("bench-sheet", f"Flow bench sheet: {label}", blocks, sheet=True)


def _plenum_facts(case: Case) -> tuple[tuple[str, str], ...]:
    facts = []
    for plenum in case.plenums:
        sections = "; ".join(
            f"at {millimetres(s.at_m)} mm: "
            + (f"diameter {both(s.diameter_m)}" if s.diameter_m is not None
               else f"{both(s.width_m)} wide, {both(s.height_m)} high"
               if s.width_m is not None and s.height_m is not None
               else f"{s.area_m2 * 1e4:.1f} cm²")
            for s in plenum.sections)
        facts.append((f"plenum {plenum.name}",
                      f"length {both(plenum.length_m)}; {plenum.shape}, {sections}"))
    return tuple(facts)


def _structure_facts(case: Case) -> tuple[tuple[str, str], ...]:
    """What the drawing says about walls and tests; what it leaves out is named as missing."""
    missing = "missing on the drawing"
    part = case.structure
    if part is None:
        return (("walls, flange, lid, test pressure", missing),)
    ambient = case.conditions.ambient_pressure_pa
    test = missing if part.test_pressure_pa is None else (
        f"{display_gauge(part.test_pressure_pa, ambient)} "
        f"({display_both(part.test_pressure_pa, 'pressure')} absolute), "
        f"medium {part.test_medium or missing}")
    return (
        ("material", part.material or missing),
        ("thinnest wall", missing if part.wall_thickness_m is None
         else both(part.wall_thickness_m)),
        ("head flange", missing if part.flange_thickness_m is None
         else both(part.flange_thickness_m)),
        ("flatness after welding", missing if part.flange_flatness_m is None
         else f"{plain(1000 * part.flange_flatness_m, 2)} mm "
              f"({plain(1000 * part.flange_flatness_m / 25.4, 4)} in)"),
        ("lid", part.lid or missing), ("seams", part.joint or missing), ("proof test", test))


def _bench_form(data: ReportData) -> Table:
    bench = next((s for s in data.shares if s.model == "bench"), None)
    point = 0 if bench is None else point_of(bench, data.point)
    found = () if bench is None else share_rows(data.case, bench, point)
    places = decimals_for(half_width(found))
    expected = {row.cylinder: signed(row.deviation_percent, places) for row in found}
    columns = (Column("cyl.", align="right"), Column("from entry", "mm", "right"),
               *((Column("expected, all open", "%", "right"),) if expected else ()),
               *(Column(f"repeat {i}", blank=True) for i in (1, 2, 3)),
               Column("mean", blank=True), Column("from mean", "%", blank=True))
    rows = tuple((str(n), millimetres(d), *((expected[n],) if expected else ()), *[""] * 5)
                 for n, d in distances_m(data.case).items())
    notes: tuple[str, ...] = ()
    if bench is not None and expected:
        notes = (f"expected from the mean of all runners: bench model, "
                 f"{conditions_in_words(bench, point)}; {spread_in_words(bench, point)}",)
    return Table("Flow of each runner", columns, rows, notes)


def tuner_sheet(data: ReportData, label: str) -> Section | None:
    """Gates, first trims and columns to fill in at the dyno; only where trims exist."""
    if data.trims is None:
        return None
    gates = data.trims.gates or cautions.TUNER_GATES
    source = "Measured" if data.trims.measured else "Predicted, not measured"
    limits = data.case.limits
    table = trim_table(data.trims, True, distances_m(data.case))
    blocks: tuple[Block, ...] = (
        Paragraph(f"{label}. {source}: {data.trims.scheme}. {cautions.STANDING_NOTE}", "caution"),
        Heading("Before any trim is entered"),
        Bullets(gates, boxes=True),
        Grid(table),
        Paragraph(f"Warn at {limits.warn_percent:g} %, refuse at {limits.refuse_percent:g} % "
                  f"(fault or rework). Injector duty at most {100 * limits.duty_max:.0f} % on the "
                  "cylinder with the largest trim. State whether the map's percent acts on fuel, "
                  "on the effective pulse or on the total pulse."),
        Bullets(cautions.TUNER_RULES),
        Blanks(("fuel and batch", "air temperature, barometer", "boost, engine speed",
                "percent acts on", "tuner, date", "signature")),
    )
    return Section("tuner-sheet", f"Tuner sheet: {label}", blocks, sheet=True)


def reviewer_sheet(data: ReportData, label: str) -> Section | None:
    """The checklist with room for an answer; only where a review was run."""
    if data.findings is None:
        return None
    full = findings_table(data.findings)
    columns = (*full.columns[:4], Column("answer, initials", blank=True))
    rows = tuple((*row[:4], "") for row in full.rows)
    table = Table("Open points", columns, rows)
    passed = sum(f.verdict == "ok" and f.applies for f in data.findings)
    blocks: tuple[Block, ...] = (
        Paragraph(f"{label}. {len(rows)} open points, {passed} passed. Case hash "
                  f"{data.case_hash[:16] or 'not given'}."),
        *((Grid(table),) if rows else (Paragraph("No open point."),)),
        Bullets(("go as drawn", "go after the changes above", "no go"), boxes=True),
        Blanks(("reviewer, date", "signature")),
    )
    return Section("reviewer-sheet", f"Reviewer sheet: {label}", blocks, sheet=True)
