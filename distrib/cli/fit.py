"""`distrib fit`: measured data into the model."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from distrib.calibration.bench_fit import BenchFit
    from distrib.calibration.bench_mapping import BenchMapping
    from distrib.calibration.mapping import LogMapping
    from distrib.calibration.service import LogFit
    from distrib.calibration.swap import SwapResult
    from distrib.calibration.swap_file import SwapSheet
    from distrib.case.schema import Case


def fit(
    case: Annotated[str, typer.Argument(help="Case file (TOML).", metavar="CASE")],
    bench: Annotated[str | None, typer.Option(help="Flow-bench sheet (CSV).")] = None,
    log: Annotated[str | None, typer.Option(help="Engine log (CSV).")] = None,
    swap: Annotated[
        str | None,
        typer.Option(help="Swap test (CSV: run,cylinder,lambda,injector,sensor,trim_percent)."),
    ] = None,
    mapping: Annotated[
        list[str] | None,
        typer.Option(help="Mapping file (TOML) of the sheet or the log; repeat for both."),
    ] = None,
    out: Annotated[
        str | None,
        typer.Option("--out", "-o", help="Calibrated case; default CASE.calibrated.toml."),
    ] = None,
    plot: Annotated[
        str | None, typer.Option(help="Residual plot of the bench fit or the log (SVG).")
    ] = None,
    rehearse: Annotated[
        bool, typer.Option("--rehearse", help="What the runs of --swap would find, if made.")
    ] = False,
    json: Annotated[
        str | None, typer.Option("--json", help="Write the result as JSON to a file, or - .")
    ] = None,
) -> None:
    """Fit bench flows and engine lambdas; solve swap tests. Never writes over the original case.

    A bench sheet gives loss coefficients and regain with their uncertainty, and says which the
    rows could not determine. An engine log gives the factor between predicted and real pattern.
    """
    from distrib.case.read import read_case
    from distrib.cli.output import emit_json, note
    from distrib.errors import InputError, Problem

    _check_options(bench, log, swap, mapping or [], out, plot)
    if rehearse and swap is None:
        raise InputError([Problem("--rehearse", "it without --swap", "the runs of a swap test")])
    read = read_case(case)
    _check_files(read, (case, bench, log, swap, *(mapping or [])), bench, out, plot, json)
    maps = _mappings(mapping or [], bench is not None, log is not None)
    result: dict[str, Any] = {"case": {"title": read.title, "path": read.path}}
    quiet = json == "-"
    calibrated = read
    if bench is not None:
        fitted, target = _bench(read, bench, maps, out)
        calibrated = fitted.calibrated
        result["bench"] = _bench_json(fitted, str(target))
    if log is not None:
        found = _log(calibrated, log, maps)
        result["engine"] = _log_json(found)
    if swap is not None and rehearse:
        result["rehearsal"] = _rehearsed(read, swap, quiet)
    elif swap is not None:
        solved, sheet = _swap(read, swap)
        result["swap"] = _swap_json(solved, sheet, read)
    # everything has been worked out: only now is anything written
    if plot is not None:
        _write_plot(plot, fitted if bench is not None else None, found if log is not None else None)
    if bench is not None:
        _write_bench(fitted, target)
        if not quiet:
            _show_bench(fitted)
    if log is not None and not quiet:
        _show_log(found)
    if swap is not None and not rehearse and not quiet:
        _show_swap(solved, sheet)
    if json is not None:
        emit_json(json, result)
    texts = (part.get("statements", ()) for part in result.values())
    for text in dict.fromkeys(t for group in texts for t in group):
        note(text)


def _check_options(
    bench: str | None, log: str | None, swap: str | None, mapping: list[str], out: str | None,
    plot: str | None,
) -> None:
    """InputError without data, and for an option that would do nothing."""
    from distrib.errors import InputError, Problem

    problems = []
    if bench is None and log is None and swap is None:
        problems.append(Problem("fit", "no data", "--bench, --log or --swap"))
    elif bench is None and out is not None:
        problems.append(Problem("--out", f'"{out}" without --bench', "a calibrated case of a bench",
                                "a log gives a factor: --json, then trims --fit"))
    elif bench is None and log is None:
        if plot is not None:
            problems.append(Problem("--plot", f'"{plot}" with --swap alone', "--bench or --log"))
        if mapping:
            problems.append(Problem("--mapping", mapping[0], "--bench or --log",
                                    "a swap test has its own columns"))
    if problems:
        raise InputError(problems)


def _check_files(
    case: Case, inputs: tuple[str | None, ...], bench: str | None, out: str | None,
    plot: str | None, json: str | None,
) -> None:
    """InputError for an output that would fall on an input, or cannot be written."""
    from distrib.calibration.bench_fit import calibrated_path
    from distrib.calibration.sheet_guard import check_not_lost
    from distrib.cli.targets import check_targets

    for option, path in (("--out", out), ("--plot", plot), ("--json", json)):
        if path is not None:
            check_not_lost(option, path, None)
    target = None if bench is None else str(calibrated_path(case, out))
    check_targets(inputs, {"--out": target, "--plot": plot, "--json": json})


def _mappings(paths: list[str], bench: bool, log: bool) -> dict[str, Any]:
    """Mapping files by kind; InputError when one is missing or stands twice."""
    from distrib.calibration.mapping import LogMapping
    from distrib.calibration.service import read_mapping
    from distrib.errors import InputError, Problem

    found: dict[str, BenchMapping | LogMapping] = {}
    for path in paths:
        read = read_mapping(path)
        kind = "log" if isinstance(read, LogMapping) else "bench"
        if kind in found:
            raise InputError([Problem("--mapping", f"two mappings of a {kind}", "one", "", path)])
        found[kind] = read
    problems = [
        Problem("--mapping", f"no mapping of the {kind}", f'a TOML file with kind = "{kind}"',
                "columns are never guessed")
        for kind, wanted in (("bench", bench), ("log", log)) if wanted and kind not in found
    ]
    problems += [
        Problem("--mapping", f"a mapping of a {kind} without its data", f"--{kind} with it", "",
                str(found[kind].path))
        for kind, wanted in (("bench", bench), ("log", log)) if not wanted and kind in found
    ]
    if problems:
        raise InputError(problems)
    return found


def _bench(case: Case, path: str, maps: dict[str, Any], out: str | None) -> tuple[BenchFit, Any]:
    from distrib.calibration.bench_fit import calibrated_path, fit_bench, read_bench_sheet

    target = calibrated_path(case, out)
    return fit_bench(case, read_bench_sheet(path, maps["bench"], case)), target


def _log(case: Case, path: str, maps: dict[str, Any]) -> LogFit:
    from distrib.calibration.service import fit_log

    return fit_log(case, path, maps["log"])


def _swap(case: Case, path: str) -> tuple[SwapResult, SwapSheet]:
    from distrib.calibration.swap import solve_swap
    from distrib.calibration.swap_file import read_swap

    sheet = read_swap(path, case.engine.cylinders)
    return solve_swap(sheet.runs, injectors=sheet.injectors, sensor_names=sheet.sensors), sheet


def _rehearsed(case: Case, path: str, quiet: bool) -> dict[str, Any]:
    """What the planned swap test would find, printed and for JSON."""
    from distrib.calibration.rehearsal import rehearse
    from distrib.calibration.swap import REPEATABILITY
    from distrib.calibration.swap_file import read_swap
    from distrib.cli.text import print_wrapped

    found = rehearse(read_swap(path, case.engine.cylinders).runs)
    if not quiet:
        print_wrapped("What these runs would find, readings that repeat to "
                      f"{100 * REPEATABILITY:g} %:")
        for one in found:
            print_wrapped(str(one), "  ")
        print_wrapped("A leak reads lean in vacuum and rich under boost: run the test at both to "
                      "tell it from a cylinder's own air.")
    return {"statements": (), "faults": [
        {"part": one.part, "sizes_percent": one.sizes_percent, "found": one.found,
         "misled": one.misled, "nothing": one.silent, "words": str(one)} for one in found]}


def _write_bench(fitted: BenchFit, target: Any) -> None:
    from distrib.calibration.bench_fit import calibrated_text
    from distrib.cli.output import wrote
    from distrib.files import write_text_atomic

    write_text_atomic(target, calibrated_text(fitted))
    wrote(target)


def _write_plot(path: str, fitted: BenchFit | None, found: LogFit | None) -> None:
    """Residuals of bench and log, one bar for each observation."""
    from distrib.calibration.residual_plot import residual_svg
    from distrib.calibration.service import log_labels
    from distrib.cli.output import wrote
    from distrib.files import write_text_atomic

    labels: list[str] = []
    residuals: list[float] = []
    names = []
    if fitted is not None:
        labels += fitted.labels
        residuals += fitted.fit.residual.tolist()
        names.append(fitted.sheet.path.name)
    if found is not None:
        labels += log_labels(found)
        residuals += found.engine.fit.residual.tolist()
        names.append(found.path.name)
    write_text_atomic(path, residual_svg(labels, residuals, f"Residuals: {' and '.join(names)}"))
    wrote(path)


def _bench_json(fitted: BenchFit, target: str) -> dict[str, Any]:
    from distrib.calibration.service import parameters_json

    return {
        "sheet": str(fitted.sheet.path), "calibrated_case": target,
        "parameters": parameters_json(fitted.fit),
        "parameters_with_jet": parameters_json(fitted.with_jet) if fitted.with_jet else None,
        "observations": [
            {"label": label, "effective_area_m2": t.effective_area_m2,
             "relative_sigma": t.relative_sigma, "residual_sigmas": r, "repeats": t.repeats}
            for label, t, r in zip(fitted.labels, fitted.forward.tests, fitted.fit.residual,
                                   strict=True)
        ],
        "chi2": fitted.fit.chi2, "spare_rows": fitted.fit.spare,
        "errors_widened": fitted.fit.widened,
        "exclusions": [str(e) for e in fitted.sheet.exclusions],
        "notes": fitted.sheet.notes, "statements": fitted.statements,
    }


def _log_json(found: LogFit) -> dict[str, Any]:
    from distrib.calibration.service import log_labels, parameters_json

    engine, logged = found.engine, found.logged
    return {
        "log": str(found.path), "model": found.model, "case_hash": found.case_hash,
        "discrepancy": engine.discrepancy, "sigma": engine.sigma,
        "band_90": [engine.low90, engine.high90],
        "offset_percent": engine.offset_percent,
        "offset_sigma_percent": engine.offset_sigma_percent,
        "cells": [
            {"rpm": rpm, "charge_pressure_pa": found.pressure_pa[k],
             "predicted_percent": found.predicted_percent[k],
             "measured_percent": found.measured_percent[k], "windows": logged.windows[k],
             "samples": logged.samples[k], "spread_lambda": logged.spread[k],
             "exhaust_temperature_k": logged.egt_k[k]}
            for k, rpm in enumerate(found.rpm)
        ],
        "parameters": parameters_json(engine.fit),
        "observations": [
            {"label": label, "residual_sigmas": r}
            for label, r in zip(log_labels(found), engine.fit.residual, strict=True)
        ],
        "chi2": engine.fit.chi2, "spare_rows": engine.fit.spare,
        "errors_widened": engine.fit.widened,
        "windows": len(found.windows.rpm), "unplaced_windows": found.cells.unplaced,
        "exclusions": [str(e) for e in found.windows.exclusions], "notes": found.windows.notes,
        "score": found.score, "statements": found.statements,
    }


def _swap_json(solved: SwapResult, sheet: SwapSheet, case: Case) -> dict[str, Any]:
    from distrib.calibration.swap import ONE_SET_ONLY

    alone = not case.fuel.stages and case.fuel.air_following_fraction == 0.0
    return {
        "runs": sheet.names, "injectors": sheet.injectors, "sensors": sheet.sensors,
        "air": solved.air, "air_sigma": solved.air_sigma, "injector": solved.injector,
        "injector_sigma": solved.injector_sigma,
        "injector_correction_percent": solved.injector_correction_percent, "sensor": solved.sensor,
        "sensor_sigma": solved.sensor_sigma, "spare_equations": solved.spare,
        "chi2": solved.chi2,
        "statements": (*solved.statements, *(() if alone else (ONE_SET_ONLY,))),
    }


def _show_bench(fitted: BenchFit) -> None:
    from distrib.cli.output import note
    from distrib.cli.text import print_table
    from distrib.report.grid import Column, Table

    fit_ = fitted.fit
    columns = (Column("parameter"), Column("prior", "", "right", 2), Column("fitted", "", "right"),
               Column("90 % band", "", "right"), Column("known"))
    known = {"determined": "yes", "partly": "partly", "not determined": "no"}
    print_table(Table(
        f"Fit of {fitted.sheet.path.name}", columns,
        tuple((p.name, f"{p.prior:.3f}", f"{v:.3f}", f"{a:.3f} to {b:.3f}", known[w])
              for p, v, a, b, w in zip(fit_.parameters, fit_.value, fit_.low90, fit_.high90,
                                       fit_.verdict, strict=True)),
        ("known: whether the rows determine the value; partly: the prior still counts",)))
    for item in (*fitted.sheet.notes, *(str(e) for e in fitted.sheet.exclusions)):
        note(item)


def _show_log(found: LogFit) -> None:
    from distrib.calibration.sheet import number
    from distrib.cli.output import note
    from distrib.cli.text import print_table
    from distrib.report.grid import Column, Table

    columns = (
        Column("speed", "rpm", "right"), Column("charge", "kPa abs.", "right"),
        Column("cyl.", "", "right"), Column("predicted", "%", "right"),
        Column("measured", "%", "right"), Column("windows", "", "right", 2),
        Column("samples", "", "right", 3), Column("spread", "lambda", "right", 2))
    log = found.logged
    rows = tuple(
        (f"{found.rpm[k]:.0f}", f"{found.pressure_pa[k] / 1e3:.0f}", str(cylinder),
         number(found.predicted_percent[k, c], 1, True) or "-",
         number(found.measured_percent[k, c], 1, True) or "-", str(log.windows[k, c]),
         str(log.samples[k, c]), number(log.spread[k, c], 3) or "-")
        for k in range(len(found.rpm)) for c, cylinder in enumerate(found.cylinders))
    print_table(Table(
        "Engine log beside the prediction: deviation", columns, rows,
        ("spread: largest minus smallest window of the cell",)))
    for item in (*found.windows.notes, *(str(e) for e in found.windows.exclusions)):
        note(item)


def _show_swap(solved: SwapResult, sheet: SwapSheet) -> None:
    from distrib.cli.text import print_table
    from distrib.report.grid import Column, Table

    rows = [(f"cylinder {c}", v, s, "") for c, (v, s) in enumerate(
        zip(solved.air, solved.air_sigma, strict=True), start=1)]
    rows += [(f"injector {n}", v, s, f"{add:+.1f}") for n, v, s, add in zip(
        sheet.injectors, solved.injector, solved.injector_sigma,
        solved.injector_correction_percent, strict=True)]
    if solved.sensor is not None and solved.sensor_sigma is not None:
        rows += [(f"sensor {n}", v, s, "") for n, v, s in zip(
            sheet.sensors, solved.sensor, solved.sensor_sigma, strict=True)]
    print_table(Table(
        "Swap test: share over mean",
        (Column("part"), Column("share", "%", "right"), Column("+-", "%", "right"),
         Column("correction", "%", "right", 2)),
        tuple((name, f"{100 * (v - 1):+.1f}", f"{100 * s:.1f}", add) for name, v, s, add in rows),
        ("correction: fuel to add so that the injector gives what the strongest gives; it stays "
         "with the injector, and takes its part out of that cylinder's trim",)))
