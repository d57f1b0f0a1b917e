"""Charts of studies: a sweep over one or two parameters, front, comparison.

Each function draws into the axes it is given; `plot_table` makes a file of a sweep's table.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from distrib.errors import InputError, Problem
from distrib.report.numbers import plain
from distrib.report.palette import INK, MUTED, PAPER, RULE, series_style, text_on
from distrib.report.save import SMALL_POINTS, figure_bytes, house_style, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from distrib.results import FloatArray
    from distrib.studies.improve import Improvement

Table = Mapping[str, Any]
SPREAD = "spread_percent"
LOW, HIGH = "spread_low_percent", "spread_high_percent"
SPREAD_LABEL = "spread: largest less smallest deviation (%)"
MOST_CELLS = 150
"""Up to so many cells a map prints the figure into each."""


def parameters_of(table: Table) -> tuple[str, ...]:
    """Names of the varied columns of a sweep's table: those between point and figures.

    Raises InputError when it is no table of a sweep.
    """
    names = list(table)
    if "point" not in names or SPREAD not in names:
        raise InputError([Problem("plot", "a table without point or spread_percent",
                                  "a table that `distrib sweep` wrote")])
    return tuple(names[names.index("point") + 1:names.index(SPREAD)])


def one_parameter(ax: Axes, table: Table, x: str, figure: str = SPREAD,
                  by: str | None = None) -> Axes:
    """One figure over one parameter, a line for each value of `by`; gaps where there is none."""
    values = table[by] if by is not None else np.zeros(len(table["point"]))
    for i, level in enumerate(list(dict.fromkeys(values.tolist()))):
        rows = np.flatnonzero(values == level)
        style = series_style(i)
        if table[x].dtype == object:
            at, order = np.arange(rows.size), np.arange(rows.size)
            ax.set_xticks(at, [str(t) for t in table[x][rows]])
        else:
            order = np.argsort(table[x][rows], kind="stable")
            at = table[x][rows][order]
        ax.plot(at, table[figure][rows][order], color=style.colour, marker=style.marker,
                linestyle=style.line, markeredgecolor=INK, markersize=5,
                label=None if by is None else f"{readable(by)}: {_level(level)}")
        if figure == SPREAD and LOW in table:
            ax.fill_between(at, table[LOW][rows][order], table[HIGH][rows][order],
                            color=style.colour, alpha=0.2, linewidth=0.0)
    ax.set_xlabel(readable(x))
    ax.set_ylabel(SPREAD_LABEL if figure == SPREAD else readable(figure))
    ax.grid(color=RULE, linewidth=0.6)
    if figure == SPREAD:
        ax.set_ylim(bottom=0.0)
    if by is not None:
        ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, borderaxespad=0.2)
    return ax


def deviations_over(ax: Axes, table: Table, x: str) -> Axes:
    """Deviation of every cylinder over one parameter, numbered at the right end."""
    names = [n for n in table if n.startswith("deviation_percent_")]
    order = np.argsort(table[x], kind="stable")
    ends = []
    for i, name in enumerate(names):
        style = series_style(i)
        at, y = table[x][order], table[name][order]
        ax.plot(at, y, color=style.colour, linestyle=style.line,
                marker=style.marker, markersize=4.5, markeredgecolor=INK)
        good = np.flatnonzero(np.isfinite(y))
        if good.size:
            ends.append((float(y[good[-1]]), float(at[good[-1]]), name.rsplit("_", 1)[1]))
    gap = 0.05 * float(np.ptp(ax.get_ylim()))
    last = -np.inf
    for height, place, text in sorted(ends):  # numbers at the right end, kept apart
        last = max(height, last + gap)
        ax.annotate(text, (place, last), xytext=(6, 0), textcoords="offset points", va="center",
                    fontweight="bold", annotation_clip=False)
    ax.axhline(0.0, color=INK, linewidth=0.9)
    ax.grid(color=RULE, linewidth=0.6)
    ax.set_xlabel(readable(x))
    ax.set_ylabel("deviation from the mean share (%)\nrich ← less air | more air → lean")
    return ax


def two_parameters(ax: Axes, table: Table, x: str, y: str, figure: str = SPREAD) -> Axes:
    """A map of one figure over two parameters; points without a figure are hatched.

    Raises InputError when the points are not a full grid of the two.
    """
    from matplotlib import colormaps
    from matplotlib.patches import Rectangle

    xs, ys = _levels(table[x]), _levels(table[y])
    grid = np.full((len(ys), len(xs)), np.nan)
    count = np.zeros(grid.shape, dtype=np.int64)
    for a, b, value in zip(table[x].tolist(), table[y].tolist(), table[figure], strict=True):
        grid[ys.index(b), xs.index(a)] = value
        count[ys.index(b), xs.index(a)] += 1
    if not (count == 1).all():
        raise InputError([Problem("plot", f"{int((count != 1).sum())} places of the grid of {x} "
                                  f"and {y} without exactly one point", "a full grid of both")])
    span = np.nanmin(grid), np.nanmax(grid)
    decimals = int(np.clip(np.ceil(-np.log10(max(span[1] - span[0], 1e-9) / 20.0)), 1, 3))
    colours = colormaps["cividis"]
    ax.imshow(grid, origin="lower", aspect="auto", cmap=colours, vmin=span[0], vmax=span[1])
    for (row, column), value in np.ndenumerate(grid):
        if np.isnan(value):
            ax.add_patch(Rectangle((column - 0.5, row - 0.5), 1, 1, facecolor=PAPER,
                                   edgecolor=MUTED, hatch="xxx", linewidth=0.0))
        elif grid.size <= MOST_CELLS:
            share = (value - span[0]) / max(span[1] - span[0], 1e-300)
            r, g, b, _ = (round(255 * c) for c in colours(share))
            ax.text(column, row, plain(value, decimals), ha="center", va="center",
                    fontsize=SMALL_POINTS, color=text_on(f"#{r:02x}{g:02x}{b:02x}"))
    ax.set_xticks(range(len(xs)), [_level(v) for v in xs],
                  rotation=45 if len(xs) > 10 else 0)
    ax.set_yticks(range(len(ys)), [_level(v) for v in ys])
    ax.set_xlabel(readable(x))
    ax.set_ylabel(readable(y))
    ax.set_title(SPREAD_LABEL if figure == SPREAD else readable(figure))
    return ax


def scatter(ax: Axes, table: Table, x: str, figure: str = SPREAD) -> Axes:
    """One figure of a sample against one of its parameters."""
    style = series_style(0)
    values, ticks = table[x], None
    if values.dtype == object:
        ticks = _levels(values)
        values = np.array([ticks.index(v) for v in values.tolist()], dtype=np.float64)
        ax.set_xticks(range(len(ticks)), [str(t) for t in ticks])
    ax.plot(values, table[figure], linestyle="none", marker="o", markersize=3.5,
            color=style.colour, alpha=0.6, markeredgewidth=0.0)
    ax.set_xlabel(readable(x))
    ax.set_ylabel(SPREAD_LABEL if figure == SPREAD else readable(figure))
    ax.grid(color=RULE, linewidth=0.6)
    return ax


def front_chart(ax: Axes, found: Improvement) -> Axes:
    """Spread against loss of air: all feasible designs, the front, and the present design."""
    archive, style = found.archive, series_style(0)
    good = archive.feasible
    ax.plot(archive.air_loss[good], archive.spread[good], linestyle="none", marker=".",
            markersize=3, color=MUTED, alpha=0.4, label="searched")
    front = found.front
    ax.plot(archive.air_loss[front], archive.spread[front], color=style.colour, marker="o",
            markersize=4, label="no other is better in both")
    present = series_style(1)
    ax.plot([0.0], [found.start_spread_percent], linestyle="none", marker=present.marker,
            markersize=9, color=present.colour, markeredgecolor=INK, label="present design")
    for number, row in enumerate(found.picked, start=1):
        ax.annotate(str(number), (archive.air_loss[row], archive.spread[row]),
                    xytext=(0, 6 if number % 2 else -14), ha="center", textcoords="offset points",
                    fontweight="bold")
    shown = archive.spread[good]
    ax.set_ylim(0.0, 1.1 * max(found.start_spread_percent, float(np.quantile(shown, 0.9))))
    ax.set_xlabel("loss of air against the present design (%)")
    ax.set_ylabel("spread not exceeded with the chosen chance (%)")
    ax.grid(color=RULE, linewidth=0.6)
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, borderaxespad=0.2)
    return ax


UNIT_WORDS = frozenset([
    "m", "mm", "cm", "um", "in", "ft", "m2", "cm2", "mm2", "in2", "m3", "cm3", "L", "cc", "Pa",
    "kPa", "hPa", "MPa", "bar", "mbar", "psi", "inHg", "inH2O", "atm", "degC", "degF", "K", "deg",
    "rad", "s", "ms", "percent", "gauge", "absolute", "kg", "g", "lb", "min", "h", "cfm",
])


def readable(column: str) -> str:
    """A column name as an axis label: the parameter in words, the unit in brackets."""
    from distrib.studies.names import plain_name

    if column == "conditions.rpm":
        return "engine speed (rev/min)"
    words = column.split("_")
    unit: list[str] = []
    while len(words) > 1 and words[-1] in UNIT_WORDS and "." in column:
        unit.insert(0, words.pop())
    name = plain_name("_".join(words).removeprefix("conditions."))
    return name.replace("_", " ") + (f" ({' '.join(unit)})" if unit else "")


def _levels(values: FloatArray) -> list[Any]:
    """Values of a column: numbers in order, texts as they came."""
    return sorted(set(values.tolist())) if values.dtype != object else list(
        dict.fromkeys(values.tolist()))


def _level(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def table_figure(table: Table) -> Figure:
    """The figure that suits a table: lines for one parameter, a map for two, else scatter.

    One parameter that is text, or two of which one is, become lines; a sample becomes a scatter
    for each parameter.
    """
    names = [n for n in parameters_of(table) if len(set(table[n].tolist())) > 1]
    if not names:
        raise InputError([Problem("plot", "a table in which nothing varies",
                                  "one parameter or more")])
    texts = [n for n in names if table[n].dtype == object]
    numbers = [n for n in names if n not in texts]
    rows = len(table["point"])
    if not np.isfinite(table[SPREAD]).any():
        raise InputError([Problem("plot", "a table without one figure", "at least one figure")])
    full = int(np.prod([len(set(table[n].tolist())) for n in names])) == rows
    if full and len(numbers) == 1 and not texts:
        figure = new_figure(6.4, 7.2)
        upper, lower = figure.subplots(2, 1, sharex=True)
        one_parameter(upper, table, names[0])
        upper.set_xlabel("")
        deviations_over(lower, table, names[0])
        return figure
    if full and len(names) == 1:
        figure = new_figure(6.4, 4.2)
        one_parameter(figure.subplots(), table, names[0])
        return figure
    if full and len(names) == 2:
        figure = new_figure(7.0, 5.0)
        if texts:
            one_parameter(figure.subplots(), table, (numbers or texts)[0], by=texts[-1])
        else:
            two_parameters(figure.subplots(), table, names[1], names[0])
        return figure
    figure = new_figure(6.4, 2.9 * len(names))
    for ax, name in zip(np.atleast_1d(figure.subplots(len(names), 1)), names, strict=True):
        scatter(ax, table, name)
        ax.set_ylabel("spread (%)")
    return figure


def file_kind(out: str | Path) -> str:
    """Kind of figure by the ending of a file name; raises InputError for another ending."""
    kind = Path(out).suffix.lower().lstrip(".")
    if kind not in ("svg", "png", "pdf"):
        raise InputError([Problem("plot", f"the ending of {out}", ".svg, .png or .pdf")])
    return kind


def plot_table(table_path: str | Path, out: str | Path,
               names: Sequence[str] = ()) -> Path:
    """Draw a sweep's table to an .svg, .png or .pdf file; `names` are checked to be in it."""
    from distrib.files import write_bytes_atomic
    from distrib.studies.table import read_table

    kind = file_kind(out)
    table = read_table(Path(table_path))
    known = parameters_of(table)
    missing = [Problem("plot", name, ", ".join(known)) for name in names
               if not any(k == name or k.startswith(f"{name}_") for k in known)]
    if missing:
        raise InputError(missing)
    with house_style():
        return write_bytes_atomic(out, figure_bytes(table_figure(table), kind))
