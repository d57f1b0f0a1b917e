"""Batches of points on standing workers, each figure remembered on disk as it comes.

A search asks for one generation after the other. The pool keeps its workers between them, and
with a log every finished point is written at once: when the same search is started again it asks
for the same points in the same order, and takes what is there.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np

from distrib.results import FloatArray
from distrib.studies.backends import Backend, local_backend
from distrib.studies.evaluate import Chunk, Evaluate, Rows, pack_rows, unpack_rows
from distrib.studies.log import StudyLog, open_log

_LENGTH = struct.Struct("<I")


class Pool:
    """Evaluates batches: `pool(points (n, k)) -> (n, m)`; use as a context manager.

    `told(count)` is called for each point that was evaluated (not for remembered ones). A point
    without figures is a row of NaN; it is remembered too.
    """

    def __init__(self, evaluate: Evaluate, width: int, *, jobs: int = 1, how: str = "processes",
                 scheduler: str | None = None, remember: Path | None = None,
                 identity: Mapping[str, Any] | None = None, resume: bool = False,
                 told: Callable[[int], None] | None = None) -> None:
        self.width = width
        self.evaluated = 0
        self.remembered = 0
        self._number = 0
        self._told = told
        self._known: dict[bytes, FloatArray] = {}
        self._log: StudyLog | None = None
        if remember is not None:
            self._log = open_log(remember, dict(identity or {}), resume=resume)
            for record in self._log.records():
                key, rows = _unpack(self._log.payload(record))
                self._known[key] = rows.values[0]
        self._backend: Backend | None = None
        self._start: Callable[[], Backend] = lambda: _backend(
            evaluate, jobs, how, scheduler, dict(identity or {}))

    def __call__(self, points: FloatArray) -> FloatArray:
        keys = [p.tobytes() for p in points]
        new = {key: i for i, key in enumerate(keys) if key not in self._known}
        self.remembered += len(keys) - len(new)
        for i, row in self._run(points, sorted(new.values())):
            self._known[keys[i]] = row
        return np.stack([self._known[key] for key in keys]) if keys else np.zeros((0, self.width))

    def _run(self, points: FloatArray, new: list[int]) -> Iterator[tuple[int, FloatArray]]:
        if not new:
            return
        if self._backend is None:
            self._backend = self._start()
        todo = iter(new)
        running: dict[int, int] = {}
        while True:
            while len(running) < self._backend.capacity and (i := next(todo, None)) is not None:
                running[self._number] = i
                self._backend.submit(Chunk(self._number, np.array([i]), points[i][None, :].copy(),
                                           np.zeros(1, dtype=np.uint64)))
                self._number += 1
            if not running:
                return
            for number, rows in self._backend.collect():
                i = running.pop(number)
                self.evaluated += 1
                if self._log is not None:
                    self._log.append(self.evaluated, _pack(points[i].tobytes(), rows))
                if self._told is not None:
                    self._told(1)
                yield i, rows.values[0]

    def forget(self) -> None:
        """Remove the log: the work it was for is done."""
        if self._log is not None:
            self._log.path.unlink(missing_ok=True)

    def __enter__(self) -> Pool:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        if self._backend is not None:
            self._backend.close()
        if self._log is not None:
            if not self._known:
                self.forget()
            self._log.close()


def _backend(evaluate: Evaluate, jobs: int, how: str, scheduler: str | None,
             identity: Mapping[str, Any]) -> Backend:
    if scheduler is None:
        return local_backend(evaluate, jobs, how)
    from distrib.studies.cluster import Cluster

    return Cluster(evaluate, scheduler, identity)


def _pack(key: bytes, rows: Rows) -> bytes:
    return _LENGTH.pack(len(key)) + key + pack_rows(rows)


def _unpack(data: bytes) -> tuple[bytes, Rows]:
    (length,) = _LENGTH.unpack(data[:_LENGTH.size])
    start = _LENGTH.size + length
    return data[_LENGTH.size:start], unpack_rows(data[start:])
