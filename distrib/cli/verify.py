"""`distrib verify`: every published check with source, expected, got, tolerance and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from distrib.verification.published import Row

REPORT_PATH = "reports/verification.md"


def verify(
    topic: Annotated[str | None, typer.Option(help="Only the checks of one topic.")] = None,
    json: Annotated[
        str | None, typer.Option("--json", help="Write the rows as JSON to a file, or - .")
    ] = None,
    write: Annotated[
        str | None, typer.Option("--write", metavar="PATH", help="Write the report page to a file.")
    ] = None,
    report: Annotated[
        bool, typer.Option("--report", help=f"Write the report page to {REPORT_PATH}.")
    ] = False,
    laws: Annotated[
        str | None, typer.Option("--laws", metavar="PATH", help="Write the page of loss laws.")
    ] = None,
    plots: Annotated[
        str | None,
        typer.Option("--plots", metavar="DIR", help="Draw each family against measured points."),
    ] = None,
) -> None:
    """Run the checks against published values. Exit code 4 when one fails."""
    from distrib.cli.output import emit_json, note
    from distrib.errors import CheckFailed
    from distrib.verification.run import as_records, summary
    from distrib.verification.run import verify as run_all

    rows = run_all(topic)
    if json is not None:
        emit_json(json, {"summary": summary(rows), "checks": as_records(rows)})
    if json != "-":
        _show(rows)
        print(summary(rows))
    for path in [write, REPORT_PATH if report else None]:
        if path is not None:
            _write_report(path, topic, rows)
    if laws is not None:
        from distrib.cli.output import wrote
        from distrib.files import write_text_atomic
        from distrib.verification.lawpage import law_page

        write_text_atomic(laws, law_page())
        wrote(laws)
    if plots is not None:
        from distrib.verification.plots import draw_all

        for drawn in draw_all(plots):
            note(f"wrote {drawn}")
    failed = [row for row in rows if not row.passed]
    if failed:
        raise CheckFailed("\n".join(
            f"{row.check.id}: expected {row.check.printed}, got {row.got} "
            f"(tolerance {row.tolerance}) {row.reason}".rstrip() for row in failed))


def _write_report(path: str, topic: str | None, rows: Sequence[Row]) -> None:
    """Write the report page of all checks (a page of one topic only would pass for the whole)."""
    from distrib.cli.output import note, wrote
    from distrib.files import write_text_atomic
    from distrib.verification.run import report as page
    from distrib.verification.run import verify as run_all

    if topic is not None:
        note(f"{path} holds all topics, not only {topic}")
    write_text_atomic(path, page(rows if topic is None else run_all()))
    wrote(path)


def _show(rows: Sequence[Row]) -> None:
    """One table per topic."""
    from distrib.cli.output import table
    from distrib.verification.run import figures, topics

    for topic in topics(row.check for row in rows):
        cells = [[row.check.id, f"{row.check.source}, {row.check.locator}",
                  figures(row.check.printed, 4), figures(row.got, 4), row.tolerance, row.check.why,
                  "pass" if row.passed else f"FAIL {row.reason}".rstrip()]
                 for row in rows if row.check.topic == topic]
        table(topic, ["check", "source", "expected", "got", "tolerance", "why", "result"], cells)
