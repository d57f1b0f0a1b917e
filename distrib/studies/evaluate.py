"""What is evaluated: chunks of points in, rows of figures out, the same on every machine.

A chunk is a fixed run of consecutive points; its borders belong to the study, so that a row
never depends on how many workers there were, which of them died, or where a study was resumed.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from distrib.errors import DistribError, InputError
from distrib.results import FloatArray, IntArray

_SHAPE = struct.Struct("<III")


@dataclass(frozen=True)
class Chunk:
    """Consecutive points of one study: `number` from 0, `indices` (n,), `points` (n, k).

    `seeds` (n,) are one per point, derived from the study's seed and the point's index alone.
    """

    number: int
    indices: IntArray
    points: FloatArray
    seeds: NDArray[np.uint64]


@dataclass(frozen=True)
class Rows:
    """Figures of one chunk: `values` (n, m), NaN where there is none; `reasons` (n,) why not."""

    values: FloatArray
    reasons: tuple[str, ...]


class Evaluate(Protocol):
    """Turns a chunk into rows. Must be picklable to run in other processes."""

    def __call__(self, chunk: Chunk) -> Rows: ...


@dataclass(frozen=True)
class Task:
    """One point for a function that takes one at a time."""

    index: int
    point: FloatArray
    seed: int


@dataclass(frozen=True)
class PerTask:
    """Evaluate by `function(task) -> row of width figures`, one point after the other.

    A DistribError (a point that has no solution, a value the case refuses) becomes a row of NaN
    with the message as reason; any other exception is a fault of the program and ends the study.
    """

    function: Callable[[Task], FloatArray]
    width: int

    def __call__(self, chunk: Chunk) -> Rows:
        values = np.full((chunk.indices.size, self.width), np.nan)
        reasons = [""] * chunk.indices.size
        for i in range(chunk.indices.size):
            task = Task(int(chunk.indices[i]), chunk.points[i], int(chunk.seeds[i]))
            try:
                values[i] = self.function(task)
            except DistribError as error:
                reasons[i] = first_line(error)
        return Rows(values, tuple(reasons))


def first_line(error: BaseException) -> str:
    """First line of an error's text, for a table cell; without the place of the file, so that a
    table is the same wherever it was made.
    """
    text = str(error).strip()
    if isinstance(error, InputError) and error.problems:
        text = str(replace(error.problems[0], file="", line=None))
    return text.splitlines()[0] if text else type(error).__name__


def point_seeds(seed: int, indices: IntArray) -> NDArray[np.uint64]:
    """One seed per point from the study's seed and the point's index alone, (n,).

    By numpy's SeedSequence (hashing, so that neighbours are unrelated). A numba or numpy
    generator is seeded with it inside the point.
    """
    return np.array(
        [np.random.SeedSequence([seed, int(i)]).generate_state(1, np.uint64)[0] for i in indices],
        dtype=np.uint64,
    )


def pack_rows(rows: Rows) -> bytes:
    """Bytes of one chunk's rows for the log."""
    n, m = rows.values.shape
    said = {str(i): text for i, text in enumerate(rows.reasons) if text}
    reasons = json.dumps(said).encode() if said else b""
    values = np.ascontiguousarray(rows.values, dtype="<f8").tobytes()
    return _SHAPE.pack(n, m, len(reasons)) + values + reasons


def unpack_rows(data: bytes) -> Rows:
    """The rows that `pack_rows` wrote."""
    n, m, length = _SHAPE.unpack(data[: _SHAPE.size])
    end = _SHAPE.size + 8 * n * m
    values = np.frombuffer(data[_SHAPE.size:end], dtype="<f8").reshape(n, m).astype(np.float64)
    said: Mapping[str, Any] = json.loads(data[end:end + length]) if length else {}
    return Rows(values, tuple(str(said.get(str(i), "")) for i in range(n)))
