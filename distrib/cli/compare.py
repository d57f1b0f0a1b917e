"""`distrib compare`: designs on the same assumptions and the same scale."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from distrib.case.schema import Case
    from distrib.cli.solved import Solved
    from distrib.studies.compare import Comparison


def compare(
    cases: Annotated[list[str], typer.Argument(help="Case files (TOML).", metavar="CASE...")],
    model: Annotated[
        list[str] | None,
        typer.Option("--model", help="phased, wave or bench; repeatable. Default as in shares."),
    ] = None,
    rpm: Annotated[
        list[float] | None, typer.Option("--rpm", help="Engine speed; repeatable. Default: case.")
    ] = None,
    at: Annotated[
        float | None, typer.Option("--at", help="Speed of the samples. Default: the highest.")
    ] = None,
    samples: Annotated[
        int | None, typer.Option("--samples", help="Paired samples. Default: case.", min=100)
    ] = None,
    plot: Annotated[
        str | None, typer.Option("--plot", help="Folder for the bar charts on one scale.")
    ] = None,
    json: Annotated[
        str | None, typer.Option("--json", help="Write the result as JSON to a file, or - .")
    ] = None,
) -> None:
    """Compare designs by paired samples; "cannot tell them apart" is an answer."""
    from distrib.case.read import read_case
    from distrib.cli.output import emit_json, note
    from distrib.cli.solved import solve_case, wanted_models
    from distrib.errors import InputError, Problem

    if len(cases) < 2:
        raise InputError([Problem("compare", f"{len(cases)} case", "two cases or more")])
    read = [read_case(path) for path in cases]
    models = [m for m in ("phased", "wave", "bench")
              if all(m in wanted_models(c, model) for c in read)]
    speeds = sorted({*(rpm or _common(read)), *([] if at is None else [at])})
    chosen = at if at is not None else max(speeds)
    found = [solve_case(c, models, rpm=speeds, at=chosen, samples=samples) for c in read]
    names = _names(read)
    paired = pairs(dict(zip(names, read, strict=True)), models, chosen,
                   samples or min(c.uncertainty.samples for c in read))
    if json != "-":
        show(found, names, paired)
    for one in found:
        for text in one.remarks:
            note(text)
    if plot is not None:
        write_plot(found, plot)
    if json is not None:
        emit_json(json, as_json(found, names, paired))


def _common(read: Sequence[Case]) -> list[float]:
    from distrib.errors import InputError, Problem

    common = set(read[0].conditions.rpm).intersection(*(c.conditions.rpm for c in read))
    if not common:
        raise InputError([Problem("conditions.rpm", "no speed that all cases share",
                                  "give the speeds with --rpm")])
    return sorted(common)


def _names(read: Sequence[Case]) -> list[str]:
    names = [c.title for c in read]
    return [n if names.count(n) == 1 else f"{n} ({i})" for i, n in enumerate(names, start=1)]


def pairs(cases: Mapping[str, Case], models: Sequence[str], rpm: float,
          samples: int) -> dict[str, Comparison]:
    """Paired comparison of each model that can be sampled."""
    from distrib.studies.designs import compare_designs

    return {m: compare_designs(cases, m, rpm=[rpm], samples=samples, threads=2)
            for m in ("phased", "bench") if m in models}


def show(found: Sequence[Solved], names: Sequence[str], paired: Mapping[str, Comparison]) -> None:
    """Print the designs side by side and what can be said of them."""
    from distrib.cli.text import print_table, print_wrapped
    from distrib.report.tables import models_table

    for one, name in zip(found, names, strict=True):
        table = models_table(one.case, list(one.at.values()))
        from dataclasses import replace

        print_table(replace(table, title=f"{name}: deviation by model at {one.rpm:.0f} rev/min"))
    print_table(spread_table(found, names))
    for text in sentences(found, names, paired):
        print_wrapped(text)
    print()
    print_wrapped("! Estimate, not measured. An even prediction is no clearance to lean out: "
                  "measure every cylinder before load.")


def spread_table(found: Sequence[Solved], names: Sequence[str]) -> Any:
    """Spread and leanest cylinder of every design and model."""
    from distrib.report.grid import Column, Table
    from distrib.report.numbers import plain

    models = [m for m in ("phased", "wave", "bench") if all(m in one.at for one in found)]
    columns = [Column("design")]
    for m in models:
        columns += [Column(f"{m} spread", "%", "right"), Column("leanest", "cyl.", "right")]
    rows = []
    for one, name in zip(found, names, strict=True):
        cells = [name]
        for m in models:
            cells += [plain(float(one.at[m].spread_percent[0]), 1),
                      str(int(one.at[m].leanest_cylinder[0]))]
        rows.append(tuple(cells))
    return Table("Spread: largest less smallest deviation", tuple(columns), tuple(rows))


def sentences(found: Sequence[Solved], names: Sequence[str],
              paired: Mapping[str, Comparison]) -> list[str]:
    """What can be said of each pair of designs, model by model, and taken together."""
    out = []
    for i, a in enumerate(names):
        for b in names[i + 1:]:
            votes = []
            for model, comparison in paired.items():
                out.append(f"{model}: {comparison.verdict(a, b, 0)}.")
                if model != "bench":
                    votes.append(_vote(comparison, a, b))
            j = names.index(b)
            if "wave" in found[i].at and "wave" in found[j].at:
                gap = float(found[i].at["wave"].spread_percent[0]
                            - found[j].at["wave"].spread_percent[0])
                better = a if gap < 0 else b
                out.append(f"wave: {better} has the smaller spread, by {abs(gap):.1f} points "
                           "(nominal, not sampled).")
                votes.append(better)
            out.append(_together(a, b, votes))
    return out


def _vote(comparison: Comparison, a: str, b: str) -> str:
    i, j = comparison.designs.index(a), comparison.designs.index(b)
    if not comparison.apart[i, j, 0]:
        return ""
    return a if comparison.chance[i, j, 0] > 0.5 else b


def _together(a: str, b: str, votes: Sequence[str]) -> str:
    if votes and all(v == votes[0] and v for v in votes):
        return f"Taken together, on the engine: {votes[0]} is more even."
    if not votes:
        return ("On the engine: not judged, as no engine model was asked for; a steady rig "
                "overstates.")
    return f"Taken together, on the engine: cannot tell them apart ({a}; {b})."


def write_plot(found: Sequence[Solved], folder: str) -> None:
    """Bar charts of all designs on one scale."""
    from pathlib import Path

    from distrib.cli.output import wrote
    from distrib.cli.pictures import shares_picture
    from distrib.files import write_bytes_atomic

    place = Path(folder)
    place.mkdir(parents=True, exist_ok=True)
    for kind, data in shares_picture(found).items():
        write_bytes_atomic(place / f"compare.{kind}", data)
        wrote(place / f"compare.{kind}")


def as_json(found: Sequence[Solved], names: Sequence[str],
            paired: Mapping[str, Comparison]) -> dict[str, Any]:
    """Designs, models, paired figures and sentences."""
    from distrib.cli.shares import model_json

    return {
        "designs": [{"name": n, "rpm": one.rpm,
                     "models": [model_json(one.case, s, None) for s in one.at.values()]}
                    for one, n in zip(found, names, strict=True)],
        "paired": dict(paired),
        "sentences": sentences(found, names, paired),
    }
