"""The commands `sweep` and `improve`, from the shell's side."""

from __future__ import annotations

import json
import os
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from distrib.case.read import read_case
from distrib.cli.app import main
from distrib.review import review
from distrib.studies.log import RECORD_MAGIC
from distrib.studies.runner import log_path, partial_path
from distrib.studies.table import read_table

ROOT = Path(__file__).resolve().parents[2]
CASE = str(ROOT / "cases" / "inline4_center.toml")


def test_sweep_writes_table_plot_and_summary(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out, plot, said = tmp_path / "t.csv", tmp_path / "t.svg", tmp_path / "s.json"
    code = main(["sweep", CASE, "--vary", "plenum.width=70:90:10 mm", "--vary",
                 "runners.angle=75,90 deg", "--model", "bench", "-o", str(out), "--jobs", "1",
                 "--plot", str(plot), "--json", str(said)])
    captured = capsys.readouterr()
    assert code == 0, captured.err
    table = read_table(out)
    assert table["point"].size == 6 and np.isfinite(table["spread_percent"]).all()
    total = sum(table[f"deviation_percent_{c}"] for c in (1, 2, 3, 4))
    np.testing.assert_allclose(total, 0.0, atol=1e-9)
    assert json.loads(said.read_text())["points"] == 6 and plot.read_bytes().startswith(b"<?xml")
    assert captured.out == "" and f"wrote {out}" in captured.err
    assert "\r" not in captured.err  # no progress line when piped


@pytest.mark.parametrize("arguments,said", [
    (["--vary", "plenum.width=70:60:5 mm"], "an end that is not above the start"),
    (["--vary", "plenum.widht=70,60 mm"], "plenum.widht"),
    (["--vary", "plenum.width=70,80 mm", "--model", "benhc"], "bench, phased, wave"),
    (["--vary", "plenum.width=70,80 mm", "--model", "bench", "-o", "t.xls"], ".csv or .parquet"),
    (["--vary", "plenum.width=70,80 mm", "--model", "bench", "--scheduler", "tcp://127.0.0.1:9"],
     "scheduler"),
])
def test_bad_input_is_exit_code_2_with_words(
        arguments: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str],
        monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("distrib.studies.cluster.CONNECT_SECONDS", 1.0)
    if "--scheduler" in arguments:
        pytest.importorskip("distributed")
    assert main(["sweep", CASE, *arguments]) == 2
    captured = capsys.readouterr()
    assert said in captured.err and "Traceback" not in captured.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_ctrl_c_of_the_command_says_how_to_go_on_and_it_does(tmp_path: Path) -> None:
    arguments = ["sweep", CASE, "--vary", "plenum.width=70:90:0.05 mm", "--model", "bench", "-o",
                 "t.csv", "--jobs", "1"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "distrib.cli.app", *arguments]
    process = subprocess.Popen(command, cwd=tmp_path, env=environment, text=True,
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    out = tmp_path / "t.csv"
    deadline = time.monotonic() + 120.0
    while time.monotonic() < deadline and not (
            log_path(out).exists() and log_path(out).read_bytes().count(RECORD_MAGIC) > 2):
        time.sleep(0.05)
    process.send_signal(signal.SIGINT)
    _, complained = process.communicate(timeout=60)
    assert process.returncode == 130, complained
    assert "nothing is lost. To go on: distrib sweep" in complained
    assert complained.strip().endswith("--resume") and "Traceback" not in complained
    partial = read_table(partial_path(out))
    assert 0 < partial["point"].size < 401
    again = shlex.split(complained.strip().rsplit("distrib sweep ", 1)[1])
    done = subprocess.run([*command[:4], *again], cwd=tmp_path, env=environment, text=True,
                          capture_output=True, timeout=180, check=False)
    assert done.returncode == 0, done.stderr
    assert "taken over" in done.stderr
    whole = read_table(out)
    np.testing.assert_array_equal(whole["point"], np.arange(401.0))
    np.testing.assert_array_equal(whole["spread_percent"][:partial["point"].size],
                                  partial["spread_percent"])


def test_improve_writes_cases_that_review_accepts(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out, said = tmp_path / "better", tmp_path / "i.json"
    code = main(["improve", CASE, "--model", "bench", "-o", str(out), "--evaluations", "120",
                 "--samples", "8", "--judge-samples", "64", "--jobs", "1", "--json", str(said),
                 "--plot", str(tmp_path / "front.png")])
    captured = capsys.readouterr()
    assert code == 0, captured.err
    result = json.loads(said.read_text())
    assert result["proposals"] and len(result["proposals"]) == len(list(out.iterdir()))
    for proposal in result["proposals"]:
        found = read_case(proposal["file"])
        assert not review(found).failed
        assert proposal["spread_percent"] < result["present"]["spread_percent"]
        assert proposal["air_loss_percent"] <= 2.0
    assert main(["review", result["proposals"][0]["file"]]) == 0  # with its models solved
    assert "The few changes that buy most" in captured.out
    assert "not measured" in captured.err
    assert (tmp_path / "front.png").read_bytes().startswith(b"\x89PNG")


def test_screening_ranks_the_marked_dimensions(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = tmp_path / "s.json"
    side = CASE.replace("center", "side")  # every design of its ranges is possible
    assert main(["improve", side, "--model", "bench", "--screen", "3", "--jobs", "1", "--json",
                 str(said)]) == 0
    captured = capsys.readouterr()
    found = json.loads(said.read_text())
    lines = [line.split()[0] for line in captured.out.splitlines()[3:] if line.strip()]
    sizes = dict(zip(found["inputs"], (row[0] for row in found["size"]), strict=True))
    assert lines == sorted(sizes, key=lambda name: -sizes[name])
    assert found["paths"] == 3 and len(lines) == len(read_case(side).search)


def test_models_that_disagree_are_said() -> None:
    from distrib.cli.improve import _disagreements
    from distrib.studies.compare import compare_samples

    noise = np.random.default_rng(0).normal(size=(200, 2, 1)) * 0.01
    one = compare_samples({"present": 2.0 + noise[:, 0], "front 1": 1.0 + noise[:, 1]})
    other = compare_samples({"present": 1.0 + noise[:, 0], "front 1": 2.0 + noise[:, 1]})
    same = compare_samples({"present": 1.0 + noise[:, 0], "front 1": 1.0 + noise[:, 1]})
    said = _disagreements([("phased", one), ("wave", other)])
    assert len(said) == 1 and "100% by phased, 0% by wave" in said[0]
    assert _disagreements([("phased", one), ("wave", same)]) == []
    assert _disagreements([("phased", None)]) == []
