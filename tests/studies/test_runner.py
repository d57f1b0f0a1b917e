"""The runner: same table whatever the workers, nothing lost, nothing done twice."""

from __future__ import annotations

import dataclasses
import json
import os
import signal
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from distrib.errors import InputError
from distrib.studies import runner
from distrib.studies.backends import Processes, StudyFailed, Threads
from distrib.studies.evaluate import Chunk, PerTask, Rows, Task, pack_rows, unpack_rows
from distrib.studies.log import StudyLog, open_log, read_head
from distrib.studies.plan import Dimension, Grid
from distrib.studies.runner import (
    Interrupted,
    Study,
    log_path,
    partial_path,
    record_path,
    run_study,
)
from distrib.studies.table import Column, read_table

Make = Callable[..., Study]


def test_table_holds_every_point_in_order(make_study: Make, tmp_path: Path) -> None:
    outcome = run_study(make_study(3, 2, fail_every=4), tmp_path / "t.csv")
    table = read_table(tmp_path / "t.csv")
    assert outcome.points == 6 and outcome.failed == 2 and outcome.resumed == 0
    assert table["point"].tolist() == [0, 1, 2, 3, 4, 5]
    assert table["a.b_mm"].tolist() == [0, 0, 1, 1, 2, 2]
    assert table["c"].tolist() == ["text 0", "text 1"] * 3
    sine = table["sine"]
    expected = np.sin(table["a.b_mm"]) + np.sin([0.0, 1.0] * 3)
    np.testing.assert_array_equal(sine[[1, 2, 3, 5]], expected[[1, 2, 3, 5]])
    assert np.isnan(sine[[0, 4]]).all()
    assert table["no_figure_because"].tolist()[4] == "point 4 is meant to fail"
    assert not log_path(tmp_path / "t.csv").exists()


@pytest.mark.parametrize("how", ["threads", "processes"])
def test_workers_do_not_change_a_byte(make_study: Make, tmp_path: Path, how: str) -> None:
    study = make_study(5, 7, chunk=3, how=how, fail_every=9)
    run_study(study, tmp_path / "one.csv")
    run_study(study, tmp_path / "two.csv", jobs=2)
    assert (tmp_path / "one.csv").read_bytes() == (tmp_path / "two.csv").read_bytes()


def test_chunk_size_does_not_change_rows_of_single_tasks(make_study: Make, tmp_path: Path) -> None:
    run_study(make_study(chunk=1), tmp_path / "one.csv")
    run_study(make_study(chunk=7), tmp_path / "seven.csv")
    assert (tmp_path / "one.csv").read_bytes() == (tmp_path / "seven.csv").read_bytes()


def test_seed_changes_only_the_draws(make_study: Make, tmp_path: Path) -> None:
    run_study(make_study(seed=1), tmp_path / "one.csv")
    run_study(make_study(seed=2), tmp_path / "two.csv")
    one, two = read_table(tmp_path / "one.csv"), read_table(tmp_path / "two.csv")
    assert one["number"].tolist() == two["number"].tolist()
    assert not set(one["draw"].tolist()) & set(two["draw"].tolist())


