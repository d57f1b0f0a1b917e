"""What the figures rest on, inputs together: words and bars of indices and of a screening.

Two panels share their rows: the spread, and lambda of the leanest cylinder.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from distrib.report.document import Picture
from distrib.report.grid import as_sentence
from distrib.report.palette import INK, RULE, series_style
from distrib.report.save import SMALL_POINTS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import FigureBase

    from distrib.results import FloatArray, IntArray
    from distrib.studies.influences import Influences
    from distrib.studies.screening import Effects
    from distrib.studies.sensitivity import Indices

WIDTH_IN: Final = 7.0
NAMED: Final = 3
"""Inputs that are named in words."""
MOST: Final = 8
"""Inputs that get bars; the others are below all of them."""
PANELS: Final = ("spread", "leanest lambda")


def influence_words(found: Influences) -> tuple[str, ...]:
    """How the influences were found, what the uncertainty rests on, what the dimensions do."""
    from distrib.studies.influences import effects_in_words

    indices = found.uncertain
    inputs = len(indices.inputs)
    out = [f"Laws and tolerances together, {found.model} model: parts of the variance "
           f"(Sobol indices, {indices.base * (inputs + 2)} draws); bars reach over the "
           f"{100.0 * indices.level:.0f} % interval",
           *(_variance_words(indices, k) for k in range(len(PANELS)))]
    if found.dimensions is not None:
        out += [f"Dimensions over their ranges, others moving too: elementary effects after Morris "
                f"on {found.dimensions.paths} paths",
                " ".join(as_sentence(text)
                         for text in effects_in_words(found.dimensions, found.ranges))]
    elif found.why_none:
        out.append(f"Dimensions: not screened, {found.why_none}")
    return tuple(as_sentence(text) for text in out)


def _variance_words(indices: Indices, k: int) -> str:
    """The inputs with the largest parts of one figure's variance, each with its interval."""
    from distrib.studies.names import plain_name

    total, low, high = (a[:, k] for a in (indices.total, indices.total_low, indices.total_high))
    order = np.argsort(-np.nan_to_num(total), kind="stable")[:NAMED]
    if not np.isfinite(total[order]).all():
        return f"the {PANELS[k]} does not vary"
    named = [f"{plain_name(indices.inputs[i])} {lead}{_percent(total[i])}{of} "
             f"({_percent(low[i])} to {_percent(high[i])})"
             for i, lead, of in zip(order, ("accounts for ", *["for "] * NAMED),
                                    (f" of the variance of the {PANELS[k]}", *[""] * NAMED),
                                    strict=False)]
    rest = len(indices.inputs) - len(named)
    return ", ".join(named) + (f"; each of the other {rest} for less" if rest > 0 else "")


def index_picture(found: Influences, name: str) -> Picture:
    """Part of the variance of each uncertain input, in all and alone, largest on top."""
    from distrib.studies.names import plain_name

    indices = found.uncertain
    order = _largest(indices.total[:, 0])

    def draw(figure: FigureBase) -> None:
        axes = figure.subplots(1, 2, sharey=True, width_ratios=(3, 2))
        for k, ax in enumerate(axes):
            _index_panel(ax, indices, order, k)
        axes[0].set_yticks(np.arange(order.size)[::-1],
                           [plain_name(indices.inputs[i]) for i in order], fontsize=SMALL_POINTS)
        axes[0].legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.2)
        axes[1].tick_params(axis="y", length=0)

    words = "; ".join(f"{plain_name(indices.inputs[i])} {_percent(indices.total[i, 0])} of the "
                      f"variance of the spread, {_percent(indices.total[i, 1])} of that of the "
                      "leanest lambda" for i in order)
    return Picture(name, "What the uncertainty rests on", words + ".", WIDTH_IN,
                   1.1 + 0.34 * order.size, draw)


def _index_panel(ax: Axes, indices: Indices, order: IntArray, k: int) -> None:
    y = np.arange(order.size)[::-1]
    sets = (("in all, with others", indices.total, indices.total_low, indices.total_high, 0.19),
            ("alone", indices.first, indices.first_low, indices.first_high, -0.19))
    for i, (label, value, low, high, shift) in enumerate(sets):
        style = series_style(i)
        v = np.maximum(value[order, k], 0.0)
        reach = np.stack([v - low[order, k], high[order, k] - v]).clip(min=0.0)
        ax.barh(y + shift, 100.0 * v, 0.36, color=style.colour, hatch=style.hatch, edgecolor=INK,
                linewidth=0.8, label=label)
        ax.errorbar(100.0 * v, y + shift, xerr=100.0 * reach, fmt="none", ecolor=INK, capsize=2)
    _dressed(ax, f"part of the variance\nof the {PANELS[k]} (%)")


def effect_picture(effects: Effects, ranges: tuple[str, ...], name: str) -> Picture:
    """Mean absolute effect of each dimension over its range, with its standard error."""
    from distrib.studies.names import plain_name

    order = _largest(effects.size[:, 0])
    labels = [f"{plain_name(effects.inputs[i])}\n{ranges[i]}" for i in order]

    def draw(figure: FigureBase) -> None:
        axes = figure.subplots(1, 2, sharey=True, width_ratios=(3, 2))
        y = np.arange(order.size)[::-1]
        style = series_style(0)
        for k, (ax, unit) in enumerate(zip(axes, ("% points", "-"), strict=True)):
            ax.barh(y, effects.size[order, k], 0.6, color=style.colour, hatch=style.hatch,
                    edgecolor=INK, linewidth=0.8, xerr=effects.error[order, k],
                    error_kw={"ecolor": INK, "capsize": 2})
            _dressed(ax, f"mean change of the\n{PANELS[k]} ({unit})")
        axes[0].set_yticks(y, labels, fontsize=SMALL_POINTS)
        axes[1].tick_params(axis="y", length=0)

    words = "; ".join(f"{plain_name(effects.inputs[i])} ({ranges[i]}) {effects.size[i, 0]:.1f} "
                      "points of spread" for i in order)
    return Picture(name, "What the dimensions do over their ranges", words + ".", WIDTH_IN,
                   1.0 + 0.42 * order.size, draw)


def _largest(size: FloatArray) -> IntArray:
    return np.argsort(-np.nan_to_num(size), kind="stable")[:MOST]


def _percent(part: float) -> str:
    return f"{100.0 * max(part, 0.0):.0f} %"


def _dressed(ax: Axes, label: str) -> None:
    ax.set_xlim(left=0.0)
    ax.set_xlabel(label)
    ax.grid(axis="x", color=RULE, linewidth=0.6)
    ax.set_axisbelow(True)
