"""`distrib compare`: designs on the same assumptions and the same scale."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from distrib.case.schema import Case
    from distrib.cli.solved import Solved
    from distrib.results import Shares
    from distrib.studies.compare import Comparison


DOUBT = {"wave": "; the wave model's own error is not in this band"}


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
    nominal = [solve_case(c, models, rpm=speeds, at=chosen, sampled=False) for c in read]
    names = _names(read)
    count = samples or min(c.uncertainty.samples for c in read)
    found, paired = sampled(nominal, names, count, read[0].uncertainty.seed)
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


def sampled(
    nominal: Sequence[Solved], names: Sequence[str], samples: int, seed: int
) -> tuple[list[Solved], dict[str, Comparison]]:
    """Sample every design with the same draws: bands for each, paired comparisons by model.

    The wave model is solved once a design; what the draws do to it is taken from the phased
    model, cylinder by cylinder (own estimate: waves pass on what the network does).
    """
    from dataclasses import replace

    from distrib.studies.compare import compare_samples

    spreads: dict[str, dict[str, Any]] = {}
    found = []
    for one, name in zip(nominal, names, strict=True):
        at = dict(one.at)
        for model, deviation in _deviations(one, samples, seed).items():
            at[model] = _banded(one, model, deviation, seed)
            spread = deviation.max(axis=-1) - deviation.min(axis=-1)
            spreads.setdefault(model, {})[name] = spread
        found.append(replace(one, at=at))
    return found, {m: compare_samples(s) for m, s in spreads.items() if len(s) == len(names)}


def _deviations(one: Solved, samples: int, seed: int) -> dict[str, Any]:
    """Sampled deviations (S, 1, N) of every model of one design, percent."""
    from distrib.results import deviation_percent
    from distrib.studies.sampled import sample

    out: dict[str, Any] = {}
    if "bench" in one.at:
        out["bench"] = sample(one.case, "bench", samples=samples, seed=seed,
                              threads=2).deviation_percent
    if "phased" in one.at:
        drawn = sample(one.case, "phased", rpm=[one.rpm], samples=samples, seed=seed, threads=2)
        out["phased"] = drawn.deviation_percent
        if "wave" in one.at:
            air = one.at["wave"].air_kg_s[None] * (drawn.air_kg_s / one.at["phased"].air_kg_s)
            out["wave"] = deviation_percent(air / air.sum(axis=-1, keepdims=True))
    return out


def _banded(one: Solved, model: str, deviation: Any, seed: int) -> Shares:
    from dataclasses import replace

    from distrib.build.band import band_of

    result = one.at[model]
    band = band_of(result.deviation_percent, deviation.swapaxes(0, 1), result.deviation_percent,
                   one.case.limits.lean_percent, seed)
    return replace(result, band=band)


def show(found: Sequence[Solved], names: Sequence[str], paired: Mapping[str, Comparison]) -> None:
    """Print the designs side by side and what can be said of them."""
    from distrib.cli.text import print_table, print_wrapped
    from distrib.report.tables import models_table

    for one, name in zip(found, names, strict=True):
        table = models_table(one.case, list(one.at.values()))
        from dataclasses import replace

        print_table(replace(table, title=f"{name}: deviation by model at {one.rpm:.0f} rev/min"))
    print_table(spread_table(found, names))
    for text in sentences(names, paired):
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


def sentences(names: Sequence[str], paired: Mapping[str, Comparison]) -> list[str]:
    """What can be said of each pair of designs, model by model, and taken together."""
    out = []
    for i, a in enumerate(names):
        for b in names[i + 1:]:
            out += [f"{model}: {comparison.verdict(a, b, 0)}{DOUBT.get(model, '')}."
                    for model, comparison in paired.items()]
            out.append(_together({m: _vote(c, a, b) for m, c in paired.items() if m != "bench"}))
    return out


def _vote(comparison: Comparison, a: str, b: str) -> str:
    i, j = comparison.designs.index(a), comparison.designs.index(b)
    if not comparison.apart[i, j, 0]:
        return ""
    return a if comparison.chance[i, j, 0] > 0.5 else b


def _together(votes: Mapping[str, str]) -> str:
    chosen = set(votes.values())
    if not votes:
        return ("On the engine: not judged, as no engine model was asked for; a steady rig "
                "overstates.")
    if len(chosen) == 1 and "" not in chosen:
        return f"Taken together, on the engine: {next(iter(chosen))} is more even."
    words = "; ".join(f"{m}: {v or 'cannot tell'}" for m, v in votes.items())
    why = f" The models do not agree ({words})." if len(chosen) > 1 else ""
    return f"Taken together, on the engine: cannot tell them apart.{why}"


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
        "sentences": sentences(names, paired),
    }
