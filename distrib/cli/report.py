"""`distrib report`: one self-contained page, and the same as PDF."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from distrib.cli.collection import seldom

if TYPE_CHECKING:
    from distrib.case.schema import Case
    from distrib.report.data import ReportData


@seldom()
def report(
    cases: Annotated[list[str], typer.Argument(help="Case files (TOML).", metavar="CASE...")],
    output: Annotated[
        list[str] | None,
        typer.Option("-o", "--output", help="File to write, .html or .pdf; repeatable. "
                     "Default: report.html."),
    ] = None,
    model: Annotated[
        list[str] | None,
        typer.Option("--model", help="phased, bench, wave; repeatable. The first decides. "
                     "Default: phased, wave with valve data, bench."),
    ] = None,
    rpm: Annotated[
        float | None, typer.Option("--rpm", help="Speed of the page; default the highest common.",
                                   min=100, max=30000)
    ] = None,
    samples: Annotated[
        int, typer.Option("--samples", help="Samples of the band of an engine model.", min=50)
    ] = 256,
    keep: Annotated[
        str | None, typer.Option("--keep", help="Folder where engine results are kept and found "
                                 "again.")
    ] = None,
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
    from distrib.cli.report_data import Wanted, chosen_rpm, compared, gather
    from distrib.errors import InputError, NoSolution
    from distrib.files import write_bytes_atomic
    from distrib.report.sections import short_labels

    files = output or ["report.html"]
    designs = [read_case(path) for path in cases]
    models = tuple(dict.fromkeys(model)) if model else _usual(designs)
    _check(files, models, paper)
    wanted = Wanted(models=() if no_solve else models, rpm=rpm, samples=samples,
                    keep=keep, sensitivity=not (no_sensitivity or no_solve), date=_date(date))
    speed = chosen_rpm(designs, wanted)
    found = [gather(design, wanted, speed) for design in designs]
    remarks = [text for one in found for text in one.remarks]
    reports = [one.data for one in found]
    sentences: tuple[str, ...] = ()
    if len(designs) > 1 and "phased" in wanted.models:
        try:
            sentences = compared(dict(zip(short_labels(reports), designs, strict=True)), speed,
                                 samples, wanted.models)
        except (InputError, NoSolution) as error:
            remarks.append(f"no comparison on shared samples: {error}")
    for text in remarks:
        note(text)
    for file in files:
        write_bytes_atomic(file, _made(file, reports, sentences, paper))
        wrote(file)
    if json is not None:
        emit_json(json, {"cases": cases, "files": files, "rpm": speed, "models": wanted.models,
                         "comparison": sentences, "remarks": remarks})


def _made(file: str, reports: list[ReportData], sentences: tuple[str, ...],
          paper: str) -> bytes:
    if file.lower().endswith(".pdf"):
        from distrib.report.pdf import report_pdf

        return report_pdf(reports, sentences, paper)
    from distrib.report.html import report_html

    return report_html(reports, sentences).encode("utf-8")


def _usual(designs: list[Case]) -> tuple[str, ...]:
    """Models that every design has by default, the deciding one first."""
    from distrib.cli.solved import wanted_models

    return tuple(m for m in ("phased", "engine", "bench")
                 if all(m in wanted_models(case, None) for case in designs))


def _check(files: list[str], models: tuple[str, ...], paper: str) -> None:
    """All mistakes in the options at once."""
    from distrib.cli.report_data import MODELS
    from distrib.errors import InputError, Problem
    from distrib.report.pdf import PAPERS_IN

    problems = [Problem("--output", f'"{f}"', "a name that ends in .html or .pdf")
                for f in files if Path(f).suffix.lower() not in (".html", ".pdf")]
    problems += [Problem("--model", f'"{m}"', ", ".join(MODELS))
                 for m in models if m not in MODELS]
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
