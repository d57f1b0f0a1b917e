"""The second half of `distrib trims`: a filled sheet or a log comes back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from distrib.calibration.gate import Gate
    from distrib.calibration.next_trims import NextTrims
    from distrib.case.schema import Case
    from distrib.report.grid import Table


def next_trims(
    case: Case, paths: Sequence[str], mapping: str | None, policy: str, step: float,
    targets: str | None,
) -> NextTrims:
    """Next trims from a filled sheet, with its score, or with a mapping from logs."""
    from distrib.calibration.filled import next_from_sheet
    from distrib.calibration.logged import next_from_log
    from distrib.calibration.mapping import LogMapping
    from distrib.calibration.service import read_mapping
    from distrib.calibration.sheet_read import read_sheet
    from distrib.calibration.targets import read_targets
    from distrib.cli.output_choice import choice
    from distrib.errors import InputError, Problem
    from distrib.fuelling.trims import MEASURED_POLICIES

    chosen = choice("--policy", policy, MEASURED_POLICIES)
    if mapping is None:
        return next_from_sheet(case, read_sheet(paths[0]), chosen, step)
    read = read_mapping(mapping)
    if not isinstance(read, LogMapping):
        raise InputError([Problem("--mapping", "the mapping of a bench sheet",
                                  'a mapping with kind = "log"', "", mapping)])
    goals = None if targets is None else read_targets(targets)
    return next_from_log(case, paths, read, chosen, step, goals)


def show(case: Case, found: NextTrims) -> None:
    """Print what stops the work first, then a table for each measured cell."""
    from distrib.cli.text import print_table, print_wrapped

    for text in found.stops:
        if text:
            print_wrapped(text)
            print()
    print_wrapped(f"{case.title}: measured, {found.trims.policy}, step {found.trims.step:g}, "
                  f"trims on {found.trim_on}")
    print()
    for k in range(len(found.rpm)):
        print_table(_cell(found, k))


def _cell(found: NextTrims, k: int) -> Table:
    """The cylinders of one measured cell."""
    import numpy as np

    from distrib.calibration.cell_words import lambda_text, raise_base
    from distrib.calibration.sheet import number
    from distrib.report.grid import Column, Table

    now = found.travels.runs[-1].trim_percent[k]
    columns = [
        Column("cyl.", align="right"), Column("lambda read", "", "right"),
        Column("air", "%", "right", 2), Column("fuel now", "%", "right"),
        Column("fuel next", "%", "right")]
    rows = [[str(cylinder), number(found.lambda_read[k, c], 3),
             number(found.measured_percent[k, c], 1, True), number(now[c], 1, True),
             number(found.trim_shown[k, c], 1, True)]
            for c, cylinder in enumerate(found.cylinders)]
    further: list[tuple[Column, list[str]]] = []
    if found.reference:
        word = "air before" if found.reference == "measured" else "predicted air"
        further.append((Column(word, "%", "right", 2),
                        [number(v, 1, True) or "-" for v in found.predicted_percent[k]]))
    if found.logged is not None:
        log = found.logged
        further += [
            (Column("windows", "", "right", 2), [str(v) for v in log.windows[k]]),
            (Column("samples", "", "right", 3), [str(v) for v in log.samples[k]]),
            (Column("spread", "lambda", "right", 2), [number(v, 3) for v in log.spread[k]])]
        if np.isfinite(log.egt_k[k]).any():
            further.append((Column("exhaust", "degC", "right", 3),
                            [number(v - 273.15, 0) or "-" for v in log.egt_k[k]]))
    for column, texts in further:
        columns.append(column)
        for row, text in zip(rows, texts, strict=True):
            row.append(text)
    first = raise_base(float(found.trims.base_percent[k]))
    goal, mean = float(found.round.target[k]), float(found.lambda_read[k].mean())
    return Table(
        f"{found.rpm[k]:.0f} rpm, {found.pressure_pa[k] / 1e3:.0f} kPa absolute: target "
        f"{lambda_text(goal)}, mean {mean:.3f}", tuple(columns), tuple(tuple(row) for row in rows),
        (*((first,) if first else ()), *_why(found, k)))


def _why(found: NextTrims, k: int) -> list[str]:
    """The reasons of a cell, cylinders of one reason together."""
    who: dict[str, list[str]] = {}
    for cylinder, text in zip(found.cylinders, found.why[k], strict=True):
        who.setdefault(str(text), []).append(str(cylinder))
    return [f"cyl. {', '.join(cylinders)}: {text}" for text, cylinders in who.items()]


def as_json(case: Case, found: NextTrims, gate: Gate, paths: Sequence[str]) -> dict[str, Any]:
    """Next trims for `--json`: cells with cylinders, the score, limits, what is to confirm."""
    from distrib.answer.facts import limits_of
    from distrib.calibration.trim_table import limit_lines

    return {
        "case": {"title": case.title, "path": case.path}, "measured": list(paths),
        "policy": found.trims.policy, "step": found.trims.step, "trim_on": found.trim_on,
        "lambda_target": case.fuel.lambda_target, "reference": found.reference or None,
        "stops": [text for text in found.stops if text],
        "cells": [_cell_json(found, k) for k in range(len(found.rpm))],
        "to_confirm": [{"key": i.key, "text": i.text} for i in gate.open],
        "confirmed": [i.key for i in gate.confirmed],
        "limits": limit_lines(limits_of(case), measured=True), "score": found.score,
        "statements": found.statements,
    }


def _cell_json(found: NextTrims, k: int) -> dict[str, Any]:
    cylinders = []
    for c, cylinder in enumerate(found.cylinders):
        one = {
            "cylinder": cylinder, "lambda_read": found.lambda_read[k, c],
            "lambda_measured": found.lambda_measured[k, c],
            "measured_percent": found.measured_percent[k, c],
            "predicted_percent": found.predicted_percent[k, c],
            "needed_percent": found.trims.needed_percent[k, c],
            "trim_percent": found.trims.trim_percent[k, c],
            "trim_shown_percent": found.trim_shown[k, c],
            "may_take_off": bool(found.round.lock.open[k, c]), "why": str(found.why[k, c]),
            "duty": None if found.duty is None else found.duty[k, c],
        }
        if found.logged is not None:
            log = found.logged
            one |= {"windows": log.windows[k, c], "samples": log.samples[k, c],
                    "spread_lambda": log.spread[k, c], "exhaust_temperature_k": log.egt_k[k, c]}
        cylinders.append(one)
    return {
        "rpm": found.rpm[k], "charge_pressure_pa": found.pressure_pa[k],
        "lambda_target": found.round.target[k],
        "off_target_percent": found.round.off_target_percent[k],
        "base_fault": bool(found.round.base_fault[k]), "stop": found.stops[k] or None,
        "base_percent": found.trims.base_percent[k], "mean_percent": found.trims.mean_percent[k],
        "cylinders": cylinders,
    }
