"""Numbers as text with no more digits than their band justifies, and lengths in both systems."""

from __future__ import annotations

import math
from typing import Final

MM_PER_INCH: Final = 25.4
MOST_DECIMALS: Final = 2
NO_VALUE: Final = "-"


def decimals_for(half_width: float | None, *, most: int = MOST_DECIMALS, without: int = 1) -> int:
    """Decimals a figure deserves whose band reaches `half_width` to either side.

    The half width keeps one significant digit, two when its first digit is 1 (the usual rule
    for stated uncertainties), and the figure is cut at the same place: 2.3 gives 0, 1.2 gives 1,
    0.4 gives 1, 0.04 gives 2. Never more than `most`; `without` is the answer when no band is
    known (None, not finite, or zero).
    """
    if half_width is None or not math.isfinite(half_width) or half_width <= 0.0:
        return min(without, most)
    exponent = math.floor(math.log10(half_width))
    first_digit = half_width / 10.0**exponent
    places = -exponent + (1 if first_digit < 2.0 else 0)
    return max(0, min(most, places))


def plain(value: float | None, decimals: int) -> str:
    """The value with this many decimals; no negative zero; a dash when there is none."""
    if value is None or not math.isfinite(value):
        return NO_VALUE
    text = f"{value:.{decimals}f}"
    return text[1:] if text.startswith("-") and float(text) == 0.0 else text


def signed(value: float | None, decimals: int) -> str:
    """As `plain`, with a plus sign before positive values; zero carries no sign."""
    text = plain(value, decimals)
    if text == NO_VALUE or text.startswith("-") or float(text) == 0.0:
        return text
    return f"+{text}"


def interval(low: float | None, high: float | None, decimals: int) -> str:
    """`+1 to +5`, or a dash when there is no band."""
    if low is None or high is None or not (math.isfinite(low) and math.isfinite(high)):
        return NO_VALUE
    return f"{signed(low, decimals)} to {signed(high, decimals)}"


def significant(value: float | None, digits: int = 3) -> str:
    """The value with this many significant digits and no exponent; a dash when there is none."""
    if value is None or not math.isfinite(value):
        return NO_VALUE
    if value == 0.0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    return plain(rounded, max(0, places))


def millimetres(length_m: float) -> str:
    """Length in mm: whole figures bare, others with one decimal."""
    value = length_m * 1000.0
    return plain(value, 0) if abs(value - round(value)) < 0.05 else plain(value, 1)


def inches(length_m: float) -> str:
    """Length in inches, two decimals (0.01 in is a quarter of a millimetre)."""
    return plain(length_m * 1000.0 / MM_PER_INCH, 2)


def both(length_m: float) -> str:
    """Length in both systems: `72 mm (2.83 in)`."""
    return f"{millimetres(length_m)} mm ({inches(length_m)} in)"
