"""The tuner's trim sheet: a table of cells (speed by load) and cylinders, with blanks to fill in.

Written as CSV that a spreadsheet may save again; `sheet_read` reads it back.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from distrib.calibration.entries import BLANKS, Entries, run_columns
from distrib.calibration.gate import Gate
from distrib.calibration.pulses import SetPulses
from distrib.results import FloatArray

COLUMNS: Final = (
    "cylinder", "distance_from_entry_mm", "rpm", "pressure_kpa_abs", "deviation_percent",
    "low_percent", "high_percent", "verdict", "lambda_equal_fuel", "trim_percent", "trim_on",
    "total_pulse_ms", "dead_time_ms", "trim_in_engine_percent", "lambda_measured", "egt_degc",
    "knock", "notes",
)
NEED_COLUMN: Final = "needed_percent"
"""The full need: predicted, fuel at the ports over the mean; measured, the trim for the target."""
BASE_COLUMN: Final = "base_map_percent"
"""What the base map is to be moved by; only where there is something to move."""
TARGET_COLUMN: Final = "lambda_target"
READ_COLUMN: Final = "lambda_read"
WHY_COLUMN: Final = "why"
"""Lambda as read in the run that the trims follow from, and why each is what it is."""
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
    target: FloatArray | None = None
    measured: MeasuredCells | None = None

    def cells(self) -> Iterator[tuple[int, int]]:
        """Indices of the cells to show, speeds slowest: of measured sheets those it holds."""
        for i in range(len(self.rpm)):
            for j in range(len(self.pressure_pa)):
                if self.measured is None or self.measured.held[i, j]:
                    yield i, j

    def target_at(self, i: int, j: int) -> float:
        """Target lambda of a cell."""
        return self.lambda_target if self.target is None else float(self.target[i, j])


@dataclass(frozen=True)
class MeasuredCells:
    """What a sheet made from measurements has beside a predicted one, (R, C) or (R, C, N).

    `held` cells that stand on it, `mean_lambda` of the run the trims follow from, `lambda_read` and
    `trim_now` (as typed) by cylinder, `why` in words; `stops` (R, C) the banner of a base map that
    is off, empty elsewhere. `runs` are the entries of earlier runs, the oldest first; `pending`
    what was written in cells that are not complete yet.
    """

    held: np.ndarray[Any, np.dtype[np.bool_]]
    mean_lambda: FloatArray
    lambda_read: FloatArray
    trim_now: FloatArray
    why: np.ndarray[Any, np.dtype[np.object_]]
    stops: np.ndarray[Any, np.dtype[np.object_]]
    runs: tuple[Entries, ...]
    pending: Entries


def number(value: float, digits: int = 1, sign: bool = False) -> str:
    """A number for a table; blank for NaN, and no minus zero."""
    if not np.isfinite(value):
        return ""
    rounded = round(float(value), digits) + 0.0
    return f"{rounded:{'+' if sign else ''}.{digits}f}"


def to_csv(table: TrimTable) -> str:
    """The sheet as CSV text: remarks in lines that begin with #, then a row per cell and cylinder.

    Measured columns are left blank for the tuner. The full need, a move of the base map, target,
    reading and reason, sets of injectors and earlier runs stand in further columns.
    """
    out = io.StringIO()
    out.write(FIRST_LINE + "\n")
    for key, value in _heading(table).items():
        out.write(f"# {key}: {value}\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*COLUMNS, *_further_columns(table), *_set_columns(table)])
    for i, j in table.cells():
        pulse = _pulse(table, i, j)
        for c, cylinder in enumerate(table.cylinders):
            at = (i, j, c)
            blanks = [""] * len(BLANKS)
            if table.measured is not None:
                blanks = table.measured.pending.cells(at)
            writer.writerow([
                cylinder, number(table.distance_from_entry_m[c] * 1e3, 0), f"{table.rpm[i]:.6g}",
                f"{table.pressure_pa[j] / 1e3:.6g}", number(table.deviation_percent[at], 2, True),
                number(table.low_percent[at], 2, True), number(table.high_percent[at], 2, True),
                str(table.verdict[at]), number(table.lambda_equal_fuel[at], 3),
                number(table.trim_shown[at], 1, True), table.trim_on, *pulse, *blanks,
                *_further_cells(table, at), *_set_cells(table, at),
            ])
    return out.getvalue()


def _moves_base(table: TrimTable) -> bool:
    return bool(np.any(np.nan_to_num(table.base_percent) != 0.0))


def _further_columns(table: TrimTable) -> list[str]:
    out = [NEED_COLUMN, *([BASE_COLUMN] if _moves_base(table) else []), TARGET_COLUMN]
    if table.measured is not None:
        out += [READ_COLUMN, WHY_COLUMN]
        for k in range(1, len(table.measured.runs) + 1):
            out += run_columns(k)
    return out


def _further_cells(table: TrimTable, at: tuple[int, int, int]) -> list[str]:
    out = [number(table.needed_percent[at], 2, True)]
    if _moves_base(table):
        out.append(number(table.base_percent[at[:2]], 1, True))
    out.append(f"{table.target_at(*at[:2]):.4g}")
    if table.measured is not None:
        out += [number(table.measured.lambda_read[at], 3), str(table.measured.why[at])]
        for run in table.measured.runs:
            out += run.cells(at)
    return out


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
    stops = stop_texts(table)
    head = {
        **{f"stop {k}": text for k, text in enumerate(stops, start=1)},
        "title": table.title, "case": table.case_hash, "model": table.model,
        "policy": table.policy, "evidence": table.evidence, "step": f"{table.step:g}",
        "percent on": table.trim_on, "fuel": table.fuel,
        "lambda target": target_words(table), "band level": f"{table.level:g}",
        **table.extra,
    }
    for k, part in enumerate(table.sets, start=1):
        head[f"set {k}"] = set_words(part)
    for k, item in enumerate(table.gate.open, start=1):
        head[f"to confirm {k}"] = item.text
    for k, text in enumerate((*table.cautions, *table.flips), start=1):
        head[f"caution {k}"] = text
    return {key: " ".join(str(value).split()) for key, value in head.items()}


def stop_texts(table: TrimTable) -> list[str]:
    """Banners of the cells whose base map is off, in the order of the cells."""
    if table.measured is None:
        return []
    return [str(table.measured.stops[at]) for at in table.cells() if table.measured.stops[at]]


def target_words(table: TrimTable) -> str:
    """The target lambda, or from where to where it goes over the cells."""
    found = [table.target_at(i, j) for i, j in table.cells()]
    low, high = min(found, default=table.lambda_target), max(found, default=table.lambda_target)
    return f"{low:.4g}" if high - low < 5e-5 else f"{low:.4g} to {high:.4g} by cell"
