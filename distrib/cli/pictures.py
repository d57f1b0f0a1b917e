"""Pictures that commands write: bars by cylinder and the plot along the plenum, PNG and SVG."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from distrib.cli.solved import Solved

KINDS = ("png", "svg")


def _bytes(figure: Figure) -> dict[str, bytes]:
    from distrib.report.save import figure_bytes

    return {kind: figure_bytes(figure, kind) for kind in KINDS}


def shares_picture(found: Sequence[Solved]) -> dict[str, bytes]:
    """Bars of each design, one row of axes per model, all designs of a model on one scale."""
    from distrib.report.charts import bar_series, limit_lines
    from distrib.report.figures import bar_scale, deviation_bars
    from distrib.report.save import house_style, new_figure

    models = [m for m in ("phased", "engine", "bench") if all(m in one.at for one in found)]
    with house_style():
        figure = new_figure(max(4.6 * len(found), 7.0), 3.2 * len(models) + 0.4)
        grid = figure.subplots(len(models), len(found), squeeze=False)
        for row, model in enumerate(models):
            rig = model == "bench"
            series = [bar_series(one.case, one.at[model], 0, model, not rig) for one in found]
            kept = [s for s in series if s is not None]
            limits = None if rig else limit_lines(found[0].case)
            scale = bar_scale(kept, limits)
            for column, one in enumerate(series):
                ax = grid[row][column]
                if one is not None:
                    deviation_bars(ax, [one], limits, scale)
                speed = ("steady rig (no verdict)" if rig
                         else f"{found[column].rpm:.0f} rev/min")
                ax.set_title(f"{found[column].case.title}\n{model} model, {speed}", fontsize=9)
        return _bytes(figure)


def engine_pictures(found: Solved) -> dict[str, dict[str, bytes]]:
    """Sheets of the engine model: over engine speed, and through the cycle at the chosen speed."""
    if "engine" not in found.at:
        return {}
    from distrib.build.engine import run_engine
    from distrib.report.engine_plots import cycle_sheet, speed_sheet

    run = run_engine(found.case, rpm=[found.rpm])
    out = {"engine_cycle": {kind: cycle_sheet(run, 0, kind) for kind in KINDS}}
    whole = found.over["engine"]
    if len(whole.conditions["rpm"]) > 1:
        phased = found.over.get("phased")
        out["engine_speed"] = {kind: speed_sheet(whole, phased, kind) for kind in KINDS}
    return out


def plenum_picture(found: Solved) -> dict[str, bytes]:
    """Static pressure and velocity along every plenum, every model: the reason of the shares."""
    from distrib.report.charts import along_picture
    from distrib.report.data import ReportData
    from distrib.report.save import house_style, new_figure

    data = ReportData(found.case, tuple(found.at.values()))
    pictures = [p for p in (along_picture(data, plenum, "plenum") for plenum in found.case.plenums)
                if p is not None]
    with house_style():
        figure = new_figure(7.5, 4.4 * max(len(pictures), 1))
        parts = figure.subfigures(max(len(pictures), 1), 1, squeeze=False)
        for part, picture in zip(parts[:, 0], pictures, strict=False):
            picture.draw(part)
            part.suptitle(f"{found.case.title}: {picture.title.lower()}", fontsize=9)
        return _bytes(figure)
