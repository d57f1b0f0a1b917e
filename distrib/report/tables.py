"""Results as rows of text: shares, models side by side, trims, findings, assumptions, sources.

Figures carry the digits their band justifies, never more.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Final, cast

import numpy as np

from distrib.answer.facts import limits_of
from distrib.fuelling.lambda_ import lambda_at_equal_fuel
from distrib.fuelling.limits import ORIGIN
from distrib.fuelling.verdict import Verdict, verdicts, words
from distrib.report.data import FindingRow, TrimSheet
from distrib.report.grid import Column, Table, as_sentence
from distrib.report.numbers import (
    decimals_for,
    interval,
    millimetres,
    plain,
    signed,
)
from distrib.report.palette import VERDICT_STYLES

if TYPE_CHECKING:
    from distrib.case.schema import Case
    from distrib.results import Shares, Source

SHORT_WORDS: Final[Mapping[Verdict, str]] = {
    "lean": "lean: more air", "watch": "watch: maybe lean", "even": "even",
    "rich": "rich: less air", "backward": "air flows back"}

RIG_NOTE: Final = "bench figures carry no verdict: never trim fuel by a steady rig"


@dataclass(frozen=True)
class ShareRow:
    """One cylinder of one result, as numbers; None where there is no band or no trim."""

    cylinder: int
    distance_m: float
    share: float
    deviation_percent: float
    low_percent: float | None
    high_percent: float | None
    chance_lean: float | None
    lambda_equal_fuel: float
    trim_percent: float | None
    verdict: Verdict


def share_rows(
    case: Case, shares: Shares, point: int = 0, trims: Mapping[int, float] | None = None,
) -> tuple[ShareRow, ...]:
    """The cylinders of one operating point in their order, with verdicts at the case's limits.

    Empty when the point did not converge. `trims` maps cylinder to percent of fuel.
    """
    if not bool(shares.converged[point]):
        return ()
    deviation = shares.deviation_percent[point]
    band = shares.band
    chance = None if band is None else band.chance_lean[point]
    verdict = verdicts(deviation, chance, limits_of(case))
    lambda_ = lambda_at_equal_fuel(
        shares.share[point], case.fuel.lambda_target,
        air_following_fraction=case.fuel.air_following_fraction)
    rows = []
    for i, number in enumerate(shares.cylinders):
        rows.append(ShareRow(
            int(number), float(shares.distance_from_entry_m[i]), float(shares.share[point, i]),
            float(deviation[i]),
            None if band is None else float(band.low_percent[point, i]),
            None if band is None else float(band.high_percent[point, i]),
            None if chance is None else float(chance[i]), float(lambda_[i]),
            None if trims is None else trims.get(int(number)),
            cast(Verdict, str(verdict[i]))))
    return tuple(rows)


def verdict_map(rows: Sequence[ShareRow]) -> dict[int, Verdict]:
    """Cylinder to verdict."""
    return {row.cylinder: row.verdict for row in rows}


def half_width(rows: Sequence[ShareRow]) -> float | None:
    """The middle one of the half bands in percent, which sets the digits; None without a band."""
    widths = [0.5 * (row.high_percent - row.low_percent) for row in rows
              if row.low_percent is not None and row.high_percent is not None]
    return median(widths) if widths else None


def share_table(
    case: Case, shares: Shares, point: int = 0, trims: Mapping[int, float] | None = None,
) -> Table:
    """The main table of one result: who gets how much, how sure that is, what follows.

    A rig's figures carry neither lambda nor trim nor verdict.
    """
    rig = shares.model == "bench"
    trims = None if rig else trims
    rows = share_rows(case, shares, point, trims)
    half = half_width(rows)
    places = decimals_for(half)
    count = len(rows) or 1
    share_places = decimals_for(None if half is None else half / count, without=1)
    lambda_places = decimals_for(None if half is None else half * case.fuel.lambda_target / 100.0,
                                 most=3, without=3)
    level = f"{100.0 * shares.band.level:.0f} % band" if shares.band is not None else "band"
    columns = [Column("cyl.", align="right"),
               Column("from entry", "mm", "right", 1),
               Column("share", "%", "right", 2),
               Column("deviation", "%", "right", 1),
               Column(level, "%", "right", 2)]
    columns += [] if rig else [Column("lambda", "at equal fuel", "right", 3)]
    if trims is not None:
        columns.append(Column("trim", "%", "right", 1))
    columns += [] if rig else [Column("verdict")]
    out = []
    for row in rows:
        cells = [str(row.cylinder), millimetres(row.distance_m),
                 plain(100.0 * row.share, share_places), signed(row.deviation_percent, places),
                 interval(row.low_percent, row.high_percent, places)]
        cells += [] if rig else [plain(row.lambda_equal_fuel, lambda_places)]
        if trims is not None:
            cells.append(signed(row.trim_percent, 1))
        cells += [] if rig else [
            f"{VERDICT_STYLES[row.verdict].letter} {SHORT_WORDS[row.verdict]}"]
        out.append(tuple(cells))
    title = f"{shares.title}: {shares.model} model, {conditions_in_words(shares, point)}"
    return Table(title, tuple(columns), tuple(out),
                 (spread_in_words(shares, point),
                  *((RIG_NOTE,) if rig else verdict_notes(rows))))


def verdict_notes(rows: Sequence[ShareRow]) -> tuple[str, ...]:
    """What the verdicts of these rows mean in full, once each, in order of gravity."""
    present = {row.verdict for row in rows}
    order: tuple[Verdict, ...] = ("backward", "lean", "watch", "rich", "even")
    return tuple(f"{VERDICT_STYLES[v].letter}: {words(v)}" for v in order if v in present)


def spread_in_words(shares: Shares, point: int = 0) -> str:
    """The spread with its band, or why there is none."""
    if not bool(shares.converged[point]):
        reason = shares.reason[point] if point < len(shares.reason) else ""
        return f"no solution at this point: {reason or 'no reason given'}"
    spread = float(shares.spread_percent[point])
    band = shares.band
    if band is None:
        return f"spread {plain(spread, 1)} % (largest less smallest deviation; no band computed)"
    low = float(band.spread_low_percent[point])
    high = float(band.spread_high_percent[point])
    places = decimals_for(0.5 * (high - low))
    return (f"spread {plain(spread, places)} %, {100.0 * band.level:.0f} % band "
            f"{plain(low, places)} to {plain(high, places)} % "
            f"({band.samples} samples, seed {band.seed})")


_UNITS: Final[tuple[tuple[str, str, float, float, int], ...]] = (
    ("_pa", "kPa", 1e-3, 0.0, 1), ("_k", "degC", 1.0, -273.15, 0), ("_kg_s", "g/s", 1e3, 0.0, 1),
    ("_m3_s", "L/s", 1e3, 0.0, 1), ("_m_s", "m/s", 1.0, 0.0, 1), ("_mm", "mm", 1.0, 0.0, 1),
    ("_m", "mm", 1e3, 0.0, 1), ("_deg", "deg", 1.0, 0.0, 1), ("_percent", "%", 1.0, 0.0, 1))


def conditions_in_words(shares: Shares, point: int = 0) -> str:
    """Operating point in usual units; absolute and gauge stay as the key says."""
    parts = []
    for key, values in shares.conditions.items():
        array = np.atleast_1d(np.asarray(values, dtype=float))
        value = float(array[point if array.size > point else 0])
        if not np.isfinite(value):
            continue
        if key == "rpm":
            parts.append(f"{value:.0f} rev/min")
            continue
        for ending, unit, factor, shift, places in _UNITS:
            if key.endswith(ending):
                name = key.removesuffix(ending).replace("_", " ")
                absolute = " absolute" if key.endswith("pressure_pa") else ""
                parts.append(f"{name} {value * factor + shift:.{places}f} {unit}{absolute}")
                break
        else:
            parts.append(f"{key.replace('_', ' ')} {value:g}")
    return ", ".join(parts) or "no conditions given"


def models_table(case: Case, results: Sequence[Shares], point: int = 0) -> Table:
    """Deviation of every cylinder in each model, side by side, and the spread below."""
    rows_of = [share_rows(case, shares, min(point, shares.share.shape[0] - 1))
               for shares in results]
    columns = [Column("cyl.", align="right"), Column("from entry", "mm", "right", 2)]
    columns += [Column(shares.model, "%", "right") for shares in results]
    body: list[tuple[str, ...]] = []
    for i, number in enumerate(results[0].cylinders):
        cells = [str(int(number)), millimetres(float(results[0].distance_from_entry_m[i]))]
        for shares, rows in zip(results, rows_of, strict=True):
            cells.append(_deviation_cell(rows, i, shares.model != "bench"))
        body.append(tuple(cells))
    spread = ["spread", ""]
    for shares, rows in zip(results, rows_of, strict=True):
        at = min(point, shares.spread_percent.shape[0] - 1)
        spread.append(plain(float(shares.spread_percent[at]), decimals_for(half_width(rows))))
    body.append(tuple(spread))
    rig = (RIG_NOTE,) if any(s.model == "bench" for s in results) else ()
    return Table("Deviation by model", tuple(columns), tuple(body), rig)


def _deviation_cell(rows: Sequence[ShareRow], index: int, judged: bool) -> str:
    if not rows:
        return "no solution"
    row = rows[index]
    letter = f" {VERDICT_STYLES[row.verdict].letter}" if judged else ""
    return f"{signed(row.deviation_percent, decimals_for(half_width(rows)))}{letter}"


def trim_table(
    sheet: TrimSheet, blanks: bool = False, distances_m: Mapping[int, float] | None = None,
) -> Table:
    """Trims by cylinder; with `blanks` the columns that a tuner fills in by hand.

    `distances_m` (cylinder to metres from the entry) adds a column beside the numbers.
    """
    columns = [Column("cyl.", align="right")]
    if distances_m is not None:
        columns.append(Column("from entry", "mm", "right", 2))
    columns += [Column("for equal lambda", "%", "right", 2), Column("set first", "%", "right")]
    if blanks:
        columns += [Column("lambda measured", blank=True),
                    Column("after injector swap", blank=True), Column("new trim", "%", blank=True)]
    columns.append(Column("note", rank=2))
    rows = []
    for row in sheet.rows:
        cells = [str(row.cylinder)]
        if distances_m is not None:
            cells.append(millimetres(distances_m[row.cylinder]))
        cells += [signed(row.needed_percent, 1), signed(row.trim_percent, 1)]
        rows.append((*cells, *([""] * 3 if blanks else []), row.note))
    kind = "from measurement" if sheet.measured else "starting point before measurement"
    return Table(f"Fuel trims, {kind}: {sheet.scheme}", tuple(columns), tuple(rows),
                 tuple(sheet.cautions))


GRAVEST_FIRST: Final = ("change", "missing", "ask", "ok")


def findings_table(findings: Sequence[FindingRow]) -> Table:
    """The reviewer's open points, the gravest first: what was found, why it matters, what to do."""
    columns = (Column("verdict"), Column("check"), Column("found"), Column("limit", rank=2),
               Column("why, and what to do", rank=2))
    found = sorted((f for f in findings if f.verdict != "ok"),
                   key=lambda f: GRAVEST_FIRST.index(f.verdict))
    rows = tuple(
        (f.verdict, f"{f.checks} [{f.rule}]", f.value, _limit_cell(f),
         " ".join(as_sentence(t) for t in (f.why, f.to_do) if t)) for f in found)
    count = {name: sum(f.verdict == name for f in findings) for name in GRAVEST_FIRST}
    idle = sum(not f.applies for f in findings)
    count["ok"] -= idle
    note = ", ".join(f"{number} {name}" for name, number in count.items())
    note += f", {idle} do not apply" if idle else ""
    return Table("Open points", columns, rows, (note,))


