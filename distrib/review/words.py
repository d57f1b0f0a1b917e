"""Findings in words, for the terminal and for the page: one wording for both."""

from __future__ import annotations

import math

from distrib.review.rules import Finding


def number(value: float | None, unit: str) -> str:
    """A value with its unit, three figures and no more; `-` for none.

    Infinity stands for a Mach number that no subsonic stream reaches: `choked`.
    """
    if value is None:
        return "-"
    if math.isinf(value):
        return "choked"
    text = f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.3g}"
    return text if unit == "-" else f"{text} {unit}"


def value_text(finding: Finding) -> str:
    """The value with its unit, or `-`."""
    return number(finding.value, finding.unit)


def limit_text(finding: Finding, in_full: bool = False) -> str:
    """`at most 0.7`; `in_full` adds what demands a change. An override shows the usual limit."""
    if finding.limit is None:
        return "-"
    text = f"{finding.sense} {number(finding.limit, finding.unit)}"
    if in_full and finding.hard is not None and finding.hard != finding.limit:
        text += f"; change beyond {number(finding.hard, finding.unit)}"
    if finding.overridden:
        text += f" (usual {number(finding.standard_limit, finding.unit)})"
    return text


def origin_text(finding: Finding) -> str:
    """How much to trust the limit, and where it comes from."""
    return f"{finding.origin.kind}: {finding.origin.text}"


def override_text(finding: Finding) -> str:
    """Why the case sets its own limit; empty when it does not."""
    if not finding.overridden:
        return ""
    return f"limit set in the case: {finding.override_reason or 'no reason given'}"
