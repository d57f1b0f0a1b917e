"""`distrib improve`: search the marked dimensions of a case for a more even design."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from distrib.case.schema import Case
    from distrib.cli.improve_show import Judged
    from distrib.results import Shares
    from distrib.studies.designsearch import Options, Proposal
    from distrib.studies.improve import Improvement


def improve(
    case: Annotated[str, typer.Argument(help="Case file with a [search] table.", metavar="CASE")],
    out: Annotated[
        str, typer.Option("--out", "-o", help="Folder for the proposals (case files).")
    ] = "proposals",
    model: Annotated[str, typer.Option(help="Of the search: bench, phased or wave.")] = "phased",
    judge: Annotated[
        list[str] | None,
        typer.Option(help="Models that judge the proposals; default: the search's, and the wave "
                     "model where the case has valves."),
    ] = None,
    no_engine: Annotated[
        bool, typer.Option("--no-engine", help="Do not judge the proposals by the engine model.")
    ] = False,
    engine_draws: Annotated[
        int, typer.Option("--engine-draws", help="Draws of the engine model in that judgement, each "
                          "solved at every speed.", min=20)
    ] = 24,
    rpm: Annotated[
        str, typer.Option(help='Speeds, "3000,5000,7000"; default: lowest, middle, highest.')
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
        float, typer.Option(help="The spread counts that is not exceeded with this chance.")
    ] = 0.9,
    samples: Annotated[
        int, typer.Option(help="Draws of everything uncertain in the search.", min=2)
    ] = 16,
    judge_samples: Annotated[
        int, typer.Option(help="Draws of the final, paired comparison.", min=20)
    ] = 128,
    matters: Annotated[
        float, typer.Option(help="Difference in spread, %-points, that nobody can make.", min=0.0)
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

    Robust: a design counts by the spread it does not exceed with the chosen chance, over all that
    is uncertain. Gives the few changes that buy most and designs along the front of evenness
    against air flow, each as a case file that review accepts, and compares them with the present
    design on the same draws, by the engine model too, which has the last word on a finalist.
    """
    from distrib.case.read import read_case
    from distrib.cli.improve_show import Found, show, write
    from distrib.cli.sweep import choice, cores
    from distrib.studies.caseeval import MODELS
    from distrib.studies.designsearch import Options, write_proposals

    present = read_case(case)
    for name in (model, *(judge or ())):
        choice("model", name, MODELS)
    options = Options(
        model=model, rpm=_speeds(rpm), samples=samples, seed=seed,
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
        items, refused = _reviewed(items)
        files = write_proposals(items, folder, Path(case).stem)
        judged = _judge(present, items, judge or _judges(present, model, not no_engine), options,
                        judge_samples, engine_draws, matters)
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

    def reviewed_by_models(case: Case) -> tuple[str, ...]:
        shares = _solved(case)
        return tuple(f"{f.title}: {f.text}" for f in review(case, shares).having("change"))

    log.parent.mkdir(parents=True, exist_ok=True)
    bar = Progress(options.evaluations, "designs")
    try:
        return search_case(present, options, reviewed, final_review=reviewed_by_models,
                           remember=log, keep=True, resume=resume, told=bar.update)
    except KeyboardInterrupt:
        bar.close()
        raise Interrupted(f"stopped after {bar.done} designs, which are kept. To go on: "
                          f"{again()} --resume") from None
    finally:
        bar.close()


def _solved(case: Case) -> list[Shares]:
    """What `distrib review` solves by default; a model without a solution is left out."""
    from distrib.build.bench import solve_bench
    from distrib.build.phased import solve_phased
    from distrib.errors import NoSolution

    found = []
    for solve in (solve_phased, solve_bench):
        try:
            found.append(solve(case))
        except NoSolution:
            continue
    return found


def _reviewed(items: list[Proposal]) -> tuple[list[Proposal], list[tuple[str, tuple[str, ...]]]]:
    """Proposals for which `distrib review` asks no change, with all its models solved as it does,
    and the others with its reasons."""
    from distrib.cli.review import reviewed_case
    from distrib.studies.progress import Progress

    kept, refused = [], []
    bar = Progress(len(items), "reviews")
    try:
        for item in items:
            why = tuple(f"{f.title}: {f.text}" for f in reviewed_case(item.case).having("change"))
            if why:
                refused.append((item.label, why))
            else:
                kept.append(item)
            bar.update(1)
    finally:
        bar.close()
    return kept, refused


def _judges(present: Case, model: str, wave: bool) -> list[str]:
    """The model of the search; wave too when wanted and the case has what it needs."""
    valves = present.engine.intake_valve is not None and present.engine.exhaust_valve is not None
    return [model, "engine"] if wave and valves and model != "engine" else [model]


def _judge(present: Case, items: list[Proposal], models: list[str], options: Options,
           samples: int, engine_samples: int, matters: float) -> list[Judged]:
    """Present design and proposals on the same draws, by each model; nothing without proposals."""
    from distrib.cli.improve_show import PRESENT, Judged
    from distrib.studies.designs import compare_designs
    from distrib.studies.progress import Progress

    if not items:
        return []
    cases = {PRESENT: present} | {item.label: item.case for item in items}
    bar = Progress(len(models) * len(cases), "designs judged")
    try:
        return [Judged(m, compare_designs(
            cases, m, rpm=options.rpm or present.conditions.rpm, samples=samples,
            seed=options.seed + 1, threads=options.jobs, matters_percent=matters,
            engine_samples=engine_samples, told=bar.update)) for m in models]
    finally:
        bar.close()
