"""A report as PDF, set page by page with matplotlib.

matplotlib is needed for the figures anyway, writes vectors with embedded fonts, and gives the same
bytes for the same data; no second layout engine and no browser is needed. The price is a plain
layout without tags for screen readers: the page (`html.py`) is the accessible form.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from itertools import zip_longest
from typing import TYPE_CHECKING, Final

from distrib.report.data import ReportData
from distrib.report.document import (
    Blanks,
    Block,
    Bullets,
    Document,
    Facts,
    Grid,
    Heading,
    Paragraph,
    Picture,
)
from distrib.report.grid import Table
from distrib.report.palette import INK, MUTED, RULE, VERDICT_STYLES, VerdictStyle
from distrib.report.pdftext import (
    CELL_PAD_IN,
    break_lines,
    column_widths,
    font_of,
    heading_lines,
)
from distrib.report.save import house_style, new_figure, settled
from distrib.report.sections import build_document

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PAPERS_IN: Final[dict[str, tuple[float, float]]] = {"A4": (8.268, 11.693), "Letter": (8.5, 11.0)}
MARGIN_IN: Final = 0.6
FOOT_IN: Final = 0.45
BODY: Final = 9.5
CELL: Final = 8.0
LEADING: Final = 1.35
SHORT: Final = 9
SHORT_IN: Final = 3.5
"""Rows and height up to which a table stays on one page."""


def report_pdf(
    reports: Sequence[ReportData], comparison: Sequence[str] = (), paper: str = "A4",
) -> bytes:
    """The report on one or more cases as PDF bytes; the same data give the same bytes.

    `paper` is A4 or Letter. Raises KeyError for another paper, ValueError without a case.
    """
    return render_pdf(build_document(reports, comparison), paper)


def render_pdf(document: Document, paper: str = "A4") -> bytes:
    """A document as PDF bytes."""
    with house_style():
        pages = Pages(*PAPERS_IN[paper])
        pages.lines(document.title, 17.0, bold=True)
        pages.lines(document.subtitle, BODY)
        pages.block(Paragraph(document.standing_note, "caution"))
        for section in document.sections:
            if section.sheet:
                pages.new_page()
            pages.section(section.title, section.blocks[:2])
            for block, following in zip_longest(section.blocks, section.blocks[1:]):
                if isinstance(block, Heading) and isinstance(following, Picture):
                    pages.need(pages.picture_size(following)[1] + 0.8)
                elif isinstance(block, Heading) and isinstance(following, Grid):
                    pages.need(SHORT_IN)
                pages.block(block)
        return pages.finish(document.title, document.standing_note)


class Pages:
    """Pages filled from the top; a block that does not fit starts the next page."""

    def __init__(self, width_in: float, height_in: float) -> None:
        self.width, self.height = width_in, height_in
        self.room = width_in - 2.0 * MARGIN_IN
        self.pages: list[Figure] = []
        self.down = MARGIN_IN
        self.new_page()

    def new_page(self) -> None:
        """Begin another page, unless the present one is still empty."""
        from matplotlib.figure import Figure

        if self.pages and self.down == MARGIN_IN:
            return
        self.pages.append(Figure(figsize=(self.width, self.height)))
        self.down = MARGIN_IN

    def left_in(self) -> float:
        """Room left on the page in inches."""
        return self.height - FOOT_IN - MARGIN_IN - self.down

    def need(self, height_in: float) -> None:
        """Go to the next page unless this much room is left."""
        if height_in > self.left_in():
            self.new_page()

    def put(self, x: float, down: float, text: str, size: float, *, bold: bool = False,
            colour: str = INK, right: bool = False) -> None:
        """One line of text whose top is `down` inches from the top of the page."""
        self.pages[-1].text(x / self.width, 1.0 - down / self.height, text,
                            fontproperties=font_of(size, bold), color=colour, va="top",
                            ha="right" if right else "left")

    def stroke(self, x0: float, x1: float, y0: float, y1: float, width: float = 0.6,
               colour: str = RULE) -> None:
        """A line between two points in inches from the left and the top."""
        from matplotlib.lines import Line2D

        figure = self.pages[-1]
        figure.add_artist(Line2D(
            [x0 / self.width, x1 / self.width], [1.0 - y0 / self.height, 1.0 - y1 / self.height],
            transform=figure.transFigure, color=colour, linewidth=width))

    def lines(self, text: str, size: float, *, bold: bool = False, colour: str = INK,
              indent: float = 0.0, after: float = 0.06) -> None:
        """A paragraph that may run over pages."""
        step = size * LEADING / 72.0
        for line in break_lines(text, size, self.room - indent, bold):
            self.need(step)
            self.put(MARGIN_IN + indent, self.down, line, size, bold=bold, colour=colour)
            self.down += step
        self.down += after

    def section(self, title: str, first: Sequence[Block]) -> None:
        """Rule and heading of a section, kept with its first blocks."""
        pictures = [self.picture_size(b)[1] + 1.2 for b in first if isinstance(b, Picture)]
        tables = [SHORT_IN + 0.6 for b in first if isinstance(b, Grid)]
        self.need(max([1.6, *pictures, *tables]))
        if self.down > MARGIN_IN:
            self.down += 0.15
        self.stroke(MARGIN_IN, self.width - MARGIN_IN, self.down, self.down, 1.8, INK)
        self.down += 0.07
        self.lines(title, 13.0, bold=True)

    def block(self, block: Block) -> None:
        """Any block of a document."""
        if isinstance(block, Paragraph):
            self._paragraph(block)
        elif isinstance(block, Heading):
            self.need(1.2)
            self.down += 0.08
            self.lines(block.text, 10.5, bold=True)
        elif isinstance(block, Bullets):
            self._bullets(block)
        elif isinstance(block, Facts):
            self._facts(block)
        elif isinstance(block, Grid):
            self.table(block.table, block.verdict_column)
        elif isinstance(block, Blanks):
            self._blanks(block)
        else:
            self._picture(block)

    def _paragraph(self, block: Paragraph) -> None:
        if block.tone == "plain":
            self.lines(block.text, BODY)
            return
        if block.tone == "lead":
            self.lines(block.text, 11.0, bold=True, after=0.08)
            return
        step = BODY * LEADING / 72.0
        lines = break_lines(block.text, BODY, self.room - 0.3, True)
        height = len(lines) * step + 0.14
        self.need(height + 0.05)
        top, low = self.down, self.down + height
        left, right = MARGIN_IN, self.width - MARGIN_IN
        for x0, x1, y0, y1 in ((left, right, top, top), (left, right, low, low),
                               (right, right, top, low)):
            self.stroke(x0, x1, y0, y1, 1.2, INK)
        self.stroke(left + 0.04, left + 0.04, top, low, 6.0, INK)
        for index, line in enumerate(lines):
            self.put(left + 0.18, top + 0.07 + index * step, line, BODY, bold=True)
        self.down = low + 0.1

    def _bullets(self, block: Bullets) -> None:
        step = BODY * LEADING / 72.0
        for number, item in enumerate(block.items, start=1):
            lines = break_lines(item, BODY, self.room - 0.25)
            self.need(len(lines) * step)
            mark = f"{number}." if block.numbered else "\u2610" if block.boxes else "\u2022"
            self.put(MARGIN_IN, self.down, mark, BODY + (3.0 if block.boxes else 0.0))
            for line in lines:
                self.put(MARGIN_IN + 0.25, self.down, line, BODY)
                self.down += step
            self.down += 0.05 if block.boxes else 0.02
        self.down += 0.06

    def _facts(self, block: Facts) -> None:
        step, name_room = CELL * LEADING / 72.0, 1.7
        for name, value in block.pairs:
            names = break_lines(name, CELL, name_room - 0.1, True)
            values = break_lines(value, CELL, self.room - name_room)
            height = max(len(names), len(values)) * step + 0.05
            self.need(height)
            for x, lines, bold in ((MARGIN_IN, names, True),
                                   (MARGIN_IN + name_room, values, False)):
                for index, line in enumerate(lines):
                    self.put(x, self.down + index * step, line, CELL, bold=bold)
            self.down += height
            self.stroke(MARGIN_IN, self.width - MARGIN_IN, self.down - 0.02, self.down - 0.02)
        self.down += 0.1

    def _blanks(self, block: Blanks) -> None:
        across = 3
        gap, height = 0.2, 0.42
        width = (self.room - gap * (across - 1)) / across
        for start in range(0, len(block.names), across):
            self.need(height)
            for index, name in enumerate(block.names[start:start + across]):
                x = MARGIN_IN + index * (width + gap)
                self.put(x, self.down, name, CELL - 0.5, colour=MUTED)
                self.stroke(x, x + width, self.down + height - 0.06, self.down + height - 0.06,
                            0.9, INK)
            self.down += height
        self.down += 0.08

    def picture_size(self, block: Picture) -> tuple[float, float]:
        """Width and height in inches that a picture takes on these pages."""
        tallest = self.height - 2.0 * MARGIN_IN - FOOT_IN - 1.3
        shrink = min(1.0, self.room / block.width_in, tallest / block.height_in)
        return block.width_in * shrink, block.height_in * shrink

    def _picture(self, block: Picture) -> None:
        """A figure as part of the page, smaller only where the page is narrower or lower."""
        width, height = self.picture_size(block)
        self.need(height + 0.3)
        self.lines(block.title, BODY, bold=True, after=0.02)
        figure = self.pages[-1]
        cells = figure.add_gridspec(
            3, 3, width_ratios=[MARGIN_IN, width, self.width - MARGIN_IN - width],
            height_ratios=[self.down, height, self.height - self.down - height])
        part = figure.add_subfigure(cells[1, 1])
        block.draw(part)
        if not block.own_layout:
            pattern = new_figure(width, height)
            block.draw(pattern)
            for ax, bounds in zip(part.axes, settled(pattern), strict=True):
                ax.set_position(bounds)
        self.down += height + 0.12

    def table(self, table: Table, verdict_column: int | None) -> None:
        """A table; a short one stays whole, the heading of another comes again on every page."""
        widths = column_widths(table, CELL, self.room)
        step = CELL * LEADING / 72.0
        rows = []
        for row in table.rows:
            cells = [break_lines(text, CELL, width - 2.0 * CELL_PAD_IN, index == 0)
                     for index, (text, width) in enumerate(zip(row, widths, strict=True))]
            height = max(len(lines) for lines in cells) * step + 0.06
            if any(column.blank for column in table.columns):
                height = max(height, 0.29)
            rows.append((cells, height))
        whole = 1.0 + sum(height for _, height in rows)
        self.need(whole if len(rows) <= SHORT and whole <= SHORT_IN else 1.0)
        self.lines(table.title, BODY, bold=True, after=0.03)
        self._table_head(table, widths)
        for cells, height in rows:
            if height > self.left_in():
                self.new_page()
                self._table_head(table, widths)
            self._row(table, widths, cells, height, verdict_column)
        self.down += 0.05
        if table.notes:
            self.lines(table.note_text(), CELL, colour=MUTED, after=0.1)

    def _table_head(self, table: Table, widths: Sequence[float]) -> None:
        heads = heading_lines(table, widths, CELL)
        step = CELL * LEADING / 72.0
        tall = max(len(lines) for lines in heads)
        self.need(tall * step + 0.4)
        x = MARGIN_IN
        for column, lines, width in zip(table.columns, heads, widths, strict=True):
            right = column.align == "right"
            for index, line in enumerate(lines):
                self.put(x + (width - CELL_PAD_IN if right else CELL_PAD_IN),
                         self.down + index * step, line, CELL, bold=True, right=right)
            x += width
        self.down += tall * step + 0.03
        self.stroke(MARGIN_IN, MARGIN_IN + sum(widths), self.down, self.down, 1.2, INK)

    def _row(self, table: Table, widths: Sequence[float], cells: Sequence[Sequence[str]],
             height: float, verdict_column: int | None) -> None:
        step, top, x = CELL * LEADING / 72.0, self.down + 0.04, MARGIN_IN
        colours = {style.letter: style for style in VERDICT_STYLES.values()}
        for index, (lines, width) in enumerate(zip(cells, widths, strict=True)):
            right = table.columns[index].align == "right"
            at = x + (width - CELL_PAD_IN if right else CELL_PAD_IN)
            if index == verdict_column and lines[0][:1] in colours:
                self._badge(at, top, colours[lines[0][0]])
                lines = [lines[0][2:], *lines[1:]]
                at += 0.2
            for number, line in enumerate(lines):
                self.put(at, top + number * step, line, CELL, bold=index == 0, right=right)
            if table.columns[index].blank:
                for edge in (x, x + width):
                    self.stroke(edge, edge, self.down, self.down + height, 0.6, MUTED)
            x += width
        self.down += height
        self.stroke(MARGIN_IN, MARGIN_IN + sum(widths), self.down, self.down)

    def _badge(self, x: float, top: float, style: VerdictStyle) -> None:
        """The letter of a verdict on its hue."""
        from matplotlib.patches import Rectangle

        figure = self.pages[-1]
        figure.add_artist(Rectangle(
            (x / self.width, 1.0 - (top + 0.118) / self.height), 0.15 / self.width,
            0.13 / self.height, transform=figure.transFigure, facecolor=style.colour,
            edgecolor=INK, linewidth=0.6, zorder=0))
        self.put(x + 0.038, top, style.letter, CELL, bold=True, colour=style.text_colour)

    def finish(self, title: str, note: str) -> bytes:
        """Feet on every page, then all pages as one file."""
        from matplotlib.backends.backend_pdf import PdfPages

        stream = io.BytesIO()
        with PdfPages(stream, metadata={"Title": title, "CreationDate": None, "Creator": None,
                                        "Producer": None}) as file:
            for number, page in enumerate(self.pages, start=1):
                base = FOOT_IN / self.height
                page.text(MARGIN_IN / self.width, base, note, fontproperties=font_of(7.0, False),
                          color=MUTED)
                page.text(1.0 - MARGIN_IN / self.width, base, f"{number} / {len(self.pages)}",
                          fontproperties=font_of(7.0, False), color=MUTED, ha="right")
                file.savefig(page)
        return stream.getvalue()
