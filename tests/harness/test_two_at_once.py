"""Two processes on one study, folders that cannot be written, and files that come out the same."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
CASE = ROOT / "cases" / "inline4_side.toml"
SWEEP = ["sweep", str(CASE), "--model", "bench", "--jobs", "1", "-o", "t.csv", "--vary",
         "plenum.length=390:430:0.5 mm"]


def start(args: list[str], folder: Path, **environment: str) -> subprocess.Popen[str]:
    return subprocess.Popen([sys.executable, "-m", "distrib.cli.app", *args], cwd=folder,
                            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                            env={**os.environ, "PYTHONPATH": str(ROOT), **environment})


@pytest.mark.slow
def test_two_processes_on_one_study(tmp_path: Path, size: Callable[[int, int], range]) -> None:
    """Started at nearly the same moment: one does the work, the other says so or does it again."""
    alone = tmp_path / "alone"
    alone.mkdir()
    said_alone = start(SWEEP, alone).communicate()[1]
    assert (alone / "t.csv").exists(), said_alone
    wanted = {p.name: p.read_bytes() for p in alone.iterdir()}
    for number in size(100, 2):
        folder = tmp_path / f"both{number}"
        folder.mkdir()
        rng = np.random.default_rng([61, number])
        one = start(SWEEP, folder)
        time.sleep(float(rng.random()) * float(rng.choice([0.02, 3.0])))
        two = start([*SWEEP, *(["--resume"] if rng.random() < 0.5 else [])], folder)
        said = [p.communicate()[1] for p in (one, two)]
        codes = [p.returncode for p in (one, two)]
        assert 0 in codes and set(codes) <= {0, 2}, said
        for code, text in zip(codes, said, strict=True):
            assert "Traceback" not in text, text
            if code == 2:
                assert "another process is writing" in text or "an unfinished study" in text, text
        assert {p.name: p.read_bytes() for p in folder.iterdir()} == wanted, (number, said)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["d.dxf", "d.svg", "d.png", "d.pdf"])
def test_a_drawing_is_the_same_in_every_run(name: str, tmp_path: Path) -> None:
    """Other hash seeds, time zones, languages and homes change no byte."""
    made = []
    for number in (1, 2):
        folder = tmp_path / str(number)
        folder.mkdir()
        process = start(["draw", str(CASE), "-o", name], folder, PYTHONHASHSEED=str(number),
                        TZ=f"UTC{number * 5}", LC_ALL="C.UTF-8" if number == 1 else "C",
                        HOME=str(folder))
        said = process.communicate()[1]
        assert process.returncode == 0, said
        made.append((folder / name).read_bytes())
    assert made[0] == made[1]


@pytest.mark.slow
@pytest.mark.parametrize("args", [
    SWEEP, ["draw", str(CASE), "-o", "a.svg"], ["check", str(CASE), "--json", "a.json"],
    ["report", str(CASE), "--no-solve", "-o", "a.html"], ["new", "v6", "side", "-o", "a.toml"],
    ["review", str(CASE), "--no-solve", "--json", "a.json"],
], ids=lambda args: args[0])
def test_a_folder_that_cannot_be_written(args: list[str], tmp_path: Path) -> None:
    """Root may write anywhere, so that a folder which is a file stands for it there."""
    place = tmp_path / "locked"
    if os.geteuid() == 0:
        place.write_text("no folder")
    else:
        place.mkdir(mode=0o555)
    args = [str(place / a) if a.startswith(("a.", "t.csv")) else a for a in args]
    process = start(args, tmp_path)
    _, said = process.communicate()
    assert process.returncode == 2 and "Traceback" not in said and "to write in" in said, said
    assert [p.name for p in tmp_path.rglob("*")] == ["locked"]
