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
from types import SimpleNamespace

import fake_engine
import numpy as np
import pytest

from distrib.case.read import read_case
from distrib.case.schema import Case
from distrib.cli.app import main
from distrib.cli.improve_show import Found
from distrib.results import FloatArray
from distrib.review import review
from distrib.studies.compare import compare_samples
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
    (["--vary", "plenum.width=70,80 mm", "--model", "benhc"], "engine, bench"),
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
    arguments = ["sweep", CASE, "--vary", "plenum.width=70:90:0.025 mm", "--model", "bench", "-o",
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
    assert 0 < partial["point"].size < 801
    again = shlex.split(complained.strip().rsplit("distrib sweep ", 1)[1])
    done = subprocess.run([*command[:4], *again], cwd=tmp_path, env=environment, text=True,
                          capture_output=True, timeout=180, check=False)
    assert done.returncode == 0, done.stderr
    assert "taken over" in done.stderr
    whole = read_table(out)
    np.testing.assert_array_equal(whole["point"], np.arange(801.0))
    np.testing.assert_array_equal(whole["spread_percent"][:partial["point"].size],
                                  partial["spread_percent"])


def test_sweep_says_why_points_have_no_figures(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The case gives its mouths a radius, which a sharp mouth cannot have."""
    assert main(["sweep", CASE, "--vary", "runners.mouth=sharp,bell", "--model", "bench", "-o",
                 str(tmp_path / "t.csv"), "--jobs", "1"]) == 0
    said = capsys.readouterr().err
    assert "2 points, 1 without figures" in said
    assert "1 without figures: runners.mouth_radius: read" in said


def best_at(width_m: float, percent_mm: float = 0.3) -> fake_engine.Curve:
    """Cylinder 4 has so much more air for every mm that the plenum is off this width."""
    def curve(case: Case, rpm: FloatArray) -> FloatArray:
        width = case.plenums[0].sections[0].width_m
        assert width is not None
        return fake_engine.hill({4: 1e3 * percent_mm * abs(width - width_m)})(case, rpm)

    return curve


def test_improve_writes_cases_that_review_accepts(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out, said = tmp_path / "better", tmp_path / "i.json"
    with fake_engine.faked(best_at(0.090), 0.1):
        code = main(["improve", CASE, "-o", str(out), "--evaluations", "120", "--samples", "8",
                     "--draws", "64", "--jobs", "1", "--json", str(said),
                     "--plot", str(tmp_path / "front.png")])
        captured = capsys.readouterr()
        assert code == 0, captured.err
        result = json.loads(said.read_text())
        for proposal in result["proposals"]:
            assert main(["review", proposal["file"], "--json", str(said)]) == 0
    assert result["model"] == "engine"
    assert result["proposals"] and len(result["proposals"]) == len(list(out.iterdir()))
    for proposal in result["proposals"]:
        found = read_case(proposal["file"])
        assert not review(found).failed
        assert proposal["spread_percent"] < result["present"]["spread_percent"]
        assert proposal["air_loss_percent"] <= 2.0
        against = proposal["against_present"]
        assert set(against) == {"chance", "worst_spread_percent", "verdict"}
        assert against["verdict"] == "better" and against["chance"] > 0.95
    assert result["comparison"]["samples"] == 64
    assert sorted(result["ranking"]) == sorted(p["label"] for p in result["proposals"])
    assert "Beside the present design, 64 draws" in captured.out
    assert "The few changes that buy most" in captured.out
    assert "not measured" in captured.err
    assert (tmp_path / "front.png").read_bytes().startswith(b"\x89PNG")


def test_rig_may_be_searched_by_name_but_the_engine_figure_judges(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Here the engine is the more uneven the wider the plenum (one cylinder rich), which the rig
    likes."""
    said = tmp_path / "i.json"
    with fake_engine.faked(best_at(0.068, -0.3), 0.1):
        assert main(["improve", CASE, "--model", "bench", "-o", str(tmp_path / "b"),
                     "--evaluations", "60", "--draws", "40", "--jobs", "1", "--json",
                     str(said)]) == 0
    result = json.loads(said.read_text())
    assert result["model"] == "bench" and result["proposals"]
    changed = [p for p in result["proposals"]
               if any(c["name"] == "plenum.width" for c in p["changes"])]
    assert changed and {p["against_present"]["verdict"] for p in changed} <= {
        "worse", "cannot tell"}
    assert "no proposal can be told from the present design" in capsys.readouterr().err


def test_a_search_stopped_while_it_is_judged_goes_on(
        tmp_path: Path, capsys: pytest.CaptureFixture[str],
        monkeypatch: pytest.MonkeyPatch) -> None:
    arguments = ["improve", CASE, "--model", "bench", "-o", str(tmp_path / "b"), "--evaluations",
                 "60", "--samples", "4", "--draws", "20", "--jobs", "1"]

    def stopped(*arguments: object, **more: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched, fake_engine.faked(best_at(0.090)):
        patched.setattr("distrib.studies.designs.compare_designs", stopped)
        assert main(arguments) == 130
    assert "the search is kept. To go on: distrib" in capsys.readouterr().err
    log = tmp_path / "b" / "inline4_center.search.log"
    assert log.exists()
    with monkeypatch.context() as patched, fake_engine.faked(best_at(0.090)):
        # nothing is evaluated again
        patched.setattr("distrib.studies.designsearch.CaseObjective.__call__", stopped)
        assert main([*arguments, "--resume"]) == 0
    assert "Beside the present design, 20 draws" in capsys.readouterr().out
    assert not log.exists()


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


def test_proposals_are_ranked_better_then_not_to_be_told_then_worse() -> None:
    noise = np.random.default_rng(0).normal(size=(200, 4, 1)) * 0.01
    levels = {"present": 2.0, "a": 3.0, "b": 1.0, "c": 2.0}
    judged = compare_samples({name: level + noise[:, i]
                              for i, (name, level) in enumerate(levels.items())})
    items = [SimpleNamespace(label=name) for name in "abc"]
    search = SimpleNamespace(cautions=("mind the bay",))
    found = Found(search, items, (), judged,  # type: ignore[arg-type]
                  (("front 9", ("too near",)),))
    assert [found.side(n) for n in "abc"] == ["worse", "better", "cannot tell"]
    assert found.ranked() == ["b", "c", "a"]
    assert found.spread("b") == pytest.approx(1.0, abs=0.01)
    assert found.chance("a") == 0.0 and found.chance("b") == 1.0
    refusal = "not proposed: front 9, review asks for a change: too near"
    assert found.remarks() == ("mind the bay", refusal)
    without = Found(search, items[:1], (), judged, ())  # type: ignore[arg-type]
    assert without.remarks() == (
        "mind the bay", "no proposal can be told from the present design: the band is too wide")


def test_what_only_the_whole_review_refuses_is_not_proposed(
        tmp_path: Path, capsys: pytest.CaptureFixture[str],
        monkeypatch: pytest.MonkeyPatch) -> None:
    """The search asks a cheaper review; what the command `review` refuses is dropped and said."""
    seen: list[str] = []

    class Result:
        def __init__(self, bad: bool) -> None:
            self._bad = bad

        def having(self, verdict: str) -> list[SimpleNamespace]:
            return [SimpleNamespace(title="T", text="no room")] if self._bad else []

    def reviewed_case(case: object, draws: int) -> Result:
        assert draws == 20  # as asked for
        seen.append(str(case))
        return Result(len(seen) == 1)

    monkeypatch.setattr("distrib.cli.review.reviewed_case", reviewed_case)
    out, said = tmp_path / "better", tmp_path / "i.json"
    with fake_engine.faked(best_at(0.090)):
        code = main(["improve", CASE, "--model", "bench", "-o", str(out), "--evaluations", "60",
                     "--samples", "4", "--draws", "20", "--jobs", "1", "--json", str(said)])
    captured = capsys.readouterr()
    assert code == 0, captured.err
    found = json.loads(said.read_text())
    assert [r["why"] for r in found["refused_by_review"]] == [["T: no room"]]
    refused = found["refused_by_review"][0]["label"]
    assert refused not in [p["label"] for p in found["proposals"]]
    assert len(list(out.iterdir())) == len(found["proposals"]) == len(seen) - 1
    assert f"not proposed: {refused}, review asks for a change: T: no room" in captured.err
