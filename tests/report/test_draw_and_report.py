"""The commands draw and report: files, messages, exit codes, same bytes."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import fake_engine
import numpy as np
import pytest

from distrib.case.schema import Case
from distrib.cli.app import main
from distrib.results import FloatArray

CASES = Path(__file__).parents[2] / "cases"
SIDE, CENTER = str(CASES / "inline5_side.toml"), str(CASES / "inline5_center.toml")


@pytest.fixture
def made_up() -> Iterator[None]:
    """Engine figures made up by hand instead of solved; the rest is real."""
    def curve(case: Case, rpm: FloatArray) -> FloatArray:
        top = 4.0 if case.entries[0].kind == "side" else 1.0
        top += 20.0 * ((case.plenums[0].sections[0].diameter_m or 0.082) - 0.082)
        return fake_engine.hill({5: top})(case, rpm)

    with fake_engine.faked(curve):
        yield


@pytest.mark.parametrize("ending", ["svg", "png", "pdf", "dxf"])
def test_draw_writes_the_file_and_says_so(
    ending: str, tmp_path: Path, capsys: pytest.CaptureFixture[str],
) -> None:
    target = tmp_path / f"drawing.{ending}"
    assert main(["draw", SIDE, "-o", str(target)]) == 0
    start = {"svg": b"<?xml", "png": b"\x89PNG", "pdf": b"%PDF", "dxf": b"  0\nSECTION"}
    assert target.read_bytes().startswith(start[ending])
    assert capsys.readouterr().err == f"wrote {target}\n"


def test_draw_takes_verdicts_from_a_result(tmp_path: Path) -> None:
    result = tmp_path / "shares.json"
    rows = [{"cylinder": n, "verdict": "lean" if n == 5 else "even"} for n in range(1, 6)]
    result.write_text(json.dumps({"cylinders": rows}))
    plain, coloured = tmp_path / "a.svg", tmp_path / "b.svg"
    assert main(["draw", SIDE, "-o", str(plain)]) == 0
    assert main(["draw", SIDE, "-o", str(coloured), "--shares", str(result)]) == 0
    assert "d55e00" in coloured.read_text() and "d55e00" not in plain.read_text()


@pytest.mark.parametrize(("arguments", "message"), [
    (["draw", SIDE, "-o", "x.gif"], "a name that ends in .svg, .png, .pdf, .dxf"),
    (["draw", SIDE, "-o", "x.svg", "--paper", "B5"], "A3, A4, Letter, Tabloid"),
    (["draw", SIDE, "-o", "x.svg", "--shares", SIDE], "a result written by"),
    (["draw", "absent.toml", "-o", "x.svg"], "absent.toml"),
    (["report", SIDE, "-o", "x.txt"], "a name that ends in .html or .pdf"),
    (["report", SIDE, "--model", "bench"], "--model"),
    (["report", SIDE, "--paper", "A5"], "A4, Letter"),
    (["report", "absent.toml"], "absent.toml")])
def test_mistakes_are_said_and_write_nothing(
    arguments: list[str], message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(arguments) == 2
    said = capsys.readouterr().err
    assert message in said and "Traceback" not in said
    assert list(tmp_path.iterdir()) == []


def test_result_of_another_case_is_refused_for_colours(
    tmp_path: Path, capsys: pytest.CaptureFixture[str],
) -> None:
    result = tmp_path / "shares.json"
    result.write_text(json.dumps({"cylinders": [{"cylinder": 1, "verdict": "lean"}]}))
    target = tmp_path / "a.svg"
    assert main(["draw", SIDE, "-o", str(target), "--shares", str(result)]) == 2
    assert "no verdict for cylinder 2, 3, 4, 5" in capsys.readouterr().err
    assert not target.exists()


def test_report_without_models_has_drawing_review_and_shop_sheet(tmp_path: Path) -> None:
    target = tmp_path / "report.html"
    assert main(["report", SIDE, "--no-solve", "--date", "none", "-o", str(target)]) == 0
    first = target.read_bytes()
    text = first.decode()
    assert "No model has been run for this report." in text
    for title in ("Drawing to scale", "Review", "Shop sheet"):
        assert title in text
    assert "Fuel trims" not in text
    assert main(["report", SIDE, "--no-solve", "--date", "none", "-o", str(target)]) == 0
    assert target.read_bytes() == first


@pytest.mark.usefixtures("made_up")
def test_report_of_two_designs_as_page_and_pdf(
    tmp_path: Path, capsys: pytest.CaptureFixture[str],
) -> None:
    page, paper, data = (tmp_path / name for name in ("r.html", "r.pdf", "r.json"))
    assert main(["report", SIDE, CENTER, "-o", str(page), "-o", str(paper), "--paper", "Letter",
                 "--date", "2026-02-03", "--json", str(data)]) == 0
    said = json.loads(data.read_text())["comparison"]
    assert said[0].startswith("B is more even than A: worst spread 1.2 % against 5.0 % (chance ")
    text = page.read_text().replace("\u00a0", " ")
    assert "2026-02-03" in text
    for sentence in said:
        assert sentence in text
    assert paper.read_bytes().startswith(b"%PDF")
    assert [line for line in capsys.readouterr().err.splitlines() if "engine runs" not in line] == [
        f"wrote {page}", f"wrote {paper}", f"wrote {data}"]


@pytest.mark.usefixtures("made_up")
def test_designs_of_different_engines_are_shown_but_not_compared(
    tmp_path: Path, capsys: pytest.CaptureFixture[str],
) -> None:
    page = tmp_path / "r.html"
    four = str(CASES / "inline4_side.toml")
    assert main(["report", SIDE, four, "-o", str(page), "--date", "none"]) == 0
    text = page.read_text().replace("\u00a0", " ")
    assert "Not compared: " in text and "designs of one engine can be compared" in text
    assert "more even" not in text and "Cannot tell" not in text
    assert text.count("runs lean near") >= 1
    assert "not compared: " in capsys.readouterr().err


@pytest.mark.usefixtures("made_up")
def test_report_takes_trims_and_review_from_the_results(tmp_path: Path) -> None:
    target = tmp_path / "r.html"
    assert main(["report", SIDE, "-o", str(target), "--date", "none"]) == 0
    text = target.read_text().replace("\u00a0", " ")
    assert "richen-only" in text and "Tuner sheet" in text and "Reviewer sheet" in text
    assert "[area-ratio]" in text
    assert "leaks" in text
    matters = re.search(r">What matters most</h2>(.*?)</section>", text, re.DOTALL)
    assert matters is not None
    for group in ("Loss laws: ", "Dimensions: "):
        assert group in matters.group(1)
    assert "the largest spread over six speeds of the wanted band" in matters.group(1).replace(
        "One input at a time", "one input at a time")


@pytest.mark.usefixtures("made_up")
def test_rig_is_shown_only_when_asked_for_and_judges_nothing(tmp_path: Path) -> None:
    plain, both = tmp_path / "a.html", tmp_path / "b.html"
    assert main(["report", SIDE, "-o", str(plain), "--date", "none"]) == 0
    assert main(["report", SIDE, "--bench", "-o", str(both), "--date", "none"]) == 0
    assert "Deviation by model" not in plain.read_text()
    text = both.read_text()
    assert "Deviation by model" in text
    assert "never trim fuel by a steady rig" in text
    leads = [re.findall(r'<p class="lead">(.*?)</p>', p.read_text()) for p in (plain, both)]
    assert leads[0] == leads[1] and len(leads[0]) == 1


def test_case_without_any_solution_is_remarked_and_keeps_drawing_and_review(
    tmp_path: Path, capsys: pytest.CaptureFixture[str],
) -> None:
    page = tmp_path / "r.html"
    with fake_engine.faked(lambda case, rpm: np.full((rpm.size, len(case.runners)), np.nan)):
        assert main(["report", SIDE, "-o", str(page), "--date", "none", "--no-sensitivity"]) == 0
    assert "no speed gave a solution" in capsys.readouterr().err
    text = page.read_text()
    assert "No model has been run" in text and "Review" in text and "Fuel trims" not in text


def test_garbage_is_looked_for_seldom_and_the_setting_comes_back() -> None:
    import gc

    from distrib.cli.collection import OBJECTS, seldom

    @seldom()
    def fails() -> None:
        assert gc.get_threshold()[0] == OBJECTS and gc.isenabled()
        raise ZeroDivisionError

    before = gc.get_threshold()
    with pytest.raises(ZeroDivisionError):
        fails()
    assert gc.get_threshold() == before
