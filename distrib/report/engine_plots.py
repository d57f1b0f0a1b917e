"""Charts of the engine model: lines against rpm, map of deviation, traces, pressure along a plenum.

Each function draws into the axes it is given; `speed_sheet` and `cycle_sheet` make whole files of
a `EngineRun`. Hue never stands alone: every line carries marker, line pattern and its number.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from distrib.errors import InputError, Problem
from distrib.report.numbers import signed
from distrib.report.palette import INK, MUTED, PAPER, RULE, series_style, text_on
from distrib.report.save import SMALL_POINTS, figure_bytes, house_style, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from distrib.build.engine import EngineRun
    from distrib.results import FloatArray, Shares
    from distrib.unsteady.result import UnsteadyResult

DEVIATION_LABEL = "deviation from the mean share (%)\nrich ← less air | more air → lean"
CYCLE_DEG = 720.0


def lines_against_rpm(ax: Axes, rpm: FloatArray, values: FloatArray, cylinders: Sequence[int],
                      label: str, mark_largest: bool = False) -> Axes:
    """One line per cylinder over engine speed, values (P, N), numbered at the right end.

    `mark_largest` rings the cylinder with the largest value at each speed (the leanest, when the
    values are deviations). Points without a value are gaps.
    """
    order = np.argsort(rpm, kind="stable")
    x = rpm[order]
    ends = []
    for i, cylinder in enumerate(cylinders):
        style = series_style(i)
        y = values[order, i]
        ax.plot(x, y, color=style.colour, linestyle=style.line, marker=style.marker,
                markersize=4.5, markeredgecolor=INK, markeredgewidth=0.5)
        good = np.flatnonzero(np.isfinite(y))
        if good.size:
            ends.append((float(x[good[-1]]), float(y[good[-1]]), str(cylinder)))
    _number_ends(ax, ends)
    if mark_largest:
        for at, row in zip(x, values[order], strict=True):
            if np.isfinite(row).any():
                ax.plot(at, np.nanmax(row), marker="o", markersize=11, markerfacecolor="none",
                        markeredgecolor=INK, markeredgewidth=1.2)
    ax.set_xlabel("engine speed (rpm)")
    ax.set_ylabel(label)
    ax.grid(color=RULE, linewidth=0.6)
    return ax


def _number_ends(ax: Axes, ends: Sequence[tuple[float, float, str]]) -> None:
    """Cylinder numbers beside the last points, pushed apart where they would overlap."""
    if not ends:
        return
    low, high = ax.get_ylim()
    gap = 0.045 * (high - low)
    placed = -np.inf
    for x, y, text in sorted(ends, key=lambda e: e[1]):
        at = max(y, placed + gap)
        placed = at
        ax.annotate(text, (x, at), xytext=(9, 0), textcoords="offset points", va="center",
                    fontweight="bold", annotation_clip=False)


def deviation_map(ax: Axes, rpm: FloatArray, deviation: FloatArray,
                  cylinders: Sequence[int]) -> Axes:
    """Deviation (P, N) percent as a map, cylinder over engine speed; leanest of a speed framed.

    Points without a result are hatched. The colour scale is even about zero.
    """
    from matplotlib import colormaps
    from matplotlib.patches import Rectangle

    order = np.argsort(rpm, kind="stable")
    table = deviation[order].T
    finite = np.abs(table[np.isfinite(table)])
    top = float(finite.max()) if finite.size else 1.0
    colours = colormaps["PuOr_r"]
    ax.imshow(table, origin="lower", aspect="auto", cmap=colours, vmin=-top, vmax=top)
    for (row, column), value in np.ndenumerate(table):
        if np.isnan(value):
            ax.add_patch(Rectangle((column - 0.5, row - 0.5), 1, 1, facecolor=PAPER,
                                   edgecolor=MUTED, hatch="xxx", linewidth=0.0))
            continue
        r, g, b, _ = (round(255 * c) for c in colours(0.5 + 0.5 * value / top))
        ax.text(column, row, signed(value, 1), ha="center", va="center", fontsize=SMALL_POINTS,
                color=text_on(f"#{r:02x}{g:02x}{b:02x}"))
    for column in range(table.shape[1]):
        if np.isfinite(table[:, column]).any():
            ax.add_patch(Rectangle((column - 0.48, np.nanargmax(table[:, column]) - 0.48), 0.96,
                                   0.96, fill=False, edgecolor=INK, linewidth=1.8))
    ax.set_xticks(range(order.size), [f"{v:.0f}" for v in rpm[order]],
                  rotation=45 if order.size > 10 else 0)
    ax.set_yticks(range(len(cylinders)), [str(c) for c in cylinders])
    ax.set_xlabel("engine speed (rpm)")
    ax.set_ylabel("cylinder")
    ax.set_title("Deviation (%); framed: most air at that speed")
    return ax


def pressure_traces(ax: Axes, crank_deg: FloatArray, pressure_pa: FloatArray,
                    names: Sequence[str]) -> Axes:
    """Pressure (S, K) against crank angle at K named places, kPa absolute."""
    for i, name in enumerate(names):
        style = series_style(i)
        every = max(crank_deg.size // 12, 1)
        ax.plot(crank_deg, pressure_pa[:, i] / 1e3, color=style.colour, linestyle=style.line,
                marker=style.marker, markevery=(every * i // max(len(names), 1), every),
                markersize=4.5, markeredgecolor=INK, markeredgewidth=0.5, label=name)
    ax.set_xlim(0.0, CYCLE_DEG)
    ax.set_xticks(np.arange(0.0, CYCLE_DEG + 1.0, 90.0))
    ax.set_xlabel("crank angle after firing top dead centre of cylinder 1 (deg)")
    ax.set_ylabel("pressure (kPa absolute)")
    ax.grid(color=RULE, linewidth=0.6)
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=8, columnspacing=1.2,
              borderaxespad=0.2)
    return ax


def plenum_map(ax: Axes, crank_deg: FloatArray, x_m: FloatArray, pressure_pa: FloatArray,
               marks: Sequence[tuple[float, str]] = ()) -> Axes:
    """Pressure (S, n) over position along a plenum and crank angle; `marks`: mouths (x, number)."""
    shown = ax.pcolormesh(crank_deg, x_m * 1e3, pressure_pa.T / 1e3, cmap="cividis",
                          shading="nearest", rasterized=True)
    bar = ax.figure.colorbar(shown, ax=ax)
    bar.set_label("pressure (kPa absolute)")
    for x, text in marks:
        ax.axhline(x * 1e3, color=PAPER, linewidth=0.8, linestyle=(0, (2.0, 2.0)))
        ax.annotate(text, (0.0, x * 1e3), xytext=(3, 2), textcoords="offset points", color=PAPER,
                    fontweight="bold")
    ax.set_xlim(0.0, CYCLE_DEG)
    ax.set_xticks(np.arange(0.0, CYCLE_DEG + 1.0, 90.0))
    ax.set_xlabel("crank angle after firing top dead centre of cylinder 1 (deg)")
    ax.set_ylabel("from the cylinder-1 end (mm)")
    return ax


def speed_sheet(found: Shares, kind: str = "png") -> bytes:
    """Lines and map against rpm as one file: deviation, volumetric efficiency, droop, map.

    InputError for fewer than two speeds or a result of another model.
    """
    rpm = np.asarray(found.conditions["rpm"], dtype=float)
    if found.model != "engine" or np.unique(rpm).size < 2:
        raise InputError([Problem("speed sheet",
                                  f"model {found.model}, {np.unique(rpm).size} speeds",
                                  "an engine result at two speeds or more")])
    cylinders = [int(c) for c in found.cylinders]
    with house_style():
        figure = new_figure(11.0, 8.6)
        axes = figure.subplots(2, 2)
        lines_against_rpm(axes[0, 0], rpm, found.deviation_percent, cylinders, DEVIATION_LABEL,
                          True)
        axes[0, 0].axhline(0.0, color=INK, linewidth=0.9)
        axes[0, 0].set_title("Deviation; ring: most air")
        if found.volumetric_efficiency is not None:
            lines_against_rpm(axes[0, 1], rpm, 100.0 * found.volumetric_efficiency, cylinders,
                              "volumetric efficiency on the charge (%)")
            axes[0, 1].set_title("Volumetric efficiency")
        deviation_map(axes[1, 0], rpm, found.deviation_percent, cylinders)
        lines_against_rpm(axes[1, 1], rpm, found.extra["droop_pa"] / 1e3, cylinders,
                          "plenum droop at the mouth (kPa)")
        axes[1, 1].set_title("Droop while the cylinder draws")
        figure.suptitle(_heading(found), ha="left", x=0.01, fontsize=SMALL_POINTS + 1.5)
        return figure_bytes(figure, kind)


def _heading(found: Shares) -> str:
    """Title and range of the spread."""
    return f"{found.title} - engine, spread {_span(found)} %. Estimate, not measured."


def _span(shares: Shares) -> str:
    values = shares.spread_percent[np.isfinite(shares.spread_percent)]
    return f"{values.min():.1f} to {values.max():.1f}" if values.size else "unknown"


def cycle_sheet(run: EngineRun, point: int, kind: str = "png") -> bytes:
    """One operating point through the cycle as one file: traces at the valves and in the plenum.

    InputError when that point gave no result.
    """
    result: UnsteadyResult = run.results[point]
    traces = result.traces
    if traces is None:
        raise InputError([Problem("cycle sheet", f"point {point}: {result.reason}",
                                  "a point with a result")])
    setup = run.setups[point]
    case = run.case
    order = sorted(case.runners, key=lambda r: r.cylinder)
    with house_style():
        maps = list(setup.plenum_ducts.items())
        figure = new_figure(11.0, 6.2 + 2.8 * len(maps))
        axes = figure.subplots(2 + len(maps), 1)
        ducts = [k for k, d in enumerate(setup.setup.ducts)
                 if d.name in {f"runner {r.cylinder}" for r in order}]
        names = [f"cylinder {r.cylinder}" for r in order]
        pressure_traces(axes[0], traces.crank_deg, traces.right[2][:, ducts], names)
        axes[0].set_title(f"Runner at the valve, {result.rpm:.0f} rpm", pad=26)
        pressure_traces(axes[1], traces.crank_deg, traces.left[2][:, ducts], names)
        axes[1].set_title("Runner behind its mouth", pad=26)
        for ax, (name, duct) in zip(axes[2:], maps, strict=True):
            x, rows = traces.along[duct]
            marks = [(r.station_m, str(r.cylinder)) for r in order if r.plenum == name]
            plenum_map(ax, traces.crank_deg, x, rows[2], marks)
            ax.set_title(f"Pressure along plenum {name}; dashed: runner mouths")
        figure.suptitle(f"{case.title} - engine", ha="left", x=0.01,
                        fontsize=SMALL_POINTS + 1.5)
        return figure_bytes(figure, kind)
