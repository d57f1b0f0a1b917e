"""Charts of results: each function draws into the axes it is given and returns them.

Every axis carries a label with its unit, hue never stands alone (letter, hatch, marker or line
pattern beside it), and all designs or models of one chart share one scale.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from distrib.fuelling.verdict import Verdict
from distrib.report.palette import (
    BLACK,
    INK,
    MUTED,
    PAPER,
    RULE,
    SHADE,
    VERDICT_STYLES,
    series_style,
)
from distrib.report.save import SMALL_POINTS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from distrib.results import FloatArray

DEVIATION_LABEL = "deviation from the mean share (%)\nrich ← less air | more air → lean"
LIFTED = {"facecolor": PAPER, "edgecolor": "none", "pad": 0.6, "alpha": 0.8}


@dataclass(frozen=True)
class LimitLines:
    """Deviation limits in percent: lean and watch above zero, rich below."""

    lean: float
    watch: float
    rich: float


@dataclass(frozen=True)
class BarSeries:
    """One set of bars: deviation in percent by cylinder, with band ends where known.

    A verdict may be None: a rig figure carries none.
    """

    label: str
    cylinders: tuple[int, ...]
    distance_mm: tuple[float, ...]
    deviation: tuple[float, ...]
    low: tuple[float, ...] | None
    high: tuple[float, ...] | None
    verdicts: tuple[Verdict | None, ...]


def bar_scale(series: Sequence[BarSeries], limits: LimitLines | None) -> tuple[float, float]:
    """Ends of a vertical scale that holds every bar, every band and the limits, if any."""
    values = [0.0] if limits is None else [limits.lean, limits.rich, 0.0]
    for one in series:
        values += [*one.deviation, *(one.low or ()), *(one.high or ())]
    finite = np.array([v for v in values if np.isfinite(v)])
    pad = 0.16 * (finite.max() - finite.min())
    return float(finite.min() - pad), float(finite.max() + pad)


def draw_limits(ax: Axes, limits: LimitLines, coloured: bool = True) -> None:
    """Shade the even zone and draw the three limits; `name_limits` names them afterwards."""
    ax.axhspan(limits.rich, limits.watch, color=SHADE, zorder=0, linewidth=0)
    ax.axhline(0.0, color=INK, linewidth=0.9, zorder=3)
    named: tuple[tuple[Verdict, float], ...] = (
        ("lean", limits.lean), ("watch", limits.watch), ("rich", limits.rich))
    for name, value in named:
        colour = VERDICT_STYLES[name].colour if coloured else MUTED
        ax.axhline(value, color=colour, linewidth=1.3 if coloured else 0.9,
                   linestyle=(0, (5, 3)), zorder=1)


def name_limits(ax: Axes, limits: LimitLines) -> None:
    """Names of the limits in the right margin, kept apart; call when the scale is fixed."""
    low, high = ax.get_ylim()
    gap = 0.065 * (high - low)
    watch = min(limits.watch, limits.lean - gap)
    rich = min(limits.rich, watch - gap)
    for name, value, place in (("lean", limits.lean, limits.lean),
                               ("watch", limits.watch, watch), ("rich", limits.rich, rich)):
        ax.annotate(f"{name} {value:+g} %", (1.0, place), xycoords=("axes fraction", "data"),
                    xytext=(4, 0), textcoords="offset points", va="center",
                    fontsize=SMALL_POINTS)


def _ticks(ax: Axes, series: Sequence[BarSeries]) -> None:
    """Cylinder numbers; below each its distance from the entry, per series where they differ."""
    first = series[0]
    columns = [tuple(round(v) for v in one.distance_mm) for one in series]
    same = all(column == columns[0] for column in columns)
    shown = columns[:1] if same else columns
    labels = [f"{number}\n" + " / ".join(str(column[i]) for column in shown)
              for i, number in enumerate(first.cylinders)]
    ax.set_xticks(range(len(first.cylinders)), labels)
    ax.tick_params(axis="x", length=0)
    note = "" if same else ", in the order of the legend"
    ax.set_xlabel(f"cylinder, and below it distance from entry (mm){note}")


def deviation_bars(
    ax: Axes, series: Sequence[BarSeries], limits: LimitLines | None,
    scale: tuple[float, float] | None = None,
) -> Axes:
    """Bars of deviation by cylinder with band whiskers, limits and a verdict letter on each.

    Without `limits` none are drawn: a figure of a steady rig is not held against them.

    One series: colour and hatch by verdict. Several (models, or designs with the same cylinder
    numbers): colour and hatch by series, and the letter tells the verdict. `scale` (low, high, in
    percent) forces the vertical axis so that several charts compare by eye. Raises ValueError
    without a series or with differing cylinders.
    """
    if not series:
        raise ValueError("deviation_bars needs at least one series")
    if any(one.cylinders != series[0].cylinders for one in series):
        raise ValueError("deviation_bars compares designs with the same cylinder numbers only")
    low, high = scale or bar_scale(series, limits)
    if limits is None:
        ax.axhline(0.0, color=INK, linewidth=0.9, zorder=3)
    else:
        draw_limits(ax, limits)
    width = 0.8 / len(series)
    for index, one in enumerate(series):
        _bars_of(ax, one, index, width, len(series), (low, high))
    ax.set_ylim(low, high)
    ax.set_xlim(-0.6, len(series[0].cylinders) - 0.4)
    ax.set_ylabel(DEVIATION_LABEL)
    _ticks(ax, series)
    if limits is not None:
        name_limits(ax, limits)
    if len(series) > 1:
        ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=min(3, len(series)),
                  borderaxespad=0.2)
    return ax


def _bars_of(
    ax: Axes, one: BarSeries, index: int, width: float, count: int, scale: tuple[float, float],
) -> None:
    """One series of `deviation_bars`: bars, whiskers, letters."""
    style = series_style(index)
    centres = np.arange(len(one.cylinders)) + (index - 0.5 * (count - 1)) * width
    for i, (x, value) in enumerate(zip(centres, one.deviation, strict=True)):
        if not np.isfinite(value):
            continue
        verdict = one.verdicts[i]
        look = None if verdict is None else VERDICT_STYLES[verdict]
        colour, hatch = style.colour, style.hatch
        if count == 1 and look is not None:
            colour, hatch = look.colour, look.hatch
        label = one.label if i == 0 else None
        ax.bar(x, value, width * 0.86, color=colour, hatch=hatch, edgecolor=INK, linewidth=0.8,
               label=label, zorder=2)
        top = value
        if one.low is not None and one.high is not None:
            ends = (one.low[i], one.high[i])
            ax.vlines(x, *ends, color=BLACK, linewidth=1.3, zorder=4)
            ax.hlines(ends, x - 0.14 * width, x + 0.14 * width, color=BLACK, linewidth=1.3,
                      zorder=4)
            top = max(ends) if value >= 0.0 else min(ends)
        if look is None:
            continue
        up = value >= 0.0
        edge = max(top, 0.0) if up else min(top, 0.0)
        ax.annotate(look.letter, (x, min(max(edge, scale[0]), scale[1])),
                    xytext=(0, 4 if up else -4), textcoords="offset points", ha="center",
                    va="bottom" if up else "top", fontweight="bold", zorder=5, bbox=LIFTED)


@dataclass(frozen=True)
class PlenumLine:
    """Mean state along one plenum for one model or design; x in mm from the cylinder-1 end."""

    label: str
    x_mm: FloatArray
    static_pressure_pa: FloatArray
    velocity_m_s: FloatArray


def along_plenum(
    pressure_axes: Axes, velocity_axes: Axes, lines: Sequence[PlenumLine],
    mouths_mm: Mapping[int, float], entries_mm: Mapping[str, float],
) -> tuple[Axes, Axes]:
    """Static pressure (upper axes) and velocity (lower axes) along a plenum: the why.

    Pressure is shown as the difference from each line's own mean along the plenum, because the
    differences move the air; velocity is positive away from the cylinder-1 end. `mouths_mm` maps
    cylinder to station, `entries_mm` entry name to position, both from the cylinder-1 end.
    """
    for index, line in enumerate(lines):
        style = series_style(index)
        common: dict[str, Any] = {"color": style.colour, "linestyle": style.line,
                                  "marker": style.marker, "markersize": 4.5, "label": line.label}
        difference = line.static_pressure_pa - np.nanmean(line.static_pressure_pa)
        pressure_axes.plot(line.x_mm, difference, **common)
        velocity_axes.plot(line.x_mm, line.velocity_m_s, **common)
    pressure_axes.set_ylabel("static pressure,\nless its mean (Pa)")
    velocity_axes.set_ylabel("velocity from\ncylinder-1 end (m/s)")
    velocity_axes.set_xlabel("distance from the cylinder-1 end of the plenum (mm)")
    pressure_axes.tick_params(labelbottom=False)
    for ax in (pressure_axes, velocity_axes):
        ax.axhline(0.0, color=RULE, linewidth=0.9, zorder=0)
        ax.margins(y=0.12)
        for station in mouths_mm.values():
            ax.axvline(station, color=RULE, linewidth=0.8, linestyle=(0, (2, 2)), zorder=0)
        for position in entries_mm.values():
            ax.axvline(position, color=INK, linewidth=1.6, alpha=0.75, zorder=0)
    low = min([float(np.min(line.x_mm)) for line in lines] + list(entries_mm.values()))
    high = max([float(np.max(line.x_mm)) for line in lines] + list(entries_mm.values()))
    for ax in (pressure_axes, velocity_axes):
        ax.set_xlim(low - 0.03 * (high - low), high + 0.03 * (high - low))
    _name_stations(pressure_axes, mouths_mm, entries_mm)
    if len(lines) > 1:
        velocity_axes.legend(loc="best", ncols=min(3, len(lines)))
    return pressure_axes, velocity_axes


def _name_stations(
    ax: Axes, mouths_mm: Mapping[int, float], entries_mm: Mapping[str, float],
) -> None:
    """Cylinder numbers (merged where they share a station) and entry names over the axes."""
    shared: dict[float, list[int]] = {}
    for cylinder, station in mouths_mm.items():
        shared.setdefault(round(station, 1), []).append(cylinder)
    for station, cylinders in shared.items():
        ax.annotate(", ".join(str(c) for c in cylinders), (station, 1.0),
                    xycoords=("data", "axes fraction"), xytext=(0, 3),
                    textcoords="offset points", ha="center", va="bottom", fontweight="bold")
    for name, position in entries_mm.items():
        ax.annotate(f"{name}", (position, 1.0), xycoords=("data", "axes fraction"),
                    xytext=(0, 17), textcoords="offset points", ha="center", va="bottom",
                    fontsize=SMALL_POINTS + 0.5)
