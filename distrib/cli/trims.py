"""`distrib trims`: the tuner's sheet, predicted or from measured lambdas."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from distrib.calibration.sheet import TrimTable
    from distrib.case.schema import Case


def trims(
    case: Annotated[str, typer.Argument(help="Case file (TOML).", metavar="CASE")],
    rpm: Annotated[
        str | None, typer.Option(help='Speeds, such as "3000,4500,6000"; default the case\'s.')
    ] = None,
    load: Annotated[
        list[str] | None,
        typer.Option(help='Charge pressure with gauge or absolute, repeatable: "1.2 bar gauge".'),
    ] = None,
    policy: Annotated[
        str, typer.Option(help="richen-only, anchor-leanest; measured data: also sum-to-zero.")
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
    model: Annotated[
        str, typer.Option(help="phased, wave, or both: the band spans both, either can flag.")
    ] = "phased",
    samples: Annotated[
        int, typer.Option(help="Samples of the band at each cell.", min=100, max=20000)
    ] = 200,
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
        str | None, typer.Option(help="An engine log: next trims from its cells; with --mapping.")
    ] = None,
    mapping: Annotated[str | None, typer.Option(help="Mapping file (TOML) of the log.")] = None,
    csv: Annotated[str | None, typer.Option(help="Write the sheet as CSV with blanks.")] = None,
    page: Annotated[str | None, typer.Option(help="Write the sheet to print (HTML).")] = None,
    json: Annotated[
        str | None, typer.Option("--json", help="Write the result as JSON to a file, or - .")
    ] = None,
) -> None:
    """Fuel trims by cylinder over speed and load. Predicted trims only add fuel, half a step.

    A prediction is a starting point before measurement. With --filled (a sheet) or --log measured
    lambdas give the next trims; a filled sheet also scores its prediction.
    """
    from distrib.case.read import read_case
    from distrib.cli.output import emit_json, wrote
    from distrib.cli.trims_show import as_json, show
    from distrib.files import write_text_atomic

    read = read_case(case)
    if filled is not None or log is not None:
        _measured(read, filled, log, mapping, policy, step, json)
        return
    table = _table(read, rpm, load, policy, step, on, volts, model, samples, confirmed, fit)
    if csv is not None:
        from distrib.calibration.sheet import to_csv

        write_text_atomic(csv, to_csv(table))
        wrote(csv)
    if page is not None:
        from distrib.calibration.sheet_page import to_html

        write_text_atomic(page, to_html(table))
        wrote(page)
    if json is not None:
        emit_json(json, as_json(table))
    if json != "-":
        show(table)


def _measured(
    case: Case, filled: str | None, log: str | None, mapping: str | None, policy: str, step: float,
    json: str | None,
) -> None:
    """Next trims from one of a filled sheet and a log with its mapping."""
    from distrib.cli.trims_filled import next_trims
    from distrib.errors import InputError, Problem

    if filled is not None and log is not None:
        raise InputError([Problem("measured data", "--filled and --log", "one of both")])
    if (log is None) != (mapping is None):
        raise InputError([Problem("--mapping", mapping or "nothing", "a log and its mapping",
                                  "columns are never guessed")])
    path = filled if filled is not None else log
    assert path is not None
    next_trims(case, path, mapping, policy, step, json)


def _table(
    case: Case, rpm: str | None, load: list[str] | None, policy: str, step: float, on: str,
    volts: float | None, model: str, samples: int, confirmed: str, fit: str | None,
) -> TrimTable:
    from distrib.calibration.service import ENGINE_MODELS
    from distrib.calibration.service import trims as run
    from distrib.cli.output_choice import choice
    from distrib.fuelling.trims import BASES, POLICIES

    return run(
        case, rpm=_speeds(rpm), pressure_pa=_loads(load, case),
        policy=choice("--policy", policy, POLICIES), step=step, on=choice("--on", on, BASES),
        model=choice("--model", model, ENGINE_MODELS), confirmed=confirmed.split(","),
        volts=volts, discrepancy=_discrepancy(fit), samples=samples,
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


def _discrepancy(path: str | None) -> tuple[float, float] | None:
    import json as reader
    from pathlib import Path

    from distrib.calibration.service import discrepancy_from
    from distrib.errors import InputError, Problem

    if path is None:
        return None
    try:
        data = reader.loads(Path(path).read_text(encoding="utf-8"))
    except ValueError:
        raise InputError([Problem("--fit", "no valid JSON", "the JSON of `distrib fit`", "", path)
                          ]) from None
    return discrepancy_from(data if isinstance(data, dict) else {}, path)
