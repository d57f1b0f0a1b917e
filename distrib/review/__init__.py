"""The reviewer's checklist: declared rules over one case, with verdict, limit, reason, origin.

How to add a rule
-----------------
1. Write a function `check_...(subject, limits) -> Outcome` in the file of its family. Read the
   design from `subject.case`, flows from `subject`. Return `missing(...)` when the drawing does
   not say, `not_applicable(...)` when the design has no such part, else
   `Outcome(limits.grade(value), sentence, value)` with the value in the rule's unit.
2. Add a `Rule(...)` record to `RULES` of that file: id (never reused), family, title, what it
   checks, why it matters, what to do, origin (a `Source` that says published, computed, common
   practice or from memory), the test, unit, sense, limit (asks) and hard limit (change).
3. Add a `Fire` to tests/review/review_firing.py: a change of the sound case that fires the
   rule, and if the sound case does not already keep it quiet, one that does. A test fails
   while a rule lacks either.

A new family file joins the list in `catalogue.py`.
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import Any

from distrib.review.catalogue import RULES
from distrib.review.rules import Finding, Rule
from distrib.review.run import ReviewResult, review

__all__ = ["RULES", "Finding", "ReviewResult", "Rule", "review"]


class _CallablePackage(ModuleType):
    """`distrib.review(case)` is a public name, and the package of that name must not hide it."""

    def __call__(self, *args: Any, **options: Any) -> ReviewResult:
        return review(*args, **options)


sys.modules[__name__].__class__ = _CallablePackage
