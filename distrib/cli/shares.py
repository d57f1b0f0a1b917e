"""`distrib shares`: the main job. Shares, lean risk and first trims of one case."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from distrib.answer import Answer
    from distrib.case.schema import Case
    from distrib.results import Shares


def shares(
    case: Annotated[str, typer.Argument(help="Case file (TOML).", metavar="CASE")],
    model: Annotated[
        str, typer.Option("--model", help="engine: the answer. bench: what a steady rig measures.")
    ] = "engine",
    rpm: Annotated[
        list[float] | None,
        typer.Option("--rpm", help="Engine speed; repeatable. Default: wherever the figures bend."),
    ] = None,
    draws: Annotated[
        int, typer.Option("--draws", help="Draws of everything uncertain at every speed.", min=20)
    ] = 96,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the draws.", min=0)] = None,
    grid: Annotated[
        bool, typer.Option("--grid", help="Also estimate the grid error at the worst speed.")
    ] = False,
    detail: Annotated[
        bool, typer.Option("--detail", help="Every speed, what was assumed, laws, sources.")
    ] = False,
    plot: Annotated[str | None, typer.Option("--plot", help="Folder for the pictures.")] = None,
    json: Annotated[
        str | None, typer.Option("--json", help="Write the result as JSON to a file, or - .")
    ] = None,
) -> None:
    """Say which cylinder runs lean at which speed, how sure that is, and the first trims."""
    from distrib.case.read import read_case
    from distrib.cli.output import emit_json
    from distrib.cli.output_choice import choice

    read = read_case(case)
    if choice("--model", model, ("engine", "bench")) == "bench":
        _bench(read, seed, plot, json)
        return
    found = solved(read, rpm, draws, seed)
    estimate = grid_error(found) if grid else None
    if json != "-":
        show(found, detail, estimate["words"] if estimate else "")
    if plot is not None:
        write_plots(found, plot)
    if json is not None:
        emit_json(json, {**as_json(found), **({"grid": estimate} if estimate else {})})


def solved(case: Case, rpm: list[float] | None = None, draws: int = 96,
           seed: int | None = None) -> Answer:
    """The answer to a case, with progress on a terminal."""
    return all_solved([case], rpm, draws, seed)[0]


def all_solved(cases: list[Case], rpm: list[float] | None = None, draws: int = 96,
               seed: int | None = None) -> tuple[Answer, ...]:
    """Answers to cases at the same speeds and draws, with progress on a terminal."""
    from distrib.answer import answers
    from distrib.errors import InputError, Problem
    from distrib.studies.progress import Progress

    if any(not 50.0 <= s <= 30000.0 for s in rpm or ()):
        raise InputError([Problem("--rpm", f"{rpm}", "speeds from 50 to 30000 rev/min")])
    bar = Progress(len(cases) * draws * (len(rpm) if rpm else 16), "engine runs")
    try:
        return answers(cases, rpm=sorted(set(rpm)) if rpm else None, draws=draws, seed=seed,
                       told=bar.update)
    finally:
        bar.close()


def grid_error(found: Answer) -> dict[str, Any]:
    """What the cells of the engine model leave in the deviations at the worst speed."""
    from distrib.build.engine import grid_estimate

    rpm = float(found.rpm[found.headline])
    e = grid_estimate(found.case, rpm=rpm)
    if e.reason:
        words = f"Grid: no estimate, {e.reason}"
    else:
        words = (f"Grid at {rpm:.0f} rpm: cells of {e.cell_m * 1e3:.0f} mm leave about "
                 f"{float(max(e.deviation_error_percent)):.2f} points in the deviations.")
    return {"words": words, "estimate": e}


def show(found: Answer, detail: bool, grid: str = "") -> None:
    """Print the answer first, then every cylinder, then what was asked for besides."""
    from distrib.cli.text import print_table, print_wrapped
    from distrib.report.answer_words import CAUTION, first_lines, speed_table, worst_table

    case = found.case
    for text in first_lines(found):
        print_wrapped(text)
    print()
    print_table(worst_table(found))
    print_wrapped(f"Cylinder 1 at the {case.cylinder_1_end}; seen {case.view}.")
    if found.missing:
        print_wrapped(f"Not given, so the band is wider and the warning comes sooner: "
                      f"{', '.join(found.missing)}.")
    if found.no_trims:
        print_wrapped(f"No trims: {found.no_trims}")
    for p in range(found.rpm.size):
        if not found.engine.converged[p]:
            print_wrapped(f"No solution at {found.rpm[p]:.0f} rpm: {found.engine.reason[p]}")
    if grid:
        print_wrapped(grid)
    print()
    print_wrapped(CAUTION)
    if not detail:
        print_wrapped("More: --detail (every speed, assumptions, laws, sources)   --plot FOLDER   "
                      "--model bench   distrib report")
        return
    print()
    print_table(speed_table(found))
    _detail(found)


def _detail(found: Answer) -> None:
    from distrib.answer.model_error import runner_mach
    from distrib.build.balance import balance
    from distrib.cli.text import print_wrapped

    for plenum in balance(found.case):
        print_wrapped(f"On the rig: {plenum.words}")
    print_wrapped(f"Band: {found.error.words(runner_mach(found.case, float(found.rpm.max())))}")
    result = found.engine
    print("Assumed, not given in the case:" if result.assumed else "Nothing was assumed.")
    for item in result.assumed:
        print_wrapped(f"{item.field} = {item.value} ({item.why})", "  ")
    if result.warnings:
        print("Beware:")
        for text in result.warnings:
            print_wrapped(text, "  ")
    print("Laws from:")
    for source in result.sources:
        print_wrapped(source.text, "  ")
    for text in result.cautions[1:]:
        print_wrapped(f"! {text}")


def _bench(case: Case, seed: int | None, plot: str | None, json: str | None) -> None:
    """The steady rig: what a flow bench measures, never a fuel trim."""
    from distrib.build.balance import balance
    from distrib.build.band import bench_with_band
    from distrib.cli.output import emit_json
    from distrib.cli.text import print_table, print_wrapped
    from distrib.report.tables import share_table

    found = bench_with_band(case, seed=seed)
    if json != "-":
        print_wrapped("On the steady rig, all open runners flowing together: several times larger "
                      "than on the engine. Never a fuel trim.")
        print_table(share_table(case, found))
    if plot is not None:
        from distrib.cli.pictures import bars_picture

        write_pictures(plot, {"bench": bars_picture([(case, found)])})
    if json is not None:
        emit_json(json, model_json(case, found) | {"balance": list(balance(case))})


def write_plots(found: Answer, folder: str) -> None:
    """Bars at the worst speed, the plot along the plenum, and sheets over speed and through the
    cycle; PNG and SVG."""
    from distrib.cli.pictures import bars_picture, engine_pictures, plenum_picture
    from distrib.results import at_point

    here = at_point(found.engine, found.headline)
    write_pictures(folder, {"shares": bars_picture([(found.case, here)]),
                    "plenum": plenum_picture(found.case, here), **engine_pictures(found)})


def write_pictures(folder: str, pictures: dict[str, dict[str, bytes]]) -> None:
    """Write pictures by name and kind into a folder."""
    from pathlib import Path

    from distrib.cli.output import wrote
    from distrib.files import write_bytes_atomic

    place = Path(folder)
    place.mkdir(parents=True, exist_ok=True)
    for name, picture in pictures.items():
        for kind, data in picture.items():
            write_bytes_atomic(place / f"{name}.{kind}", data)
            wrote(place / f"{name}.{kind}")


def as_json(found: Answer) -> dict[str, Any]:
    """Everything the command knows: the worst speed at the top, all speeds below."""
    from distrib.build.balance import balance
    from distrib.results import at_point

    p, band = found.headline, found.engine.band
    trims = found.trims
    top = model_json(found.case, at_point(found.engine, p),
                     None if trims is None else trims.trim_percent[p],
                     None if trims is None else trims.needed_percent[p])
    top["over_speed"] = {
        "rpm": found.rpm, "deviation_percent": found.engine.deviation_percent,
        "band_percent": None if band is None else found.band_percent,
        "verdict": found.verdict, "spread_percent": found.engine.spread_percent,
        "spread_band_percent": None if band is None else [
            list(pair) for pair in zip(band.spread_low_percent, band.spread_high_percent,
                                       strict=True)],
        "trim_percent": None if trims is None else trims.trim_percent,
        "leanest_cylinder": found.engine.leanest_cylinder,
        "filling": found.engine.volumetric_efficiency,
        "converged": found.engine.converged, "reason": found.engine.reason}
    top["worst"] = list(found.worst)
    top["no_trims"] = found.no_trims
    top["missing"] = list(found.missing)
    top["model_error"] = found.error
    top["balance"] = list(balance(found.case))
    return top


def model_json(case: Case, result: Shares, trims: Any = None, needed: Any = None
               ) -> dict[str, Any]:
    """One result at one point, with the keys that the README lists; a rig has no verdicts."""
    from distrib.report.tables import share_rows

    band, rig = result.band, result.model == "bench"
    cylinders = [
        {
            "cylinder": row.cylinder, "distance_from_entry_mm": row.distance_m * 1e3,
            "air_kg_s": float(result.air_kg_s[0, i]), "share": row.share,
            "deviation_percent": row.deviation_percent,
            "band_percent": None if band is None else [row.low_percent, row.high_percent],
            "chance_leanest": None if band is None else float(band.chance_leanest[0, i]),
            "chance_lean": row.chance_lean, "lambda": None if rig else row.lambda_equal_fuel,
            "needed_trim_percent": None if needed is None else float(needed[i]),
            "trim_percent": None if trims is None else float(trims[i]),
            "verdict": None if rig else row.verdict,
        }
        for i, row in enumerate(share_rows(case, result, 0))
    ]
    return {
        "case": case.title, "case_sha256": result.case_hash, "model": result.model,
        "conditions": {k: float(v[0]) for k, v in result.conditions.items()},
        "cylinders": cylinders, "spread_percent": float(result.spread_percent[0]),
        "spread_band_percent": None if band is None else [
            float(band.spread_low_percent[0]), float(band.spread_high_percent[0])],
        "leanest_cylinder": int(result.leanest_cylinder[0]),
        "converged": bool(result.converged[0]), "mass_residual": float(result.mass_residual[0]),
        "assumed": result.assumed, "sources": result.sources, "cautions": result.cautions,
        "warnings": result.warnings,
    }
