"""Colours, letters and hatches that say the same thing three times over.

The hues are the eight of Okabe, M. and Ito, K. (2002, revised 2008), "Color Universal Design
(CUD): How to make figures and presentations that are friendly to colorblind people",
jfly.uni-koeln.de/color. Hue is never the only carrier: each verdict also has a letter and a
hatch, each series a hatch and a marker, so that a black-and-white print or a photograph of a
screen still reads. Contrast is the ratio of WCAG 2.2 (W3C, success criterion 1.4.3).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from distrib.fuelling.verdict import Verdict

BLACK: Final = "#000000"
ORANGE: Final = "#E69F00"
SKY_BLUE: Final = "#56B4E9"
BLUISH_GREEN: Final = "#009E73"
YELLOW: Final = "#F0E442"
BLUE: Final = "#0072B2"
VERMILLION: Final = "#D55E00"
REDDISH_PURPLE: Final = "#CC79A7"

INK: Final = "#1A1A1A"
MUTED: Final = "#555555"
RULE: Final = "#B5B5B5"
PAPER: Final = "#FFFFFF"
SHADE: Final = "#F1F1EE"

SOURCE_TEXT: Final = (
    "Okabe and Ito, Color Universal Design, 2002, revised 2008 (jfly.uni-koeln.de/color)"
)


@dataclass(frozen=True)
class VerdictStyle:
    """How one verdict looks: hue, letter, matplotlib hatch. Its words are `fuelling.words`."""

    verdict: Verdict
    letter: str
    colour: str
    hatch: str

    @property
    def text_colour(self) -> str:
        """Black or white, whichever reads better on the hue."""
        return text_on(self.colour)


VERDICT_STYLES: Final[dict[Verdict, VerdictStyle]] = {
    "lean": VerdictStyle("lean", "L", VERMILLION, "///"),
    "watch": VerdictStyle("watch", "W", ORANGE, "..."),
    "even": VerdictStyle("even", "E", BLUISH_GREEN, ""),
    "rich": VerdictStyle("rich", "R", SKY_BLUE, "\\\\\\"),
    "backward": VerdictStyle("backward", "B", REDDISH_PURPLE, "xxx"),
}


@dataclass(frozen=True)
class SeriesStyle:
    """How one of several models or designs looks: hue, hatch, marker, line."""

    colour: str
    hatch: str
    marker: str
    line: tuple[int, tuple[float, ...]]


SERIES_STYLES: Final[tuple[SeriesStyle, ...]] = (
    SeriesStyle(BLUE, "", "o", (0, ())),
    SeriesStyle(ORANGE, "///", "s", (0, (6.0, 2.0))),
    SeriesStyle(BLUISH_GREEN, "...", "^", (0, (2.0, 1.5))),
    SeriesStyle(REDDISH_PURPLE, "xxx", "D", (0, (6.0, 1.5, 1.5, 1.5))),
    SeriesStyle(SKY_BLUE, "---", "v", (0, (8.0, 1.5, 1.5, 1.5, 1.5, 1.5))),
    SeriesStyle(VERMILLION, "\\\\\\", "P", (0, (1.0, 1.0))),
    SeriesStyle(YELLOW, "ooo", "X", (0, (4.0, 1.0))),
    SeriesStyle(BLACK, "+++", "*", (0, (3.0, 3.0))),
)


def series_style(index: int) -> SeriesStyle:
    """Style of the series with this index, starting over after the last one."""
    return SERIES_STYLES[index % len(SERIES_STYLES)]


def _linear(channel: int) -> float:
    value = channel / 255.0
    return value / 12.92 if value <= 0.04045 else float(((value + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    """Relative luminance (0 to 1) of a `#RRGGBB` colour, as WCAG 2.2 defines it."""
    red, green, blue = (int(colour[i:i + 2], 16) for i in (1, 3, 5))
    return 0.2126 * _linear(red) + 0.7152 * _linear(green) + 0.0722 * _linear(blue)


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21; text needs 4.5, marks 3 (WCAG 2.2)."""
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def text_on(colour: str) -> str:
    """Black or white, whichever has the greater contrast on `colour`."""
    return BLACK if contrast(colour, BLACK) >= contrast(colour, PAPER) else PAPER
