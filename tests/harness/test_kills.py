"""Commands killed by SIGKILL at random moments: what was finished is taken over, and the end is
the same byte for byte.

Full size: 100 kills of sweep, 100 of improve, 20 of fit.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from distrib.studies.log import read_head, scan

ROOT = Path(__file__).resolve().parents[2]
CASE = ROOT / "cases" / "inline4_side.toml"
MEASURED = ROOT / "cases" / "measured"
SWEEP = ["sweep", str(CASE), "--model", "bench", "--jobs", "2", "-o", "t.csv", "--vary",
         "plenum.length=390:430:0.2 mm", "--vary", "runners.length=200,300 mm"]
IMPROVE = ["improve", str(CASE), "--model", "bench", "--evaluations", "40", "--samples", "2",
           "--draws", "24", "--jobs", "1", "-o", "out", "--json", "out.json"]
FIT = ["fit", str(CASE), "--bench", str(MEASURED / "inline4_bench.csv"), "--mapping",
       str(MEASURED / "inline4_bench.toml"), "-o", "made.toml", "--json", "made.json"]


def start(args: list[str], folder: Path) -> subprocess.Popen[str]:
    return subprocess.Popen([sys.executable, "-m", "distrib.cli.app", *args], cwd=folder,
                            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                            env={"PYTHONPATH": str(ROOT), **os.environ})


def finish(args: list[str], folder: Path) -> str:
    process = start(args, folder)
    _, said = process.communicate()
    assert process.returncode in (0, 4), said
    assert "Traceback" not in said, said
    return said


def content(folder: Path, but: str = "") -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*"))
            if p.is_file() and p.name != but}


def records(log: Path) -> list[int]:
    """Numbers of the intact records of a log."""
    with open(log, "rb") as file:
        head = read_head(file)
        return [] if head is None else [r.number for r in scan(file, head[1])]


def killed(args: list[str], folder: Path, log: Path, rng: np.random.Generator) -> bool:
    """Start the command and kill it at a random moment of its work; False when it was too late."""
    more = ["--resume"] if log.exists() else []
    before = log.stat().st_size if log.exists() else 0
    process = start([*args, *more], folder)
    in_the_work = rng.random() < 0.8  # otherwise at any moment, the start included
    while in_the_work and process.poll() is None and not (
            log.exists() and log.stat().st_size > before):
        time.sleep(0.005)
    time.sleep(float(rng.random()) * (0.5 if in_the_work else 3.0))
    alive = process.poll() is None
    process.kill()
    process.communicate()
    return alive and process.returncode == -9


@pytest.mark.slow
@pytest.mark.parametrize("args, log_name", [(SWEEP, "t.csv.log"),
                                            (IMPROVE, "out/inline4_side.search.log")])
def test_killed_and_resumed(args: list[str], log_name: str, tmp_path: Path,
                            size: Callable[[int, int], range]) -> None:
    kills = size(100, 3)
    whole = tmp_path / "whole"
    whole.mkdir()
    finish(args, whole)
    wanted = content(whole)
    landed = taken_over = 0
    seed = kills.start
    while landed < len(kills):
        folder = tmp_path / f"killed{seed}"
        folder.mkdir()
        log = folder / log_name
        rng = np.random.default_rng([51, seed])
        seed += 1
        for _ in range(min(10, len(kills) - landed)):
            there = records(log) if log.exists() else []
            hit = killed(args, folder, log, rng)
            if log.exists():
                assert records(log)[:len(there)] == there, "a finished point was lost"
            landed += hit
            if not log.exists() and (folder / args[args.index("-o") + 1]).exists():
                break  # it had finished
            assert not list(folder.rglob("*.csv")), "a table that is not finished"
        kept = len(records(log)) if log.exists() else 0
        said = finish([*args, "--resume"] if log.exists() else args, folder)
        if args is SWEEP and kept:
            told = re.search(r"([0-9]+) taken over", said)
            assert told and int(told[1]) >= kept, said
        taken_over += kept
        left = list(folder.rglob(".distrib-*.part"))
        for path in left:  # what a kill in the middle of writing leaves; never under its own name
            path.unlink()
        assert content(folder) == wanted, seed
        shutil.rmtree(folder)
    assert taken_over > 0
    print(f"{landed} kills landed, {taken_over} points taken over")


@pytest.mark.slow
def test_fit_killed_anywhere_writes_all_or_nothing(
        tmp_path: Path, size: Callable[[int, int], range]) -> None:
    kills = size(20, 2)
    whole = tmp_path / "whole"
    whole.mkdir()
    began = time.monotonic()
    finish(FIT, whole)
    lasts = time.monotonic() - began
    wanted = content(whole)
    landed = 0
    for seed in kills:
        folder = tmp_path / f"killed{seed}"
        folder.mkdir()
        process = start(FIT, folder)
        time.sleep(float(np.random.default_rng([52, seed]).uniform(0.3, 1.0)) * lasts)
        landed += process.poll() is None
        process.kill()
        process.communicate()
        for name, data in content(folder).items():
            assert name.endswith(".part") or data == wanted[name], name
        finish(FIT, folder)
        for path in folder.glob(".distrib-*.part"):
            path.unlink()
        assert content(folder) == wanted
    assert landed > 0
