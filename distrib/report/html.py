"""A report as one self-contained page: figures inline, no script, nothing fetched."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from distrib.report.data import ReportData
from distrib.report.document import Document, Picture
from distrib.report.palette import MUTED, VERDICT_STYLES
from distrib.report.save import house_style, inline_svg, new_figure
from distrib.report.sections import build_document

if TYPE_CHECKING:
    from jinja2 import Environment


def report_html(reports: Sequence[ReportData], comparison: Sequence[str] = ()) -> str:
    """The report on one or more cases as HTML text; the same data give the same bytes.

    `comparison`: sentences on the designs from shared samples, shown first. Raises ValueError
    without a case.
    """
    return render_html(build_document(reports, comparison))


def render_html(document: Document) -> str:
    """A document as HTML text."""
    from markupsafe import Markup

    environment = _environment()
    style = environment.get_template("style.css.j2").render(
        verdicts=VERDICT_STYLES.values(), muted=MUTED, note=_css_string(document.standing_note))
    with house_style():
        return environment.get_template("report.html.j2").render(
            document=document, style=Markup(style), picture=_picture, kind=_kind,
            letters={style.letter: name for name, style in VERDICT_STYLES.items()})


def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("distrib.report"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True)
    environment.filters["tight"] = tight
    return environment


_BEFORE_UNIT = re.compile(
    r"(?<=\d) (?=(?:mm|in|in2|in3|in²|cm²|deg|degC|degF|kPa|psi|bar|L|%|m/s|rev/min)\b|%)")


_LONG_WORD = re.compile(r"\S{25,}")
_PIECE = 20


def tight(text: str) -> Any:
    """The text, escaped, unbroken between a figure and its unit, breakable in very long words."""
    from markupsafe import Markup, escape

    def pieces(word: str) -> Markup:
        cut = [word[i:i + _PIECE] for i in range(0, len(word), _PIECE)]
        return Markup("<wbr>").join(escape(piece) for piece in cut)

    text = _BEFORE_UNIT.sub("\u00a0", text)
    out, done = Markup(""), 0
    for match in _LONG_WORD.finditer(text):
        out += escape(text[done:match.start()]) + pieces(match.group())
        done = match.end()
    return out + escape(text[done:])


def _picture(block: Picture) -> Any:
    """A picture as SVG that the template takes as it is: its text is escaped by the SVG writer.

    Call inside `house_style`.
    """
    from markupsafe import Markup

    figure = new_figure(block.width_in, block.height_in)
    if block.own_layout:
        figure.set_layout_engine("none")
    block.draw(figure)
    return Markup(inline_svg(figure, block.name, block.title, block.words))


def _css_string(text: str) -> Any:
    """A fixed text of ours as a CSS string; quotes and angle brackets are not expected in it."""
    from markupsafe import Markup

    if any(mark in text for mark in '<>"\\\n'):
        raise ValueError("a standing note holds no quotes, angle brackets or line breaks")
    return Markup(f'"{text}"')


def _kind(block: object) -> str:
    return type(block).__name__.lower()
