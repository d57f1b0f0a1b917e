"""What a rule of the review is, and how a value is graded against its limit.

A rule is a record; its `test` reads a `Subject` (the case and what was estimated from it) and
returns an `Outcome`. Values and limits are in the rule's printed `unit`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from distrib.results import Source

if TYPE_CHECKING:
    from distrib.review.subject import Subject

Verdict = Literal["ok", "ask", "change", "missing"]
Sense = Literal["at most", "at least", "report"]

VERDICTS: Final[tuple[Verdict, ...]] = ("change", "missing", "ask", "ok")
"""Verdicts, worst first: the order in which findings are shown."""

PRACTICE: Final = Source("practice", "trade rule, no single source", "common practice")
MEMORY: Final = Source("memory", "handbook value, not checked", "from memory")
OWN: Final = Source("own", "estimate of this project", "own estimate")


@dataclass(frozen=True)
class Limits:
    """Limits that hold for one case: beyond `limit` a question, beyond `hard` a change.

    An override replaces `limit` and takes `hard` away: whoever sets a limit with a reason means
    it, so beyond an overridden limit the verdict is at once `change` where the rule can say so.
    """

    limit: float | None
    hard: float | None
    sense: Sense
    overridden: bool = False

    def beyond(self, value: float, limit: float) -> bool:
        """Whether value lies on the wrong side of limit; a value on the limit is within."""
        if self.sense == "at most":
            return value > limit
        if self.sense == "at least":
            return value < limit
        return False

    def grade(self, value: float) -> Verdict:
        """Verdict of one value."""
        if self.hard is not None and self.beyond(value, self.hard):
            return "change"
        if self.limit is not None and self.beyond(value, self.limit):
            return "ask"
        return "ok"


@dataclass(frozen=True)
class Outcome:
    """What the test of a rule found: verdict, sentence, and value in the rule's unit.

    `limit` is set only by a test that takes its limit from another part of the case; `reason`
    then holds why the case departs from the rule's own limit. `applies` is false where this
    design has nothing that the rule checks.
    """

    verdict: Verdict
    text: str
    value: float | None = None
    limit: float | None = None
    reason: str = ""
    applies: bool = True


@dataclass(frozen=True)
class Rule:
    """One declared check. `limit` asks, `hard` demands a change; None where there is no limit."""

    id: str
    family: str
    title: str
    checks: str
    why: str
    todo: str
    origin: Source
    test: Callable[[Subject, Limits], Outcome]
    unit: str = "-"
    sense: Sense = "report"
    limit: float | None = None
    hard: float | None = None


@dataclass(frozen=True)
class Finding:
    """One rule evaluated on one case.

    Beyond `limit` the rule asks, beyond `hard` it demands a change. `limit` is the one that was
    used, `standard_limit` that of the rule; they differ when the case overrides it, and then
    `overridden` is true and `override_reason` says why.
    """

    id: str
    family: str
    title: str
    checks: str
    verdict: Verdict
    value: float | None
    limit: float | None
    hard: float | None
    unit: str
    sense: Sense
    text: str
    why: str
    origin: Source
    todo: str
    overridden: bool = False
    override_reason: str = ""
    standard_limit: float | None = None
    applies: bool = True


def not_applicable(reason: str) -> Outcome:
    """Outcome of a rule that has nothing to check in this design."""
    return Outcome("ok", f"does not apply: {reason}", applies=False)


def missing(what: str) -> Outcome:
    """Outcome of a rule whose figure is not on the drawing."""
    return Outcome("missing", f"missing on the drawing: {what}")


def worst(values: Iterable[tuple[str, float]], sense: Sense) -> tuple[str, float]:
    """The name and value that are worst in the sense of the rule; raises ValueError when empty."""
    pairs: Sequence[tuple[str, float]] = tuple(values)
    if sense == "at least":
        return min(pairs, key=lambda pair: pair[1])
    return max(pairs, key=lambda pair: pair[1])


def percent_range(values: Sequence[float]) -> float:
    """Largest minus smallest over the mean, percent; 0 for a mean of 0."""
    mean = sum(values) / len(values)
    return 0.0 if mean == 0.0 else 100.0 * (max(values) - min(values)) / abs(mean)


def cylinders(numbers: Iterable[int]) -> str:
    """`cylinder 3` or `cylinders 1, 2, 4`."""
    listed = [str(n) for n in numbers]
    return f"cylinder {listed[0]}" if len(listed) == 1 else "cylinders " + ", ".join(listed)
