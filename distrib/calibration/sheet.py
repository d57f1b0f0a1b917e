"""The tuner's trim sheet: a table of cells (speed by load) and cylinders, with blanks to fill in.

Written as CSV that a spreadsheet may save again (semicolons, decimal commas, byte-order mark) and
that reads back with the measured values.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np

from distrib.calibration.gate import Gate
from distrib.calibration.layout import MISSING, find_layout, split_line
from distrib.calibration.pulses import SetPulses
from distrib.errors import InputError, Problem
from distrib.fuelling.trims import BASES
from distrib.numerals import NumeralError, read_number
from distrib.results import FloatArray

COLUMNS: Final = (
    "cylinder", "distance_from_entry_mm", "rpm", "pressure_kpa_abs", "deviation_percent",
    "low_percent", "high_percent", "verdict", "lambda_equal_fuel", "trim_percent", "trim_on",
    "total_pulse_ms", "dead_time_ms", "trim_in_engine_percent", "lambda_measured", "egt_degc",
    "knock", "notes",
)
BLANKS: Final = ("trim_in_engine_percent", "lambda_measured", "egt_degc", "knock", "notes")
FIRST_LINE: Final = "# distrib trim sheet 1"


@dataclass(frozen=True)
class TrimTable:
    """Trims of R speeds by C pressures by N cylinders, with all that belongs on the sheet.

    Arrays (R, C, N) in percent unless said; `base_percent`, `duty` and `duty_cylinder` (R, C).
    `trim_percent` acts on all fuel at the ports; `trim_shown` is on the basis `trim_on` and, where
    there are several `sets` of injectors, for the trimmed ones. NaN where refused. Pulse and dead
    time are those of the first trimmed set, the duty is the highest of all (cylinder 0: of a set
    that is not trimmed).
    """

    title: str
    case_hash: str
    model: str
    policy: str
    evidence: str
    step: float
    trim_on: str
    fuel: str
    lambda_target: float
    cylinders: tuple[int, ...]
    distance_from_entry_m: FloatArray
    rpm: FloatArray
    pressure_pa: FloatArray
    deviation_percent: FloatArray
    low_percent: FloatArray
    high_percent: FloatArray
    level: float
    verdict: np.ndarray[Any, np.dtype[np.str_]]
    lambda_equal_fuel: FloatArray
    needed_percent: FloatArray
    trim_percent: FloatArray
    trim_shown: FloatArray
    base_percent: FloatArray
    mean_percent: FloatArray
    duty: FloatArray | None
    duty_cylinder: np.ndarray[Any, np.dtype[np.int64]] | None
    gate: Gate
    limits: tuple[str, ...]
    cautions: tuple[str, ...]
    flips: tuple[str, ...]
    assumed: tuple[str, ...] = ()
    extra: Mapping[str, str] = field(default_factory=dict)
    total_pulse_s: FloatArray | None = None
    dead_time_s: float | None = None
    sets: tuple[SetPulses, ...] = ()


def number(value: float, digits: int = 1, sign: bool = False) -> str:
    """A number for a table; blank for NaN, and no minus zero."""
    if not np.isfinite(value):
        return ""
    rounded = round(float(value), digits) + 0.0
    return f"{rounded:{'+' if sign else ''}.{digits}f}"


def to_csv(table: TrimTable) -> str:
    """The sheet as CSV text: remarks in lines that begin with #, then a row per cell and cylinder.

    Measured columns are left blank for the tuner. Sets of injectors stand in further columns.
    """
    out = io.StringIO()
    out.write(FIRST_LINE + "\n")
    for key, value in _heading(table).items():
        out.write(f"# {key}: {value}\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*COLUMNS, *_set_columns(table)])
    for i, rpm in enumerate(table.rpm):
        for j, pressure in enumerate(table.pressure_pa):
            pulse = _pulse(table, i, j)
            for c, cylinder in enumerate(table.cylinders):
                at = (i, j, c)
                writer.writerow([
                    cylinder, number(table.distance_from_entry_m[c] * 1e3, 0), f"{rpm:.6g}",
                    f"{pressure / 1e3:.6g}", number(table.deviation_percent[at], 2, True),
                    number(table.low_percent[at], 2, True),
                    number(table.high_percent[at], 2, True), str(table.verdict[at]),
                    number(table.lambda_equal_fuel[at], 3),
                    number(table.trim_shown[at], 1, True), table.trim_on, *pulse,
                    *[""] * len(BLANKS), *_set_cells(table, at),
                ])
    return out.getvalue()


def _set_columns(table: TrimTable) -> list[str]:
    names = ("trim_percent", "total_pulse_ms", "dead_time_ms", "duty_max_percent")
    return [f"set_{k}_{name}" for k in range(1, len(table.sets) + 1) for name in names]


def _set_cells(table: TrimTable, at: tuple[int, int, int]) -> list[str]:
    """Trim, untrimmed pulse, dead time and highest duty of every set; blank where unknown."""
    out = []
    for item in table.sets:
        out += [
            number(item.trim_percent[at], 1, True),
            "" if item.total_pulse_s is None else number(item.total_pulse_s[at[:2]] * 1e3, 3),
            "" if item.dead_time_s is None else number(item.dead_time_s * 1e3, 3),
            "" if item.duty is None else number(item.duty[at[:2]] * 100.0, 1),
        ]
    return out


def set_words(item: SetPulses) -> str:
    """One set of injectors in words: name, place, share, what it answers to."""
    does = "takes the trims" if item.trimmed else (
        "follows the air" if item.follows_air else "not trimmed")
    return f"{item.name}, {item.place}, {item.share * 100:.4g} % of the fuel, {does}"


def _pulse(table: TrimTable, i: int, j: int) -> list[str]:
    """Untrimmed total pulse and dead time of a cell in ms, blank where unknown."""
    if table.total_pulse_s is None or table.dead_time_s is None:
        return ["", ""]
    return [number(table.total_pulse_s[i, j] * 1e3, 3), number(table.dead_time_s * 1e3, 3)]


def _heading(table: TrimTable) -> dict[str, str]:
    """Remarks above the table."""
    head = {
        "title": table.title, "case": table.case_hash, "model": table.model,
        "policy": table.policy, "evidence": table.evidence, "step": f"{table.step:g}",
        "percent on": table.trim_on, "fuel": table.fuel,
        "lambda target": f"{table.lambda_target:g}", "band level": f"{table.level:g}",
        **table.extra,
    }
    for k, part in enumerate(table.sets, start=1):
        head[f"set {k}"] = set_words(part)
    for k, item in enumerate(table.gate.open, start=1):
        head[f"to confirm {k}"] = item.text
    for k, text in enumerate((*table.cautions, *table.flips), start=1):
        head[f"caution {k}"] = text
    return {key: " ".join(str(value).split()) for key, value in head.items()}


@dataclass(frozen=True)
class FilledSheet:
    """A sheet read back: M rows as written, with what was measured (NaN where left blank)."""

    path: Path
    heading: Mapping[str, str]
    cylinder: np.ndarray[Any, np.dtype[np.int64]]
    rpm: FloatArray
    pressure_pa: FloatArray
    deviation_percent: FloatArray
    low_percent: FloatArray
    high_percent: FloatArray
    trim_shown: FloatArray
    trim_on: tuple[str, ...]
    total_pulse_s: FloatArray
    dead_time_s: FloatArray
    trim_in_engine_percent: FloatArray
    lambda_measured: FloatArray
    egt_degc: FloatArray
    notes: tuple[str, ...]


_NUMBERS: Final = (
    "cylinder", "rpm", "pressure_kpa_abs", "deviation_percent", "low_percent", "high_percent",
    "trim_percent", "total_pulse_ms", "dead_time_ms", "trim_in_engine_percent", "lambda_measured",
    "egt_degc",
)


def read_sheet(path: str | Path) -> FilledSheet:
    """Read a filled sheet. InputError lists every cell that is no number, with line and column.

    A lambda typed without the trim that was in the engine is refused: the new trim depends on it.
    """
    layout = find_layout(Path(path), COLUMNS, units_row=False)
    codec = {"cp1252": "cp1252", "utf-16": "utf-16"}.get(layout.encoding, "utf-8-sig")
    lines = layout.path.read_bytes().decode(codec, errors="replace").splitlines()
    problems: list[Problem] = []
    columns: dict[str, list[float]] = {name: [] for name in _NUMBERS}
    notes: list[str] = []
    basis: list[str] = []
    numbers: list[int] = []
    for at in range(layout.header_line, len(lines)):
        if not lines[at].strip(" \t,;|"):
            continue
        cells = split_line(lines[at], layout.delimiter)
        if len(cells) != len(layout.names):
            problems.append(Problem(
                "line", f"{len(cells)} cells", f"{len(layout.names)} as in the header",
                "a decimal comma inside a comma-separated file splits a number",
                str(layout.path), at + 1, "width",
            ))
            continue
        numbers.append(at + 1)
        for name in _NUMBERS:
            where = layout.names.index(name)
            columns[name].append(_cell(cells[where], name, where, at + 1, layout.path, problems))
        notes.append(cells[layout.names.index("notes")])
        basis.append(cells[layout.names.index("trim_on")])
        if basis[-1] not in BASES:
            problems.append(Problem("trim_on", f'"{basis[-1]}"', ", ".join(BASES), "",
                                    str(layout.path), at + 1, "cell"))
    data = {name: np.array(values) for name, values in columns.items()}
    if not problems:
        problems = _sheet_problems(data, basis, numbers, layout.path)
    if problems:
        raise InputError(problems)
    heading = dict(_remark(line) for line in layout.metadata if ":" in line)
    return FilledSheet(
        layout.path, heading, data["cylinder"].astype(np.int64), data["rpm"],
        data["pressure_kpa_abs"] * 1e3, data["deviation_percent"], data["low_percent"],
        data["high_percent"], data["trim_percent"], tuple(basis), data["total_pulse_ms"] / 1e3,
        data["dead_time_ms"] / 1e3, data["trim_in_engine_percent"], data["lambda_measured"],
        data["egt_degc"], tuple(notes),
    )


def _remark(line: str) -> tuple[str, str]:
    key, _, value = line.strip().strip('"').lstrip("#").partition(":")
    return key.strip(), value.strip().rstrip(",;")


def _cell(
    text: str, name: str, where: int, line: int, path: Path, problems: list[Problem]
) -> float:
    if text.strip().lower() in MISSING:
        return float("nan")
    try:
        return read_number(text)
    except (NumeralError, ValueError) as error:
        hint = error.hint if isinstance(error, NumeralError) else ""
        problems.append(Problem(
            f'column {where + 1} "{name}"', f'"{text}"', "a number or a blank",
            hint.replace(" {unit}", ""), str(path), line, "cell",
        ))
        return float("nan")


def _sheet_problems(
    data: Mapping[str, FloatArray], basis: list[str], lines: list[int], path: Path
) -> list[Problem]:
    """Rows that cannot be used as filled in."""
    problems = []
    if not lines:
        return [Problem("file", "no rows", "the rows of the sheet", "", str(path))]
    for k, line in enumerate(lines):
        def bad(where: str, read: str, allowed: str, hint: str = "", at: int = line) -> None:
            problems.append(Problem(where, read, allowed, hint, str(path), at, "sheet"))

        for name in ("cylinder", "rpm", "pressure_kpa_abs"):
            if not np.isfinite(data[name][k]):
                bad(name, "a blank", "the number that the sheet was written with")
        lam = data["lambda_measured"][k]
        if np.isfinite(lam):
            if not 0.4 <= lam <= 2.0:
                bad("lambda_measured", f"{lam:g}", "lambda from 0.4 to 2",
                    "an air-fuel ratio? Divide by the scale of the display" if lam > 2 else "")
            if not np.isfinite(data["trim_in_engine_percent"][k]):
                bad("trim_in_engine_percent", "a blank beside a measured lambda",
                    "the trim that was active, 0 if none")
            if basis[k] == "total pulse" and not (
                data["total_pulse_ms"][k] > data["dead_time_ms"][k] > 0.0
            ):
                bad("total_pulse_ms", f'{data["total_pulse_ms"][k]:g} ms with '
                    f'{data["dead_time_ms"][k]:g} ms dead time',
                    "a pulse longer than its dead time, for a percent on total pulse")
    return problems
