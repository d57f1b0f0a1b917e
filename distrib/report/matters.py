"""What matters most: the words, bars and table of one input at a time.

Two panels share their rows: how far the spread moves, and how far lambda of the leanest cylinder.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from distrib.report.data import Sensitivity, SensitivityTable
from distrib.report.document import Picture
from distrib.report.grid import Column, Table, as_sentence
from distrib.report.numbers import plain
from distrib.report.palette import INK, RULE, series_style
from distrib.report.save import SMALL_POINTS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import FigureBase

WIDTH_IN: Final = 7.0
HEADING: Final = 1.5
"""Room of a group's heading, in rows."""
LEAST_SHARE: Final = 0.05
"""An input counts as of no weight when it moves the spread by less than this part of it."""


def groups_of(table: SensitivityTable) -> list[tuple[str, list[Sensitivity]]]:
    """The rows by group in the order the groups come, widest effect first in each."""
    found: dict[str, list[Sensitivity]] = {}
    for row in table.rows:
        found.setdefault(row.group, []).append(row)
    base = table.base_spread_percent
    return [(name, sorted(rows, key=lambda r: -reach(r, base))) for name, rows in found.items()]


def reach(row: Sensitivity, base: float) -> float:
    """How far the spread (percent) moves in all, the design as it is included."""
    ends = (row.spread_low_percent, base, row.spread_high_percent)
    return max(ends) - min(ends)


def common_change(rows: Sequence[Sensitivity]) -> str:
    """The change that all rows share, or nothing."""
    changes = {row.change for row in rows}
    return changes.pop() if len(changes) == 1 and len(rows) > 1 else ""


def sensitivity_words(table: SensitivityTable) -> tuple[str, ...]:
    """One sentence on each group, and how it was found."""
    base = table.base_spread_percent
    out = [as_sentence(table.note)] if table.note else []
    for name, rows in groups_of(table):
        first = rows[0]
        intro = f"{name}: " if name else ""
        if reach(first, base) < LEAST_SHARE * base:
            out.append(f"{intro}none moves the spread by more than "
                       f"{plain(max(reach(first, base), 0.1), 1)} % of {plain(base, 1)} %.")
            continue
        text = f"{intro}most by {first.name} ({first.change}): {_moves(first, base)}"
        if first.lambda_low is not None and first.lambda_high is not None:
            text += (f"; lambda of the leanest cylinder {plain(first.lambda_low, 3)} low, "
                     f"{plain(first.lambda_high, 3)} high")
            text += "" if table.base_lambda is None else f", now {plain(table.base_lambda, 3)}"
        also = [f"{r.name} ({plain(r.spread_low_percent, 1)} % low, "
                f"{plain(r.spread_high_percent, 1)} % high)" for r in rows[1:3]
                if reach(r, base) >= LEAST_SHARE * base]
        out.append(as_sentence(text + (f". Next: {', '.join(also)}" if also else "")))
    return tuple(as_sentence(t) for t in out)


def _moves(row: Sensitivity, base: float) -> str:
    low, high = row.spread_low_percent, row.spread_high_percent
    return f"spread {plain(low, 1)} % low, {plain(high, 1)} % high, now {plain(base, 1)} %"


def sensitivity_table(table: SensitivityTable) -> Table:
    """What each input does, by groups, strongest first; a common change in the title."""
    rows = [row for _, members in groups_of(table) for row in members]
    common = common_change(rows)
    grouped = len({row.group for row in rows}) > 1
    with_lambda = any(row.lambda_low is not None for row in rows)
    columns = [Column("input"), *([Column("kind", rank=2)] if grouped else []),
               *([] if common else [Column("lower / higher", rank=2)]),
               Column("spread, lower", "%", "right"), Column("spread, higher", "%", "right")]
    if with_lambda:
        columns += [Column("leanest lambda, lower", "", "right", 3),
                    Column("leanest lambda, higher", "", "right", 3)]
    body = tuple(
        (r.name, *((r.group,) if grouped else ()), *(() if common else (r.change,)),
         plain(r.spread_low_percent, 1), plain(r.spread_high_percent, 1),
         *((plain(r.lambda_low, 3), plain(r.lambda_high, 3)) if with_lambda else ()))
        for r in rows)
    base = f"as designed: spread {plain(table.base_spread_percent, 1)} %"
    if with_lambda and table.base_lambda is not None:
        base += f", lambda of the leanest cylinder {plain(table.base_lambda, 3)}"
    title = f"What matters most, {table.model} model" + (f", {common}" if common else "")
    return Table(title, tuple(columns), body, (base,))


