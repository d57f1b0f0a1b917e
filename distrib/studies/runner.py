"""Run a study: every finished chunk on disk at once, resumable, the same table in the end.

    study = Study(plan, evaluate, columns)
    outcome = run_study(study, Path("out.csv"), jobs=2)

While the study runs, `out.csv.log` holds what is finished. When all points are done the table is
written in the order of the points and put in its place in one step, then the log is removed. A
study that was killed at any moment and resumed ends with the same bytes.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from distrib.errors import DistribError, InputError, Problem
from distrib.files import atomic, naming
from distrib.results import FloatArray, IntArray
from distrib.studies.backends import Backend, StudyFailed, local_backend
from distrib.studies.evaluate import Chunk, Evaluate, Rows, pack_rows, point_seeds, unpack_rows
from distrib.studies.log import StudyLog, identity_text, open_log
from distrib.studies.plan import Dimension, Plan
from distrib.studies.progress import Progress
from distrib.studies.table import Column, format_of, write_table

REASON = "no_figure_because"
"""Column of a table that says why a row has no figures."""


class Interrupted(DistribError):  # noqa: N818 - said in words
    """A study stopped by Ctrl-C; the message says what is there and how to go on."""

    exit_code = 130


@dataclass(frozen=True)
class Study:
    """What is to be done.

    `evaluate` yields one figure per entry of `columns` for each point of `plan`, `chunk` points
    at a time. `identity` says what `evaluate` is (case hash, model, options), so that a log is
    only resumed by the study that began it. `how` is the local backend for several jobs.
    """

    plan: Plan
    evaluate: Evaluate
    columns: tuple[Column, ...]
    identity: Mapping[str, Any] = field(default_factory=dict)
    seed: int = 1
    chunk: int = 1
    how: str = "processes"

    def full_identity(self) -> dict[str, Any]:
        """Everything the rows depend on, in plain form."""
        from distrib import __version__

        return {"distrib": __version__, "plan": self.plan.identity(), "seed": self.seed,
                "chunk": self.chunk, "columns": [[c.name, c.kind] for c in self.columns],
                "of": dict(self.identity)}


@dataclass(frozen=True)
class Outcome:
    """What a study left: the table's path, points in all, failed, and taken over from the log."""

    path: Path
    points: int
    failed: int
    resumed: int


def log_path(out: Path) -> Path:
    """Where the log of a study with the table `out` lies."""
    return Path(f"{out}.log")


def partial_path(out: Path) -> Path:
    """Where the finished rows go when a study is interrupted."""
    return out.with_name(f"{out.stem}.partial{out.suffix}")


def record_path(out: Path) -> Path:
    """Where it stands beside a finished table what the study was, with the table's sha256."""
    return Path(f"{out}.json")


def run_study(study: Study, out: Path, *, jobs: int = 1, scheduler: str | None = None,
              resume: bool = False, progress: bool = True,
              how_to_resume: str = "the same call with resume=True") -> Outcome:
    """Run or continue a study and write its table to `out`.

    jobs: processes or threads here. scheduler: address of a dask.distributed scheduler, instead.
    Raises InputError (an unfinished or other study is there), Interrupted on Ctrl-C, StudyFailed.
    """
    out = Path(out)
    format_of(out)
    if jobs < 1:
        raise InputError([Problem("jobs", str(jobs), "1 or more")])
    if resume and not log_path(out).exists() and (finished := _finished(study, out)):
        return finished
    log = open_log(log_path(out), study.full_identity(), resume=resume)
    try:
        with _Offsets(_chunks(study), out.parent) as offsets:
            already = _take_over(study, log, offsets)
            bar = Progress(study.plan.count, already=already, quiet=not progress)
            try:
                _work(study, log, offsets, jobs, scheduler, bar)
                failed = _write(study, log, offsets, out)
            except KeyboardInterrupt:
                raise _interrupted(study, log, offsets, out, bar, how_to_resume) from None
            except (StudyFailed, OSError) as error:
                raise StudyFailed(
                    f"{_said(error)}. {bar.done} of {bar.total} points are finished and kept"
                    + (f"; to go on: {how_to_resume}" if bar.done else "")) from error
            finally:
                bar.close()
                if bar.done == 0:
                    log_path(out).unlink(missing_ok=True)
        outcome = Outcome(out, study.plan.count, failed, already)
        _record(study, outcome)
        partial_path(out).unlink(missing_ok=True)
        log_path(out).unlink(missing_ok=True)
        return outcome
    finally:
        log.close()


def _said(error: Exception) -> str:
    """The words of an error; of the system's with the file, if it has one."""
    if isinstance(error, OSError) and error.strerror:
        return f"{error.filename}: {error.strerror}" if error.filename else error.strerror
    return str(error)


def _interrupted(study: Study, log: StudyLog, offsets: _Offsets, out: Path, bar: Progress,
                 how_to_resume: str) -> Interrupted:
    """Write what is finished to the partial table; return the error that says so."""
    bar.close()
    if bar.done == 0:
        return Interrupted(f"stopped before the first of {bar.total} points was finished")
    log.sync()
    kept = partial_path(out)
    _write(study, log, offsets, kept)
    return Interrupted(f"stopped after {bar.done} of {bar.total} points. The finished rows are in "
                       f"{kept}; nothing is lost. To go on: {how_to_resume}")


