"""What `distrib trims` prints of a trim table, and its JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from distrib.calibration.pulses import SetPulses
    from distrib.calibration.sheet import TrimTable
    from distrib.report.grid import Table


def as_json(table: TrimTable) -> dict[str, Any]:
    """The table for `--json`: cells with cylinders, SI with units in the names.

    A case with several sets of injectors adds `injector_sets`, and `sets` to every cell.
    """
    cells = []
    for i, rpm in enumerate(table.rpm):
        for j, pressure in enumerate(table.pressure_pa):
            whose = None if table.duty_cylinder is None else int(table.duty_cylinder[i, j])
            cells.append({
                "rpm": rpm, "charge_pressure_pa": pressure,
                "base_percent": table.base_percent[i, j],
                "mean_percent": table.mean_percent[i, j],
                "duty_max": None if table.duty is None else table.duty[i, j],
                "duty_cylinder": whose or None,
                "cylinders": _cylinders(table, i, j),
                **({"sets": [_set(s, i, j) for s in table.sets]} if table.sets else {}),
            })
    sets = [{"name": s.name, "place": s.place, "share": s.share, "follows_air": s.follows_air,
             "trimmed": s.trimmed} for s in table.sets]
    return {
        "case": {"title": table.title, "hash": table.case_hash}, "model": table.model,
        "policy": table.policy, "evidence": table.evidence, "step": table.step,
        "trim_on": table.trim_on, "fuel": table.fuel, "lambda_target": table.lambda_target,
        **({"injector_sets": sets} if sets else {}),
        "band_level": table.level, "cells": cells,
        "to_confirm": [{"key": i.key, "text": i.text} for i in table.gate.open],
        "confirmed": [i.key for i in table.gate.confirmed], "limits": table.limits,
        "cautions": table.cautions, "sign_flips": table.flips, "assumed": table.assumed,
    }


def _cylinders(table: TrimTable, i: int, j: int) -> list[dict[str, Any]]:
    from distrib.fuelling.verdict import WORDS

    return [
        {
            "cylinder": number,
            "distance_from_entry_mm": table.distance_from_entry_m[c] * 1e3,
            "deviation_percent": table.deviation_percent[i, j, c],
            "band_percent": [table.low_percent[i, j, c], table.high_percent[i, j, c]],
            "lambda": table.lambda_equal_fuel[i, j, c],
            "needed_percent": table.needed_percent[i, j, c],
            "trim_percent": table.trim_percent[i, j, c],
            "trim_shown_percent": table.trim_shown[i, j, c],
            "verdict": str(table.verdict[i, j, c]),
            "words": WORDS.get(str(table.verdict[i, j, c]), ""),  # type: ignore[call-overload]
        }
        for c, number in enumerate(table.cylinders)
    ]


def _set(item: SetPulses, i: int, j: int) -> dict[str, Any]:
    """One set at one cell; the trims by cylinder as set on it, on the sheet's basis."""
    whose = None if item.duty_cylinder is None else int(item.duty_cylinder[i, j])
    return {
        "name": item.name, "trim_percent": item.trim_percent[i, j],
        "total_pulse_s": None if item.total_pulse_s is None else item.total_pulse_s[i, j],
        "dead_time_s": item.dead_time_s,
        "duty_max": None if item.duty is None else item.duty[i, j],
        "duty_cylinder": whose or None,
    }


def show(table: TrimTable) -> None:
    """Print a table per cell, the least columns left out where the terminal is narrow."""
    from distrib.cli.output import note
    from distrib.cli.text import print_table, print_wrapped

    print_wrapped(f"{table.title}: {table.model} model, {table.evidence}, {table.policy}, step "
                  f"{table.step:g}, trim on {table.trim_on}")
    print()
    for i, j in table.cells():
        print_table(_cell(table, i, j))
        if table.sets:
            print_table(_sets(table, i, j))
    for text in _legend(table):
        print_wrapped(text)
    for item in table.gate.open:
        note(f"confirm first: {item.text}")
    for text in (*table.cautions, *table.flips):
        note(text)


def _cell(table: TrimTable, i: int, j: int) -> Table:
    """The cylinders of one cell."""
    from distrib.calibration.sheet import number
    from distrib.report.grid import Column, Table

    columns = (
        Column("cyl.", align="right"), Column("from entry", "mm", "right", 3),
        Column("air", "%", "right"), Column(f"{table.level * 100:.0f} % band", "%", "right", 2),
        Column("lambda", "", "right", 3), Column("need", "%", "right", 2),
        Column("trim", "%", "right"), Column("mark"))
    rows = []
    for c, cylinder in enumerate(table.cylinders):
        at = (i, j, c)
        low, high = (number(v[at], 1, True) for v in (table.low_percent, table.high_percent))
        rows.append((
            str(cylinder), number(table.distance_from_entry_m[c] * 1e3, 0),
            number(table.deviation_percent[at], 1, True), f"{low} to {high}" if low else "",
            number(table.lambda_equal_fuel[at], 3), number(table.needed_percent[at], 1, True),
            number(table.trim_shown[at], 1, True) or "refused",
            str(table.verdict[at]) or "none"))
    return Table(f"{table.rpm[i]:.0f} rpm, {table.pressure_pa[j] / 1e3:.0f} kPa absolute", columns,
                 tuple(rows), _below(table, i, j))


def _below(table: TrimTable, i: int, j: int) -> tuple[str, ...]:
    """What stands below the cylinders of a cell: a raise of the base map, the highest duty."""
    from distrib.calibration.cell_words import raise_base

    first = raise_base(float(table.base_percent[i, j]))
    out = [first] if first else []
    if table.duty is not None and table.duty_cylinder is not None and not table.sets:
        out.append(f"injector duty at most {table.duty[i, j] * 100:.0f} %, cylinder "
                   f"{table.duty_cylinder[i, j]}")
    return tuple(out)


def _sets(table: TrimTable, i: int, j: int) -> Table:
    """The injector sets at one cell."""
    from distrib.calibration.sheet import number
    from distrib.report.grid import Column, Table

    columns = (
        Column("set"), Column("place", rank=2), Column("fuel", "%", "right"),
        Column("takes trims"), Column("pulse", "ms", "right"),
        Column("dead time", "ms", "right", 3), Column("duty", "%", "right"),
        Column("at cyl.", align="right", rank=2))
    rows = []
    for item in table.sets:
        whose = 0 if item.duty_cylinder is None else int(item.duty_cylinder[i, j])
        rows.append((
            item.name, item.place, f"{item.share * 100:.4g}", "yes" if item.trimmed else "no",
            "-" if item.total_pulse_s is None else number(item.total_pulse_s[i, j] * 1e3, 2),
            "-" if item.dead_time_s is None else number(item.dead_time_s * 1e3, 2),
            "-" if item.duty is None else number(item.duty[i, j] * 100.0, 0),
            "-" if item.duty is None else str(whose) if whose else "all"))
    return Table("Injector sets, pulse before any trim", columns, tuple(rows))


def _legend(table: TrimTable) -> list[str]:
    """The marks that stand on the tables, in words."""
    from distrib.calibration.cell_words import NEED_WORDS
    from distrib.fuelling.verdict import WORDS

    present = {str(v) for v in table.verdict.ravel()}
    marks = [f"{mark}: {text}" for mark, text in WORDS.items() if mark in present]
    return [NEED_WORDS[0].lower() + NEED_WORDS[1:], *marks]
