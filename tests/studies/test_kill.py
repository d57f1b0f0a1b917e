"""Whole studies killed from outside: by SIGKILL ten times, by Ctrl-C, and on a cluster."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from real_cluster import ENVIRONMENT, ROOT, RealCluster, real_cluster

from distrib.errors import InputError
from distrib.studies.runner import log_path, partial_path

SCRIPT = Path(__file__).with_name("study_script.py")


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
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RealCluster]:
    """A real scheduler and two workers on loopback."""
    pytest.importorskip("distributed")
    with real_cluster(tmp_path_factory.mktemp("cluster"), 2) as made:
        yield made


@pytest.mark.slow
def test_cluster_solves_a_real_case_to_the_same_bytes(
        tmp_path: Path, cluster: RealCluster) -> None:
    from distrib.case.read import read_case
    from distrib.studies.sweep import SweepOptions, sweep

    case = read_case(ROOT / "cases" / "inline4_center.toml")
    options = SweepOptions(model="bench", sample=12, chunk=3)
    vary = ["plenum.width=70:90 mm", "runners.mouth=bell,rounded"]
    sweep(case, vary, tmp_path / "here.csv", options=options)
    sweep(case, vary, tmp_path / "there.csv", options=options, scheduler=cluster.address)
    assert (tmp_path / "here.csv").read_bytes() == (tmp_path / "there.csv").read_bytes()
    assert (tmp_path / "here.csv").read_text().count("\n") == 13


@pytest.mark.slow
def test_workers_with_another_program_text_are_refused(
        tmp_path: Path, cluster: RealCluster, monkeypatch: pytest.MonkeyPatch) -> None:
    from distrib.case.read import read_case
    from distrib.studies import cluster as module
    from distrib.studies.sweep import SweepOptions, sweep

    monkeypatch.setattr(module, "program_digest", lambda: "edited")
    with pytest.raises(InputError, match=r"read program text \w{12}; allowed: .*edited as here"):
        sweep(read_case(ROOT / "cases" / "inline4_center.toml"), ["plenum.width=70,80 mm"],
              tmp_path / "t.csv", options=SweepOptions(model="bench"), scheduler=cluster.address)


@pytest.mark.slow
def test_cluster_gives_the_same_bytes_though_a_worker_is_killed(
        tmp_path: Path, undisturbed: bytes,
        cluster: RealCluster) -> None:
    out = tmp_path / "t.csv"
    process = start(out, 1, 0.02, cluster.address)
    wait_for_more(out, 5000)
    victim = cluster.workers[0]
    assert victim.poll() is None
    victim.kill()
    assert victim.wait(timeout=10) == -signal.SIGKILL
    done = calls(out)  # the kill has landed: the study is in its middle, and goes on without it
    assert process.poll() is None and not out.exists() and 0 < done < 290
    said, complained = process.communicate(timeout=60)
    assert process.returncode == 0, complained
    assert said == "resumed 0 of 300\n"
    assert out.read_bytes() == undisturbed
    held = 6 * 2  # chunks of two points the scheduler had been given: what one worker can lose
    assert 300 <= calls(out) <= 300 + held
    assert calls(out) - done > 10  # worked off by the worker that was left


@pytest.mark.slow
def test_a_worker_of_another_kind_that_joins_later_is_refused(
        tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    """It gets the chunks that the first worker leaves, and its rows would differ in their bits."""
    pytest.importorskip("distributed")
    from distrib.studies.cluster import Cluster

    out = tmp_path / "t.csv"
    with real_cluster(tmp_path_factory.mktemp("mixed"), 1) as cluster:
        process = start(out, 1, 0.05, cluster.address)
        wait_for_more(out, 3000)
        cluster.add_worker(OPENBLAS_CORETYPE="another")
        _, complained = process.communicate(timeout=60)
        assert process.returncode != 0
        assert "runs OPENBLAS_CORETYPE another instead of" in complained
        assert "points are finished and kept" in complained
        assert not out.exists() and log_path(out).exists()
        with pytest.raises(InputError, match=r"OPENBLAS_CORETYPE another; allowed: .* as here"):
            Cluster(print, cluster.address, {})  # type: ignore[arg-type]


@pytest.mark.parametrize("address, words", [
    ("tcp://127.0.0.1:9", "refused"), ("nonsense", "such as"), ("tcp://127.0.0.1", "such as"),
    ("http://127.0.0.1:80", "such as"), ("tcp://127.0.0.1:99999", "such as"), ("", "such as"),
    ("tcp://no.such.host.invalid:8786", "tcp://no.such.host.invalid:8786"), ("silent", "no answer"),
])
def test_a_wrong_address_is_refused_in_words(tmp_path: Path, address: str, words: str) -> None:
    """Also that of a server which takes the call and says nothing."""
    pytest.importorskip("distributed")
    with socket.create_server(("127.0.0.1", 0)) as server:
        if address == "silent":
            address = f"tcp://127.0.0.1:{server.getsockname()[1]}"
        out = tmp_path / "t.csv"
        done = subprocess.run(
            [sys.executable, "-m", "distrib.cli.app", "sweep",
             str(ROOT / "cases" / "inline4_side.toml"), "--model", "bench",
             "--vary", "plenum.length=390,400 mm", "-o", str(out),
             "--scheduler", address], capture_output=True, text=True, env=ENVIRONMENT, timeout=120)
    assert done.returncode == 2, done.stderr
    assert "--scheduler: read" in done.stderr and words in done.stderr
    assert "Traceback" not in done.stderr and "Exception ignored" not in done.stderr
    assert not list(tmp_path.iterdir())
