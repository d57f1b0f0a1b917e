"""Measured points that laws are compared with: our own csv files with their source in the header.

A file starts with comment lines `# key: text` (title, source, how, reading error), then a row of
column names, then numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Series:
    """One set of points. `columns` maps the name of each column to its values, in file order."""

    name: str
    title: str
    source: str
    how: str
    reading_error: str
    columns: Mapping[str, FloatArray]

    @property
    def x(self) -> FloatArray:
        """Values of the first column."""
        return next(iter(self.columns.values()))

    @property
    def y(self) -> FloatArray:
        """Values of the second column."""
        return list(self.columns.values())[1]


def series_names() -> tuple[str, ...]:
    """Names of all series, sorted."""
    folder = resources.files("distrib.losses") / "data"
    return tuple(sorted(f.name[:-4] for f in folder.iterdir() if f.name.endswith(".csv")))


def series(name: str) -> Series:
    """The series of a name; KeyError with the known names when there is none."""
    if name not in series_names():
        raise KeyError(f"{name!r} is no measured series; known: {', '.join(series_names())}")
    text = (resources.files("distrib.losses") / "data" / f"{name}.csv").read_text("utf-8")
    lines = text.splitlines()
    header = dict(line[2:].split(": ", 1) for line in lines if line.startswith("# "))
    rows = [line for line in lines if line and not line.startswith("#")]
    values = np.array([[float(cell) for cell in row.split(",")] for row in rows[1:]])
    columns = {n: values[:, i] for i, n in enumerate(rows[0].split(","))}
    return Series(name, header["title"], header["source"], header["how"],
                  header["reading error"], columns)


def rms(predicted: FloatArray, measured: FloatArray) -> float:
    """Root of the mean squared difference."""
    return float(np.sqrt(np.mean((predicted - measured) ** 2)))
