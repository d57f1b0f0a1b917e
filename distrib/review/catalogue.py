"""The declared list of rules, in the order in which a reviewer walks around the part."""

from __future__ import annotations

from typing import Final

from distrib.review import (
    drawing,
    entry,
    flow,
    fuel,
    geometry,
    proof,
    runners,
    services,
    structure_rules,
    throttle,
)
from distrib.review.rules import Rule

RULES: Final[tuple[Rule, ...]] = (
    *drawing.RULES,
    *geometry.RULES,
    *throttle.RULES,
    *entry.RULES,
    *runners.RULES,
    *flow.RULES,
    *fuel.RULES,
    *services.RULES,
    *structure_rules.RULES,
    *proof.RULES,
)
"""All rules of the review."""


def rule(rule_id: str) -> Rule:
    """The rule of that id; raises KeyError."""
    for item in RULES:
        if item.id == rule_id:
            return item
    raise KeyError(rule_id)
