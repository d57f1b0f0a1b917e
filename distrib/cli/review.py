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
    result = run_review(read, () if no_solve else _solved(read))
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


def _rules(count: int) -> str:
    return "1 rule asks" if count == 1 else f"{count} rules ask"


def _solved(case: Case) -> tuple[Shares, ...]:
    """Phased shares of the case; the wave model stays with `shares` and `report`."""
    from distrib.build import solve_phased
    from distrib.cli.output import note
    from distrib.errors import NoSolution

    try:
        return (solve_phased(case),)
    except NoSolution as error:
        note(f"no phased shares, plain estimates instead: {error}")
        return ()


def as_json(path: str, result: ReviewResult) -> dict[str, Any]:
    """The result as JSON has it: findings in the order of the rules."""
    return {
        "case": path,
        "title": result.title,
        "sha256": result.case_sha256,
        "models": list(result.models),
        "flow_basis": result.flow_basis,
        "counts": {v: result.count(v) for v in ("ok", "ask", "change", "missing")},
        "failed": result.failed,
        "findings": list(result.findings),
        "sources": list(result.sources),
        "cautions": list(result.cautions),
    }


def _show(path: str, case: Case, result: ReviewResult) -> None:
    import shutil

    from distrib.cli.output import table

    width = min(shutil.get_terminal_size((WIDEST, 24)).columns, WIDEST)
    counts = [[verdict, result.count(verdict)] for verdict in ("change", "missing", "ask", "ok")]
    table(f"Review of {path}: {result.title}", ["verdict", "rules"], counts)
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
    _show_ok([f for f in result.findings if f.verdict == "ok"], width)
    print("Cautions")
    for caution in result.cautions:
        print(_wrapped("  - ", caution, width))


def _show_ok(findings: list[Finding], width: int) -> None:
    from distrib.cli.output import table

    columns = ["rule", "value", "limit"]
    rows = [[f.id, number(f.value, f.unit), limit_text(f)] for f in findings]
    if width >= WIDEST:
        columns.insert(1, "what")
        rows = [[row[0], f.title, *row[1:]] for row, f in zip(rows, findings, strict=True)]
    table("OK", columns, rows)


def _block(finding: Finding, width: int) -> str:
    lines = [f"\n  {finding.id}: {finding.title}", _wrapped("    found   ", finding.text, width)]
    if finding.limit is not None:
        lines.append(_wrapped("    limit   ", limit_text(finding, in_full=True), width))
    if finding.overridden:
        reason = finding.override_reason or "no reason given"
        lines.append(_wrapped("    changed ", f"limit set in the case: {reason}", width))
    lines.append(_wrapped("    why     ", finding.why, width))
    lines.append(_wrapped("    do      ", finding.todo, width))
    lines.append(_wrapped("    origin  ", f"{finding.origin.kind}: {finding.origin.text}", width))
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


def number(value: float | None, unit: str) -> str:
    """A value with its unit: three figures, no more."""
    if value is None:
        return "-"
    text = f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.3g}"
    return text if unit == "-" else f"{text} {unit}"


def limit_text(finding: Finding, in_full: bool = False) -> str:
    """`at most 0.7`, with what demands a change and with the limit that was replaced."""
    if finding.limit is None:
        return "-"
    text = f"{finding.sense} {number(finding.limit, finding.unit)}"
    if in_full and finding.hard is not None and finding.hard != finding.limit:
        text += f"; change beyond {number(finding.hard, finding.unit)}"
    if finding.overridden:
        text += f" (usual {number(finding.standard_limit, finding.unit)})"
    return text
