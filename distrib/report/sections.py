"""The sections of a report, each only where its data exist: one content for page and PDF."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from distrib.report import cautions
from distrib.report.charts import (
    along_picture,
    common_scale,
    comparison_pictures,
    drawing_pictures,
    models_picture,
    point_of,
    rpm_picture,
    share_picture,
    trim_picture,
)
from distrib.report.data import ReportData
from distrib.report.document import (
    Block,
    Bullets,
    Document,
    Facts,
    Grid,
    Heading,
    Paragraph,
    Section,
)
from distrib.report.glance import glance_section, heeded
from distrib.report.grid import as_sentence
from distrib.report.matters import sensitivity_picture, sensitivity_table, sensitivity_words
from distrib.report.palette import SOURCE_TEXT
from distrib.report.schedule import distances_m
from distrib.report.sheets import bench_sheet, reviewer_sheet, shop_sheet, tuner_sheet
from distrib.report.tables import (
    assumed_table,
    findings_table,
    idle_in_words,
    limits_table,
    models_table,
    passed_table,
    share_table,
    sources_table,
    trim_table,
)

LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def build_document(
    reports: Sequence[ReportData], comparison: Sequence[str] = (),
) -> Document:
    """All sections of a report on one or more cases.

    `comparison` holds the sentences of a comparison on the same draws; without them the page says
    that nothing was compared. Raises ValueError without a case.
    """
    if not reports:
        raise ValueError("a report needs at least one case")
    labels = labels_of(reports)
    several = [glance_section(reports, labels, comparison), _drawings(reports, labels),
               _shares(reports, labels), _comparison(reports, labels), _why(reports, labels),
               _rpm(reports, labels), _sensitivity(reports, labels), _trims(reports, labels),
               _review(reports, labels), _assumptions(reports, labels), _laws(reports, labels),
               _cautions(reports), _versions(reports, labels)]
    sections = [section for section in several if section is not None]
    for data, label in zip(reports, labels, strict=True):
        for sheet in (shop_sheet(data, label), bench_sheet(data, label),
                      tuner_sheet(data, label), reviewer_sheet(data, label)):
            if sheet is not None:
                sections.append(sheet)
    title = reports[0].case.title if len(reports) == 1 else "Designs compared: " + "; ".join(labels)
    date = reports[0].date
    return Document(title, "How the air divides over the cylinders"
                    + (f" · {date}" if date else ""), _unique(sections), cautions.STANDING_NOTE)


def labels_of(reports: Sequence[ReportData]) -> list[str]:
    """Names of the designs: the title alone, with a letter before it when there are several."""
    if len(reports) == 1:
        return [reports[0].case.title]
    return [f"{LETTERS[i % 26]}: {data.case.title}" for i, data in enumerate(reports)]


def _unique(sections: Sequence[Section]) -> tuple[Section, ...]:
    from dataclasses import replace

    seen: dict[str, int] = {}
    out = []
    for section in sections:
        seen[section.name] = seen.get(section.name, 0) + 1
        count = seen[section.name]
        out.append(section if count == 1 else replace(section, name=f"{section.name}-{count}"))
    return tuple(out)


def _head(label: str, reports: Sequence[ReportData]) -> list[Block]:
    return [Heading(label)] if len(reports) > 1 else []


def _drawings(reports: Sequence[ReportData], labels: Sequence[str]) -> Section:
    blocks: list[Block] = []
    for index, (data, label) in enumerate(zip(reports, labels, strict=True)):
        blocks += _head(label, reports)
        verdicts = heeded(data) or None
        notes: list[str] = []
        for picture, sheet in drawing_pictures(data, f"drawing-{index}", verdicts):
            blocks.append(picture)
            notes += sheet.notes
        if verdicts is not None:
            blocks.append(Paragraph("Runners carry hue, hatch and letter of the verdict: L lean, "
                                    "W watch, E even, R rich."))
        blocks.append(Bullets(tuple(dict.fromkeys(notes))))
    return Section("drawing", "Drawing to scale", tuple(blocks))


def _shares(reports: Sequence[ReportData], labels: Sequence[str]) -> Section | None:
    blocks: list[Block] = []
    scale = common_scale(reports) if len(reports) > 1 else None
    for index, (data, label) in enumerate(zip(reports, labels, strict=True)):
        if not data.shares:
            continue
        blocks += _head(label, reports)
        if data.worst is not None:
            blocks.append(Grid(data.worst))
        trims = None if data.trims is None else {
            row.cylinder: row.trim_percent for row in data.trims.rows}
        table = share_table(data.case, data.shares[0], point_of(data.shares[0], data.point), trims)
        blocks.append(Grid(table, verdict_column=len(table.columns) - 1))
        picture = share_picture(data, f"shares-{index}", scale)
        blocks += [picture] if picture is not None else []
        if len(data.shares) > 1:
            blocks.append(Grid(models_table(data.case, data.shares, data.point)))
            beside = models_picture(data, f"models-{index}")
            blocks += [beside] if beside is not None else []
            blocks.append(Bullets(tuple(cautions.MODELS[s.model] for s in data.shares)))
    if not blocks:
        return None
    return Section("shares", "Shares, lean risk and band",
                   (Paragraph(cautions.READING), *blocks))


def _comparison(reports: Sequence[ReportData], labels: Sequence[str]) -> Section | None:
    pictures = comparison_pictures(reports, labels)
    if not pictures:
        return None
    return Section("comparison", "Designs on one scale", tuple(pictures))


def _why(reports: Sequence[ReportData], labels: Sequence[str]) -> Section | None:
    blocks: list[Block] = []
    for index, (data, label) in enumerate(zip(reports, labels, strict=True)):
        pictures = [along_picture(data, plenum, f"along-{index}-{number}")
                    for number, plenum in enumerate(data.case.plenums)]
        found = [p for p in pictures if p is not None]
        if found or data.reasons:
            blocks += [*_head(label, reports), *found]
            blocks += [Bullets(tuple(as_sentence(r) for r in data.reasons))] if data.reasons else []
    if not blocks:
        return None
    lead = Paragraph("A mouth draws from the static pressure before it. As the plenum gives air "
                     "away the stream slows and static pressure rises towards the dead end, unless "
                     "wall friction and losses win; near an entry the jet lowers or rams it.")
    return Section("why", "Why: pressure and velocity along the plenum", (lead, *blocks))


def _rpm(reports: Sequence[ReportData], labels: Sequence[str]) -> Section | None:
    blocks: list[Block] = []
    for index, (data, label) in enumerate(zip(reports, labels, strict=True)):
        cylinders = sorted(r.cylinder for r in data.case.runners)
        for number, sweep in enumerate(data.rpm_sweep):
            blocks += [*_head(label, reports),
                       rpm_picture(data.case, sweep, cylinders, f"rpm-{index}-{number}")]
            if sweep.note:
                blocks.append(Paragraph(sweep.note))
    return Section("rpm", "Over engine speed", tuple(blocks)) if blocks else None


def _sensitivity(reports: Sequence[ReportData], labels: Sequence[str]) -> Section | None:
    blocks: list[Block] = []
    for index, (data, label) in enumerate(zip(reports, labels, strict=True)):
        if data.sensitivity is not None:
            blocks += _head(label, reports)
            words = Bullets(sensitivity_words(data.sensitivity))
            blocks += [words,
                       sensitivity_picture(data.sensitivity, f"sensitivity-{index}"),
                       Grid(sensitivity_table(data.sensitivity))]
    return Section("sensitivity", "What matters most", tuple(blocks)) if blocks else None


def _trims(reports: Sequence[ReportData], labels: Sequence[str]) -> Section | None:
    blocks: list[Block] = []
    for index, (data, label) in enumerate(zip(reports, labels, strict=True)):
        if data.trims is not None:
            cap = (data.case.limits.measured_cap_percent if data.trims.measured
                   else data.case.limits.richen_cap_percent)
            blocks += [*_head(label, reports),
                       Grid(trim_table(data.trims, distances_m=distances_m(data.case))),
                       trim_picture(data.case, data.trims, f"trims-{index}", cap)]
    return Section("trims", "Fuel trims", tuple(blocks)) if blocks else None


def _review(reports: Sequence[ReportData], labels: Sequence[str]) -> Section | None:
    blocks: list[Block] = []
    for data, label in zip(reports, labels, strict=True):
        if data.findings is not None:
            blocks += [*_head(label, reports), Grid(findings_table(data.findings))]
            passed = passed_table(data.findings)
            blocks += [Grid(passed)] if passed.rows else []
            idle = idle_in_words(data.findings)
            blocks += [Paragraph(idle)] if idle else []
    return Section("review", "Review", tuple(blocks)) if blocks else None


def _assumptions(reports: Sequence[ReportData], labels: Sequence[str]) -> Section:
    blocks: list[Block] = []
    for data, label in zip(reports, labels, strict=True):
        blocks += _head(label, reports)
        listed = [(a.field, a.value, a.why) for a in data.case.assumed]
        listed += [(a.field, a.value, a.why) for s in data.shares for a in s.assumed]
        listed = [item for item in listed if item[0] != "limits"]  # they have a table of their own
        if listed:
            blocks.append(Grid(assumed_table(listed)))
        else:
            blocks.append(Paragraph("Nothing: the case gives every value that was used."))
        blocks.append(Grid(limits_table(data.case)))
    return Section("assumptions", "Assumptions and limits", tuple(blocks))


def _laws(reports: Sequence[ReportData], labels: Sequence[str]) -> Section | None:
    blocks: list[Block] = []
    for data, label in zip(reports, labels, strict=True):
        sources = dict.fromkeys(source for shares in data.shares for source in shares.sources)
        if sources:
            blocks += [*_head(label, reports), Grid(sources_table(list(sources)))]
    return Section("laws", "Laws used, with sources", tuple(blocks)) if blocks else None


def _cautions(reports: Sequence[ReportData]) -> Section:
    said = dict.fromkeys(text for data in reports for shares in data.shares
                         for text in (*shares.cautions, *shares.warnings))
    used = dict.fromkeys(data.case.use for data in reports)
    items = (*cautions.in_order(said), *cautions.NOT_CLAIMED, *cautions.PRESSURE,
             *(cautions.LAW[use] for use in used))
    return Section("cautions", "Cautions",
                   (Paragraph(cautions.STANDING_NOTE, "caution"), Bullets(items)))


def _versions(reports: Sequence[ReportData], labels: Sequence[str]) -> Section:
    pairs: list[tuple[str, str]] = []
    for data, label in zip(reports, labels, strict=True):
        if data.case_hash:
            pairs.append((f"case hash, {label}" if len(reports) > 1 else "case hash",
                          data.case_hash))
    pairs += sorted({pair for data in reports for pair in data.versions.items()})
    if reports[0].date:
        pairs.append(("date", reports[0].date))
    pairs.append(("colours", SOURCE_TEXT))
    return Section("versions", "Versions", (Facts(tuple(pairs)),))
