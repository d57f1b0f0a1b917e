"""Measured lambda and exhaust temperature of each cylinder over speed and load."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from distrib.report.palette import INK, MUTED, RULE, series_style
from distrib.report.save import figure_bytes, house_style, new_figure
from distrib.report.study_plots import file_kind

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from distrib.calibration.next_trims import NextTrims
    from distrib.results import FloatArray

ACROSS = 4
"""Cylinders side by side."""
ZERO_C_IN_K = 273.15


def trim_figure(found: NextTrims) -> Figure:
    """A panel for each cylinder: cells as lines, one for each load, the windows they come from as
    points, the target dashed; below it the exhaust temperature where there is any."""
    exhaust = found.round.run.exhaust_k - ZERO_C_IN_K
    shows = [(found.lambda_read, "lambda as read")]
    if np.isfinite(exhaust).any():
        shows.append((exhaust, "exhaust (degC)"))
    n = len(found.cylinders)
    across = min(n, ACROSS)
    blocks = -(-n // across)
    figure = new_figure(2.1 * across + 1.0, 2.2 * blocks * len(shows) + 0.4)
    axes = np.asarray(figure.subplots(blocks * len(shows), across, squeeze=False, sharex=True))
    for c, cylinder in enumerate(found.cylinders):
        block, column = divmod(c, across)
        for k, (values, label) in enumerate(shows):
            ax = axes[block * len(shows) + k, column]
            _panel(ax, found, values[:, c], c, k)
            if k == 0:
                ax.set_title(f"cylinder {cylinder}", fontsize=9)
            if column == 0:
                ax.set_ylabel(label)
            else:
                ax.tick_params(labelleft=False)
            if k == len(shows) - 1:
                ax.set_xlabel("speed (rpm)")
    for k in range(len(shows)):  # one scale for all cylinders
        rows = axes[k::len(shows)].ravel()[:n]
        limits = np.array([ax.get_ylim() for ax in rows])
        for ax in rows:
            ax.set_ylim(limits[:, 0].min(), limits[:, 1].max())
    for ax in axes.ravel():
        if not ax.has_data():
            ax.set_visible(False)
    handles, labels = axes[0, 0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper left", ncols=4, fontsize=8)
    return figure


def _panel(ax: Axes, found: NextTrims, values: FloatArray, c: int, kind: int) -> None:
    """One cylinder: lines by load, windows as points, the target where it is lambda."""
    if found.windows is not None:
        points = found.windows.lambda_read if kind == 0 else found.windows.egt_k - ZERO_C_IN_K
        ax.plot(found.windows.rpm, points[:, c], ".", color=MUTED, markersize=3, zorder=1,
                label="window" if kind == 0 else None)
    for i, load in enumerate(np.unique(found.pressure_pa)):
        rows = np.flatnonzero(found.pressure_pa == load)
        rows = rows[np.argsort(found.rpm[rows], kind="stable")]
        style = series_style(i)
        ax.plot(found.rpm[rows], values[rows], color=style.colour, marker=style.marker,
                linestyle=style.line, markeredgecolor=INK, markersize=5, zorder=2,
                label=f"{load / 1e3:.0f} kPa absolute")
        if kind == 0:
            ax.plot(found.rpm[rows], found.round.target[rows], color=INK, linestyle="--",
                    linewidth=0.9, zorder=3, label="target" if i == 0 else None)
    ax.grid(color=RULE, linewidth=0.6)


def trim_picture(found: NextTrims, out: str | Path) -> bytes:
    """The figure as the bytes of an .svg, .png or .pdf file, by the ending of its name."""
    kind = file_kind(out)
    with house_style():
        return figure_bytes(trim_figure(found), kind)
