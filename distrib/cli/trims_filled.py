"""The second half of `distrib trims`: a filled sheet or a log comes back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from distrib.calibration.filled import NextTrims
    from distrib.case.schema import Case
    from distrib.report.grid import Table


def next_trims(
    case: Case, path: str, mapping: str | None, policy: str, step: float, json: str | None
) -> None:
    """Print and write next trims from a filled sheet, with its score, or with a mapping a log."""
    from distrib.calibration.filled import next_from_log, next_from_sheet
    from distrib.calibration.mapping import LogMapping
    from distrib.calibration.service import read_mapping
    from distrib.calibration.sheet import read_sheet
    from distrib.cli.notes import remark
    from distrib.cli.output import emit_json
    from distrib.cli.output_choice import choice
    from distrib.cli.text import print_table, print_wrapped
    from distrib.errors import InputError, Problem
    from distrib.fuelling.trims import POLICIES

    chosen = choice("--policy", policy, POLICIES)
    if mapping is None:
        sheet = read_sheet(path)
        found, basis = next_from_sheet(case, sheet, chosen, step), sheet.trim_on[0]
    else:
        read = read_mapping(mapping)
        if not isinstance(read, LogMapping):
            raise InputError([Problem("--mapping", "the mapping of a bench sheet",
                                      'a mapping with kind = "log"', "", mapping)])
        found, basis = next_from_log(case, path, read, chosen, step), "fuel"
    if json is not None:
        emit_json(json, _as_json(found, path))
    if json != "-":
        print_wrapped(f"{case.title}: measured, {found.trims.policy}, step {found.trims.step:g}, "
                      f"next trim on {basis}")
        print()
        for k in range(len(found.rpm)):
            print_table(_cell(found, k))
    for text in found.statements:
        remark(text)


def _cell(found: NextTrims, k: int) -> Table:
    """The cylinders of one measured cell."""
    from distrib.calibration.sheet import number
    from distrib.report.grid import Column, Table

    columns = (
        Column("cyl.", align="right"), Column("lambda", "", "right"),
        Column("measured air", "%", "right"), Column("predicted air", "%", "right", 2),
        Column("next trim", "%", "right"))
    return Table(
        f"{found.rpm[k]:.0f} rpm, {found.pressure_pa[k] / 1e3:.0f} kPa absolute", columns,
        tuple((str(cylinder), number(found.lambda_measured[k, c], 3),
               number(found.measured_percent[k, c], 1, True),
               number(found.predicted_percent[k, c], 1, True) or "-",
               number(found.trim_shown[k, c], 1, True) or "refused")
              for c, cylinder in enumerate(found.cylinders)))


def _as_json(found: NextTrims, path: str) -> dict[str, Any]:
    cells = [
        {
            "rpm": found.rpm[k], "charge_pressure_pa": found.pressure_pa[k],
            "cylinders": [
                {
                    "cylinder": cylinder, "lambda_measured": found.lambda_measured[k, c],
                    "measured_percent": found.measured_percent[k, c],
                    "predicted_percent": found.predicted_percent[k, c],
                    "trim_percent": found.trims.trim_percent[k, c],
                    "trim_shown_percent": found.trim_shown[k, c],
                }
                for c, cylinder in enumerate(found.cylinders)
            ],
        }
        for k in range(len(found.rpm))
    ]
    return {
        "measured": path, "cells": cells,
        "policy": found.trims.policy, "step": found.trims.step, "score": found.score,
        "statements": found.statements,
    }
