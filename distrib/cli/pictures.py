"""Pictures that commands write: bars by cylinder, along the plenum, over speed; PNG and SVG."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from distrib.answer import Answer
    from distrib.case.schema import Case
    from distrib.results import Shares

KINDS = ("png", "svg")


def _bytes(figure: Figure) -> dict[str, bytes]:
    from distrib.report.save import figure_bytes

    return {kind: figure_bytes(figure, kind) for kind in KINDS}


def bars_picture(found: Sequence[tuple[Case, Shares]]) -> dict[str, bytes]:
    """Bars of each design at one point, all on one scale."""
    from distrib.report.charts import bar_series, limit_lines
    from distrib.report.figures import bar_scale, deviation_bars
    from distrib.report.save import house_style, new_figure

    with house_style():
        figure = new_figure(max(4.6 * len(found), 7.0), 3.6)
        axes = figure.subplots(1, len(found), squeeze=False)[0]
        series = [bar_series(case, result, 0, result.model, result.model != "bench")
                  for case, result in found]
        rig = any(result.model == "bench" for _, result in found)
        limits = None if rig else limit_lines(found[0][0])
        scale = bar_scale([s for s in series if s is not None], limits)
        for ax, (case, result), one in zip(axes, found, series, strict=True):
            if one is not None:
                deviation_bars(ax, [one], limits, scale)
            speed = ("steady rig (no verdict)" if result.model == "bench"
                     else f"{float(result.conditions['rpm'][0]):.0f} rpm")
            ax.set_title(f"{case.title}\n{speed}", fontsize=9)
        return _bytes(figure)


def engine_pictures(found: Answer) -> dict[str, dict[str, bytes]]:
    """Sheets of the engine figure: over engine speed, and through the cycle at the worst speed."""
    from distrib.build.engine import run_engine
    from distrib.report.engine_plots import cycle_sheet, speed_sheet

    run = run_engine(found.case, rpm=[float(found.rpm[found.headline])])
    out = {"engine_cycle": {kind: cycle_sheet(run, 0, kind) for kind in KINDS}}
    if found.rpm.size > 1:
        out["engine_speed"] = {kind: speed_sheet(found.engine, kind) for kind in KINDS}
    return out


def plenum_picture(case: Case, result: Shares) -> dict[str, bytes]:
    """Static pressure and velocity along every plenum: the reason of the shares."""
    from distrib.report.charts import along_picture
    from distrib.report.data import ReportData
    from distrib.report.save import house_style, new_figure

    data = ReportData(case, (result,))
    pictures = [p for p in (along_picture(data, plenum, "plenum") for plenum in case.plenums)
                if p is not None]
    with house_style():
        figure = new_figure(7.5, 4.4 * max(len(pictures), 1))
        parts = figure.subfigures(max(len(pictures), 1), 1, squeeze=False)
        for part, picture in zip(parts[:, 0], pictures, strict=False):
            picture.draw(part)
            part.suptitle(f"{case.title}: {picture.title.lower()}", fontsize=9)
        return _bytes(figure)
