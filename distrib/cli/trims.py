"""`distrib trims`: the tuner's sheet, predicted or from measured lambdas."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from distrib.calibration.sheet import TrimTable
    from distrib.case.schema import Case


_PREDICTED_ONLY = ("rpm", "load", "on", "volts", "draws", "fit")
"""Options that a measured sheet or log leaves no room for."""


def trims(
    ctx: typer.Context,
    case: Annotated[str, typer.Argument(help="Case file (TOML).", metavar="CASE")],
    rpm: Annotated[
        str | None, typer.Option(help='Speeds, such as "3000,4500,6000"; default the case\'s.')
    ] = None,
    load: Annotated[
        list[str] | None,
        typer.Option(help='Charge pressure with gauge or absolute, repeatable: "1.2 bar gauge".'),
    ] = None,
    policy: Annotated[
        str, typer.Option(help="richen-only, anchor-leanest; measured also to-target, sum-to-zero.")
    ] = "richen-only",
    step: Annotated[
        float, typer.Option(help="Part of the computed change to apply now.", min=0.05, max=1.0)
    ] = 0.5,
    on: Annotated[
        str, typer.Option("--on", help='Percent on "fuel", "effective pulse" or "total pulse".')
    ] = "fuel",
    volts: Annotated[
        float | None, typer.Option(help="Supply voltage, for a dead-time table.", min=5, max=60)
    ] = None,
    draws: Annotated[
        int, typer.Option(help="Draws of everything uncertain at each cell.", min=20, max=2000)
    ] = 96,
    confirmed: Annotated[
        str, typer.Option(help='What was checked: "compression,injectors,wiring,leaks,..." or all.')
    ] = "",
    fit: Annotated[
        str | None, typer.Option(help="JSON of `distrib fit` with an engine log: scales the air.")
    ] = None,
    filled: Annotated[
        str | None, typer.Option(help="A filled trim sheet (CSV): next trims and a score.")
    ] = None,
    log: Annotated[
        list[str] | None,
        typer.Option(help="An engine log, with --mapping: next trims. Repeat for more runs."),
    ] = None,
    mapping: Annotated[str | None, typer.Option(help="Mapping file (TOML) of the log.")] = None,
    targets: Annotated[
        str | None, typer.Option(help="Target lambda over speed and pressure (CSV).")
    ] = None,
    csv: Annotated[str | None, typer.Option(help="Write the sheet, or the next, as CSV.")] = None,
    page: Annotated[str | None, typer.Option(help="The same sheet to print (HTML).")] = None,
    tables: Annotated[
        str | None, typer.Option(help="Folder for a CSV table of each cylinder, speed by pressure.")
    ] = None,
    plot: Annotated[
        str | None,
        typer.Option(help="Measured lambda and exhaust by cylinder (.svg, .png, .pdf)."),
    ] = None,
    json: Annotated[
        str | None, typer.Option("--json", help="Write the result as JSON to a file, or - .")
    ] = None,
) -> None:
    """Fuel trims by cylinder over speed and load. Predicted trims only add fuel, half a step.

    A prediction is a starting point before measurement. With --filled (a sheet) or --log measured
    lambdas give the next trims; a filled sheet also scores its prediction.
    """
    from distrib.calibration.sheet_guard import check_not_lost
    from distrib.case.read import read_case
    from distrib.cli.output import emit_json
    from distrib.cli.targets import check_targets
    from distrib.cli.trims_show import as_json, show
    from distrib.errors import InputError, Problem

    inputs = (case, filled, *(log or []), mapping, fit, targets)
    check_targets(inputs, {"--csv": csv, "--page": page, "--json": json, "--plot": plot})
    measured = filled is not None or bool(log) or mapping is not None
    for option, path in (("--page", page), ("--json", json), ("--plot", plot),
                         ("--csv", None if measured else csv)):
        if path is not None:
            check_not_lost(option, path, None)
    read = read_case(case)
    if measured:
        _check_measured(ctx, filled, log, mapping)
        _measured(read, [filled] if filled is not None else log or [], mapping, policy, step,
                  confirmed, targets, Outputs(csv, page, tables, json, inputs), plot)
        return
    if plot is not None:
        raise InputError([Problem("--plot", "it without measured data", "--filled or --log",
                                  "distrib shares --plot draws the prediction")])
    table = _table(read, rpm, load, policy, step, on, volts, draws, confirmed, fit, targets)
    write_sheets(table, Outputs(csv, page, tables, json, inputs))
    if json is not None:
        emit_json(json, as_json(table))
    if json != "-":
        show(table)


@dataclass(frozen=True)
class Outputs:
    """Files that a sheet is written to, None where not asked for, and what was read."""

    csv: str | None
    page: str | None
    tables: str | None
    json: str | None
    inputs: tuple[str | None, ...]


def write_sheets(table: TrimTable, to: Outputs) -> None:
    """Write the sheet as CSV, as a page and as tables by cylinder, where a place is named.

    Nothing is written over that somebody filled in, nor anything that was read.
    """
    from pathlib import Path

    from distrib.calibration.matrices import matrices
    from distrib.calibration.sheet import to_csv
    from distrib.calibration.sheet_guard import check_not_lost
    from distrib.calibration.sheet_page import to_html
    from distrib.cli.output import wrote
    from distrib.cli.targets import check_targets
    from distrib.files import write_text_atomic

    texts: dict[str, str] = {}
    if to.csv is not None:
        texts[to.csv] = to_csv(table)
    if to.page is not None:
        texts[to.page] = to_html(table)
    if to.tables is not None:
        made = {str(Path(to.tables) / name): text for name, text in matrices(table).items()}
        check_targets(to.inputs, {f"--tables ({Path(name).name})": name for name in made})
        texts |= made
    for path in texts:
        check_not_lost("--csv" if path == to.csv else "--tables", path,
                       table if path == to.csv else None)
    for path, text in texts.items():
        write_text_atomic(path, text)
        wrote(path)


def _check_measured(
    ctx: typer.Context, filled: str | None, log: list[str] | None, mapping: str | None
) -> None:
    """InputError unless the data are one of sheet and log with mapping, without what predicts."""
    from distrib.errors import InputError, Problem

    problems = []
    if filled is not None and log:
        problems.append(Problem("measured data", "--filled and --log", "one of both"))
    elif bool(log) != (mapping is not None):
        problems.append(Problem("--mapping", mapping or "nothing", "a log and its mapping",
                                "columns are never guessed"))
    for name in _PREDICTED_ONLY:
        source = ctx.get_parameter_source(name)
        if source is not None and source.name != "DEFAULT":
            problems.append(Problem(f"--{name}", "it beside measured data", "a prediction only",
                                    "cells and basis are those of the sheet or log"))
    if filled is not None and ctx.get_parameter_source("targets").name != "DEFAULT":  # type: ignore[union-attr]
        problems.append(Problem("--targets", "it beside --filled", "the sheet's own targets",
                                "correct its column lambda_target"))
    if problems:
        raise InputError(problems)


def _measured(
    case: Case, paths: list[str], mapping: str | None, policy: str, step: float, confirmed: str,
    targets: str | None, to: Outputs, plot: str | None,
) -> None:
    """Next trims from a filled sheet, or with a mapping from logs, printed and written."""
    from distrib.calibration.gate import gate
    from distrib.calibration.next_sheet import next_table
    from distrib.cli.output import emit_json, note, wrote
    from distrib.cli.trims_filled import as_json, next_trims, show
    from distrib.files import write_bytes_atomic
    from distrib.report.trim_plots import trim_picture

    opened = gate(confirmed.split(","))
    found = next_trims(case, paths, mapping, policy, step, targets)
    # its kind is checked before anything is written
    picture = b"" if plot is None else trim_picture(found, plot)
    if to.csv is not None or to.page is not None or to.tables is not None:
        write_sheets(next_table(case, found, opened), to)
    if plot is not None:
        write_bytes_atomic(plot, picture)
        wrote(plot)
    if to.json is not None:
        emit_json(to.json, as_json(case, found, opened, paths))
    if to.json != "-":
        show(case, found)
    for item in opened.open:
        note(f"confirm first: {item.text}")
    for text in found.statements:
        note(text)


def _table(
    case: Case, rpm: str | None, load: list[str] | None, policy: str, step: float, on: str,
    volts: float | None, draws: int, confirmed: str, fit: str | None, targets: str | None,
) -> TrimTable:
    from distrib.calibration.service import trims as run
    from distrib.calibration.targets import read_targets
    from distrib.cli.output_choice import choice
    from distrib.fuelling.trims import BASES, MEASURED_POLICIES

    factor, remarks = _discrepancy(fit, case)
    return run(
        case, rpm=_speeds(rpm), pressure_pa=_loads(load, case),
        policy=choice("--policy", policy, MEASURED_POLICIES), step=step,
        on=choice("--on", on, BASES), confirmed=confirmed.split(","), volts=volts,
        discrepancy=factor, draws=draws, remarks=remarks,
        targets=None if targets is None else read_targets(targets),
    )


def _speeds(text: str | None) -> list[float] | None:
    from distrib.errors import InputError, Problem

    if text is None:
        return None
    out = []
    for part in text.split(","):
        try:
            out.append(float(part))
        except ValueError:
            raise InputError([Problem("--rpm", f'"{part}"', "numbers, such as 3000,4500,6000")
                              ]) from None
    return out


def _loads(texts: list[str] | None, case: Case) -> list[float] | None:
    from distrib.errors import InputError, Problem
    from distrib.units import UnitError, parse

    if not texts:
        return None
    out, problems = [], []
    for text in texts:
        try:
            out.append(parse(text, "pressure").absolute_pa(case.conditions.ambient_pressure_pa))
        except UnitError as error:
            problems.append(Problem("--load", error.read, error.allowed, error.hint))
    if problems:
        raise InputError(problems)
    return out


def _discrepancy(
    path: str | None, case: Case
) -> tuple[tuple[float, float] | None, tuple[str, ...]]:
    """Factor and sigma of a fit, and what to be wary of; None without a fit."""
    from distrib.calibration.service import discrepancy_from
    from distrib.errors import InputError, Problem
    from distrib.files import read_json

    if path is None:
        return None, ()
    try:
        data = read_json(path)
    except ValueError:
        raise InputError([Problem("--fit", "no valid JSON", "the JSON of `distrib fit`", "", path)
                          ]) from None
    return discrepancy_from(data if isinstance(data, dict) else {}, path, case)
