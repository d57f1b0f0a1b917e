"""Whole studies killed from outside: by SIGKILL ten times, by Ctrl-C, and on a cluster."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from distrib.studies.runner import log_path, partial_path

SCRIPT = Path(__file__).with_name("study_script.py")
ROOT = Path(__file__).resolve().parents[2]
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT)}


def start(out: Path, jobs: int, seconds: float, *more: str) -> subprocess.Popen[str]:
    return subprocess.Popen([sys.executable, str(SCRIPT), str(out), str(jobs), str(seconds), *more],
                            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                            env=ENVIRONMENT)


def finish(process: subprocess.Popen[str]) -> str:
    said, complained = process.communicate(timeout=60)
    assert process.returncode == 0, complained
    assert complained == ""  # progress is silent when piped
    return said


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    out = tmp_path_factory.mktemp("whole") / "t.csv"
    finish(start(out, 1, 0.0))
    return out.read_bytes()


def children(pid: int) -> list[int]:
    """Processes whose parent is `pid`, by the kernel's own list."""
    text = Path(f"/proc/{pid}/task/{pid}/children").read_text()
    return [int(word) for word in text.split()]


def alive(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except FileNotFoundError:
        return False
    return state != "Z"


def calls(out: Path) -> int:
    """Points that were evaluated, over all processes."""
    return Path(f"{out}.calls").stat().st_size


def wait_for_more(out: Path, size: int) -> None:
    """Wait until the log is longer than `size`."""
    deadline = time.monotonic() + 30.0
    while time.monotonic() < deadline and not (
            log_path(out).exists() and log_path(out).stat().st_size > size):
        time.sleep(0.01)


@pytest.mark.slow
def test_killed_ten_times_and_resumed_ends_with_the_same_file(
        tmp_path: Path, undisturbed: bytes) -> None:
    rng = np.random.default_rng()
    seed = int(rng.integers(2**31))
    rng = np.random.default_rng(seed)
    out = tmp_path / "t.csv"
    orphans: list[int] = []
    progress: list[int] = []
    for kill in range(10):
        more = ["--resume"] if log_path(out).exists() else []
        process = start(out, 1 + kill % 2, 0.012, *more)
        if kill % 3:  # in the middle of the work; otherwise anywhere, the start included
            wait_for_more(out, progress[-1] if progress else 0)
        time.sleep(0.4 * float(rng.random()))
        orphans += children(process.pid)
        process.kill()
        process.communicate()
        assert not out.exists(), f"finished before kill {kill}, seed {seed}"
        progress.append(log_path(out).stat().st_size if log_path(out).exists() else 0)
    assert progress == sorted(progress) and progress[-1] > progress[0], (progress, seed)
    said = finish(start(out, 2, 0.0, "--resume"))
    taken = re.match(r"resumed (\d+) of 300", said)
    assert taken and 0 < int(taken[1]) < 300, (said, seed)
    assert out.read_bytes() == undisturbed, seed
    in_hand = 10 * 2 * 2  # at each kill two workers with a chunk of two points each
    assert 300 <= calls(out) <= 300 + in_hand, seed
    deadline = time.monotonic() + 5.0
    while any(alive(pid) for pid in orphans) and time.monotonic() < deadline:
        time.sleep(0.1)
    assert not [pid for pid in orphans if alive(pid)], "workers outlived their study"


def test_interrupt_leaves_a_partial_table(tmp_path: Path, undisturbed: bytes) -> None:
    out = tmp_path / "t.csv"
    process = start(out, 2, 0.02)
    wait_for_more(out, 3000)
    process.send_signal(signal.SIGINT)
    _, complained = process.communicate(timeout=30)
    assert process.returncode != 0
    assert "nothing is lost. To go on:" in complained
    rows = partial_path(out).read_text().splitlines()
    whole = undisturbed.decode().splitlines()
    assert 10 < len(rows) < len(whole) and set(rows) <= set(whole)
    finish(start(out, 2, 0.0, "--resume"))
    assert out.read_bytes() == undisturbed


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory
            ) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A real scheduler and two workers on loopback; ends what it started."""
    pytest.importorskip("distributed")
    tmp_path = tmp_path_factory.mktemp("cluster")
    command = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1",
               "--port", "0", "--no-dashboard", "--no-show"]
    errors = open(tmp_path / "scheduler.txt", "w+b")  # noqa: SIM115 - closed below
    scheduler = subprocess.Popen(command, stderr=errors, stdout=errors, env=ENVIRONMENT)
    started: list[subprocess.Popen[bytes]] = []
    try:
        address = _address(tmp_path / "scheduler.txt")
        for i in range(2):
            started.append(subprocess.Popen(
                [sys.executable, "-m", "distributed.cli.dask_worker", address, "--nthreads", "1",
                 "--no-nanny", "--no-dashboard", "--name", f"w{i}",
                 "--local-directory", str(tmp_path / f"w{i}")],
                stderr=errors, stdout=errors, env=ENVIRONMENT))
        _wait_for_workers(address, 2)
        yield address, started
    finally:
        for process in [*started, scheduler]:
            process.terminate()
        for process in [*started, scheduler]:
            try:
                process.wait(timeout=10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        errors.close()


def _address(path: Path) -> str:
    deadline = time.monotonic() + 30.0
    while time.monotonic() < deadline:
        found = re.search(r"(tcp://127\.0\.0\.1:\d+)", path.read_text(errors="replace"))
        if found:
            return found[1]
        time.sleep(0.1)
    raise AssertionError(path.read_text(errors="replace"))


def _wait_for_workers(address: str, count: int) -> None:
    from typing import Any

    import distributed

    library: Any = distributed

    with library.Client(address, set_as_default=False) as client:
        client.wait_for_workers(count, timeout=30)


@pytest.mark.slow
def test_cluster_solves_a_real_case_to_the_same_bytes(
        tmp_path: Path, cluster: tuple[str, list[subprocess.Popen[bytes]]]) -> None:
    from distrib.case.read import read_case
    from distrib.studies.sweep import SweepOptions, sweep

    case = read_case(ROOT / "cases" / "inline4_center.toml")
    options = SweepOptions(model="bench", sample=12, chunk=3)
    vary = ["plenum.width=70:90 mm", "runners.mouth=bell,rounded"]
    sweep(case, vary, tmp_path / "here.csv", options=options)
    sweep(case, vary, tmp_path / "there.csv", options=options, scheduler=cluster[0])
    assert (tmp_path / "here.csv").read_bytes() == (tmp_path / "there.csv").read_bytes()
    assert (tmp_path / "here.csv").read_text().count("\n") == 13


@pytest.mark.slow
def test_two_workers_are_1_7_times_as_fast_as_one_could_be(
        tmp_path: Path, cluster: tuple[str, list[subprocess.Popen[bytes]]]) -> None:
    """16 points that wait half a second each: 8 s for one worker however fast it is, so two must
    need less than 8/1.7 s, connecting and handing out included. Waiting, not computing, so that
    the test means the same on a busy machine."""
    from distrib.studies.evaluate import PerTask
    from distrib.studies.known import SlowRow
    from distrib.studies.plan import Dimension, Grid
    from distrib.studies.runner import Study, run_study
    from distrib.studies.table import Column

    plan = Grid((Dimension("a", levels=tuple(float(i) for i in range(16))),))
    study = Study(plan, PerTask(SlowRow(0.5), 3), (Column("a"), Column("b"), Column("c")))
    begun = time.monotonic()
    run_study(study, tmp_path / "t.csv", scheduler=cluster[0])
    assert time.monotonic() - begun < 8.0 / 1.7


@pytest.mark.slow
def test_cluster_gives_the_same_bytes_though_a_worker_is_killed(
        tmp_path: Path, undisturbed: bytes,
        cluster: tuple[str, list[subprocess.Popen[bytes]]]) -> None:
    address, workers = cluster
    out = tmp_path / "t.csv"
    process = start(out, 1, 0.02, address)
    wait_for_more(out, 5000)
    assert not out.exists()
    workers[0].kill()
    said, complained = process.communicate(timeout=60)
    assert process.returncode == 0, complained
    assert said == "resumed 0 of 300\n"
    assert out.read_bytes() == undisturbed
    held = 6 * 2  # chunks of two points the scheduler had been given: what one worker can lose
    assert 300 <= calls(out) <= 300 + held
