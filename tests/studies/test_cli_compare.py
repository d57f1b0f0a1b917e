"""`distrib compare` with draws at every speed, of the phased and of the engine model."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from distrib.cli.app import main
from distrib.cli.compare import _compared, chance_tables
from distrib.studies.compare import compare_samples

CASES = Path(__file__).resolve().parents[2] / "cases"
SIDE, CENTER = str(CASES / "inline4_side.toml"), str(CASES / "inline4_center.toml")


def test_chances_by_speed_and_overall_are_those_of_the_paired_draws() -> None:
    """Differences b - a are -1, 0 and +1 by draw at 3000, and +3 always at 5000."""
    a = np.stack([np.tile([2.0, 2.0, 2.0, 1.0], 8), np.full(32, 1.0)], axis=-1)
    b = a + np.stack([np.tile([-1.0, 0.0, 1.0, 1.0], 8), np.full(32, 3.0)], axis=-1)
    over = {"phased": compare_samples({"A": a, "B": b})}
    table = chance_tables(("A", "B"), over, (3000.0, 5000.0))
    assert table[0].title == "Chance that A is more even than B"
    assert [row[1].strip() for row in table[0].rows] == ["62 % ?", "over 99 %", "over 99 %"]
    assert [row[0] for row in table[0].rows] == ["3000", "5000", "all"]


def test_too_few_solved_draws_leave_a_model_out(capsys: pytest.CaptureFixture[str]) -> None:
    spread = np.full((24, 2), 1.0)
    spread[:6, 1] = np.nan
    assert _compared("engine", {"A": spread, "B": spread}) is None
    assert "wave: not compared by draws" in capsys.readouterr().err
    solved = spread[6:].repeat(2, axis=0)
    assert _compared("engine", {"A": solved, "B": solved}) is not None


@pytest.mark.slow
def test_engine_model_is_compared_by_draws_of_its_own(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = tmp_path / "c.json"
    code = main(["compare", SIDE, CENTER, "--rpm", "2500", "--rpm", "7500", "--samples", "100",
                 "--engine-draws", "20", "--json", str(said)])
    captured = capsys.readouterr()
    assert code == 0, captured.err
    found = json.loads(said.read_text())
    by_speed = found["paired_by_speed"]
    assert found["speeds_rpm"] == [2500.0, 7500.0] and set(by_speed) == {"phased", "engine"}
    assert found["paired"]["engine"]["samples"] == by_speed["engine"]["samples"] == 20
    wave = np.array(by_speed["engine"]["chance"])
    assert wave.shape == (2, 2, 2) and wave[0, 1, 1] == found["paired"]["engine"]["chance"][0][1][0]
    assert "Chance that" in captured.out and "from 20 draws" in captured.out


def test_engine_draws_may_be_left_out_but_not_too_few(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", SIDE, CENTER, "--engine-draws", "5"]) == 2
    assert "--engine-draws" in capsys.readouterr().err
    said = tmp_path / "c.json"
    assert main(["compare", SIDE, CENTER, "--rpm", "5000", "--samples", "100", "--model", "engine",
                 "--model", "phased", "--engine-draws", "0", "--json", str(said)]) == 0
    found = json.loads(said.read_text())
    assert set(found["paired"]) == {"phased"} and found["paired_by_speed"] == {}