def _digest(path: Path) -> str:
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _record(study: Study, outcome: Outcome) -> None:
    """Say beside the table what made it."""
    said = {"study": study.full_identity(), "table": outcome.path.name,
            "sha256": _digest(outcome.path), "points": outcome.points, "failed": outcome.failed}
    with atomic(record_path(outcome.path)) as file:
        file.write(json.dumps(said, indent=1, sort_keys=True) + "\n")


def _finished(study: Study, out: Path) -> Outcome | None:
    """The outcome of this very study when its table is there already and untouched."""
    try:
        said = json.loads(record_path(out).read_text(encoding="utf-8"))
        same = identity_text(said["study"]) == identity_text(study.full_identity())
        if same and said["sha256"] == _digest(out):
            return Outcome(out, study.plan.count, int(said["failed"]), study.plan.count)
    except (OSError, ValueError, KeyError):
        return None
    return None


class _Offsets:
    """Offset of each finished chunk in the log, 0 for none: a mapped file, not memory."""

    def __init__(self, count: int, folder: Path) -> None:
        with naming(folder):
            self._file = tempfile.TemporaryFile(dir=folder)  # noqa: SIM115 - closed in __exit__
            _reserve(self._file.fileno(), 8 * max(count, 1))
        self.array: IntArray = np.memmap(self._file, dtype=np.int64, mode="r+",
                                         shape=(max(count, 1),))
        self.count = count

    def __enter__(self) -> _Offsets:
        return self

    def __exit__(self, *_: object) -> None:
        del self.array
        self._file.close()


def _reserve(handle: int, size: int) -> None:
    """Take the room of a file now: a mapped file on a full disk would end the program."""
    if hasattr(os, "posix_fallocate"):
        os.posix_fallocate(handle, 0, size)
    else:
        os.truncate(handle, size)


def _chunks(study: Study) -> int:
    return -(-study.plan.count // study.chunk)


def _take_over(study: Study, log: StudyLog, offsets: _Offsets) -> int:
    """Note what the log holds; return the number of finished points."""
    for record in log.records():
        if record.number < offsets.count:
            offsets.array[record.number] = record.offset
    points = int(np.count_nonzero(offsets.array[:offsets.count])) * study.chunk
    last_is_there = offsets.count > 0 and offsets.array[offsets.count - 1] > 0
    return points - (offsets.count * study.chunk - study.plan.count if last_is_there else 0)


def _backend(study: Study, jobs: int, scheduler: str | None) -> Backend:
    if scheduler is not None:
        from distrib.studies.cluster import Cluster

        return Cluster(study.evaluate, scheduler, study.full_identity())
    return local_backend(study.evaluate, jobs, study.how)


def study_chunks(study: Study, skip: IntArray | None = None) -> Iterator[Chunk]:
    """The chunks of a study in order, without those whose entry in `skip` is not 0."""
    for number, points in enumerate(study.plan.blocks(study.chunk)):
        if skip is None or not skip[number]:
            start = number * study.chunk
            indices = np.arange(start, start + points.shape[0])
            yield Chunk(number, indices, points, point_seeds(study.seed, indices))


def _work(study: Study, log: StudyLog, offsets: _Offsets, jobs: int, scheduler: str | None,
          bar: Progress) -> None:
    """Work off what is missing."""
    if bar.done >= bar.total:
        return
    left = int(np.count_nonzero(offsets.array[:offsets.count] == 0))
    backend = _backend(study, min(jobs, left), scheduler)
    try:
        for number, rows in _worked_off(study_chunks(study, offsets.array), backend):
            offsets.array[number] = log.append(number, pack_rows(rows))
            bar.update(rows.values.shape[0])
    finally:
        backend.close()


def _worked_off(todo: Iterator[Chunk], backend: Backend) -> Iterator[tuple[int, Rows]]:
    """Keep the backend full; yield (number, rows) as they come."""
    outstanding = 0
    while True:
        while outstanding < backend.capacity and (chunk := next(todo, None)) is not None:
            backend.submit(chunk)
            outstanding += 1
        if not outstanding:
            return
        for number, rows in backend.collect():
            outstanding -= 1
            yield number, rows


def _write(study: Study, log: StudyLog, offsets: _Offsets, out: Path) -> int:
    """Write the finished rows in order of the points; return how many of them failed."""
    columns = table_columns(study)
    failed = 0

    def blocks() -> Iterator[Sequence[Sequence[Any]]]:
        nonlocal failed
        for number, points in enumerate(study.plan.blocks(study.chunk)):
            offset = int(offsets.array[number])
            if offset:
                rows = unpack_rows(log.payload_at(offset))
                failed += sum(bool(reason) for reason in rows.reasons)
                yield _table_rows(study, number * study.chunk, points, rows)

    write_table(out, columns, blocks())
    return failed


def table_columns(study: Study) -> list[Column]:
    """Columns of the table: point, the dimensions, the figures, and why there are none."""
    kinds = [Column(d.column, "text" if d.choices else "float") for d in study.plan.dimensions]
    return [Column("point", "int"), *kinds, *study.columns, Column(REASON, "text")]


def _table_rows(study: Study, start: int, points: FloatArray, rows: Rows) -> list[list[Any]]:
    dims = study.plan.dimensions
    return [
        [start + i, *(_shown(d, points[i, j]) for j, d in enumerate(dims)),
         *(float(v) for v in rows.values[i]), rows.reasons[i]]
        for i in range(points.shape[0])
    ]


def _shown(dimension: Dimension, coordinate: float) -> str | float:
    return dimension.choices[int(coordinate)] if dimension.choices else float(coordinate)
