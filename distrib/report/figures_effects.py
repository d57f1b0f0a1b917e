"""Charts of what follows from the shares: spreads, trims, sensitivities, engine speed.

Each function draws into the axes it is given and returns them; axes carry units, and hue never
stands alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from distrib.report.data import RpmSweep, TrimSheet
from distrib.report.figures import DEVIATION_LABEL, LimitLines, draw_limits, name_limits
from distrib.report.numbers import decimals_for, plain, signed
from distrib.report.palette import INK, PAPER, RULE, VERMILLION, series_style
from distrib.report.save import SMALL_POINTS

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class SpreadRow:
    """Spread of one design or model (percent) with band ends where known."""

    label: str
    spread: float
    low: float | None
    high: float | None


def spread_chart(ax: Axes, rows: Sequence[SpreadRow]) -> Axes:
    """Spread of several designs or models on one scale from zero: a dot and its band."""
    for index, row in enumerate(rows):
        y = len(rows) - 1 - index
        style = series_style(index)
        half = None
        if row.low is not None and row.high is not None:
            half = 0.5 * (row.high - row.low)
            ax.hlines(y, row.low, row.high, color=style.colour, linewidth=7, alpha=0.45)
        ax.plot([row.spread], [y], marker=style.marker, markersize=9, color=style.colour,
                markeredgecolor=INK, linestyle="none")
        text = f"{plain(row.spread, decimals_for(half))} %"
        ax.annotate(text, (row.spread, y), xytext=(0, 9), textcoords="offset points",
                    ha="center", fontweight="bold")
    ax.set_yticks(range(len(rows)), [row.label for row in reversed(rows)])
    ax.set_ylim(-0.6, len(rows) - 0.3)
    ax.set_xlim(left=0.0)
    ax.margins(x=0.08)
    ax.grid(axis="x", color=RULE, linewidth=0.6)
    ax.set_axisbelow(True)
    ax.set_xlabel("spread: largest less smallest deviation (%)")
    return ax


def trim_bars(
    ax: Axes, sheet: TrimSheet, cap_percent: float | None, distances_m: Mapping[int, float],
) -> Axes:
    """Needed trim (outline) and trim to set (filled) by cylinder, percent, + adds fuel.

    `distances_m`: cylinder to metres from the entry.
    """
    style = series_style(0)
    x = np.arange(len(sheet.rows))
    needed = [row.needed_percent for row in sheet.rows]
    applied = [row.trim_percent for row in sheet.rows]
    ax.bar(x - 0.2, needed, 0.36, color=PAPER, edgecolor=INK, hatch="///", linewidth=0.9,
           label="for equal lambda, as computed")
    ax.bar(x + 0.2, applied, 0.36, color=style.colour, edgecolor=INK, linewidth=0.9,
           label="to set first")
    for xi, value in zip(x + 0.2, applied, strict=True):
        ax.annotate(signed(value, 1), (xi, value), xytext=(0, 3 if value >= 0 else -3),
                    textcoords="offset points", ha="center",
                    va="bottom" if value >= 0 else "top", fontweight="bold")
    if cap_percent is not None:
        ax.axhline(cap_percent, color=VERMILLION, linewidth=1.4, linestyle=(0, (5, 3)))
        ax.annotate(f"cap\n{signed(cap_percent, 1)} %", (1.0, cap_percent),
                    xycoords=("axes fraction", "data"), xytext=(4, 0),
                    textcoords="offset points", va="center", fontsize=SMALL_POINTS)
    ax.axhline(0.0, color=INK, linewidth=0.9)
    ax.set_xticks(x, [f"{row.cylinder}\n{1000.0 * distances_m[row.cylinder]:.0f}"
                      for row in sheet.rows])
    ax.tick_params(axis="x", length=0)
    ax.margins(y=0.18)
    ax.set_xlabel("cylinder, and below it distance from entry (mm)")
    ax.set_ylabel("fuel trim, + adds fuel (%)")
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.2)
    return ax


def rpm_lines(
    ax: Axes, sweep: RpmSweep, cylinders: Sequence[int], limits: LimitLines,
    distances_m: Mapping[int, float],
) -> Axes:
    """Deviation of every cylinder (percent) over engine speed, with the limits.

    `distances_m`: cylinder to metres from the entry, for the legend.
    """
    draw_limits(ax, limits, coloured=False)
    for index, cylinder in enumerate(cylinders):
        style = series_style(index)
        ax.plot(sweep.rpm, sweep.deviation_percent[:, index], color=style.colour,
                linestyle=style.line, marker=style.marker, markersize=5,
                label=f"cyl. {cylinder}, {1000.0 * distances_m[cylinder]:.0f} mm")
    ax.set_xlabel("engine speed (rev/min)")
    ax.set_ylabel(DEVIATION_LABEL)
    ax.margins(y=0.1)
    name_limits(ax, limits)
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=min(4, len(cylinders)),
              borderaxespad=0.2, title="cylinder, and its distance from the entry",
              title_fontsize=SMALL_POINTS, alignment="left")
    return ax
