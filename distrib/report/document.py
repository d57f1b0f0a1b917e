"""A report as a list of sections made of blocks: one content, rendered as a page or as PDF."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from distrib.report.grid import Table

if TYPE_CHECKING:
    from matplotlib.figure import FigureBase

Tone = Literal["plain", "lead", "caution"]


@dataclass(frozen=True)
class Paragraph:
    """A paragraph; `lead` carries the answer, `caution` stands out."""

    text: str
    tone: Tone = "plain"


@dataclass(frozen=True)
class Bullets:
    """A list; `boxes` puts a box to tick before each item, `numbered` a number."""

    items: tuple[str, ...]
    boxes: bool = False
    numbered: bool = False


@dataclass(frozen=True)
class Facts:
    """Names and values, one pair a line."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Grid:
    """A table; `verdict_column` holds verdict letters that get their hue."""

    table: Table
    verdict_column: int | None = None


@dataclass(frozen=True)
class Blanks:
    """Names with a line to write on."""

    names: tuple[str, ...]


@dataclass(frozen=True)
class Picture:
    """A figure: `draw` fills a figure or part of one, of this size in inches.

    `words` says what the picture shows to readers who do not see it.
    """

    name: str
    title: str
    words: str
    width_in: float
    height_in: float
    draw: Callable[[FigureBase], None]
    own_layout: bool = False


@dataclass(frozen=True)
class Heading:
    """A heading inside a section."""

    text: str


Block = Paragraph | Bullets | Facts | Grid | Blanks | Picture | Heading


@dataclass(frozen=True)
class Section:
    """A section; `sheet` starts on a page of its own."""

    name: str
    title: str
    blocks: tuple[Block, ...]
    sheet: bool = False


@dataclass(frozen=True)
class Document:
    """A whole report."""

    title: str
    subtitle: str
    sections: tuple[Section, ...]
    standing_note: str
