"""`distrib check`: look at case files only, and report every problem at once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from distrib.case.schema import Case
    from distrib.errors import Problem
    from distrib.report.grid import Table
    from distrib.results import FloatArray


def check(
    cases: Annotated[list[str], typer.Argument(help="Case files (TOML).", metavar="CASE")],
    json: Annotated[
        str | None, typer.Option("--json", help="Write the result as JSON to a file, or - .")
    ] = None,
) -> None:
    """Check case files: units, names, sizes, order. Reports all problems at once, exit code 2."""
    from distrib.case.read import read_case
    from distrib.cli.output import emit_json
    from distrib.errors import InputError

    problems: list[Problem] = []
    results: list[dict[str, Any]] = []
    for path in cases:
        try:
            case = read_case(path)
        except InputError as error:
            problems += error.problems
            results.append({"case": path, "ok": False, "problems": list(error.problems)})
            continue
        results.append(
            {"case": path, "ok": True, "sizes": sizes(case), "assumed": list(case.assumed)}
        )
        if json != "-":
            _show(path, case)
    if json is not None:
        emit_json(json, {"ok": not problems, "files": results})
    if problems:
        raise InputError(problems)


def sizes(case: Case) -> dict[str, Any]:
    """Figures that follow from the case without physics, SI, units in the names."""
    from distrib.case import geometry

    return {
        "title": case.title,
        "cylinders": case.engine.cylinders,
        "displacement_m3": geometry.displacement_m3(case),
        "plenum_volume_m3": geometry.total_plenum_volume_m3(case),
        "volume_ratio": geometry.total_plenum_volume_m3(case) / geometry.displacement_m3(case),
        "area_ratio": {p.name: geometry.area_ratio(case, p.name) for p in case.plenums},
        "distance_from_entry_m": geometry.distance_from_entry_m(case),
        "charge_pressure_pa": case.conditions.charge_pressure_pa,
        "boosted": case.conditions.boosted,
        "air_following_fraction": case.fuel.air_following_fraction,
        "injector_sets": [
            {"name": s.name, "place": s.place, "share": s.share, "trimmed": s.trimmed,
             "count": s.count} for s in case.fuel.stages
        ],
    }


def _show(path: str, case: Case) -> None:
    from distrib.case import geometry
    from distrib.cli.output import table
    from distrib.cli.text import print_table
    from distrib.units import display, display_both, display_gauge

    ambient, charge = case.conditions.ambient_pressure_pa, case.conditions.charge_pressure_pa
    volume, swept = geometry.total_plenum_volume_m3(case), geometry.displacement_m3(case)
    rows = [
        ["engine", f"{case.engine.layout}, {display_both(swept, 'volume')}"],
        ["cylinder 1", f"{case.cylinder_1_end} of the engine; drawn {case.view}"],
        ["charge", f"{display_both(charge, 'pressure')}, {display_gauge(charge, ambient)}"],
        ["plenum volume", f"{display_both(volume, 'volume')}, {volume / swept:.2f} x engine"],
    ]
    for plenum in case.plenums:
        ratio = geometry.area_ratio(case, plenum.name)
        rows.append([f"plenum {plenum.name}", f"runner areas / plenum area {ratio:.2f}"])
    for entry in case.entries:
        at = display(entry.at_m, "length")
        rows.append([f"entry {entry.name}", f"{entry.kind}, at {at} from the cylinder-1 end"])
    fuel = case.fuel
    follows = "all at the ports" if fuel.air_following_fraction == 0.0 else (
        f"{100.0 * fuel.air_following_fraction:.4g} % follows the air")
    mixture = f"{fuel.kind}, lambda {fuel.lambda_target:g}, {fuel.injection}"
    rows.append(["fuel", f"{mixture}, {follows}"])
    table(f"{path}: {case.title}", ["what", "value"], rows)
    distance = geometry.distance_from_entry_m(case)
    print_table(_runners(case, distance))
    if fuel.stages:
        table("Injector sets", ["set", "place", "of the fuel", "trims", "injectors"], [
            [s.name, s.place, f"{100.0 * s.share:.4g} %", "takes them" if s.trimmed else "none",
             s.count] for s in fuel.stages])
    if case.assumed:
        assumed = [[item.field, item.value, item.why] for item in case.assumed]
        table("Assumed, not given", ["field", "value", "why"], assumed)
    print(f"{path}: no problems found")


def _runners(case: Case, distance_m: FloatArray) -> Table:
    """The runners as read, inside sizes; a narrow terminal keeps place and bore."""
    from distrib.report.grid import Column, Table
    from distrib.report.numbers import inches, millimetres

    columns = (Column("cyl.", align="right"), Column("plenum", rank=2), Column("row", rank=3),
               Column("station", "mm", "right"), Column("from entry", "mm", "right"),
               Column("from entry", "in", "right", 3), Column("bore", "mm", "right"),
               Column("bore", "in", "right", 3), Column("length", "mm", "right"),
               Column("mouth", rank=2))
    rows = []
    for runner in case.runners:
        away = float(distance_m[runner.cylinder - 1])
        rows.append((str(runner.cylinder), runner.plenum, runner.row,
                     millimetres(runner.station_m), millimetres(away), inches(away),
                     millimetres(runner.diameter_m), inches(runner.diameter_m),
                     millimetres(runner.length_m), runner.mouth))
    return Table("Runners", columns, tuple(rows))
