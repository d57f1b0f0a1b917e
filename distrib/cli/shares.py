"""`distrib shares`: the main job. Shares, lean risk and first trims of one case."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from distrib.build.balance import Balance
    from distrib.case.schema import Case
    from distrib.cli.solved import Solved
    from distrib.report.data import TrimSheet
    from distrib.results import Shares

MODEL_HELP = "phased, wave or bench; repeatable. Default: phased, bench, and wave with valve data."


SYMMETRIC_PERCENT = 1e-6
"""Difference of mirrored deviations on the rig up to which the metal counts as symmetric."""


def shares(
    case: Annotated[str, typer.Argument(help="Case file (TOML).", metavar="CASE")],
    model: Annotated[list[str] | None, typer.Option("--model", help=MODEL_HELP)] = None,
    rpm: Annotated[
        list[float] | None, typer.Option("--rpm", help="Engine speed; repeatable. Default: case.")
    ] = None,
    at: Annotated[
        float | None, typer.Option("--at", help="Speed of table and band. Default: the highest.")
    ] = None,
    samples: Annotated[
        int | None, typer.Option("--samples", help="Samples of the band. Default: case.", min=100)
    ] = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the band.", min=0)] = None,
    grid: Annotated[
        bool, typer.Option("--grid", help="Also estimate the grid error of the engine model.")
    ] = False,
    plot: Annotated[str | None, typer.Option("--plot", help="Folder for the pictures.")] = None,
    json: Annotated[
        str | None, typer.Option("--json", help="Write the result as JSON to a file, or - .")
    ] = None,
) -> None:
    """Say how the air divides, which cylinder runs lean, how sure that is, and the first trims."""
    from distrib.case.read import read_case
    from distrib.cli.output import emit_json, note
    from distrib.cli.report_data import trim_sheet
    from distrib.cli.solved import solve_case, wanted_models
    from distrib.cli.text import print_wrapped
    from distrib.fuelling import TrimError

    read = read_case(case)
    found = solve_case(read, wanted_models(read, model), rpm=rpm, at=at, samples=samples, seed=seed)
    sheet, refused = None, ""
    if found.deciding.model != "bench":
        try:
            sheet = trim_sheet(read, found.deciding)
        except TrimError as error:
            refused = f"no trims: {error}"
    estimate = grid_error(found) if grid else None
    if json != "-":
        show(found, sheet)
        if estimate is not None:
            print_wrapped(estimate["words"])
    for text in (*found.remarks, *([refused] if refused else [])):
        note(text)
    if plot is not None:
        write_plots(found, plot)
    if json is not None:
        emit_json(json, {**as_json(found, sheet), **({"grid": estimate} if estimate else {})})


def grid_error(found: Solved) -> dict[str, Any]:
    """What the cells of the engine model leave in the deviations at the chosen speed."""
    from distrib.build.engine import grid_estimate

    e = grid_estimate(found.case, rpm=found.rpm)
    if e.reason:
        words = f"Grid of the engine model: no estimate, {e.reason}"
    else:
        worst = float(max(e.deviation_error_percent))
        words = (f"Grid of the engine model at {found.rpm:.0f} rev/min: cells of "
                 f"{e.cell_m * 1e3:.0f} mm leave about {worst:.2f} points in the deviations.")
    return {"words": words, "estimate": e}


def show(found: Solved, sheet: TrimSheet | None) -> None:
    """Print tables and words."""
    from distrib.cli.text import print_table, print_wrapped
    from distrib.report.tables import models_table, share_table, trim_table

    case, deciding = found.case, found.deciding
    print(f"{case.title}{' (invented)' if case.invented else ''}")
    print_wrapped(f"cylinder 1 at the {case.cylinder_1_end}; {_entries(case)}; seen {case.view}")
    print()
    trims = {r.cylinder: r.trim_percent for r in sheet.rows} if sheet is not None else None
    print_table(share_table(case, deciding, 0, trims))
    print_wrapped(f"leanest cylinder: {_leanest(deciding)}")
    if "phased" in found.at and "engine" in found.at:
        print_wrapped("The band spans the phased and the engine model; a cylinder is flagged when "
                      "either flags it.")
    print()
    print_table(models_table(case, list(found.at.values())))
    print("What each column is:")
    for name, result in found.at.items():
        print_wrapped(f"{name}: {result.cautions[0].split(': ', 1)[1]}", "  ")
    print_wrapped(f"limit of slow pumps: spread about {pump_limit_percent(deciding):.1f} % "
                  "(0.7 M^2 of the plenum)", "  ")
    for item in balance_of(found):
        print_wrapped(f"balance: {item.words}", "  ")
    for name, points in firing_asymmetry(found).items():
        print_wrapped(f"firing order: the metal is symmetric, firing order alone sets mirrored "
                      f"cylinders apart by up to {points:.2f} points ({name})", "  ")
    print()
    if found.over:
        print_table(speed_table(found))
    if sheet is not None:
        print_table(trim_table(sheet))
    _closing(deciding)


def _entries(case: Case) -> str:
    words = {"side": "side entry at the {end} end", "center": "center entry at {at:.0f} mm",
             "ducted": "ducted entry that ends at {at:.0f} mm"}
    return ", ".join(words[e.kind].format(end=e.end, at=e.at_m * 1e3) for e in case.entries)


def _leanest(result: Shares) -> str:
    number = int(result.leanest_cylinder[0])
    if result.band is None:
        return f"{number} (most air at equal fuel)"
    chance = float(result.band.chance_leanest[0][list(result.cylinders).index(number)])
    return f"{number} (most air at equal fuel; the leanest in {chance * 100:.0f} % of the samples)"


def balance_of(found: Solved) -> tuple[Balance, ...]:
    """Regain against friction in every plenum, on the steady rig whatever models were asked."""
    from distrib.build.balance import balance

    return balance(found.case)


def pump_limit_percent(result: Shares) -> float:
    """Spread of slow pumps fed from this plenum, 0.7 M^2 of its fastest mean flow, percent.

    The static pressure rise of a stream that stops, over the absolute pressure (gamma/2 M^2).
    """
    import numpy as np

    worst = 0.0
    for profile in result.profiles:
        t = result.conditions.get("charge_temperature_k", np.array([293.15]))
        mach = np.abs(profile.velocity_m_s[0]).max() / np.sqrt(1.4 * 287.05 * float(t[0]))
        worst = max(worst, 70.0 * float(mach) ** 2)
    return worst


def speed_table(found: Solved) -> Any:
    """Spread and leanest cylinder of every engine model at every speed."""
    import numpy as np

    from distrib.report.grid import Column, Table
    from distrib.report.numbers import plain

    names = list(found.over)
    columns = [Column("speed", "rev/min", "right")]
    for name in names:
        columns += [Column(f"{name} spread", "%", "right"), Column("leanest", "cyl.", "right")]
        if found.over[name].volumetric_efficiency is not None:
            columns.append(Column("filling", "of charge density", "right", 2))
    first = found.over[names[0]]
    rows = []
    for p, speed in enumerate(first.conditions["rpm"]):
        cells = [f"{speed:.0f}"]
        for name in names:
            result = found.over[name]
            ok = bool(result.converged[p])
            cells += [plain(float(result.spread_percent[p]) if ok else None, 1),
                      str(int(result.leanest_cylinder[p])) if ok else "-"]
            if result.volumetric_efficiency is not None:
                mean = float(np.mean(result.volumetric_efficiency[p])) if ok else None
                cells.append(plain(mean, 2))
        rows.append(tuple(cells))
    return Table("Over engine speed", tuple(columns), tuple(rows))


def _closing(result: Shares) -> None:
    from distrib.cli.text import print_wrapped

    print("Assumed, not given in the case:" if result.assumed else "Nothing was assumed.")
    for item in result.assumed:
        print_wrapped(f"{item.field} = {item.value} ({item.why})", "  ")
    if result.warnings:
        print("Doubts about laws:")
        for text in result.warnings:
            print_wrapped(text, "  ")
    print("Laws from:")
    for source in result.sources:
        print_wrapped(source.text, "  ")
    print()
    for text in result.cautions[1:]:
        print_wrapped(f"! {text}")


def write_plots(found: Solved, folder: str) -> None:
    """Bar chart, plot along the plenum and, with the engine model, its sheets over speed and
    through the cycle; PNG and SVG."""
    from pathlib import Path

    from distrib.cli.output import wrote
    from distrib.cli.pictures import engine_pictures, plenum_picture, shares_picture
    from distrib.files import write_bytes_atomic

    place = Path(folder)
    place.mkdir(parents=True, exist_ok=True)
    pictures = {"shares": shares_picture([found]), "plenum": plenum_picture(found),
                **engine_pictures(found)}
    for name, picture in pictures.items():
        for kind, data in picture.items():
            write_bytes_atomic(place / f"{name}.{kind}", data)
            wrote(place / f"{name}.{kind}")


def firing_asymmetry(found: Solved) -> dict[str, float]:
    """By how many points mirrored cylinders of symmetric metal differ, by engine model.

    The metal counts as symmetric when the steady rig, which knows no firing order, gives mirrored
    deviations; then firing order alone makes the difference. Empty otherwise.
    """
    import numpy as np

    if "bench" not in found.at or len({r.plenum for r in found.case.runners}) != 1:
        return {}
    numbers = [int(c) for c in found.at["bench"].cylinders]
    order = [numbers.index(r.cylinder)
             for r in sorted(found.case.runners, key=lambda r: (r.station_m, r.cylinder))]
    rig = found.at["bench"].deviation_percent[0][order]
    if not np.allclose(rig, rig[::-1], atol=SYMMETRIC_PERCENT):
        return {}
    return {m: float(np.abs(d - d[::-1]).max())
            for m, d in ((m, found.at[m].deviation_percent[0][order])
                         for m in ("phased", "engine") if m in found.at)}


def as_json(found: Solved, sheet: TrimSheet | None) -> dict[str, Any]:
    """Everything the command knows: the deciding model at the top, all models below."""
    top = model_json(found.case, found.deciding, sheet)
    top["models"] = [model_json(found.case, s, None) for s in found.at.values()]
    top["over_speed"] = {name: _over(s) for name, s in found.over.items()}
    top["pump_limit_spread_percent"] = pump_limit_percent(found.deciding)
    top["firing_order_asymmetry_percent"] = firing_asymmetry(found)
    top["remarks"] = list(found.remarks)
    top["balance"] = list(balance_of(found))
    return top


def _over(result: Shares) -> dict[str, Any]:
    return {"conditions": dict(result.conditions), "deviation_percent": result.deviation_percent,
            "spread_percent": result.spread_percent, "leanest_cylinder": result.leanest_cylinder,
            "converged": result.converged, "reason": result.reason}


def model_json(case: Case, result: Shares, sheet: TrimSheet | None) -> dict[str, Any]:
    """One model at one point, with the keys that the README lists."""
    from distrib.report.tables import share_rows

    trims = {r.cylinder: r for r in sheet.rows} if sheet is not None else {}
    rows = share_rows(case, result, 0, {c: r.trim_percent for c, r in trims.items()} or None)
    band = result.band
    cylinders: Sequence[dict[str, Any]] = [
        {
            "cylinder": row.cylinder, "distance_from_entry_mm": row.distance_m * 1e3,
            "air_kg_s": float(result.air_kg_s[0, i]), "share": row.share,
            "deviation_percent": row.deviation_percent,
            "band_percent": None if band is None else [row.low_percent, row.high_percent],
            "chance_leanest": None if band is None else float(band.chance_leanest[0, i]),
            "chance_lean": row.chance_lean, "lambda": row.lambda_equal_fuel,
            "needed_trim_percent": trims[row.cylinder].needed_percent if trims else None,
            "trim_percent": row.trim_percent, "verdict": row.verdict,
        }
        for i, row in enumerate(rows)
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
