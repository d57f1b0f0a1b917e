"""The pictures of a report: which data go into which figure, with title and words for each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from distrib.answer.facts import limits_of
from distrib.fuelling.verdict import Verdict
from distrib.report import figures, figures_effects
from distrib.report.data import ReportData, RpmSweep, TrimSheet
from distrib.report.document import Picture
from distrib.report.drawing import MM_PER_INCH, draw_sheet, drawing_in_words
from distrib.report.numbers import decimals_for, plain, signed
from distrib.report.schedule import distances_m
from distrib.report.sheet import Sheet, report_sheets
from distrib.report.tables import ShareRow, half_width, share_rows

if TYPE_CHECKING:
    from matplotlib.figure import FigureBase

    from distrib.case.schema import Case, Plenum
    from distrib.results import Shares

WIDTH_IN: Final = 7.0


def limit_lines(case: Case) -> figures.LimitLines:
    """The deviation limits of a case for a chart."""
    found = limits_of(case)
    return figures.LimitLines(found.lean_percent, found.watch_percent, found.rich_percent)


def bar_series(
    case: Case, shares: Shares, point: int, label: str, judged: bool = True,
) -> figures.BarSeries | None:
    """One result as bars, with verdicts if `judged`; None where the point did not converge."""
    rows = share_rows(case, shares, point_of(shares, point))
    if not rows:
        return None
    banded = all(r.low_percent is not None and r.high_percent is not None for r in rows)
    return figures.BarSeries(
        label, tuple(r.cylinder for r in rows), tuple(1000.0 * r.distance_m for r in rows),
        tuple(r.deviation_percent for r in rows),
        tuple(float(r.low_percent or 0.0) for r in rows) if banded else None,
        tuple(float(r.high_percent or 0.0) for r in rows) if banded else None,
        tuple(r.verdict if judged else None for r in rows))


def point_of(shares: Shares, point: int) -> int:
    """The operating point of a result, the only one where it has one."""
    return min(point, int(shares.share.shape[0]) - 1)


def deviations_in_words(rows: Sequence[ShareRow], judged: bool = True) -> str:
    """Deviation and verdict of every cylinder, for readers who do not see a chart."""
    places = decimals_for(half_width(rows))
    return "; ".join(f"cylinder {r.cylinder} {signed(r.deviation_percent, places)} %"
                     + (f" {r.verdict}" if judged else "") for r in rows)


def drawing_pictures(
    data: ReportData, name: str, verdicts: Mapping[int, Verdict] | None,
) -> list[tuple[Picture, Sheet]]:
    """The drawing of every plenum, with the sheet that holds its notes."""
    out = []
    for index, sheet in enumerate(report_sheets(data.case, verdicts), start=1):
        def draw(figure: FigureBase, sheet: Sheet = sheet) -> None:
            draw_sheet(figure.add_axes((0.0, 0.0, 1.0, 1.0)), sheet, verdicts)

        width, height = sheet.size_mm
        out.append((Picture(f"{name}-{index}", f"Drawing to scale: {data.case.title}",
                            drawing_in_words(data.case), width / MM_PER_INCH,
                            height / MM_PER_INCH, draw, own_layout=True), sheet))
    return out


def share_picture(data: ReportData, name: str, scale: tuple[float, float] | None) -> Picture | None:
    """Bars of the deciding model with its band."""
    shares = data.shares[0]
    judged = shares.model != "bench"
    series = bar_series(data.case, shares, data.point, f"{shares.model} model", judged)
    if series is None:
        return None
    rows = share_rows(data.case, shares, point_of(shares, data.point))

    def draw(figure: FigureBase) -> None:
        figures.deviation_bars(figure.subplots(), [series],
                               limit_lines(data.case) if judged else None, scale)

    return Picture(name, f"Deviation by cylinder, {shares.model} model",
                   f"Bar chart. {deviations_in_words(rows, judged)}.", WIDTH_IN, 3.6, draw)


def models_picture(data: ReportData, name: str) -> Picture | None:
    """Bars of every model side by side: the limits between which an engine lies."""
    series = [bar_series(data.case, s, data.point, s.model, s.model != "bench")
              for s in data.shares]
    found = [s for s in series if s is not None]
    if len(found) < 2:
        return None

    def draw(figure: FigureBase) -> None:
        figures.deviation_bars(figure.subplots(), found, limit_lines(data.case))

    words = ". ".join(
        f"{s.model}: " + deviations_in_words(share_rows(data.case, s, point_of(s, data.point)),
                                             s.model != "bench") for s in data.shares)
    return Picture(name, "Deviation by cylinder in every model", f"Bar chart. {words}.",
                   WIDTH_IN, 3.8, draw)


def common_scale(reports: Sequence[ReportData]) -> tuple[float, float] | None:
    """One vertical scale for the deciding results of all designs."""
    series = [bar_series(d.case, d.shares[0], d.point, "") for d in reports if d.shares]
    found = [s for s in series if s is not None]
    return figures.bar_scale(found, limit_lines(reports[0].case)) if found else None


def comparison_pictures(
    reports: Sequence[ReportData], labels: Sequence[str],
) -> list[Picture]:
    """Designs on one scale: bars by cylinder where the numbers agree, and spreads."""
    out: list[Picture] = []
    pairs = [(d, label, bar_series(d.case, d.shares[0], d.point, label))
             for d, label in zip(reports, labels, strict=True) if d.shares]
    found = [(d, label, s) for d, label, s in pairs if s is not None]
    if len(found) < 2:
        return out
    series = [s for _, _, s in found]
    if all(s.cylinders == series[0].cylinders for s in series):
        def bars(figure: FigureBase) -> None:
            figures.deviation_bars(figure.subplots(), series, limit_lines(reports[0].case))

        words = ". ".join(f"{s.label}: " + ", ".join(
            f"cylinder {n} {v:+.1f} %" for n, v in zip(s.cylinders, s.deviation, strict=True))
            for s in series)
        out.append(Picture("compare-bars", "Designs by cylinder, one scale",
                           f"Bar chart. {words}.", WIDTH_IN, 3.8, bars))
    rows = [spread_row(d.shares[0], point_of(d.shares[0], d.point), label)
            for d, label, _ in found]

    def spreads(figure: FigureBase) -> None:
        figures_effects.spread_chart(figure.subplots(), rows)

    words = "; ".join(f"{r.label} {plain(r.spread, 1)} %" for r in rows)
    out.append(Picture("compare-spread", "Spread of each design with its band",
                       f"Spread: {words}.", WIDTH_IN, 0.9 + 0.55 * len(rows), spreads))
    return out


def spread_row(shares: Shares, point: int, label: str) -> figures_effects.SpreadRow:
    """The spread of one result with its band."""
    band = shares.band
    return figures_effects.SpreadRow(
        label, float(shares.spread_percent[point]),
        None if band is None else float(band.spread_low_percent[point]),
        None if band is None else float(band.spread_high_percent[point]))


def along_picture(data: ReportData, plenum: Plenum, name: str) -> Picture | None:
    """Pressure and velocity along one plenum, all models that computed them."""
    lines = []
    for shares in data.shares:
        for profile in shares.profiles:
            if profile.plenum != plenum.name:
                continue
            at = min(data.point, profile.static_pressure_pa.shape[0] - 1)
            lines.append(figures.PlenumLine(
                shares.model, 1000.0 * profile.x_m, profile.static_pressure_pa[at],
                profile.velocity_m_s[at]))
    if not lines:
        return None
    mouths = {r.cylinder: 1000.0 * r.station_m for r in data.case.runners
              if r.plenum == plenum.name}
    entries = {f"entry {e.name}" if len(data.case.entries) > 1 else "entry": 1000.0 * e.at_m
               for e in data.case.entries if e.plenum == plenum.name}

    def draw(figure: FigureBase) -> None:
        upper, lower = figure.subplots(2, 1, sharex=True)
        figures.along_plenum(upper, lower, lines, mouths, entries)

    return Picture(name, f"Pressure and velocity along plenum {plenum.name}",
                   ". ".join(_line_in_words(line) for line in lines), WIDTH_IN, 4.3, draw)


def _line_in_words(line: figures.PlenumLine) -> str:
    rise = float(line.static_pressure_pa[-1] - line.static_pressure_pa[0])
    fastest = float(line.velocity_m_s[int(np.nanargmax(np.abs(line.velocity_m_s)))])
    return (f"{line.label}: static pressure at the far end is {rise:+.0f} Pa against the "
            f"cylinder-1 end; greatest velocity {fastest:.0f} m/s")


def trim_picture(case: Case, sheet: TrimSheet, name: str, cap: float | None) -> Picture:
    """Needed and first trims by cylinder."""
    distances = distances_m(case)

    def draw(figure: FigureBase) -> None:
        figures_effects.trim_bars(figure.subplots(), sheet, cap, distances)

    words = "; ".join(f"cylinder {r.cylinder} {signed(r.trim_percent, 1)} %" for r in sheet.rows)
    return Picture(name, "Fuel trims by cylinder", f"To set first: {words}.", WIDTH_IN, 3.2, draw)


def rpm_picture(case: Case, sweep: RpmSweep, cylinders: Sequence[int], name: str) -> Picture:
    """Deviation over engine speed."""
    distances = distances_m(case)

    def draw(figure: FigureBase) -> None:
        figures_effects.rpm_lines(figure.subplots(), sweep, cylinders, limit_lines(case), distances)

    worst = np.nanmax(sweep.deviation_percent, axis=0)
    words = "; ".join(f"cylinder {c} at most {w:+.1f} %" for c, w in
                      zip(cylinders, worst, strict=True))
    return Picture(name, f"Deviation over engine speed, {sweep.model} model", words + ".",
                   WIDTH_IN, 3.8, draw)
