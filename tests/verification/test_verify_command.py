"""`distrib verify` as a command: output, files, exit codes; pages and plots."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from distrib.cli.app import main
from distrib.verification import run as verification_run
from distrib.verification.lawpage import law_page
from distrib.verification.plots import PLOTS, draw_all
from distrib.verification.published import Published


def test_prints_rows_and_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verify", "--topic", "takeoff"]) == 0
    out = capsys.readouterr().out
    assert "McGreehan and Schotsch (1988)" in out
    assert "all passed" in out
    assert "pass" in out


def test_json_to_stdout_is_only_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verify", "--topic", "gas", "--json", "-"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert all(check["passed"] for check in data["checks"])
    assert {"expected", "got", "why", "source"} <= set(data["checks"][0])


def test_writes_the_whole_report_even_for_one_topic(tmp_path: Path,
                                                    capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "verification.md"
    assert main(["verify", "--topic", "air", "--write", str(target)]) == 0
    text = target.read_text("utf-8")
    assert "## friction" in text and "holds all topics" in capsys.readouterr().err


def test_unknown_topic_exits_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verify", "--topic", "tees"]) == 2
    assert "allowed" in capsys.readouterr().err


def test_a_failure_exits_4(monkeypatch: pytest.MonkeyPatch,
                           capsys: pytest.CaptureFixture[str]) -> None:
    wrong = Published("made.up", "nobody", "nowhere", (2.0,), "digits", lambda: 1.0, "gas",
                      "closed form", atol=0.1)
    monkeypatch.setattr(verification_run, "all_checks", lambda: (wrong,))
    assert main(["verify"]) == 4
    captured = capsys.readouterr()
    assert "made.up" in captured.err and "FAIL" in captured.out and "1 failed" in captured.out


def test_law_page_holds_every_law() -> None:
    from distrib.losses.registry import laws

    page = law_page()
    for entry in laws():
        assert f"`{entry.name}`" in page
    assert page.count("(default)") + page.count("(default, weak)") >= 15


def test_committed_law_page_is_the_generated_one() -> None:
    """`distrib verify --laws reports/laws.md` was run after the last change of a law."""
    page = Path(__file__).parents[2] / "reports" / "laws.md"
    assert page.read_text("utf-8") == law_page()


def test_plots_are_drawn(tmp_path: Path) -> None:
    paths = draw_all(tmp_path)
    assert {p.stem for p in paths} == set(PLOTS)
    assert all(p.read_bytes().startswith(b"\x89PNG") and p.stat().st_size > 5000 for p in paths)
