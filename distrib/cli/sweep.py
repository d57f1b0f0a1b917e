"""`distrib sweep`: a table of figures over any parameters of a case."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

if TYPE_CHECKING:
    from distrib.studies.runner import Outcome

Text = TypeVar("Text", bound=str)
LONGEST = 100_000
"""Rows up to which a table is read again to say why points have no figures."""


def sweep(
    case: Annotated[str, typer.Argument(help="Case file (TOML).", metavar="CASE")],
    vary: Annotated[
        list[str],
        typer.Option(
            "--vary",
            help='What to vary, repeatable: "conditions.rpm=2000:7000:500" (steps), '
            '"plenum.length=400,430,460 mm" (values), "runners.mouth=bell,sharp" (texts), '
            '"runners.length=200:350 mm" (a range, with --sample).',
        ),
    ],
    out: Annotated[
        str, typer.Option("--out", "-o", help="Table to write: .csv, or .parquet.")
    ] = "sweep.csv",
    model: Annotated[str, typer.Option(help="engine or bench.")] = "engine",
    sample: Annotated[
        int, typer.Option(help="Draw so many points instead of the whole grid.", min=0)
    ] = 0,
    band: Annotated[
        int, typer.Option(help="Draws of what is uncertain: a 90 % band at each point.", min=0)
    ] = 0,
    method: Annotated[str, typer.Option(help="sobol, latin-hypercube or random.")] = "sobol",
    seed: Annotated[int, typer.Option(help="Seed of the draw.", min=0)] = 1,
    jobs: Annotated[
        int, typer.Option("--jobs", "-j", help="Processes; 0: one a core.", min=0)
    ] = 0,
    scheduler: Annotated[
        str | None,
        typer.Option(help='Address of a dask scheduler ("tcp://host:8786"); extra `cluster`.'),
    ] = None,
    resume: Annotated[bool, typer.Option("--resume", help="Continue a stopped study.")] = False,
    plot: Annotated[
        str | None, typer.Option(help="Also draw the table: .svg, .png or .pdf.")
    ] = None,
    json: Annotated[
        str | None, typer.Option("--json", help="Write a summary as JSON to a file, or - .")
    ] = None,
) -> None:
    """Figures over rpm, boost or any parameter of the case, as a table.

    A varied charge pressure takes the exhaust pressure along at the case's ratio, unless
    engine.exhaust_pressure is varied too.

    Points are kept on disk as they finish: a stopped study goes on with --resume and ends with
    the same table, byte for byte, whatever the number of workers.
    """
    from distrib.case.read import read_case
    from distrib.cli.output import wrote
    from distrib.studies.caseeval import MODELS
    from distrib.studies.sampling import METHODS
    from distrib.studies.sweep import SweepOptions
    from distrib.studies.sweep import sweep as run_sweep

    options = SweepOptions(
        model=choice("--model", model, MODELS),
        sample=sample,
        method=choice("--method", method, METHODS),
        seed=seed,
        band_samples=band,
    )
    outcome = run_sweep(
        read_case(case), vary, out, options=options, jobs=jobs or cores(), scheduler=scheduler,
        resume=resume, progress=True, how_to_resume=f"{again()} --resume",
    )
    wrote(out)
    if plot is not None:
        from distrib.report.study_plots import plot_table

        plot_table(out, plot, [v.partition("=")[0].strip() for v in vary])
        wrote(plot)
    _summary(outcome, json)


def _summary(outcome: Outcome, json: str | None) -> None:
    from distrib.cli.output import emit_json, note

    note(f"{outcome.points} points, {outcome.failed} without figures"
         + (f", {outcome.resumed} taken over" if outcome.resumed else ""))
    for text in _reasons(outcome):
        note(text)
    if json is not None:
        emit_json(json, {"table": outcome.path, "points": outcome.points,
                         "without_figures": outcome.failed, "taken_over": outcome.resumed})


def _reasons(outcome: Outcome) -> list[str]:
    """Why points have no figures: the commonest reasons of a table that is not too long to read."""
    from collections import Counter

    from distrib.studies.runner import REASON
    from distrib.studies.table import read_table

    if not outcome.failed or outcome.points > LONGEST:
        return []
    counts = Counter(text for text in read_table(outcome.path)[REASON].tolist()
                     if isinstance(text, str) and text)
    return [f"{count} without figures: {text}" for text, count in counts.most_common(3)]


def cores() -> int:
    """Number of cores this process may use."""
    import os

    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def again() -> str:
    """The command as typed, for the message that says how to go on."""
    import shlex
    import sys

    return shlex.join(["distrib", *(a for a in sys.argv[1:] if a != "--resume")])


def choice(where: str, read: str, allowed: tuple[Text, ...]) -> Text:
    """The one of `allowed` that was read; raises InputError otherwise."""
    from distrib.errors import InputError, Problem

    for item in allowed:
        if item == read:
            return item
    raise InputError([Problem(where, f'"{read}"', ", ".join(allowed))])
