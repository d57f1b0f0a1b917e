"""`distrib improve`: search the marked dimensions of a case for a more even design."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from distrib.case.schema import Case
    from distrib.results import Shares
    from distrib.studies.compare import Comparison
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
        typer.Option(help="Models that judge the proposals; default: the search's, and wave."),
    ] = None,
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
    design on the same draws.
    """
    from distrib.case.read import read_case
    from distrib.cli.output import wrote
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
    found, items = _search(present, options, folder, Path(case).stem, resume)
    files = write_proposals(items, folder, Path(case).stem)
    judged = [_judge(present, items, m, options, judge_samples, matters)
              for m in judge or _judges(present, model)]
    if json != "-":
        _show(found, items, files, judged)
    for path in files:
        wrote(path)
    if plot is not None:
        _plot(found, plot)
    if json is not None:
        _emit(json, present, options, found, items, files, judged)


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


def _search(present: Case, options: Options, folder: Path, stem: str, resume: bool
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

    folder.mkdir(parents=True, exist_ok=True)
    bar = Progress(options.evaluations, "designs")
    try:
        return search_case(present, options, reviewed, final_review=reviewed_by_models,
                           remember=folder / f"{stem}.search.log",
                           resume=resume, told=bar.update)
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


def _judges(present: Case, model: str) -> list[str]:
    """The model of the search; wave too when the case has what it needs and it is another."""
    waves = present.engine.intake_valve is not None and present.engine.exhaust_valve is not None
    return [model, "wave"] if waves and model == "phased" else [model]


def _judge(present: Case, items: list[Proposal], model: str, options: Options, samples: int,
           matters: float) -> tuple[str, Comparison | None]:
    """Present design and proposals on the same draws of one model; None without proposals."""
    from distrib.studies.designs import compare_designs

    if not items:
        return model, None
    cases = {"present": present} | {item.label: item.case for item in items}
    return model, compare_designs(cases, model, rpm=options.rpm or present.conditions.rpm,
                                  samples=samples, seed=options.seed + 1, threads=options.jobs,
                                  matters_percent=matters)


def _show(found: Improvement, items: list[Proposal], files: list[Path],
          judged: list[tuple[str, Comparison | None]]) -> None:
    from distrib.cli.output import note, table

    table("The few changes that buy most",
          ["change", "before", "after", "spread after %", "air %", "part of the gain %"],
          [[c.dimension, c.before, c.after, c.spread_after_percent, -c.air_loss_after_percent,
            100.0 * c.share_of_gain] for c in found.changes])
    for model, comparison in judged:
        if comparison is None:
            continue
        rows: list[list[Any]] = []
        for rank, names in comparison.ranking():
            for name in names:
                i, j = comparison.designs.index(name), comparison.designs.index("present")
                rows.append([rank, name, float(comparison.overall_median[i]),
                             "-" if i == j else f"{comparison.chance_overall[i, j]:.0%}"])
        table(f"Paired comparison, {model} model, {comparison.samples} draws (equal rank: "
              "cannot be told apart)",
              ["rank", "design", "median spread %", "chance to beat the present"], rows)
        present = comparison.designs.index("present")
        if not comparison.apart[present, :, -1].any():
            note(f"{model}: no proposal can be told from the present design; the difference is "
                 "inside what the model does not know")
    for text in (*found.cautions, *_disagreements(judged)):
        note(text)
    note(f"{found.evaluations} designs tried. Estimates, not measured: verify before load.")


def _disagreements(judged: list[tuple[str, Comparison | None]]) -> list[str]:
    """Proposals that one model puts surely before the present design and another behind it."""
    said = []
    known = [(m, c) for m, c in judged if c is not None]
    for name in known[0][1].designs[1:] if known else ():
        sides = {m: float(c.chance_overall[c.designs.index(name), 0]) for m, c in known
                 if c.apart[c.designs.index(name), 0, -1]}
        if sides and min(sides.values()) < 0.5 < max(sides.values()):
            said.append(f"the models disagree about {name}: chance to beat the present design "
                        + ", ".join(f"{v:.0%} by {m}" for m, v in sides.items())
                        + "; do not build it on this alone")
    return said


def _plot(found: Improvement, plot: str) -> None:
    from distrib.cli.output import wrote
    from distrib.files import write_bytes_atomic
    from distrib.report.save import figure_bytes, house_style, new_figure
    from distrib.report.study_plots import file_kind, front_chart

    kind = file_kind(plot)
    with house_style():
        figure = new_figure(6.4, 4.6)
        front_chart(figure.subplots(), found)
        wrote(write_bytes_atomic(plot, figure_bytes(figure, kind)))


def _emit(target: str, present: Case, options: Options, found: Improvement,
          items: list[Proposal], files: list[Path],
          judged: list[tuple[str, Comparison | None]]) -> None:
    from distrib.cli.output import emit_json

    emit_json(target, {
        "case": present.title, "model": options.model, "evaluations": found.evaluations,
        "samples": options.samples, "seed": options.seed, "quantile": options.quantile,
        "present": {"spread_percent": found.start_spread_percent},
        "changes": list(found.changes),
        "front": [{"spread_percent": float(found.archive.spread[r]),
                   "air_loss_percent": float(found.archive.air_loss[r])} for r in found.front],
        "proposals": [
            {"label": item.label, "file": path, "spread_percent": item.spread_percent,
             "air_loss_percent": item.air_loss_percent,
             "changes": [{"name": n, "before": b, "after": a} for n, b, a in item.changes]}
            for item, path in zip(items, files, strict=True)],
        "comparisons": [{"model": model, "comparison": comparison} for model, comparison in judged],
        "cautions": [*found.cautions, *_disagreements(judged)],
    })
