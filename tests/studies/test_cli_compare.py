"""`distrib compare` from the shell's side: the engine figure, the rig by name, what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import fake_engine
import numpy as np
import pytest

from distrib.case.schema import Case
from distrib.cli.app import main
from distrib.results import FloatArray

CASES = Path(__file__).resolve().parents[2] / "cases"
SIDE, CENTER = str(CASES / "inline4_side.toml"), str(CASES / "inline4_center.toml")


def curve(case: Case, rpm: FloatArray) -> FloatArray:
    """The side entry has the lean end cylinder; the center entry is nearly even."""
    return fake_engine.hill({4: 6.0 if case.entries[0].kind == "side" else 1.0})(case, rpm)


def test_three_designs_are_compared_pair_by_pair(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said, folder = tmp_path / "c.json", tmp_path / "pictures"
    with fake_engine.faked(curve, 0.1):
        assert main(["compare", SIDE, CENTER, CENTER, "--draws", "40", "--json", str(said),
                     "--plot", str(folder)]) == 0
    captured = capsys.readouterr()
    found = json.loads(said.read_text())
    assert [s.split(":")[0] for s in found["sentences"]] == [
        "B is more even than A", "C is more even than A", "Cannot tell B and C apart"]
    assert found["more_even"] is None and found["chance"] == 0.5  # two alike: none is the best
    assert found["paired"]["samples"] == found["paired_by_speed"]["samples"] == 40
    speeds = found["by_speed"]["rpm"]
    chance = np.array(found["paired_by_speed"]["chance"])
    assert chance.shape == (3, 3, len(speeds))
    np.testing.assert_allclose(chance + chance.swapaxes(0, 1), 1.0)
    assert "40 draws of everything uncertain, the same for all designs" in captured.out
    assert "estimate, not a measurement" in captured.out
    assert {p.name for p in folder.iterdir()} == {"compare.png", "compare.svg"}


def test_speed_without_solution_is_said_and_has_no_chance(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = tmp_path / "c.json"

    def holed(case: Case, rpm: FloatArray) -> FloatArray:
        out = curve(case, rpm)
        out[rpm == 5000.0] = np.nan
        return out

    with fake_engine.faked(holed, 0.1):
        assert main(["compare", SIDE, CENTER, "--rpm", "5000", "--rpm", "6000", "--draws", "40",
                     "--json", str(said)]) == 0
    found = json.loads(said.read_text())
    assert found["by_speed"]["more_even"][0] is found["by_speed"]["chance"][0] is None
    assert found["more_even"] == found["by_speed"]["more_even"][1] == found["designs"][1]["name"]
    assert "no solution" in capsys.readouterr().out


def test_designs_of_different_engines_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    five = str(CASES / "inline5_side.toml")
    assert main(["compare", SIDE, five, CENTER]) == 2
    said = capsys.readouterr().err
    assert "inline5_side.toml: engine: read inline-5" in said
    assert "designs of one engine can be compared" in said and "Traceback" not in said


@pytest.mark.parametrize(("arguments", "said"), [
    ([SIDE], "two cases or more"), ([SIDE, CENTER, "--draws", "5"], "--draws"),
    ([SIDE, CENTER, "--rpm", "20"], "speeds from 50 to 30000 rev/min"),
    ([SIDE, CENTER, "--model", "egnine"], "engine, bench"),
    ([SIDE, "absent.toml"], "absent.toml")])
def test_mistakes_are_said(arguments: list[str], said: str,
                           capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", *arguments]) == 2
    captured = capsys.readouterr()
    assert said in captured.err and captured.out == ""


def test_rig_is_asked_for_by_name_and_judges_nobody(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = tmp_path / "c.json"
    assert main(["compare", SIDE, CENTER, "--model", "bench", "--json", str(said)]) == 0
    out = capsys.readouterr().out
    assert out.startswith("On the steady rig, which overstates what the engine sees: never a fuel")
    assert "more even" not in out
    found = json.loads(said.read_text())
    assert found["model"] == "bench" and "more_even" not in found
    assert {c["verdict"] for d in found["designs"] for c in d["cylinders"]} == {None}


@pytest.mark.slow
def test_solved_designs_give_the_same_twice_with_figures_inside_their_bands(tmp_path: Path) -> None:
    """From the gas dynamics themselves, at one speed and with the fewest draws."""
    texts = []
    for name in ("a.json", "b.json"):
        assert main(["compare", SIDE, CENTER, "--rpm", "6000", "--draws", "20", "--json",
                     str(tmp_path / name)]) == 0
        texts.append((tmp_path / name).read_text())
    assert texts[0] == texts[1]
    found = json.loads(texts[0])
    assert found["paired"]["samples"] + found["paired"]["dropped"] == 20
    for one in found["designs"]:
        assert one["over_speed"]["rpm"] == [6000.0] and one["converged"]
        deviation = np.array(one["over_speed"]["deviation_percent"])
        np.testing.assert_allclose(deviation.sum(axis=1), 0.0, atol=1e-6)
        low, high = np.moveaxis(np.array(one["over_speed"]["band_percent"]), -1, 0)
        assert (low <= deviation).all() and (deviation <= high).all()
