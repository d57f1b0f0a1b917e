"""Numbers as people write them: decimal point or comma, inch fractions, no guessing.

What can be read in two ways is refused with a hint; `{unit}` in a hint stands for the unit.
"""

from __future__ import annotations

import re
from fractions import Fraction

_VULGAR = {
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
    "⅓": "1/3",
    "⅔": "2/3",
}
_PARTS = re.compile(
    r"^\s*(?P<number>[+\-−]?[0-9.,/⁄ \-−+'"
    + "".join(_VULGAR)
    + r"]*[0-9.,/⁄"
    + "".join(_VULGAR)
    + r"]"
    r"(?:[eE][+-]?[0-9]+)?)\s*(?P<rest>.*?)\s*$",
    re.DOTALL,
)
_PLAIN = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_MIXED = re.compile(
    r"(?P<sign>[+-]?)(?:(?P<whole>[0-9]+)(?: +| *- *))?(?P<top>[0-9]+) */ *(?P<bottom>[0-9]+)"
)
_POINT_GROUPS = re.compile(r"[+-]?[0-9]{1,3}(?:\.[0-9]{3})+,[0-9]+")
_COMMA_GROUPS = re.compile(r"[+-]?[0-9]{1,3}(?:,[0-9]{3})+\.[0-9]+")
_MANY_COMMAS = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3}){2,}")
_MANY_POINTS = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:\.[0-9]{3}){2,}")
_ONE_COMMA = re.compile(r"(?P<head>[+-]?[0-9]*),(?P<tail>[0-9]+)(?P<exp>(?:[eE][+-]?[0-9]+)?)")
_SPACED = re.compile(r"[+-]?[0-9]+(?: [0-9]+)+")


class NumeralError(ValueError):
    """A number that cannot be read in exactly one way; `hint` says what to write."""

    def __init__(self, hint: str) -> None:
        self.hint = hint
        super().__init__(hint)


def split_number(text: str) -> tuple[str, str]:
    """Split '2 7/8 in' into its number and the rest; the number is empty when there is none."""
    found = _PARTS.match(text.replace("\u00a0", " "))
    if found is None:
        return "", text.strip()
    return found["number"].strip(), found["rest"]


def is_fraction(number: str) -> bool:
    """True when the number is written with a fraction, such as 2 7/8."""
    return any(c in number for c in "/⁄") or any(c in number for c in _VULGAR)


def read_number(number: str) -> float:
    """The value of a written number; raises NumeralError when it can be read in two ways or none.

    Read: 82.5  82,5  .5  1e3  2 7/8  2-7/8  7/8  2½  1,250.5  1.250,5  1,250,000.
    Refused: 1,250 (one and a quarter, or one thousand two hundred fifty), 1 250, 2 9/8, 1/0.
    """
    text = number.strip().replace("−", "-").replace("⁄", "/")
    for sign, plain in _VULGAR.items():
        text = text.replace(sign, f" {plain}").strip()
    if _PLAIN.fullmatch(text):
        return float(text)
    if "/" in text:
        return _read_fraction(text)
    if _POINT_GROUPS.fullmatch(text):
        return float(text.replace(".", "").replace(",", "."))
    if _COMMA_GROUPS.fullmatch(text) or _MANY_COMMAS.fullmatch(text):
        return float(text.replace(",", ""))
    if _MANY_POINTS.fullmatch(text):
        return float(text.replace(".", ""))
    return _read_comma(text)


def _read_fraction(text: str) -> float:
    found = _MIXED.fullmatch(text)
    if found is None:
        raise NumeralError('write a fraction as "2 7/8 {unit}" or "7/8 {unit}"')
    top, bottom = int(found["top"]), int(found["bottom"])
    if bottom == 0:
        raise NumeralError("a fraction cannot have zero below the line")
    whole = found["whole"]
    if whole is not None and top >= bottom:
        raise NumeralError(
            f"{top}/{bottom} is not smaller than 1, so {whole} {top}/{bottom} is unclear"
        )
    value = Fraction(top, bottom) + (int(whole) if whole is not None else 0)
    return float(-value if found["sign"] == "-" else value)


def _read_comma(text: str) -> float:
    found = _ONE_COMMA.fullmatch(text)
    if found is not None:
        head, tail, exponent = found["head"], found["tail"], found["exp"]
        digits = head.lstrip("+-")
        three_after = len(tail) == 3 and not exponent
        if three_after and 1 <= len(digits) <= 3 and digits.strip("0"):
            raise NumeralError(
                f'the comma can mean two things: write "{head}.{tail} {{unit}}" '
                f'or "{head}{tail} {{unit}}"'
            )
        return float(f"{head or '0'}.{tail}{exponent}")
    if "'" in text:
        raise NumeralError('write feet or inches, not both: "1.25 ft" or "15 in"')
    if _SPACED.fullmatch(text):
        joined = text.replace(" ", "")
        raise NumeralError(f'no space inside a number: write "{joined} {{unit}}"')
    raise NumeralError('write one number, such as "12.5 {unit}"')


def chance_in_words(part: float) -> str:
    """A chance in percent, as "83 %"; samples never make it 0 or 100: "under 1 %", "over 99 %"."""
    if part < 0.01:
        return "under 1 %"
    return "over 99 %" if part > 0.99 else f"{100.0 * part:.0f} %"
