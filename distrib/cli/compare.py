"""`distrib compare`: designs on the same assumptions, speeds and draws."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from distrib.answer import Answer
    from distrib.case.schema import Case
    from distrib.studies.compare import Comparison


def compare(
    cases: Annotated[list[str], typer.Argument(help="Case files (TOML).", metavar="CASE...")],
    model: Annotated[
        str, typer.Option("--model", help="engine: the answer. bench: the steady rig.")
    ] = "engine",
    rpm: Annotated[
        list[float] | None,
        typer.Option("--rpm", help="Engine speed; repeatable. Default: wherever the figures bend."),
    ] = None,
    draws: Annotated[
        int, typer.Option("--draws", help="Draws of everything uncertain at every speed.", min=20)
    ] = 96,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the draws.", min=0)] = None,
    plot: Annotated[
        str | None, typer.Option("--plot", help="Folder for the bar charts on one scale.")
    ] = None,
    json: Annotated[
        str | None, typer.Option("--json", help="Write the result as JSON to a file, or - .")
    ] = None,
) -> None:
    """Say which design is more even, by how much and with what chance, or that nobody can tell."""
    from distrib.case.read import read_case
    from distrib.cli.output import emit_json
    from distrib.cli.output_choice import choice
    from distrib.cli.shares import all_solved
    from distrib.errors import InputError, Problem
    from distrib.studies.designs import compared

    if len(cases) < 2:
        raise InputError([Problem("compare", f"{len(cases)} case", "two cases or more")])
    read = [read_case(path) for path in cases]
    check_alike(read)
    if choice("--model", model, ("engine", "bench")) == "bench":
        _bench(read, seed, json)
        return
    found = all_solved(read, rpm, draws, seed)
    by_name = {str(i): one for i, one in enumerate(found)}
    overall, by_speed = compared(by_name), compared(by_name, everywhere=True)
    if json != "-":
        show(found, overall, by_speed)
    if plot is not None:
        write_plot(found, plot)
    if json is not None:
        emit_json(json, as_json(found, overall, by_speed))


def check_alike(read: Sequence[Case]) -> None:
    """InputError where the engines have other cylinders or fire in another order."""
    from distrib.errors import InputError, Problem

    first = read[0].engine
    wrong = [Problem(f"{case.path}: engine", f"{case.engine.layout}, fires "
                     f"{list(case.engine.firing_order)}",
                     f"{first.layout}, fires {list(first.firing_order)} as the first case",
                     "designs of one engine can be compared")
             for case in read[1:]
             if (case.engine.layout, case.engine.firing_order)
             != (first.layout, first.firing_order)]
    if wrong:
        raise InputError(wrong)


def show(found: Sequence[Answer], overall: Comparison, by_speed: Comparison) -> None:
    """Print the answer first, then the designs, then speed by speed."""
    from distrib.cli.text import print_table, print_wrapped
    from distrib.report.answer_words import CAUTION
    from distrib.report.compare_words import (
        by_speed_table,
        design_lines,
        differences,
        filling_line,
        pair_sentences,
    )

    for text in pair_sentences(found, overall):
        print_wrapped(text)
    for text in design_lines(found):
        print_wrapped(text)
    for text in (filling_line(found), differences(found)):
        if text:
            print_wrapped(text)
    print()
    print_table(by_speed_table(found, by_speed))
    print_wrapped(f"{overall.samples} draws of everything uncertain, the same for all designs, the "
                  "model's own error included.")
    print_wrapped(CAUTION)


def _bench(read: Sequence[Case], seed: int | None, json: str | None) -> None:
    """Spread of every design on the steady rig, with its band."""
    from distrib.build.band import bench_with_band
    from distrib.cli.output import emit_json
    from distrib.cli.shares import model_json
    from distrib.cli.text import print_wrapped
    from distrib.report.tables import spread_in_words

    results = [bench_with_band(case, seed=seed) for case in read]
    if json != "-":
        print_wrapped("On the steady rig, which overstates what the engine sees: never a fuel "
                      "trim.")
        for case, result in zip(read, results, strict=True):
            print_wrapped(f"{case.title}: {spread_in_words(result)}")
    if json is not None:
        emit_json(json, {"model": "bench", "designs": [
            model_json(case, result) for case, result in zip(read, results, strict=True)]})


def write_plot(found: Sequence[Answer], folder: str) -> None:
    """Bar charts of all designs at their worst speeds, on one scale."""
    from distrib.cli.pictures import bars_picture
    from distrib.cli.shares import write_pictures
    from distrib.results import at_point

    write_pictures(folder, {"compare": bars_picture(
        [(one.case, at_point(one.engine, one.headline)) for one in found])})


def as_json(found: Sequence[Answer], overall: Comparison, by_speed: Comparison) -> dict[str, Any]:
    """Designs with their figures, who is more even, overall and by speed."""
    from distrib.cli.shares import as_json as one_json
    from distrib.report.compare_words import (
        chance_of,
        compared_points,
        more_even,
        pair_sentences,
        worst_spread,
    )

    titles = [one.case.title for one in found]

    def best(comparison: Comparison, point: int | None = None) -> tuple[str | None, float]:
        """The design that is surely more even than every other, and the least chance of that."""
        n = len(found)
        chances = [min(chance_of(comparison, a, b, point) for b in range(n) if b != a)
                   for a in range(n)]
        top = max(range(n), key=chances.__getitem__)
        sure = all(more_even(comparison, top, b, point) == top for b in range(n) if b != top)
        return (titles[top] if sure else None), chances[top]

    title, chance = best(overall)
    speeds = [(None, None) if p is None else best(by_speed, p) for p in compared_points(found)]
    return {
        "designs": [{"name": t, "worst_spread_percent": worst_spread(one)[0],
                     "worst_rpm": worst_spread(one)[1], **one_json(one)}
                    for t, one in zip(titles, found, strict=True)],
        "more_even": title, "chance": chance,
        "by_speed": {"rpm": found[0].rpm, "more_even": [t for t, _ in speeds],
                     "chance": [c for _, c in speeds]},
        "paired": overall, "paired_by_speed": by_speed,
        "sentences": pair_sentences(found, overall),
    }
