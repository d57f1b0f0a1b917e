"""The second half of `distrib trims`: a filled sheet or a log comes back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from distrib.calibration.filled import NextTrims
    from distrib.case.schema import Case


def next_trims(
    case: Case, path: str, mapping: str | None, policy: str, step: float, json: str | None
) -> None:
    """Print and write next trims from a filled sheet, with its score, or with a mapping a log."""
    import numpy as np

    from distrib.calibration.filled import next_from_log, next_from_sheet
    from distrib.calibration.mapping import LogMapping
    from distrib.calibration.service import read_mapping
    from distrib.calibration.sheet import number, read_sheet
    from distrib.cli.output import emit_json, note
    from distrib.cli.output import table as show
    from distrib.cli.output_choice import choice
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
        for k in range(len(found.rpm)):
            rows = [
                [cylinder, number(found.lambda_measured[k, c], 3),
                 number(found.measured_percent[k, c], 1, True),
                 number(found.predicted_percent[k, c], 1, True),
                 number(found.trim_shown[k, c], 1, True)
                 if np.isfinite(found.trim_shown[k, c]) else "refused"]
                for c, cylinder in enumerate(found.cylinders)
            ]
            show(
                f"{case.title}: {found.rpm[k]:.0f} rpm, {found.pressure_pa[k] / 1e3:.0f} kPa "
                f"absolute (measured, {found.trims.policy}, step {found.trims.step:g})",
                ["cylinder", "lambda", "air measured %", "air predicted %",
                 f"next trim % on {basis}"], rows,
            )
    for text in found.statements:
        note(text)


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
