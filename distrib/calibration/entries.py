"""What a person wrote on a trim sheet for one run, and how it travels on to the next sheet."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from distrib.calibration.layout import MISSING
from distrib.results import FloatArray

Texts = np.ndarray[Any, np.dtype[np.object_]]

BLANKS: Final = ("trim_in_engine_percent", "lambda_measured", "egt_degc", "knock", "notes")
"""Columns that are written blank, for one run."""
NO_KNOCK: Final = frozenset({"0", "0.0", "0,0", "no", "n", "none"})
"""Entries (lower case) that say: watched, and none heard."""


@dataclass(frozen=True)
class Entries:
    """Entries of one run, all of one shape; NaN and empty texts where left blank.

    `trim_percent` as typed: on the basis of the sheet, for the trimmed sets.
    """

    trim_percent: FloatArray
    lambda_measured: FloatArray
    egt_degc: FloatArray
    knock: Texts
    notes: Texts

    def at(self, index: Any) -> Entries:
        """The entries of some rows."""
        return Entries(self.trim_percent[index], self.lambda_measured[index], self.egt_degc[index],
                       self.knock[index], self.notes[index])

    def placed(self, shape: Sequence[int], where: Any) -> Entries:
        """The entries in a larger array of that shape, the rest blank."""
        def numbers(values: FloatArray) -> FloatArray:
            out = np.full(shape, np.nan)
            out[where] = values
            return out

        def texts(values: Texts) -> Texts:
            out = np.full(shape, "", dtype=object)
            out[where] = values
            return out

        return Entries(numbers(self.trim_percent), numbers(self.lambda_measured),
                       numbers(self.egt_degc), texts(self.knock), texts(self.notes))

    def over(self, other: Entries) -> Entries:
        """These entries where anything was written, else those of the other, cell by cell."""
        mine = self.written()
        return Entries(*(np.where(mine, a, b) for a, b in (
            (self.trim_percent, other.trim_percent), (self.lambda_measured, other.lambda_measured),
            (self.egt_degc, other.egt_degc), (self.knock, other.knock),
            (self.notes, other.notes))))

    def written(self) -> np.ndarray[Any, np.dtype[np.bool_]]:
        """Where anything was written."""
        numbers = (self.trim_percent, self.lambda_measured, self.egt_degc)
        filled = np.any([np.isfinite(v) for v in numbers], axis=0)
        return np.asarray(filled | (self.knock != "") | (self.notes != ""), dtype=np.bool_)

    def knock_number(self) -> FloatArray:
        """0 watched and none, 1 noted, NaN blank: any other word or number counts as knock."""
        def one(text: object) -> float:
            said = str(text).strip().lower()
            if said in NO_KNOCK:
                return 0.0
            return float("nan") if said in MISSING else 1.0

        return np.asarray(np.vectorize(one, otypes=[np.float64])(self.knock), dtype=np.float64)

    def cells(self, at: Any) -> list[str]:
        """One row as it is written on a sheet, in the order of BLANKS."""
        numbers = (self.trim_percent[at], self.lambda_measured[at], self.egt_degc[at])
        return [*(f"{v:.6g}" if np.isfinite(v) else "" for v in numbers), str(self.knock[at]),
                str(self.notes[at])]


def run_columns(number: int) -> list[str]:
    """Names of the columns of an earlier run; run 1 is the oldest."""
    return [f"run_{number}_{name}" for name in BLANKS]


def runs_on(names: Sequence[str]) -> list[int]:
    """Numbers of the earlier runs whose columns all stand in a header."""
    out: list[int] = []
    while set(run_columns(len(out) + 1)) <= set(names):
        out.append(len(out) + 1)
    return out


def blank_entries(shape: Sequence[int]) -> Entries:
    """Nothing written."""
    nan = np.full(shape, np.nan)
    empty = np.full(shape, "", dtype=object)
    return Entries(nan, nan, nan, empty, empty)


def entries_from(
    columns: Mapping[str, FloatArray], texts: Mapping[str, Sequence[str]],
    name: Callable[[str], str],
) -> Entries:
    """Entries from columns as read; `name` turns a name of BLANKS into that of its column."""
    def numbers(key: str) -> FloatArray:
        return np.asarray(columns[name(key)], dtype=np.float64)

    def words(key: str) -> Texts:
        return np.array([t.strip() for t in texts[name(key)]], dtype=object)

    return Entries(numbers("trim_in_engine_percent"), numbers("lambda_measured"),
                   numbers("egt_degc"), words("knock"), words("notes"))
