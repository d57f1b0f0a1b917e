"""The first section of a report: job, design and answer at a glance, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from distrib.case.geometry import area_ratio, displacement_m3, total_plenum_volume_m3
from distrib.fuelling.verdict import Verdict
from distrib.report.charts import point_of
from distrib.report.data import ReportData
from distrib.report.document import Bullets, Facts, Heading, Paragraph, Section
from distrib.report.grid import as_sentence
from distrib.report.numbers import decimals_for, interval, signed
from distrib.report.schedule import entry_line
from distrib.report.tables import (
    ShareRow,
    conditions_in_words,
    half_width,
    share_rows,
    spread_in_words,
    verdict_map,
)
from distrib.units import display_both, display_gauge

if TYPE_CHECKING:
    from distrib.case.schema import Case


def heeded(data: ReportData) -> dict[int, Verdict]:
    """Verdict of each cylinder by the engine figure; empty without one, a rig has no verdict."""
    if not data.shares or data.shares[0].model == "bench":
        return {}
    first = data.shares[0]
    return verdict_map(share_rows(data.case, first, point_of(first, data.point)))


def glance_section(
    reports: Sequence[ReportData], labels: Sequence[str], comparison: Sequence[str],
) -> Section:
    """Job, design and answer of every case; with several cases the comparison first."""
    blocks: list[Paragraph | Bullets | Facts | Heading] = []
    if len(reports) > 1:
        blocks += [Paragraph(text, "lead") for text in comparison or (NOT_COMPARED,)]
    for data, label in zip(reports, labels, strict=True):
        if len(reports) > 1:
            blocks.append(Heading(label))
        answer = answer_in_words(data)
        blocks.append(Paragraph(answer[0], "lead"))
        blocks += [Paragraph(text) for text in answer[1:]]
        if data.case.note:
            blocks.append(Paragraph(data.case.note))
        blocks.append(Facts(design_facts(data.case)))
    return Section("glance", "At a glance", tuple(blocks))


def answer_in_words(data: ReportData) -> list[str]:
    """The answer as on the terminal; without it what the rig shows, or that nothing was run."""
    if data.lines:
        return list(data.lines)
    if not data.shares:
        return ["No model has been run for this report."]
    out = [NO_ENGINE_FIGURE]
    for shares in data.shares:
        point = point_of(shares, data.point)
        rows = share_rows(data.case, shares, point)
        said = f"{shares.model} model, {conditions_in_words(shares, point)}: "
        if rows:
            most = max(rows, key=lambda r: r.deviation_percent)
            least = min(rows, key=lambda r: r.deviation_percent)
            places = decimals_for(half_width(rows))
            said += f"most air {_one(most, places)}, least air {_one(least, places)}; "
        said += spread_in_words(shares, point)
        out.append(as_sentence(said + (f"; {RIG}" if shares.model == "bench" else "")))
    return out


RIG: Final = "a rig shows the upper limit of what a plenum could do to an engine"
NO_ENGINE_FIGURE: Final = ("There is no engine figure, so nothing is said of lean cylinders and "
                           "trims. Measure every cylinder before load.")
NOT_COMPARED: Final = "The designs are not compared: no engine figures were solved for them."


def _one(row: ShareRow, places: int) -> str:
    held = "" if row.low_percent is None else (
        f", band {interval(row.low_percent, row.high_percent, places)} %")
    return (f"in cylinder {row.cylinder} ({signed(row.deviation_percent, places)} %{held})")


def design_facts(case: Case) -> tuple[tuple[str, str], ...]:
    """The design and its conditions as names and values, both unit systems."""
    volume, swept = total_plenum_volume_m3(case), displacement_m3(case)
    conditions = case.conditions
    ratios = ", ".join(f"{p.name} {area_ratio(case, p.name):.2f}" for p in case.plenums)
    rpm = ", ".join(f"{value:.0f}" for value in conditions.rpm)
    pairs = [
        ("engine", f"{case.engine.layout}, {display_both(swept, 'volume')}, fires "
                   + "-".join(str(n) for n in case.engine.firing_order)),
        ("cylinder 1", f"at the {case.cylinder_1_end} of the engine"),
        ("view", case.view or "not stated"),
        ("use", case.use),
        *(("entry", entry_line(entry)) for entry in case.entries),
        ("plenum volume", f"{display_both(volume, 'volume')}, {volume / swept:.2f} times the "
                          "engine (reported, no limit by itself)"),
        ("runner areas over plenum area", ratios),
        ("engine speeds", f"{rpm} rev/min"),
        ("charge", f"{display_both(conditions.charge_pressure_pa, 'pressure')}, "
                   f"{display_gauge(conditions.charge_pressure_pa, conditions.ambient_pressure_pa)}"
                   f", {display_both(conditions.charge_temperature_k, 'temperature')}"),
        ("fuel", f"{case.fuel.kind}, lambda target {case.fuel.lambda_target:g}, "
                 f"{case.fuel.injection} injection"),
    ]
    if case.invented:
        pairs.append(("design", "invented, for demonstration"))
    return tuple(pairs)
