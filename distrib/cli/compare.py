"""`distrib compare`: designs on the same assumptions and the same scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from distrib.case.schema import Case
    from distrib.cli.solved import Solved
    from distrib.results import Shares
    from distrib.studies.compare import Comparison


DOUBT = {"engine": "; the engine model's own error is not in this band"}
SPEED_DRAWS = 64
"""Draws of the phased model at every speed; at the chosen speed there are as many as asked for."""
FEWEST = 20
"""Draws below which no band is given (`studies.compare`)."""


@dataclass(frozen=True)
class Effort:
    """Speeds that are compared, draws of bench and phased at the chosen one, draws of wave."""

    speeds: tuple[float, ...]
    samples: int
    engine_draws: int


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
    engine_draws: Annotated[
        int, typer.Option("--engine-draws", help="Draws of the engine model, each solved at every "
                          "speed; 0: none, it then gives no chance.", min=0)
    ] = 24,
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
    models = [m for m in ("phased", "engine", "bench")
              if all(m in wanted_models(c, model) for c in read)]
    speeds = sorted({*(rpm or _common(read)), *([] if at is None else [at])})
    chosen = at if at is not None else max(speeds)
    nominal = [solve_case(c, models, rpm=speeds, at=chosen, sampled=False) for c in read]
    names = _names(read)
    count = samples or min(c.uncertainty.samples for c in read)
    if 0 < engine_draws < FEWEST:
        raise InputError([Problem("--engine-draws", str(engine_draws), f"0, or {FEWEST} and more")])
    effort = Effort(tuple(speeds), count, engine_draws)
    found, paired, over = sampled(nominal, names, effort, read[0].uncertainty.seed)
    if json != "-":
        show(found, names, paired, over, effort.speeds)
    for one in found:
        for text in one.remarks:
            note(text)
    if plot is not None:
        write_plot(found, plot)
    if json is not None:
        emit_json(json, as_json(found, names, paired) | {"speeds_rpm": effort.speeds,
                                                         "paired_by_speed": over})


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
    nominal: Sequence[Solved], names: Sequence[str], effort: Effort, seed: int
) -> tuple[list[Solved], dict[str, Comparison], dict[str, Comparison]]:
    """Sample every design with the same draws: bands for each, paired comparisons by model at the
    one speed, and over all speeds with the draws that `effort` allows there.

    Every draw of the engine model is solved; without draws it has no band and no chance.
    """
    from dataclasses import replace

    import numpy as np

    at_speed: dict[str, dict[str, Any]] = {}
    all_speeds: dict[str, dict[str, Any]] = {}
    found = []
    for one, name in zip(nominal, names, strict=True):
        at = dict(one.at)
        for model, (deviation, over) in _deviations(one, effort, seed).items():
            at[model] = _banded(one, model, deviation, seed)
            at_speed.setdefault(model, {})[name] = np.ptp(deviation, axis=-1)
            if over is not None:
                all_speeds.setdefault(model, {})[name] = np.ptp(over, axis=-1)
        found.append(replace(one, at=at))
    paired, over = ({m: c for m, s in spreads.items() if len(s) == len(names)
                     and (c := _compared(m, s)) is not None} for spreads in (at_speed, all_speeds))
    return found, paired, over


def _compared(model: str, spreads: Mapping[str, Any]) -> Comparison | None:
    """Paired comparison of one model; None, and a remark, where too few draws have a solution."""
    from distrib.cli.output import note
    from distrib.errors import InputError
    from distrib.studies.compare import compare_samples

    try:
        return compare_samples(spreads)
    except InputError as error:
        note(f"{model}: not compared by draws: {error}")
        return None


def _deviations(one: Solved, effort: Effort, seed: int) -> dict[str, tuple[Any, Any]]:
    """Sampled deviations of every model of one design, percent: (S, 1, N) at its speed, and
    (S, P, N) over all speeds, None where there are not several."""
    from distrib.studies.sampled import sample

    out: dict[str, tuple[Any, Any]] = {}
    speeds = effort.speeds
    if "bench" in one.at:
        out["bench"] = (sample(one.case, "bench", samples=effort.samples, seed=seed,
                               threads=2).deviation_percent, None)
    if "phased" in one.at:
        drawn = sample(one.case, "phased", rpm=[one.rpm], samples=effort.samples, seed=seed,
                       threads=2).deviation_percent
        over = None
        if len(speeds) > 1:
            over = sample(one.case, "phased", rpm=speeds, seed=seed, threads=2,
                          samples=min(effort.samples, SPEED_DRAWS)).deviation_percent
        out["phased"] = drawn, over
    if "engine" in one.at and effort.engine_draws:
        drawn = sample(one.case, "engine", rpm=speeds, samples=effort.engine_draws, seed=seed,
                       threads=2).deviation_percent
        point = speeds.index(one.rpm)
        out["engine"] = drawn[:, point:point + 1], drawn if len(speeds) > 1 else None
    return out


def _banded(one: Solved, model: str, deviation: Any, seed: int) -> Shares:
    from dataclasses import replace

    from distrib.build.band import band_of

    result = one.at[model]
    band = band_of(result.deviation_percent, deviation.swapaxes(0, 1), result.deviation_percent,
                   one.case.limits.lean_percent, seed)
    return replace(result, band=band)


def show(found: Sequence[Solved], names: Sequence[str], paired: Mapping[str, Comparison],
         over: Mapping[str, Comparison], speeds: Sequence[float]) -> None:
    """Print the designs side by side and what can be said of them."""
    from distrib.cli.text import print_table, print_wrapped
    from distrib.report.tables import models_table

    for one, name in zip(found, names, strict=True):
        table = models_table(one.case, list(one.at.values()))
        from dataclasses import replace

        print_table(replace(table, title=f"{name}: deviation by model at {one.rpm:.0f} rev/min"))
    print_table(spread_table(found, names))
    for table in chance_tables(names, over, speeds):
        print_table(table)
    for text in sentences(names, paired):
        print_wrapped(text)
    print()
    print_wrapped("! Estimate, not measured. An even prediction is no clearance to lean out: "
                  "measure every cylinder before load.")


def spread_table(found: Sequence[Solved], names: Sequence[str]) -> Any:
    """Spread and leanest cylinder of every design and model."""
    from distrib.report.grid import Column, Table
    from distrib.report.numbers import plain

    models = [m for m in ("phased", "engine", "bench") if all(m in one.at for one in found)]
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


def chance_tables(names: Sequence[str], over: Mapping[str, Comparison],
                  speeds: Sequence[float]) -> list[Any]:
    """For each pair of designs the chance that the first is more even, by speed and overall."""
    from distrib.report.grid import Column, Table

    models = [m for m in ("phased", "engine") if m in over]
    columns = (Column("speed", "rev/min", "right"),
               *(Column(m, f"{over[m].samples} draws", "right") for m in models))
    out = []
    for i, a in enumerate(names):
        for b in names[i + 1:]:
            rows = [(f"{speed:.0f}", *(_chance(over[m], a, b, p) for m in models))
                    for p, speed in enumerate(speeds)]
            rows.append(("all", *(_chance(over[m], a, b, None) for m in models)))
            note = "? cannot tell them apart; all: the mean of the spreads over the speeds"
            out.append(Table(f"Chance that {a} is more even than {b}", columns, tuple(rows),
                             (note,)))
    return out if models else []


def _chance(comparison: Comparison, a: str, b: str, point: int | None) -> str:
    from distrib.numerals import chance_in_words

    i, j = comparison.designs.index(a), comparison.designs.index(b)
    known = comparison.apart[i, j, -1 if point is None else point]
    chance = comparison.chance_overall[i, j] if point is None else comparison.chance[i, j, point]
    return f"{chance_in_words(float(chance))}{'' if known else ' ?'}"


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
