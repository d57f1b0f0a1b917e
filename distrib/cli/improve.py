"""`distrib improve`: search the marked dimensions of a case for a more even design."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from distrib.case.schema import Case
    from distrib.studies.compare import Comparison
    from distrib.studies.designsearch import Options, Proposal
    from distrib.studies.improve import Improvement


def improve(
    case: Annotated[str, typer.Argument(help="Case file with a [search] table.", metavar="CASE")],
    out: Annotated[
        str, typer.Option("--out", "-o", help="Folder for the proposals (case files).")
    ] = "proposals",
    model: Annotated[
        str, typer.Option(help="engine: the answer. bench: the steady rig.")
    ] = "engine",
    rpm: Annotated[
        str, typer.Option(help='Speeds, "3000,5000,7000"; default: six of the wanted band.')
    ] = "",
    envelope: Annotated[
        list[str] | None,
        typer.Option(
            "--envelope",
            help='Limit on searched dimensions: "plenum.length + runners.length <= 700 mm".',
        ),
    ] = None,
    air_loss: Annotated[
        float, typer.Option(help="Largest loss of air that is accepted, percent.", min=0.0)
    ] = 2.0,
    quantile: Annotated[
        float, typer.Option(help="With --samples: rank by the spread a design stays under with "
                              "this chance.")
    ] = 0.9,
    samples: Annotated[
        int, typer.Option(help="Draws of everything uncertain in the search; 0: the design as "
                          "drawn.", min=0)
    ] = 0,
    draws: Annotated[
        int, typer.Option(help="Draws of the final comparison with the present design.", min=20)
    ] = 96,
    ignore: Annotated[
        float, typer.Option(help="Ignore differences in spread smaller than this, points.", min=0.0)
    ] = 0.1,
    evaluations: Annotated[int, typer.Option(help="About how many designs to try.", min=40)] = 400,
    screen: Annotated[
        int, typer.Option(help="No search: rank the dimensions by so many random paths.", min=0)
    ] = 0,
    seed: Annotated[int, typer.Option(help="Seed of search and draws.", min=0)] = 1,
    jobs: Annotated[int, typer.Option("--jobs", "-j", help="Processes; 0: one a core.", min=0)] = 0,
    scheduler: Annotated[
        str | None, typer.Option(help="Address of a dask scheduler; extra `cluster`.")
    ] = None,
    resume: Annotated[bool, typer.Option("--resume", help="Go on with a stopped search.")] = False,
    plot: Annotated[
        str | None, typer.Option(help="Draw evenness against air: .svg, .png or .pdf.")
    ] = None,
    json: Annotated[
        str | None, typer.Option("--json", help="Write the result as JSON to a file, or - .")
    ] = None,
) -> None:
    """Search for a more even design within the ranges of [search].

    Gives the few changes that buy most and designs along the front of evenness against air flow,
    each as a case file that review accepts, and compares them with the present design by the engine
    figure on the same draws.
    """
    from distrib.case.read import read_case
    from distrib.cli.improve_show import Found, show, write
    from distrib.cli.sweep import choice, cores
    from distrib.studies.caseeval import MODELS
    from distrib.studies.designsearch import Options, write_proposals

    present = read_case(case)
    options = Options(
        model=choice("--model", model, MODELS), rpm=_speeds(rpm), samples=samples, seed=seed,
        most_air_loss_percent=air_loss, quantile=quantile, evaluations=evaluations,
        limits=tuple(envelope or ()), jobs=jobs or cores(), scheduler=scheduler,
    )
    if screen:
        _screen(present, options, screen, json)
        return
    folder = Path(out)
    log = folder / f"{Path(case).stem}.search.log"
    search, items = _search(present, options, log, resume)
    with _stoppable():
        items, refused = _reviewed(items, draws)
        files = write_proposals(items, folder, Path(case).stem)
        judged = _judge(present, items, options, draws, ignore)
    log.unlink(missing_ok=True)
    found = Found(search, items, files, judged, refused)
    if json != "-":
        show(found)
    write(found, plot, json, present, options)


def _screen(present: Case, options: Options, paths: int, json: str | None) -> None:
    """What each marked dimension does to spread and air over its range, largest first."""
    from distrib.cli.output import emit_json, table
    from distrib.studies.dimensions import dimension_effects
    from distrib.studies.progress import Progress

    bar = Progress(paths * (len(present.search) + 1), "designs")
    try:
        found = dimension_effects(present, options, paths=paths, told=bar.update)
    finally:
        bar.close()
    order = sorted(range(len(found.inputs)), key=lambda i: -float(found.size[i, 0]))
    if json != "-":
        table(f"Effect of each dimension over its whole range, {options.model} model, "
              f"{found.paths} paths",
              ["dimension", "size in spread %", "+/-", "mean in spread %", "bent or joint",
               "air g/s"],
              [[found.inputs[i], float(found.size[i, 0]), float(found.error[i, 0]),
                float(found.mean[i, 0]), bool(found.scatter[i, 0] > 0.5 * found.size[i, 0]),
                1e3 * float(found.mean[i, 1])] for i in order])
    if json is not None:
        emit_json(json, found)


def _speeds(text: str) -> tuple[float, ...]:
    from distrib.errors import InputError, Problem

    try:
        return tuple(float(part) for part in text.split(",") if part.strip())
    except ValueError:
        raise InputError([Problem("--rpm", f'"{text}"', '"3000,5000,7000"')]) from None


@contextlib.contextmanager
def _stoppable() -> Iterator[None]:
    """Ctrl-C after the search: all designs are kept, so that going on costs only what follows."""
    from distrib.cli.sweep import again
    from distrib.studies.runner import Interrupted

    try:
        yield
    except KeyboardInterrupt:
        raise Interrupted("stopped while the proposals were reviewed and judged; the search is "
                          f"kept. To go on: {again()} --resume") from None


def _search(present: Case, options: Options, log: Path, resume: bool
            ) -> tuple[Improvement, list[Proposal]]:
    from distrib.cli.sweep import again
    from distrib.review import review
    from distrib.studies.designsearch import search_case
    from distrib.studies.progress import Progress
    from distrib.studies.runner import Interrupted

    def reviewed(case: Case) -> tuple[str, ...]:
        return tuple(f"{f.title}: {f.text}" for f in review(case).having("change"))

    log.parent.mkdir(parents=True, exist_ok=True)
    bar = Progress(options.evaluations, "designs")
    try:
        return search_case(present, options, reviewed, remember=log, keep=True, resume=resume,
                           told=bar.update)
    except KeyboardInterrupt:
        bar.close()
        raise Interrupted(f"stopped after {bar.done} designs, which are kept. To go on: "
                          f"{again()} --resume") from None
    finally:
        bar.close()


def _reviewed(items: list[Proposal], draws: int
              ) -> tuple[list[Proposal], list[tuple[str, tuple[str, ...]]]]:
    """Proposals for which `distrib review` asks no change, solved as it does, and the others with
    its reasons."""
    from distrib.cli.review import reviewed_case
    from distrib.studies.progress import Progress

    kept, refused = [], []
    bar = Progress(len(items), "reviews")
    try:
        for item in items:
            found = reviewed_case(item.case, draws).having("change")
            why = tuple(f"{f.title}: {f.text}" for f in found)
            if why:
                refused.append((item.label, why))
            else:
                kept.append(item)
            bar.update(1)
    finally:
        bar.close()
    return kept, refused


def _judge(present: Case, items: list[Proposal], options: Options, draws: int,
           ignore: float) -> Comparison | None:
    """Present design and proposals by the engine figure on the same draws; None without any."""
    from distrib.cli.improve_show import PRESENT
    from distrib.studies.designs import compare_designs
    from distrib.studies.progress import Progress

    if not items:
        return None
    cases = {PRESENT: present} | {item.label: item.case for item in items}
    bar = Progress(16 * draws * len(cases), "engine runs")
    try:
        return compare_designs(cases, rpm=options.rpm or None, draws=draws, seed=options.seed + 1,
                               matters_percent=ignore, told=bar.update)
    finally:
        bar.close()