def test_ctrl_c_leaves_a_partial_table_and_says_how_to_go_on(
        make_study: Make, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out, whole = tmp_path / "t.csv", tmp_path / "whole.csv"
    run_study(make_study(), whole)
    stop = {"after": 8}

    def interrupt(log: object, number: int, payload: bytes) -> int:
        stop["after"] -= 1
        if stop["after"] < 0:
            raise KeyboardInterrupt
        return append(log, number, payload)  # type: ignore[arg-type]

    append = StudyLog.append
    monkeypatch.setattr(StudyLog, "append", interrupt)
    with pytest.raises(Interrupted, match=r"stopped after 8 of 20 points.*--resume") as caught:
        run_study(make_study(), out, how_to_resume="distrib sweep x.toml --resume")
    assert caught.value.exit_code == 130
    monkeypatch.undo()
    partial = partial_path(out).read_text()
    assert whole.read_text().startswith(partial) and partial.count("\n") == 9
    outcome = run_study(make_study(), out, resume=True)
    assert outcome.resumed == 8
    assert out.read_bytes() == whole.read_bytes()
    assert not partial_path(out).exists() and not log_path(out).exists()


def test_unfinished_study_is_never_overwritten_or_mixed(make_study: Make, tmp_path: Path) -> None:
    out = tmp_path / "t.csv"
    log = open_log(log_path(out), make_study().full_identity(), resume=False)
    with pytest.raises(InputError, match="another process is writing"):
        open_log(log_path(out), make_study().full_identity(), resume=True)
    log.close()
    with pytest.raises(InputError, match=r"unfinished study.*--resume"):
        run_study(make_study(), out)
    with pytest.raises(InputError, match=r"seed: read 1 in the unfinished study.*2 as asked now"):
        run_study(make_study(seed=2), out, resume=True)
    foreign = tmp_path / "u.csv"
    log_path(foreign).write_text("somebody's notes, kept in a file of that name")
    with pytest.raises(InputError, match="not a study log"):
        run_study(make_study(), foreign, resume=True)
    assert "somebody" in log_path(foreign).read_text()


def test_resume_of_a_finished_study_does_nothing(make_study: Make, tmp_path: Path) -> None:
    out = tmp_path / "t.csv"
    run_study(make_study(), out)
    before = out.stat().st_mtime_ns
    assert run_study(make_study(), out, resume=True).resumed == 20
    assert out.stat().st_mtime_ns == before
    said = json.loads(record_path(out).read_text())
    assert said["study"]["of"] == {"case": "demo"} and said["points"] == 20
    out.write_text("spoilt")
    assert run_study(make_study(), out, resume=True).resumed == 0
    assert read_table(out)["point"].size == 20


def _log_of(study: Study, path: Path) -> None:
    """A log with every chunk of the study in it."""
    log = open_log(path, study.full_identity(), resume=False)
    for chunk in runner.study_chunks(study):
        log.append(chunk.number, pack_rows(study.evaluate(chunk)))
    log.close()


def test_log_cut_at_any_byte_resumes_to_the_same_table(make_study: Make, tmp_path: Path) -> None:
    study, out = make_study(2, 3, fail_every=5), tmp_path / "t.csv"
    run_study(study, tmp_path / "whole.csv")
    _log_of(study, tmp_path / "full.log")
    data = (tmp_path / "full.log").read_bytes()
    with open(tmp_path / "full.log", "rb") as file:
        head = read_head(file)
    assert head is not None
    cuts = [0, 3, 8, 11, head[1] - 1, head[1], *range(head[1] + 1, len(data), 13), len(data)]
    for cut in cuts:
        log_path(out).write_bytes(data[:cut])
        run_study(study, out, resume=True)
        assert out.read_bytes() == (tmp_path / "whole.csv").read_bytes(), cut
        out.unlink()
        record_path(out).unlink()


def test_spoilt_record_costs_only_itself(make_study: Make, tmp_path: Path) -> None:
    study, out = make_study(2, 3), tmp_path / "t.csv"
    run_study(study, tmp_path / "whole.csv")
    _log_of(study, log_path(out))
    with open(log_path(out), "r+b") as file:
        head = read_head(file)
        assert head is not None
        size = (log_path(out).stat().st_size - head[1]) // 6
        for place in (head[1] + size + size // 2, head[1] + 3 * size + 2):  # payload; frame
            file.seek(place)
            byte = file.read(1)
            file.seek(place)
            file.write(bytes([byte[0] ^ 0x40]))
    outcome = run_study(study, out, resume=True)
    assert outcome.resumed == 4
    assert out.read_bytes() == (tmp_path / "whole.csv").read_bytes()


def test_rows_survive_packing() -> None:
    rows = Rows(np.array([[1.5, np.nan], [-0.0, np.inf]]), ("why: Ä\n", ""))
    back = unpack_rows(pack_rows(rows))
    assert back.values.tobytes() == rows.values.tobytes() and back.reasons == rows.reasons


def _broken(task: Task) -> np.ndarray:
    raise ZeroDivisionError("a fault of the program")


def _suicidal(task: Task) -> np.ndarray:
    os.kill(os.getpid(), signal.SIGKILL)
    return np.zeros(1)


@pytest.mark.parametrize("how,jobs", [("serial", 1), ("threads", 2), ("processes", 2)])
def test_a_fault_names_the_point_and_keeps_what_was_done(
        tmp_path: Path, how: str, jobs: int) -> None:
    plan = Grid((Dimension("x", levels=(1.0, 2.0, 3.0, 4.0)),))
    study = Study(plan, PerTask(_broken, 1), (Column("y"),), how=how)
    with pytest.raises(StudyFailed, match=r"points (\d) to \1: ZeroDivisionError: a fault"):
        run_study(study, tmp_path / "t.csv", jobs=jobs)
    assert not (tmp_path / "t.csv").exists()
    assert not log_path(tmp_path / "t.csv").exists()


def test_a_point_that_kills_its_worker_is_named(tmp_path: Path) -> None:
    plan = Grid((Dimension("x", levels=(1.0, 2.0)),))  # one chunk alone would run in here
    study = Study(plan, PerTask(_suicidal, 1), (Column("y"),))
    with pytest.raises(StudyFailed, match=r"points (\d) to \1: the worker died 3 times.*-9"):
        run_study(study, tmp_path / "t.csv", jobs=2)


def test_a_killed_local_worker_costs_only_its_chunk(make_study: Make, tmp_path: Path) -> None:
    study = make_study(4, 5, seconds=0.05)
    run_study(make_study(4, 5), tmp_path / "whole.csv")
    backend = Processes(study.evaluate, 2)
    try:
        rows: dict[int, Rows] = {}
        chunks = list(runner.study_chunks(study))
        victim = backend._workers[0].process
        for n, (number, row) in enumerate(runner._worked_off(iter(chunks), backend)):
            assert number not in rows
            rows[number] = row
            if n == 3:
                assert victim.pid is not None
                os.kill(victim.pid, signal.SIGKILL)
    finally:
        backend.close()
    table = read_table(tmp_path / "whole.csv")
    assert sorted(rows) == list(range(20))
    assert [rows[i].values[0, 2] for i in range(20)] == table["draw"].tolist()


def test_threads_stop_without_working_off_the_queue() -> None:
    seen: list[int] = []

    def slow(chunk: Chunk) -> Rows:
        seen.append(1)
        time.sleep(0.05)
        return Rows(chunk.points, ("",))

    backend = Threads(slow, 1)
    for i in range(2):
        backend.submit(Chunk(i, np.arange(1), np.zeros((1, 1)), np.zeros(1, np.uint64)))
    backend.close()
    assert len(seen) <= 1


def test_memory_does_not_grow_with_the_number_of_points(tmp_path: Path) -> None:
    """Twenty times the points may cost 100 kB more at most: the runner keeps one chunk, the bar's
    marks and a mapped file; keeping the rows themselves would cost 19 * 2000 * 3 * 8 B = 0.9 MB
    as bare floats and several times that as Python objects."""
    peaks = []
    for count in (2000, 40000):
        dimension = Dimension("x", levels=(0.5,))
        plan = Grid((dimension, Dimension("i", levels=tuple(np.arange(float(count))))))
        study = Study(plan, _three, (Column("a"), Column("b"), Column("c")), chunk=100)
        study.full_identity()
        tracemalloc.start()
        held = tracemalloc.get_traced_memory()[0]
        run_study(dataclasses.replace(study, plan=_Counted(count)), tmp_path / f"{count}.csv")
        peaks.append(tracemalloc.get_traced_memory()[1] - held)
        tracemalloc.stop()
    assert peaks[1] - peaks[0] < 100_000, peaks


@dataclasses.dataclass(frozen=True)
class _Counted:
    """A plan of `count` points that stores none of them."""

    count: int
    dimensions: tuple[Dimension, ...] = (Dimension("x", bounds=(0.0, 1e9)),)

    def blocks(self, size: int):  # type: ignore[no-untyped-def]
        for start in range(0, self.count, size):
            yield np.arange(float(start), float(min(start + size, self.count)))[:, None]

    def identity(self) -> dict[str, object]:
        return {"kind": "counted", "count": self.count}


def _three(chunk: Chunk) -> Rows:
    x = chunk.points
    return Rows(np.hstack([x, x**2, np.sqrt(x)]), ("",) * len(x))


def test_parquet_says_the_same_as_csv(make_study: Make, tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    for name in ("t.csv", "t.parquet", "u.parquet"):
        run_study(make_study(fail_every=6), tmp_path / name)
    csv, parquet = read_table(tmp_path / "t.csv"), read_table(tmp_path / "t.parquet")
    assert list(csv) == list(parquet)
    for name in csv:
        np.testing.assert_array_equal(csv[name], parquet[name])
    assert (tmp_path / "t.parquet").read_bytes() == (tmp_path / "u.parquet").read_bytes()


def test_unknown_ending_is_refused_before_any_work(make_study: Make, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"\.csv or \.parquet"):
        run_study(make_study(), tmp_path / "t.xls")
    assert list(tmp_path.iterdir()) == []
