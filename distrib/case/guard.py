"""Before a TOML file is parsed: how large, deep and long it may be; after it: no strange signs.

A parser that takes everything can be kept busy for minutes by a small file. So the text is gone
through once, sign by sign, and refused where no case of this world would go.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from distrib.errors import InputError, Problem, printable
from distrib.files import read_limited

MOST_BYTES: Final = 256 * 1024
"""Size of a file. A commented starter has 20 kB."""
MOST_KEYS: Final = 2000
MOST_TABLES: Final = 500
MOST_ITEMS: Final = 20_000
"""Commas outside texts: the items of all lists together."""
DEEPEST: Final = 16
"""Brackets within brackets, and parts of a dotted key."""
LONGEST_WORD: Final = 100
"""Characters of a number or a bare key."""
LONGEST_TEXT: Final = 10_000
"""Characters of a text in quotes."""

_TOKEN: Final = re.compile(
    r'(?P<text>"""(?:[^"\\]|\\[\s\S]|"{1,2}(?!"))*+"{3,5}|' r"'''(?:[^']|'{1,2}(?!'))*+'{3,5}|"
    r'"(?:[^"\\\n]|\\[^\n])*+"|' r"'[^'\n]*+')"
    r"|(?P<comment>\#[^\n]*+)|(?P<blank>[ \t\r]++)|(?P<line>\n)|(?P<open>[\[{])|(?P<close>[\]}])"
    r"""|(?P<word>[^\s"'\#\[\]{},=.]++)|(?P<dot>\.)|(?P<key>=)|(?P<comma>,)|(?P<other>[\s\S])"""
)
_TURNS: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Signs that turn the direction of writing: a text is then not what it looks like."""

Place = tuple[str | int, ...]


@dataclass
class _Count:
    """What was met so far in a text."""

    keys: int = 0
    tables: int = 0
    items: int = 0
    depth: int = 0
    dots: int = 0
    line: int = 1
    begins: bool = True


def read_toml_text(path: str | Path) -> str:
    """The text of a TOML file, with line feeds. OSError, UnicodeDecodeError or InputError."""
    return read_limited(path, MOST_BYTES).decode("utf-8-sig").replace("\r\n", "\n")


def parse_toml(text: str, file: str) -> dict[str, Any]:
    """The tree of a TOML text that keeps the limits.

    Raises InputError (too large, deep, long), and TOMLDecodeError for what is no TOML.
    """
    check_limits(text, file)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raise
    except (ValueError, RecursionError, OverflowError) as error:  # a date of the 99th month
        raise tomllib.TOMLDecodeError(f"Invalid value: {error}") from None


def check_limits(text: str, file: str = "") -> None:
    """Go through a text before it is parsed; raises InputError at the first limit it exceeds."""
    if len(text) > MOST_BYTES:
        raise _beyond(file, None, f"{len(text):,} characters", f"up to {MOST_BYTES:,}")
    count = _Count()
    for found in _TOKEN.finditer(text):
        kind = found.lastgroup or ""
        if kind == "line":
            count.line += 1
            count.dots, count.begins = 0, True
            continue
        if kind in ("blank", "comment"):
            continue
        _take(count, kind, found, file)
        count.begins = False


def _take(count: _Count, kind: str, found: re.Match[str], file: str) -> None:
    """Count one token; raises InputError beyond a limit."""
    size = found.end() - found.start()
    if kind == "dot":
        count.dots += 1
    elif kind not in ("word", "text"):
        count.dots = 0
    if kind == "open":
        count.depth += 1
        count.tables += (count.begins and count.depth == 1) or found[0] == "{"
    elif kind == "close":
        count.depth = max(count.depth - 1, 0)
    elif kind == "key":
        count.keys += 1
    elif kind == "comma":
        count.items += 1
    for value, most, what in (
        (count.dots + 1, DEEPEST, "parts of a dotted key"), (count.depth, DEEPEST, "open brackets"),
        (count.keys, MOST_KEYS, "keys"), (count.tables, MOST_TABLES, "tables"),
        (count.items, MOST_ITEMS, "items of lists"),
    ):
        if value > most:
            raise _beyond(file, count.line, f"more than {most:,} {what}", f"up to {most:,}")
    if kind == "word" and size > LONGEST_WORD:
        raise _beyond(file, count.line, f"a number or key of {size:,} characters",
                      f"up to {LONGEST_WORD}", f"it begins {printable(found[0][:20])}")
    if kind == "text":
        if size > LONGEST_TEXT:
            raise _beyond(file, count.line, f"a text of {size:,} characters",
                          f"up to {LONGEST_TEXT:,}")
        count.line += found[0].count("\n")


def _beyond(file: str, line: int | None, read: str, allowed: str, hint: str = "") -> InputError:
    return InputError([Problem("size", read, allowed, hint, file, line, "size")])


def strange_signs(tree: Mapping[str, Any], lines_in: frozenset[str] = frozenset({"note"})
                  ) -> Iterator[tuple[Place, str]]:
    """Place and first strange sign of every text of a tree, as an escape.

    Control signs move the cursor of a terminal and break SVG and PDF; signs that turn the
    direction of writing make a text look like another. Keys of `lines_in` may hold line ends.
    """
    waiting: list[tuple[Place, Any]] = [((), tree)]
    while waiting:
        place, value = waiting.pop()
        if isinstance(value, Mapping):
            for key, item in value.items():
                if sign := _strange(key, False):
                    yield (*place, key), sign
                waiting.append(((*place, key), item))
        elif isinstance(value, list):
            waiting += [((*place, i), item) for i, item in enumerate(value)]
        elif isinstance(value, str) and (sign := _strange(value, bool(place)
                                                          and place[-1] in lines_in)):
            yield place, sign


def _strange(text: str, lines: bool) -> str:
    """The first sign that no text of a case may hold, as an escape; empty when all are sound."""
    if text.isprintable():
        return ""
    for sign in text:
        number = ord(sign)
        character = number & 0xFFFE != 0xFFFE and not 0xFDD0 <= number <= 0xFDEF
        control = unicodedata.category(sign) in ("Cc", "Cs", "Zl", "Zp") or sign in _TURNS
        if (control or not character) and not (lines and sign in "\n\t"):
            return sign.encode("unicode_escape").decode()
    return ""
