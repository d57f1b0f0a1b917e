"""`distrib report`: one self-contained page, and the same as PDF."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from distrib.cli.collection import seldom

if TYPE_CHECKING:
    from distrib.report.data import ReportData


@seldom()
def report(
    cases: Annotated[list[str], typer.Argument(help="Case files (TOML).", metavar="CASE...")],
    output: Annotated[
        list[str] | None,
        typer.Option("-o", "--output", help="File to write, .html or .pdf; repeatable. "
                     "Default: report.html."),
    ] = None,
    rpm: Annotated[
        list[float] | None,
        typer.Option("--rpm", help="Engine speed; repeatable. Default: wherever the figures bend.")
    ] = None,
    draws: Annotated[
        int, typer.Option("--draws", help="Draws of everything uncertain at every speed.", min=20)
    ] = 96,
    bench: Annotated[
        bool, typer.Option("--bench", help="Also show what a steady rig measures.")
    ] = False,
    paper: Annotated[str, typer.Option("--paper", help="A4 or Letter, for .pdf.")] = "A4",
    date: Annotated[
        str | None, typer.Option("--date", help="Date on the page; default today, none: no date.")
    ] = None,
    no_sensitivity: Annotated[
        bool, typer.Option("--no-sensitivity", help="Leave out what matters most.")
    ] = False,
    no_solve: Annotated[
        bool, typer.Option("--no-solve", help="Run no model: drawing, review and shop sheet only.")
    ] = False,
    json: Annotated[
        str | None, typer.Option("--json", help="Write what was done as JSON to a file, or - .")
    ] = None,
) -> None:
    """Write a report on one design, or on several side by side: a page and, if asked, a PDF.

    The page needs no network and no script; the same case gives the same bytes apart from the date.
    """
    from distrib.case.read import read_case
    from distrib.cli.output import emit_json, note, wrote
    from distrib.cli.report_data import Wanted, gather
    from distrib.files import write_bytes_atomic

    files = output or ["report.html"]
    designs = [read_case(path) for path in cases]
    _check(files, paper)
    found, sentences = gather(designs, Wanted(
        rpm=tuple(rpm) if rpm else None, draws=draws, solve=not no_solve, bench=bench,
        sensitivity=not no_sensitivity, date=_date(date)))
    remarks = [text for one in found for text in one.remarks]
    reports = [one.data for one in found]
    for text in remarks:
        note(text)
    for file in files:
        write_bytes_atomic(file, _made(file, reports, sentences, paper))
        wrote(file)
    if json is not None:
        emit_json(json, {"cases": cases, "files": files, "comparison": sentences,
                         "remarks": remarks})


def _made(file: str, reports: list[ReportData], sentences: tuple[str, ...],
          paper: str) -> bytes:
    if file.lower().endswith(".pdf"):
        from distrib.report.pdf import report_pdf

        return report_pdf(reports, sentences, paper)
    from distrib.report.html import report_html

    return report_html(reports, sentences).encode("utf-8")


def _check(files: list[str], paper: str) -> None:
    """All mistakes in the options at once."""
    from distrib.errors import InputError, Problem
    from distrib.report.pdf import PAPERS_IN

    problems = [Problem("--output", f'"{f}"', "a name that ends in .html or .pdf")
                for f in files if Path(f).suffix.lower() not in (".html", ".pdf")]
    if paper not in PAPERS_IN:
        problems.append(Problem("--paper", f'"{paper}"', ", ".join(PAPERS_IN)))
    if problems:
        raise InputError(problems)


def _date(text: str | None) -> str:
    """The date to print: as given, today, or nothing for `none`."""
    import datetime

    if text == "none":
        return ""
    return datetime.date.today().isoformat() if text is None else text
