"""`distrib review`: the reviewer's checklist against one design."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from distrib.case.schema import Case
    from distrib.results import Shares
    from distrib.review.rules import Finding
    from distrib.review.run import ReviewResult

HEADINGS = {
    "change": "CHANGE before metal is cut",
    "missing": "MISSING on the drawing",
    "ask": "ASK",
}
WIDEST = 100


def review(
    case: Annotated[str, typer.Argument(help="Case file (TOML).", metavar="CASE")],
    json: Annotated[
        str | None, typer.Option("--json", help="Write the result as JSON to a file, or - .")
    ] = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit 4 also when something is missing or to ask.")
    ] = False,
    draws: Annotated[
        int, typer.Option(help="Draws of everything uncertain at every speed.", min=20)
    ] = 96,
    no_solve: Annotated[
        bool, typer.Option("--no-solve", help="Run no model; rules on flow use plain estimates.")
    ] = False,
) -> None:
    """Check a design against the declared rules: ok, ask, change, missing.

    Exit code 4 when a rule says change (with --strict also for ask and missing). Strength
    findings are a caution, never a certificate.
    """
    from distrib.case.read import read_case
    from distrib.cli.output import emit_json
    from distrib.errors import CheckFailed
    from distrib.review import review as run_review

    read = read_case(case)
    result = run_review(read, () if no_solve else _solved(read, draws))
    if json != "-":
        _show(case, read, result)
    if json is not None:
        emit_json(json, as_json(case, result))
    changes = result.count("change")
    open_points = changes + result.count("ask") + result.count("missing")
    if changes:
        raise CheckFailed(f"review: {_rules(changes)} for a change")
    if strict and open_points:
        raise CheckFailed(f"review (strict): {open_points} points open")


def reviewed_case(case: Case, draws: int = 96) -> ReviewResult:
    """What this command finds in a case by default, with its figures solved; used by `improve`."""
    from distrib.review import review as run_review

    return run_review(case, _solved(case, draws))


def _rules(count: int) -> str:
    return "1 rule asks" if count == 1 else f"{count} rules ask"


def _solved(case: Case, draws: int) -> list[Shares]:
    """Engine figure over its speeds and bench figure; one that fails is said and left out."""
    from distrib.build.bench import solve_bench
    from distrib.cli.output import note
    from distrib.cli.shares import solved
    from distrib.errors import NoSolution

    found = []
    try:
        found.append(solved(case, draws=draws).engine)
        found.append(solve_bench(case))
    except NoSolution as error:
        note(f"no solution, plain estimates stand in: {error}")
    return found


def as_json(path: str, result: ReviewResult) -> dict[str, Any]:
    """The result as JSON has it: findings in the order of the rules."""
    return {
        "case": path,
        "title": result.title,
        "sha256": result.case_sha256,
        "models": list(result.models),
        "flow_basis": result.flow_basis,
        "counts": {v: result.count(v) for v in ("ok", "ask", "change", "missing")},
        "ok_as_nothing_to_check": [f.id for f in result.idle],
        "failed": result.failed,
        "findings": list(result.findings),
        "sources": list(result.sources),
        "cautions": list(result.cautions),
    }


def _show(path: str, case: Case, result: ReviewResult) -> None:
    import shutil

    from distrib.review.rules import VERDICTS

    width = min(shutil.get_terminal_size((WIDEST, 24)).columns, WIDEST)
    counts = ", ".join(f"{result.count(v) - (v == 'ok') * len(result.idle)} {v}" for v in VERDICTS)
    counts += f", {len(result.idle)} do not apply"
    print(_wrapped("", f"Review of {path}: {result.title}", width))
    print(_wrapped("", f"{len(result.findings)} rules: {counts}.", width))
    entries = ", ".join(
        f"{e.name} ({e.kind}, {e.at_m * 1e3:.0f} mm from the cylinder-1 end)" for e in case.entries
    )
    print(_wrapped("", f"Cylinder 1 at the {case.cylinder_1_end}; seen {case.view}.", width))
    print(_wrapped("", f"Air enters by {entries}.", width))
    print(_wrapped("", f"Flow used: {result.flow_basis}.", width))
    for verdict, heading in HEADINGS.items():
        found = [f for f in result.findings if f.verdict == verdict]
        if found:
            print(f"\n{heading} ({len(found)})")
        for finding in found:
            print(_block(finding, width))
    print()
    _show_ok([f for f in result.findings if f.verdict == "ok" and f.applies], width)
    if result.idle:
        print(_wrapped("Do not apply: ", ", ".join(f.id for f in result.idle), width))
        print()
    print("Cautions")
    for caution in result.cautions:
        print(_wrapped("  - ", caution, width))


def _show_ok(findings: list[Finding], width: int) -> None:
    from distrib.cli.output import table
    from distrib.review.words import limit_text, value_text

    columns = ["rule", "value", "limit"]
    rows = [[f.id, value_text(f), limit_text(f)] for f in findings]
    if width >= WIDEST:
        columns.insert(1, "what")
        rows = [[row[0], f.title, *row[1:]] for row, f in zip(rows, findings, strict=True)]
    table("OK", columns, rows)


def _block(finding: Finding, width: int) -> str:
    from distrib.review.words import limit_text, origin_text, override_text

    limit = limit_text(finding, in_full=True)
    parts = (
        ("found", finding.text),
        ("limit", "" if limit == "-" else limit),
        ("changed", override_text(finding)),
        ("why", finding.why),
        ("do", finding.todo),
        ("origin", origin_text(finding)),
    )
    lines = [f"\n  {finding.id}: {finding.title}"]
    lines += [_wrapped(f"    {name:<8}", text, width) for name, text in parts if text]
    return "\n".join(lines)


def _wrapped(lead: str, text: str, width: int) -> str:
    import textwrap

    return textwrap.fill(
        text,
        max(width, 40),
        initial_indent=lead,
        subsequent_indent=" " * len(lead),
        break_on_hyphens=False,
    )
