"""Collect the checks of all topics, run them, and write the report page."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterable, Sequence

from distrib.errors import InputError, Problem
from distrib.verification.published import Published, Row, run_check


def all_checks() -> tuple[Published, ...]:
    """Every check: the `CHECKS` of each module in `distrib.verification.topics`, by module name.

    A new topic is a new module there that exposes CHECKS. Two checks with one id: ValueError.
    """
    package = importlib.import_module("distrib.verification.topics")
    found: list[Published] = []
    for entry in sorted(pkgutil.iter_modules(package.__path__), key=lambda m: m.name):
        module = importlib.import_module(f"{package.__name__}.{entry.name}")
        found.extend(getattr(module, "CHECKS", ()))
    ids = [check.id for check in found]
    twice = sorted({i for i in ids if ids.count(i) > 1})
    if twice:
        raise ValueError(f"checks with one id: {', '.join(twice)}")
    return tuple(found)


def topics(checks: Iterable[Published]) -> tuple[str, ...]:
    """Names of the topics, in order of appearance."""
    return tuple(dict.fromkeys(check.topic for check in checks))


def sources(checks: Iterable[Published]) -> tuple[str, ...]:
    """Distinct sources, in order of appearance.

    The methods of one library count once, so do formula and points of one publication, and so do
    all closed forms.
    """
    return tuple(dict.fromkeys(_origin(check.source) for check in checks))


def _origin(text: str) -> str:
    if "closed form" in text:
        return "closed forms"
    return text.split(", ")[0] if text.startswith("fluids ") else text.removesuffix(
        ", measured points")


def verify(topic: str | None = None) -> tuple[Row, ...]:
    """Run all checks or those of one topic; an unknown topic is an InputError with the names."""
    from distrib.losses.nearest import nearest_names

    checks = all_checks()
    known = topics(checks)
    if topic is not None and topic not in known:
        raise InputError([Problem("--topic", repr(topic), ", ".join(known),
                                  ", ".join(nearest_names(topic, known)))])
    return tuple(run_check(c) for c in checks if topic in (None, c.topic))


def figures(values: Sequence[float], most: int = 6) -> str:
    """Numbers in short; long lists are cut and say how many there are."""
    text = ", ".join(f"{v:.6g}" for v in values[:most])
    return text if len(values) <= most else f"{text}, … ({len(values)} numbers)"


def summary(rows: Sequence[Row]) -> str:
    """One sentence: how many checks, sources, failures."""
    failed = sum(not row.passed for row in rows)
    count = len(sources(row.check for row in rows))
    verdict = "all passed" if failed == 0 else f"{failed} failed"
    return f"{len(rows)} checks from {count} sources: {verdict}."


def as_records(rows: Sequence[Row]) -> list[dict[str, object]]:
    """Rows as plain records for JSON."""
    return [{
        "id": row.check.id, "topic": row.check.topic, "kind": row.check.kind,
        "source": row.check.source, "locator": row.check.locator,
        "expected": list(row.check.printed), "got": list(row.got),
        "rtol": row.check.rtol, "atol": row.check.atol, "why": row.check.why,
        "difference_over_tolerance": row.worst if row.worst != float("inf") else None,
        "passed": row.passed, "reason": row.reason,
    } for row in rows]


def _cell(text: str) -> str:
    return text.replace("|", "/").replace("\n", " ")


def report(rows: Sequence[Row]) -> str:
    """The report page in Markdown: summary, rms of the junction laws, every check by topic."""
    from distrib.verification.tees import rms_table

    lines = ["# Checks against published values", "", summary(rows), "",
             "Written by `distrib verify --write`. Expected is the number in the source, never our "
             "own output. Kinds: published (a formula or table of a publication), measured (points "
             "of an experiment), computed outside (a general-purpose library or a calculation made "
             "outside this project), own three-dimensional computation (an independent solver of "
             "ours, computed and not measured), closed form, from memory, common practice.", ""]
    lines += ["## Junction and take-off laws against measured series", "", *rms_table(), ""]
    for topic in topics(row.check for row in rows):
        lines += [f"## {topic}", "",
                  "| check | kind | source | expected | got | tolerance | why | result |",
                  "|---|---|---|---|---|---|---|---|"]
        for row in rows:
            if row.check.topic != topic:
                continue
            c = row.check
            verdict = "pass" if row.passed else f"FAIL {row.reason}"
            cells = (c.id, c.kind, f"{c.source}, {c.locator}", figures(c.printed),
                     figures(row.got), row.tolerance, c.why, verdict)
            lines.append("| " + " | ".join(_cell(text) for text in cells) + " |")
        lines.append("")
    lines += ["## Sources", ""]
    lines += [f"- {text}" for text in sources(row.check for row in rows)]
    return "\n".join(lines) + "\n"
