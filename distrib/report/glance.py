"""The first section of a report: job, design and answer at a glance, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from distrib.case.geometry import area_ratio, displacement_m3, total_plenum_volume_m3
from distrib.fuelling.verdict import Verdict, more_cautious, verdicts
from distrib.report.charts import point_of, spread_row
from distrib.report.data import ReportData
from distrib.report.document import Bullets, Facts, Heading, Paragraph, Section
from distrib.report.grid import as_sentence
from distrib.report.numbers import decimals_for, interval, millimetres, signed
from distrib.report.schedule import distances_m, entry_line
from distrib.report.tables import (
    ShareRow,
    conditions_in_words,
    fuel_limits,
    half_width,
    share_rows,
    span_note,
    spread_in_words,
    verdict_map,
)
from distrib.units import display_both, display_gauge

if TYPE_CHECKING:
    from distrib.case.schema import Case
    from distrib.results import Shares


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
    """The answer first (who runs lean or rich), then what each model says, one sentence each."""
    if not data.shares:
        return ["No model has been run for this report."]
    out = [_answer(data)]
    for shares in data.shares:
        point = point_of(shares, data.point)
        rows = share_rows(data.case, shares, point)
        said = f"{shares.model} model, {conditions_in_words(shares, point)}: "
        if not rows:
            out.append(as_sentence(said + spread_in_words(shares, point)))
            continue
        most = max(rows, key=lambda r: r.deviation_percent)
        least = min(rows, key=lambda r: r.deviation_percent)
        places = decimals_for(half_width(rows))
        said += (f"most air {_one(most, places)}, least air {_one(least, places)}; "
                 f"{spread_in_words(shares, point)}")
        said += "; ".join(["", *span_note(shares)])
        out.append(as_sentence(said + _how_often(shares, point, most.cylinder)
                               + (f"; {RIG}" if shares.model == "bench" else "")))
    return out


RIG: Final = "a rig shows the upper limit of what a plenum could do to an engine"


def _answer(data: ReportData) -> str:
    """Lean, watched and rich cylinders by the verdicts to heed."""
    found = heeded(data)
    if not found:
        first = data.shares[0]
        return as_sentence(spread_in_words(first, point_of(first, data.point)))
    distances = distances_m(data.case)

    def named(verdict: Verdict) -> str:
        members = sorted(c for c, v in found.items() if v == verdict)
        listed = ", ".join(f"{c} ({millimetres(distances[c])} mm from entry)" for c in members)
        return f"cylinder{'s' if len(members) > 1 else ''} {listed}"

    present = set(found.values())
    parts = []
    if "backward" in present:
        parts.append(f"Air flows back, no mixture: {named('backward')}.")
    if "lean" in present:
        parts.append(f"Lean, more air at equal fuel: {named('lean')}.")
    if "watch" in present:
        parts.append(f"Watch, may get more air and run lean: {named('watch')}.")
    if "rich" in present:
        parts.append(f"Rich, less air at equal fuel: {named('rich')}.")
    if not parts:
        parts.append("Even within the limits: no cylinder stands out as lean or rich.")
    if all(s.model == "bench" for s in data.shares):
        parts.append("These are figures of a steady rig, which overstates what an engine does.")
    parts += _elsewhere(data)
    return " ".join(parts)


def _elsewhere(data: ReportData) -> list[str]:
    """The speed at which a model gives one cylinder most air, where that is more than at the
    speed of the page and beyond the watch limit."""
    limits = fuel_limits(data.case)
    cylinders = sorted(r.cylinder for r in data.case.runners)
    here = max((float(np.nanmax(s.deviation_percent[point_of(s, data.point)]))
                for s in data.shares if s.model != "bench"
                and bool(s.converged[point_of(s, data.point)])), default=-np.inf)
    found = []
    for sweep in data.rpm_sweep:
        if sweep.model == "bench" or not np.isfinite(sweep.deviation_percent).any():
            continue
        point, i = np.unravel_index(int(np.nanargmax(sweep.deviation_percent)),
                                    sweep.deviation_percent.shape)
        found.append((float(sweep.deviation_percent[point, i]), float(sweep.rpm[point]),
                      cylinders[int(i)], sweep.model))
    if not found:
        return []
    value, rpm, cylinder, model = max(found)
    if value <= max(limits.watch_percent, here + 0.05):
        return []
    verdict = str(verdicts(np.array([value]), None, limits)[0])
    return [f"More at another speed: cylinder {cylinder} {signed(value, 1)} % at {rpm:.0f} rev/min "
            f"({model} model), {'lean' if verdict == 'lean' else 'watch'}."]


def _one(row: ShareRow, places: int) -> str:
    held = "" if row.low_percent is None else (
        f", band {interval(row.low_percent, row.high_percent, places)} %")
    return (f"in cylinder {row.cylinder} ({signed(row.deviation_percent, places)} %{held})")


def _how_often(shares: Shares, point: int, cylinder: int) -> str:
    """In how many samples that cylinder had the most air."""
    if shares.band is None or "other_deviation_percent" in shares.extra:
        return ""
    i = int(np.flatnonzero(shares.cylinders == cylinder)[0])
    chance = float(shares.band.chance_leanest[point, i])
    return (f"; cylinder {cylinder} is the leanest in {100.0 * chance:.0f} % of the samples"
            if np.isfinite(chance) else "")


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
