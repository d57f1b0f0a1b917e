"""Walk the declared rules over one case and give a frozen result."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

from distrib.case.schema import Case
from distrib.errors import InputError, Problem
from distrib.results import Shares, Source
from distrib.review import structure
from distrib.review.catalogue import RULES
from distrib.review.rules import VERDICTS, Finding, Limits, Rule, Verdict
from distrib.review.subject import Subject

CAUTIONS = (
    "estimate, not measured; verify per cylinder before load",
    "an even prediction is no clearance to lean out",
    structure.ADVICE,
    "check local law before road use",
)


@dataclass(frozen=True)
class ReviewResult:
    """All findings of one case, in the order of the declared rules."""

    title: str
    case_sha256: str
    findings: tuple[Finding, ...]
    models: tuple[str, ...]
    flow_basis: str
    cautions: tuple[str, ...] = CAUTIONS

    def count(self, verdict: Verdict) -> int:
        """How many findings carry that verdict."""
        return sum(f.verdict == verdict for f in self.findings)

    def having(self, verdict: Verdict) -> tuple[Finding, ...]:
        """Findings of one verdict."""
        return tuple(f for f in self.findings if f.verdict == verdict)

    def finding(self, rule_id: str) -> Finding:
        """The finding of one rule; raises KeyError."""
        for item in self.findings:
            if item.id == rule_id:
                return item
        raise KeyError(rule_id)

    @property
    def ordered(self) -> tuple[Finding, ...]:
        """Findings, worst verdict first."""
        return tuple(sorted(self.findings, key=lambda f: VERDICTS.index(f.verdict)))

    @property
    def idle(self) -> tuple[Finding, ...]:
        """Findings of rules that have nothing to check in this design; their verdict is ok."""
        return tuple(f for f in self.findings if not f.applies)

    @property
    def failed(self) -> bool:
        """Whether a rule demands a change."""
        return any(f.verdict == "change" for f in self.findings)

    @property
    def sources(self) -> tuple[Source, ...]:
        """Origins of the rules, each once, in order of first use."""
        return tuple({f.origin.key: f.origin for f in self.findings}.values())


def review(
    case: Case, shares: Iterable[Shares] | Shares | None = None, rules: Iterable[Rule] = RULES
) -> ReviewResult:
    """Check one case against the declared rules.

    `shares` are results of any of the models for this case; without them the rules on flow use
    plain estimates and say so. Limits that the case overrides with a reason replace those of
    the rules, and the finding shows both. Raises InputError when the case overrides a rule that
    does not exist or has no limit.
    """
    listed = () if shares is None else (shares,) if isinstance(shares, Shares) else tuple(shares)
    declared = tuple(rules)
    _check_overrides(case)
    subject = Subject(case, listed)
    findings = tuple(evaluate(rule, subject) for rule in declared)
    return ReviewResult(
        case.title,
        case.sha256,
        findings,
        tuple(s.model for s in listed),
        subject.flow_basis,
    )


def evaluate(rule: Rule, subject: Subject) -> Finding:
    """One rule on one subject."""
    override = next((o for o in subject.case.review if o.rule == rule.id), None)
    limits = Limits(rule.limit, rule.hard, rule.sense)
    if override is not None:
        hard = None if rule.hard is None else override.limit
        limits = Limits(override.limit, hard, rule.sense, overridden=True)
    outcome = rule.test(subject, limits)
    limit = limits.limit if outcome.limit is None else outcome.limit
    changed = override is not None or (limit is not None and limit != rule.limit)
    reason = outcome.reason if override is None else override.reason
    return Finding(
        id=rule.id,
        family=rule.family,
        title=rule.title,
        checks=rule.checks,
        verdict=outcome.verdict,
        value=outcome.value,
        limit=limit,
        hard=limits.hard,
        unit=rule.unit,
        sense=rule.sense,
        text=outcome.text,
        why=rule.why,
        origin=rule.origin,
        todo="" if outcome.verdict == "ok" else rule.todo,
        overridden=changed,
        override_reason=reason if changed else "",
        standard_limit=rule.limit,
        applies=outcome.applies,
    )


def _check_overrides(case: Case) -> None:
    known = {rule.id: rule for rule in RULES}
    problems, seen = [], set()
    for item in case.review:
        where = f"review.limit (rule {item.rule!r})"
        rule = known.get(item.rule)
        if rule is None:
            near = difflib.get_close_matches(item.rule, list(known), 3, 0.4)
            hint = f"nearest: {', '.join(near)}" if near else ""
            problems.append(Problem(where, repr(item.rule), "id of a rule", hint, case.path))
        elif rule.limit is None:
            problems.append(
                Problem(where, str(item.limit), "a rule that has a limit", "", case.path)
            )
        elif item.rule in seen:
            problems.append(Problem(where, "twice", "one limit for a rule", "", case.path))
        seen.add(item.rule)
    if problems:
        raise InputError(problems)
