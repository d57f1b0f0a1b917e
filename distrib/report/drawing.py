"""A drawing sheet as SVG, PNG, PDF (matplotlib) or DXF (ezdxf): one list of shapes, two pens."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from distrib.fuelling.verdict import Verdict
from distrib.report.palette import INK, MUTED, PAPER, SHADE, VERDICT_STYLES
from distrib.report.save import figure_bytes, house_style, new_figure
from distrib.report.shapes import Label, Layer, Oval, Shape
from distrib.report.sheet import Sheet, drawing_sheet

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from distrib.case.schema import Case

MM_PER_INCH: Final = 25.4
PENS: Final[dict[Layer, dict[str, Any]]] = {
    "PLENUM": {"edgecolor": INK, "linewidth": 1.5},
    "WALL": {"edgecolor": INK, "linewidth": 0.7},
    "RUNNER": {"edgecolor": INK, "linewidth": 1.0},
    "INJECTOR": {"edgecolor": INK, "linewidth": 0.9},
    "ENTRY": {"edgecolor": INK, "linewidth": 1.2},
    "PLATE": {"edgecolor": INK, "linewidth": 1.6},
    "CENTRE": {"edgecolor": MUTED, "linewidth": 0.6, "linestyle": (0, (9, 2.5, 1.5, 2.5))},
    "HIDDEN": {"edgecolor": MUTED, "linewidth": 0.8, "linestyle": (0, (3.5, 2.0))},
    "SECTION": {"edgecolor": INK, "linewidth": 1.6},
    "DIMENSION": {"edgecolor": MUTED, "linewidth": 0.55},
    "TEXT": {"edgecolor": INK, "linewidth": 0.9},
}
UNDERLAY: Final[dict[str, Any]] = {"facecolor": PAPER, "edgecolor": "none", "pad": 0.4}
KINDS: Final = ("svg", "png", "pdf", "dxf")


def draw_sheet(
    ax: Axes, sheet: Sheet, verdicts: Mapping[int, Verdict] | None = None,
) -> Axes:
    """Draw the shapes of a sheet into axes whose data unit is one millimetre of the real thing."""
    for order, shape in enumerate(sheet.shapes):
        _add(ax, shape, verdicts, 1.0 + order * 1e-3)
    left, bottom, right, top = sheet.field
    ax.set_xlim(left, right)
    ax.set_ylim(bottom, top)
    ax.set_aspect("equal", adjustable="box")
    ax.set_axis_off()
    return ax


def _add(ax: Axes, shape: Shape, verdicts: Mapping[int, Verdict] | None, order: float) -> None:
    """One shape as one artist; filled runners take hue and hatch of their verdict."""
    from matplotlib.patches import Ellipse, Polygon

    if isinstance(shape, Label):
        ax.text(*shape.at, shape.text, fontsize=shape.size, ha=shape.ha, va=shape.va,
                fontweight="bold" if shape.bold else "normal", rotation=shape.angle_deg,
                color=INK, zorder=order + 5.0, bbox=UNDERLAY if shape.boxed else None)
        return
    pen = dict(PENS[shape.layer])
    face, hatch = "none", None
    if shape.dark:
        face = pen["edgecolor"]
    elif shape.filled:
        face = SHADE if shape.layer == "PLENUM" else PAPER
        verdict = None if shape.cylinder is None else (verdicts or {}).get(shape.cylinder)
        if verdict is not None and shape.layer == "RUNNER":
            style = VERDICT_STYLES[verdict]
            face, hatch = style.colour, style.hatch
    zorder = order + (5.0 if shape.layer == "TEXT" else 0.0)
    if isinstance(shape, Oval):
        ax.add_patch(Ellipse(shape.centre, 2.0 * shape.half_along, 2.0 * shape.half_across,
                             angle=shape.angle_deg, facecolor=face, hatch=hatch, zorder=zorder,
                             **pen))
    else:
        ax.add_patch(Polygon(shape.points, closed=shape.closed, facecolor=face, hatch=hatch,
                             fill=shape.filled, joinstyle="round", capstyle="butt",
                             zorder=zorder, **pen))


def sheet_figure(sheet: Sheet, verdicts: Mapping[int, Verdict] | None = None) -> Figure:
    """A figure of the sheet at its true paper size; call inside `house_style`."""
    width, height = sheet.size_mm
    figure = new_figure(width / MM_PER_INCH, height / MM_PER_INCH)
    figure.set_layout_engine("none")
    draw_sheet(figure.add_axes((0.0, 0.0, 1.0, 1.0)), sheet, verdicts)
    return figure


def drawing_bytes(
    case: Case, kind: str, verdicts: Mapping[int, Verdict] | None = None, paper: str = "A3",
) -> bytes:
    """The drawing of a case as `svg`, `png`, `pdf` or `dxf` bytes, the same bytes every time.

    `verdicts` (cylinder to verdict) colours the runners. Raises ValueError for another kind and
    InputError when the case does not fit the paper.
    """
    if kind not in KINDS:
        raise ValueError(f"drawing kind {kind!r}; known: {', '.join(KINDS)}")
    sheet = drawing_sheet(case, verdicts, paper)
    if kind == "dxf":
        from distrib.report.dxf import dxf_bytes

        return dxf_bytes(sheet)
    with house_style():
        return figure_bytes(sheet_figure(sheet, verdicts), kind)


def drawing_in_words(case: Case) -> str:
    """What the drawing shows, for readers who do not see it."""
    from distrib.report.schedule import distances_m, entry_line

    stations = "; ".join(f"cylinder {number} {1000 * distance:.0f} mm from entry"
                         for number, distance in distances_m(case).items())
    entries = ". ".join(entry_line(entry) for entry in case.entries)
    plenums = ", ".join(f"plenum {p.name} {1000 * p.length_m:.0f} mm long" for p in case.plenums)
    back = None if case.drawing is None else case.drawing.injector_to_valve_m
    injectors = "" if back is None else f" Injector tips {1000 * back:.0f} mm from the valves."
    return (f"Plan, side and end view. {plenums}; cylinder 1 at the {case.cylinder_1_end}. "
            f"{entries}. {stations}.{injectors}")