def passed_table(findings: Sequence[FindingRow]) -> Table:
    """The checks that passed, with what was found; a limit only where the case changed it."""
    rows = []
    for finding in findings:
        if finding.verdict == "ok" and finding.applies:
            changed = f" ({_limit_cell(finding)})" if finding.override else ""
            rows.append((finding.checks, f"{finding.value}{changed}"))
    return Table("Passed", (Column("check"), Column("found")), tuple(rows))


def idle_in_words(findings: Sequence[FindingRow]) -> str:
    """The checks that have nothing to check in this design, with the reason; "" for none."""
    said = [f"{f.checks} ({f.value.removeprefix('does not apply: ')})" for f in findings
            if not f.applies]
    return f"Does not apply: {'; '.join(said)}." if said else ""


def _limit_cell(finding: FindingRow) -> str:
    parts = [t for t in (finding.limit, f"({finding.origin})" if finding.origin else "") if t]
    if finding.override:
        parts.append(f"changed in the case: {finding.override}")
    return " ".join(parts)


def assumed_table(assumed: Sequence[tuple[str, str, str]]) -> Table:
    """What was assumed rather than given: (field, value, why), each once."""
    return Table("Assumed, not given in the case",
                 (Column("field"), Column("value"), Column("why", rank=2)),
                 tuple(dict.fromkeys(assumed)))


def limits_table(case: Case) -> Table:
    """The limits in force for verdicts and trims, with their origin."""
    found = limits_of(case)
    rows = tuple((name.removesuffix("_percent").replace("_", " "),
                  f"{getattr(found, name):g}{' %' if name.endswith('_percent') else ''}",
                  found.origin(name)) for name in ORIGIN)
    return Table("Limits of verdicts and trims",
                 (Column("limit"), Column("value"), Column("origin", rank=2)), rows)


def sources_table(sources: Sequence[Source]) -> Table:
    """Laws and figures used, with origin."""
    return Table("Laws used", (Column("key"), Column("origin"), Column("source", rank=2)),
                 tuple((s.key, s.kind, s.text) for s in sources))
