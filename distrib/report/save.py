"""Figures to SVG, PNG and PDF with the same bytes every time, and without pyplot.

matplotlib keeps its style in one table of the process. `house_style` swaps in defaults plus a few
values of our own while a figure is made and saved, and puts the old ones back, so neither a
user's settings file changes our pages nor do we change the user's settings.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final
from xml.sax.saxutils import escape

from distrib.report.palette import INK, MUTED, PAPER

if TYPE_CHECKING:
    from matplotlib.figure import Figure

BODY_POINTS: Final = 9.5
SMALL_POINTS: Final = 8.0
PNG_DPI: Final = 160
PLACES: Final = 5

_STYLE: Final[dict[str, Any]] = {
    "font.family": ["DejaVu Sans"],
    "font.size": BODY_POINTS,
    "axes.titlesize": 10.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": BODY_POINTS,
    "axes.edgecolor": MUTED,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": False,
    "xtick.labelsize": BODY_POINTS,
    "ytick.labelsize": BODY_POINTS,
    "xtick.color": INK,
    "ytick.color": INK,
    "text.color": INK,
    "text.usetex": False,
    "text.parse_math": False,
    "legend.fontsize": SMALL_POINTS + 0.5,
    "legend.frameon": False,
    "hatch.linewidth": 0.7,
    "lines.linewidth": 1.8,
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "svg.fonttype": "path",
    "svg.hashsalt": "distrib",
    "svg.image_inline": True,
    "pdf.fonttype": 42,
    "pdf.compression": 6,
}


@contextmanager
def house_style() -> Iterator[None]:
    """Our figure style for the length of a `with` block; the former style comes back after it."""
    import matplotlib

    defaults: dict[str, Any] = {str(key): value for key, value in matplotlib.rcParamsDefault.items()
                if not key.startswith(("backend", "interactive", "toolbar"))
                and key in matplotlib.rcParams}
    wanted: Any = {**defaults, **_STYLE}
    with matplotlib.rc_context(wanted):
        yield


def new_figure(width_in: float, height_in: float) -> Figure:
    """A figure of this size in inches with an Agg canvas, laid out by matplotlib's solver."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def settled(figure: Figure) -> list[tuple[float, float, float, float]]:
    """Let the layout solver place the axes once, round their places and keep them there.

    The solver's last digits differ from run to run, which would show in the bytes of a file.
    Returns left, bottom, width, height of every axes as shares of the figure.
    """
    engine = figure.get_layout_engine()
    if engine is not None:
        if figure.axes:
            engine.execute(figure)
        figure.set_layout_engine("none")
        for ax in figure.axes:
            bounds = ax.get_position().bounds
            left, bottom, wide, high = (round(float(value), PLACES) for value in bounds)
            ax.set_position((left, bottom, wide, high))
    return [ax.get_position().bounds for ax in figure.axes]


def figure_bytes(figure: Figure, kind: str) -> bytes:
    """The figure as `svg`, `png` or `pdf` bytes, free of dates and program names.

    Call inside `house_style`. Raises ValueError for another kind.
    """
    metadata: dict[str, dict[str, Any]] = {
        "svg": {"Date": None, "Creator": None},
        "png": {"Software": None},
        "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
    }
    if kind not in metadata:
        raise ValueError(f"figure kind {kind!r}; known: {', '.join(metadata)}")
    settled(figure)
    buffer = io.BytesIO()
    if kind == "svg":
        _print_svg(figure, buffer, metadata[kind])
    else:
        figure.savefig(buffer, format=kind, metadata=metadata[kind], dpi=PNG_DPI)
    return buffer.getvalue()


def _print_svg(figure: Figure, buffer: io.BytesIO, metadata: dict[str, Any]) -> None:
    """The settled figure drawn once; `savefig` would draw it twice, to lay out what is laid out."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    canvas, dpi = figure.canvas, figure.dpi
    printer: Any = FigureCanvasSVG(figure)
    try:
        printer.print_svg(buffer, metadata=metadata)
    finally:
        figure.set_canvas(canvas)
        figure.set_dpi(dpi)


_PROLOGUE = re.compile(r"^.*?(?=<svg\b)", re.DOTALL)
_METADATA = re.compile(r"\s*<metadata>.*?</metadata>", re.DOTALL)
_COMMENT = re.compile(r"\s*<!--.*?-->", re.DOTALL)
_STYLE_TAG = re.compile(r"\s*<defs>\s*<style\b.*?</style>\s*</defs>", re.DOTALL)
_SIZE = re.compile(r'(<svg\b[^>]*?)\s+width="[^"]*"', re.DOTALL)
_HEIGHT = re.compile(r'(<svg\b[^>]*?)\s+height="[^"]*"', re.DOTALL)
_ID = re.compile(r'(\bid=")([^"]+)(")')
_REFERENCE = re.compile(r'((?:xlink:)?href="#)([^"]+)(")')
_URL = re.compile(r"(url\(#)([^)]+)(\))")
_COORDINATES = re.compile(r' d="[^"]*"|translate\([^)]*\)|(?<= [xy])="[^"]*"')
_LONG_FIGURE = re.compile(r"-?\d+\.\d{3,}")
_GLYPHS = (("DejaVuSans-Bold-", "b"), ("DejaVuSans-", "g"))
"""Names of glyphs, thousands of times on a page, and what stands for them."""
_XLINK = re.compile(r'\s+xmlns:xlink="[^"]*"')


def inline_svg(figure: Figure, name: str, title: str, description: str) -> str:
    """The figure as an SVG element to stand inside a page.

    `name` (letters, digits, hyphens; unique on the page) goes before every id so that two
    figures never share one. Title and description are escaped and serve as text for readers
    who do not see the picture. The width follows the page, and the page's style must hold
    `svg * {stroke-linejoin: round; stroke-linecap: butt}`. Call inside `house_style`.
    """
    text = figure_bytes(figure, "svg").decode("utf-8")
    for pattern in (_PROLOGUE, _METADATA, _COMMENT, _STYLE_TAG):
        text = pattern.sub("", text)
    text = _HEIGHT.sub(r"\1", _SIZE.sub(r"\1", text, count=1), count=1)
    for long, short in _GLYPHS:
        text = text.replace(long, short)
    for pattern in (_ID, _REFERENCE, _URL):
        text = pattern.sub(rf"\g<1>{name}-\g<2>\g<3>", text)
    text = _XLINK.sub("", text).replace("xlink:href=", "href=")
    text = _COORDINATES.sub(lambda found: _LONG_FIGURE.sub(_hundredth, found[0]), text)
    head = (f'<svg role="img" aria-labelledby="{name}-title {name}-desc"')
    labels = (f'<title id="{name}-title">{escape(title)}</title>'
              f'<desc id="{name}-desc">{escape(description)}</desc>')
    text = text.replace("<svg", head, 1)
    end = text.index(">", text.index("<svg")) + 1
    return (text[:end] + labels + text[end:]).strip()


def _hundredth(found: re.Match[str]) -> str:
    """A coordinate in points to two decimals, which is 4 micrometres on paper; the page gets an
    eighth smaller."""
    text = f"{float(found[0]):.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
