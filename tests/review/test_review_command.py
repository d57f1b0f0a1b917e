"""`distrib review` as a user runs it: text at narrow and wide, JSON, exit codes."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import fake_engine
import numpy as np
import pytest

from distrib.cli.app import main
from distrib.review import RULES

ROOT = Path(__file__).parents[2]
SIDE = ROOT / "cases" / "inline4_side.toml"
CENTER = ROOT / "cases" / "inline5_center.toml"


def run(*args: str, columns: int = 100) -> subprocess.CompletedProcess[str]:
    """Run the command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "distrib.cli.app", "review", *args],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env={**os.environ, "COLUMNS": str(columns)},
        timeout=300,
        check=False,
    )


def test_a_change_is_exit_code_four_and_said() -> None:
    done = run("--no-solve", str(SIDE))
    assert done.returncode == 4
    assert "1 rule asks for a change" in done.stderr
    assert "CHANGE before metal is cut (1)" in done.stdout
    assert "area-ratio" in done.stdout and "at most 0.7; change beyond 1" in done.stdout
    assert "Traceback" not in done.stderr


def test_missing_and_ask_pass_unless_strict(tmp_path: Path) -> None:
    path = tmp_path / "less_drawn.toml"
    kept = [ln for ln in CENTER.read_text().splitlines() if not ln.startswith("gasket")]
    path.write_text("\n".join(kept))
    done = run("--no-solve", str(path))
    assert done.returncode == 0, done.stderr
    assert "MISSING on the drawing (1)" in done.stdout
    assert "gasket and how much its holes are larger" in re.sub(r"\s+", " ", done.stdout)
    strict = run("--no-solve", "--strict", str(path))
    assert strict.returncode == 4 and "points open" in strict.stderr


def test_bad_file_is_exit_code_two(tmp_path: Path) -> None:
    path = tmp_path / "broken.toml"
    path.write_text("title = 3\n")
    done = run("--no-solve", str(path))
    assert done.returncode == 2 and "Traceback" not in done.stderr


@pytest.mark.parametrize("columns", [60, 100, 160])
def test_lines_fit_the_terminal(columns: int) -> None:
    done = run("--no-solve", str(CENTER), columns=columns)
    lines = [ln for ln in done.stdout.splitlines() if not ln.startswith("Review of")]
    assert max(map(len, lines)) <= columns
    assert "\x1b" not in done.stdout
    for heading in ("Cylinder 1 at the", "Air enters by", "Flow used", "Cautions"):
        assert heading in done.stdout
    assert "not a certificate" in re.sub(r"\s+", " ", done.stdout)


def test_json_holds_every_rule(tmp_path: Path) -> None:
    target = tmp_path / "review.json"
    done = run("--no-solve", "--json", str(target), str(SIDE))
    assert done.returncode == 4 and "wrote" in done.stderr
    data = json.loads(target.read_text())
    assert [f["id"] for f in data["findings"]] == [r.id for r in RULES]
    assert sum(data["counts"].values()) == len(RULES)
    assert data["failed"] is True
    one = data["findings"][0]
    for key in ("verdict", "value", "limit", "text", "why", "origin", "todo", "overridden"):
        assert key in one
    assert {s["key"] for s in data["sources"]} == {f["origin"]["key"] for f in data["findings"]}


def test_json_to_standard_output_is_json_alone() -> None:
    done = run("--no-solve", "--json", "-", str(CENTER))
    assert json.loads(done.stdout)["models"] == []


def test_override_in_the_file_is_shown(tmp_path: Path) -> None:
    text = SIDE.read_text()
    text += '\n[[review]]\nrule = "area-ratio"\nlimit = 1.3\nreason = "bench data at hand"\n'
    path = tmp_path / "own_limit.toml"
    path.write_text(text)
    done = run("--no-solve", str(path))
    assert done.returncode == 0, done.stderr
    assert "at most 1.3 (usual 0.7)" in done.stdout
    path.write_text(text.replace("limit = 1.3", "limit = 1.1"))
    done = run("--no-solve", str(path))
    assert done.returncode == 4
    assert "limit set in the case: bench data at hand" in done.stdout


def test_override_of_an_unknown_rule_is_bad_input(tmp_path: Path) -> None:
    path = tmp_path / "typo.toml"
    path.write_text(
        SIDE.read_text() + '\n[[review]]\nrule = "area-ratoi"\nlimit = 1.3\nreason = "typo"\n'
    )
    done = run("--no-solve", str(path))
    assert done.returncode == 2 and "area-ratio" in done.stderr


def test_too_few_draws_are_bad_input() -> None:
    done = run("--draws", "5", str(SIDE))
    assert done.returncode == 2 and "--draws" in done.stderr


def test_engine_figure_over_its_speeds_and_rig_are_reviewed(
        capsys: pytest.CaptureFixture[str]) -> None:
    """With known engine figures; the rig is solved."""
    with fake_engine.faked(fake_engine.hill({5: 4.0, 2: 1.0})):
        code = main(["review", "--json", "-", str(CENTER)])
    data = json.loads(capsys.readouterr().out)
    assert code == 4
    assert data["models"] == ["engine", "bench"] and data["flow_basis"] == "engine model"
    found = {f["id"]: f for f in data["findings"]}
    assert found["spread"]["text"].startswith("engine model: largest spread 5.7 % at 6000 rev/min")
    assert found["bench-spread"]["text"].startswith("bench model: largest spread")
    risk = found["lean-risk"]
    assert risk["text"].startswith("engine model: cylinder 5 gets +4.0 % air at 6000 rev/min")
    assert "chance of passing the lean limit" in risk["text"] and risk["verdict"] == "change"
    assert "of the samples" in found["rank-certainty"]["text"]
    assert found["runner-tuning"]["text"].startswith("engine model fills best")


def test_case_without_solution_is_reviewed_by_estimates(
        capsys: pytest.CaptureFixture[str]) -> None:
    with fake_engine.faked(lambda case, rpm: np.full((rpm.size, len(case.runners)), np.nan)):
        main(["review", "--json", "-", str(CENTER)])
    said = capsys.readouterr()
    assert "no solution, plain estimates stand in: " in said.err
    assert json.loads(said.out)["flow_basis"].startswith("estimate at ")
