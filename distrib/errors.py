"""Errors of the project, all at once and in words.

DistribError
├── InputError      bad input; holds every Problem found        exit code 2
├── NoSolution      a solve failed; says which equation         exit code 3
└── CheckFailed     a published check or a review failed        exit code 4
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


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
        place = f"{self.file}:{self.line}: " if self.line is not None else (
            f"{self.file}: " if self.file else "")
        text = f"{place}{self.where}: read {self.read}; allowed: {self.allowed}"
        return f"{text}; {self.hint}" if self.hint else text


class InputError(DistribError):
    """Bad input. `problems` holds every mistake that was found, in order of appearance."""

    exit_code = 2

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(p) for p in self.problems))


class NoSolution(DistribError):  # noqa: N818
    """A solve that did not succeed; the message names the element and equation."""

    exit_code = 3


class CheckFailed(DistribError):  # noqa: N818
    """A published check or a review rule failed."""

    exit_code = 4
