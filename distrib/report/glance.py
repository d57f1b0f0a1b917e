"""The first section of a report: job, design and answer at a glance, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from distrib.case.geometry import area_ratio, displacement_m3, total_plenum_volume_m3
from distrib.fuelling.verdict import Verdict, more_cautious, words
from distrib.report.charts import point_of, spread_row
from distrib.report.data import ReportData
from distrib.report.document import Bullets, Facts, Heading, Paragraph, Section
from distrib.report.grid import as_sentence
from distrib.report.numbers import decimals_for, interval, millimetres, plain, signed
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
    """Verdict to heed for each cylinder: of the engine models (phased, wave) the graver one.

    Without an engine model the first result that converged speaks; empty when none did.
    """
    found: dict[int, Verdict] = {}
    engine = [s for s in data.shares if s.model != "bench"] or list(data.shares[:1])
    for shares in engine:
        rows = share_rows(data.case, shares, point_of(shares, data.point))
        for cylinder, verdict in verdict_map(rows).items():
            if cylinder not in found:
                found[cylinder] = verdict
                continue
            graver = more_cautious(np.array([found[cylinder]]), np.array([verdict]))
            found[cylinder] = verdict if str(graver[0]) == verdict else found[cylinder]
    return found


def glance_section(
    reports: Sequence[ReportData], labels: Sequence[str], comparison: Sequence[str],
) -> Section:
    """Job, design and answer of every case; with several cases the comparison first."""
    blocks: list[Paragraph | Bullets | Facts | Heading] = []
    if len(reports) > 1:
        sentences = list(comparison) or _apart_by_bands(reports, labels)
        blocks += [Paragraph(text, "lead") for text in sentences]
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
    """Who gets most and least air in the deciding model, how sure that is, and the bench limit."""
    if not data.shares:
        return ["No model has been run for this report."]
    shares = data.shares[0]
    point = point_of(shares, data.point)
    rows = share_rows(data.case, shares, point)
    if not rows:
        return [as_sentence(spread_in_words(shares, point))]
    most = max(rows, key=lambda r: r.deviation_percent)
    least = min(rows, key=lambda r: r.deviation_percent)
    out = [f"{_one(most, rows, 'most')} {_one(least, rows, 'least')}"]
    out.append(as_sentence(
        f"{shares.model} model, {conditions_in_words(shares, point)}: "
        f"{spread_in_words(shares, point)}"))
    band = shares.band
    if band is not None:
        i = int(np.flatnonzero(shares.cylinders == most.cylinder)[0])
        chance = float(band.chance_leanest[point, i])
        out.append(f"Cylinder {most.cylinder} is the leanest in {100.0 * chance:.0f} % of the "
                   f"{band.samples} samples.")
    out += _beside(data, shares.model)
    return out


def _one(row: ShareRow, rows: Sequence[ShareRow], which: str) -> str:
    places = decimals_for(half_width(rows))
    band = interval(row.low_percent, row.high_percent, places)
    held = "" if row.low_percent is None else f" (band {band} %)"
    return (f"Cylinder {row.cylinder}, {millimetres(row.distance_m)} mm from the entry, gets the "
            f"{which} air: {signed(row.deviation_percent, places)} %{held}; {words(row.verdict)}.")


def _beside(data: ReportData, deciding: str) -> list[str]:
    """What the other models say, one sentence each."""
    out = []
    for shares in data.shares[1:]:
        point = point_of(shares, data.point)
        rows = share_rows(data.case, shares, point)
        if not rows:
            out.append(f"The {shares.model} model found no solution at this point.")
            continue
        most = max(rows, key=lambda r: r.deviation_percent)
        row = spread_row(shares, point, "")
        out.append(f"The {shares.model} model gives a spread of "
                   f"{plain(row.spread, decimals_for(half_width(rows)))} % with cylinder "
                   f"{most.cylinder} leanest"
                   + (", the upper limit of what this plenum could do to an engine."
                      if shares.model == "bench" else "."))
    flagged = [c for c, v in heeded(data).items() if v in ("lean", "watch")]
    if flagged and len(data.shares) > 1:
        names = ", ".join(str(c) for c in sorted(flagged))
        out.append(f"To heed, whichever engine model says so: cylinder {names} may run lean.")
    return out


def _apart_by_bands(reports: Sequence[ReportData], labels: Sequence[str]) -> list[str]:
    """Which design is more even, judged by the bands of the spreads alone."""
    rows = [spread_row(d.shares[0], point_of(d.shares[0], d.point), label)
            for d, label in zip(reports, labels, strict=True) if d.shares]
    rows = [r for r in rows if np.isfinite(r.spread)]
    if len(rows) < 2:
        return []
    best, second = sorted(rows, key=lambda r: r.spread)[:2]
    if best.high is None or second.low is None:
        return [f"{best.label} has the smaller spread; no band was computed, so whether the "
                "difference means anything is not known."]
    if best.high < second.low:
        return [f"{best.label} is the more even design: its spread band ends below that of "
                f"{second.label}."]
    return [f"Cannot tell {best.label} and {second.label} apart: the bands of their spreads "
            "overlap. (Bands taken one by one; a comparison on shared samples may separate them.)"]


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
