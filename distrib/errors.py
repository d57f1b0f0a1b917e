"""Errors of the project, all at once and in words.

DistribError
├── InputError      bad input; holds every Problem found        exit code 2
├── NoSolution      a solve failed; says which equation         exit code 3
└── CheckFailed     a published check or a review failed        exit code 4
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

SHOWN: Final = 50
"""Problems in one message; the others are counted."""
SHOWN_PLACE: Final = 200
"""Characters of a place or a value in a message."""
SHOWN_WORDS: Final = 1200
"""Characters of what is allowed, or of a hint."""


def printable(text: str, most: int = 0) -> str:
    """`text` on one line as a terminal may have it: what does not print becomes an escape.

    most: characters after which it is cut (0: never).
    """
    if most and len(text) > most:
        text = f"{text[:most]}... ({len(text):,} characters)"
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


class DistribError(Exception):
    """Base of all errors that a user may meet; carries the exit code of the command line."""

    exit_code = 1


@dataclass(frozen=True)
class Problem:
    """One mistake in an input: where it stands, what was read, what is allowed, what to try."""

    where: str
    read: str
    allowed: str
    hint: str = ""
    file: str = ""
    line: int | None = None
    code: str = "input"

    def __str__(self) -> str:
        file = printable(self.file)
        place = f"{file}:{self.line}: " if self.line is not None else (
            f"{file}: " if file else "")
        text = (f"{place}{printable(self.where, SHOWN_PLACE)}: read "
                f"{printable(self.read, SHOWN_PLACE)}; "
                f"allowed: {printable(self.allowed, SHOWN_WORDS)}")
        return f"{text}; {printable(self.hint, SHOWN_WORDS)}" if self.hint else text


class InputError(DistribError):
    """Bad input. `problems` holds every mistake that was found, in order of appearance.

    The message lists the first of them and counts the others.
    """

    exit_code = 2

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        lines = [str(p) for p in self.problems[:SHOWN]]
        if len(self.problems) > SHOWN:
            lines.append(f"and {len(self.problems) - SHOWN:,} more")
        super().__init__("\n".join(lines))


class NoSolution(DistribError):  # noqa: N818
    """A solve that did not succeed; the message names the element and equation."""

    exit_code = 3


class CheckFailed(DistribError):  # noqa: N818
    """A published check or a review rule failed."""

    exit_code = 4