def sensitivity_picture(table: SensitivityTable, name: str) -> Picture:
    """Bars of all rows by groups: spread, and lambda of the leanest cylinder where known."""
    groups = groups_of(table)
    lines = sum(_height(rows) for _, rows in groups) + HEADING * sum(1 for g, _ in groups if g)
    with_lambda = table.base_lambda is not None and all(
        r.lambda_low is not None for r in table.rows)

    def draw(figure: FigureBase) -> None:
        if with_lambda:
            axes = figure.subplots(1, 2, sharey=True, width_ratios=(3, 2))
            sensitivity_bars(axes[0], table)
            lambda_bars(axes[1], table)
        else:
            sensitivity_bars(figure.subplots(), table)

    words = "; ".join(f"{r.name} ({r.change}) spread {plain(r.spread_low_percent, 1)} to "
                      f"{plain(r.spread_high_percent, 1)} %" for _, rows in groups for r in rows)
    return Picture(name, "What moves the spread most", words + ".", WIDTH_IN, 1.0 + 0.27 * lines,
                   draw)


def _height(rows: Sequence[Sensitivity]) -> float:
    """Room of the rows of one group, in rows: two lines where each says its own change."""
    return len(rows) * (1.0 if common_change(rows) else 1.6)


def sensitivity_bars(ax: Axes, table: SensitivityTable) -> Axes:
    """How far the spread (percent) moves when one input moves, group by group."""
    base = table.base_spread_percent
    rows = _bars(ax, table, base, [(r.spread_low_percent, r.spread_high_percent)
                                   for _, g in groups_of(table) for r in g])
    ticks, labels = [], []
    for y, row, shared in rows:
        ticks.append(y)
        labels.append(row.name if shared else f"{row.name}\n{row.change}")
    ax.set_yticks(ticks, labels, fontsize=SMALL_POINTS)
    ax.set_xlabel(f"spread (%),\nas designed {plain(base, 1)} %")
    handles = [_patch(series_style(0), "input lower"), _patch(series_style(1), "input higher")]
    ax.legend(handles=handles, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2,
              borderaxespad=0.2)
    return ax


def lambda_bars(ax: Axes, table: SensitivityTable) -> Axes:
    """How far lambda of the leanest cylinder moves, in the rows of `sensitivity_bars`."""
    base = float(table.base_lambda or math.nan)
    _bars(ax, table, base, [(float(r.lambda_low or math.nan), float(r.lambda_high or math.nan))
                            for _, g in groups_of(table) for r in g], named=False)
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel(f"leanest lambda (-),\nas designed {plain(base, 3)}")
    return ax


def _bars(
    ax: Axes, table: SensitivityTable, base: float, ends: Sequence[tuple[float, float]],
    named: bool = True,
) -> list[tuple[float, Sensitivity, bool]]:
    """Two half bars a row, lower above higher, with the headings of the groups between; returns
    place and row, and whether its heading already says the change."""
    y, out, values = 0.0, [], iter(ends)
    for name, rows in groups_of(table):
        shared = common_change(rows)
        step = 1.0 if shared else 1.6
        if name or shared:
            y -= HEADING
            if named:
                ax.annotate("\n".join(t for t in (name, shared) if t),
                            (0.0, y + 0.5 * HEADING - 0.1), xycoords=("axes fraction", "data"),
                            xytext=(-6, 0), textcoords="offset points", va="center",
                            ha="right", fontweight="bold", fontsize=SMALL_POINTS)
        for row in rows:
            y -= 0.5 * step
            for value, shift, style in zip(next(values), (0.18, -0.18),
                                           (series_style(0), series_style(1)), strict=True):
                ax.barh(y + shift, value - base, left=base, height=0.34, color=style.colour,
                        hatch=style.hatch, edgecolor=INK, linewidth=0.8)
            out.append((y, row, bool(shared)))
            y -= 0.5 * step
    ax.axvline(base, color=INK, linewidth=1.2)
    ax.set_ylim(y - 0.1, 0.1)
    ax.grid(axis="x", color=RULE, linewidth=0.6)
    ax.set_axisbelow(True)
    ax.margins(x=0.08)
    return out


def _patch(style: Any, label: str) -> Any:
    from matplotlib.patches import Patch

    return Patch(facecolor=style.colour, hatch=style.hatch, edgecolor=INK, label=label)
