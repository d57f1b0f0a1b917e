"""The commands draw and report: files, messages, exit codes, same bytes."""

from __future__ import annotations

import json
from pathlib import Path

import designs
import fakes
import numpy as np
import pytest

from distrib.cli import report_data
from distrib.cli.app import main
from distrib.cli.kept import packed, unpacked

CASES = Path(__file__).parents[2] / "cases"
SIDE, CENTER = str(CASES / "inline5_side.toml"), str(CASES / "inline5_center.toml")


@pytest.fixture
def made_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Results made up by hand instead of the models."""
    def results(case, wanted, rpm):  # type: ignore[no-untyped-def]
        return [fakes.shares(case, m) for m in wanted.models], {}, ["a remark"]

    monkeypatch.setattr(report_data, "_results", results)
    monkeypatch.setattr(report_data, "swing_table", lambda case: None)
    monkeypatch.setattr(report_data, "_reasons", lambda case, engine: ())
    monkeypatch.setattr(report_data, "compared", lambda *a: ("Side is as even as center.",))


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
    (["report", SIDE, "--model", "steady"], "phased, bench, wave"),
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
    assert "2026-02-03" in page.read_text()
    assert "Side is as even as center." in page.read_text()
    assert paper.read_bytes().startswith(b"%PDF")
    written = json.loads(data.read_text())
    assert written["rpm"] == 7200.0 and written["comparison"] == ["Side is as even as center."]
    said = capsys.readouterr().err.splitlines()
    assert said == ["a remark", "a remark", f"wrote {page}", f"wrote {paper}", f"wrote {data}"]


@pytest.mark.usefixtures("made_up")
def test_report_takes_trims_and_review_from_the_results(tmp_path: Path) -> None:
    target = tmp_path / "r.html"
    assert main(["report", SIDE, "-o", str(target), "--date", "none"]) == 0
    text = target.read_text().replace("\u00a0", " ")
    assert "richen-only" in text and "Tuner sheet" in text and "Reviewer sheet" in text
    assert "[area-ratio]" in text
    assert "confirm" not in text or "leaks" in text


def test_review_reads_the_engine_model_at_all_its_speeds() -> None:
    case = designs.case()
    phased, wave, whole = (fakes.shares(case, m) for m in ("phased", "engine", "engine"))
    found = report_data.reviewed([phased, wave], {"phased": phased, "engine": whole})
    assert found[0] is phased and found[1] is whole
    assert report_data.reviewed([wave], {})[0] is wave


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


def test_kept_result_comes_back_whole() -> None:
    shares = fakes.shares(designs.two_plenum_case(), "engine")
    back = unpacked(packed(shares))
    assert back.title == shares.title and back.sources == shares.sources
    assert back.assumed == shares.assumed and back.reason == shares.reason
    np.testing.assert_array_equal(back.deviation_percent, shares.deviation_percent)
    assert back.band is not None and shares.band is not None
    np.testing.assert_array_equal(back.band.chance_lean, shares.band.chance_lean)
    assert [p.plenum for p in back.profiles] == ["front", "rear"]
    np.testing.assert_array_equal(back.profiles[1].x_m, shares.profiles[1].x_m)
    np.testing.assert_array_equal(back.conditions["rpm"], shares.conditions["rpm"])


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04 broken", b"{}", b"\x93NUMPY"])
def test_broken_kept_file_is_no_result(data: bytes) -> None:
    with pytest.raises((ValueError, KeyError, TypeError, OSError)):
        unpacked(data)


def test_engine_is_run_once_and_found_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:
    from distrib.build import engine
    from distrib.cli.kept import kept_engine

    case, calls = designs.case(), []

    def solve(case, rpm):  # type: ignore[no-untyped-def]
        calls.append(rpm)
        return fakes.shares(case, "engine")

    monkeypatch.setattr(engine, "solve_engine", solve)
    first = kept_engine(case, [6500.0], str(tmp_path))
    second = kept_engine(case, [6500.0], str(tmp_path))
    assert len(calls) == 1
    np.testing.assert_array_equal(first.share, second.share)
    kept_engine(case, [7000.0], str(tmp_path))
    next(iter(tmp_path.glob("engine-*.npz"))).write_bytes(b"broken")
    kept_engine(case, [6500.0], str(tmp_path))
    kept_engine(case, [7000.0], str(tmp_path))
    assert len(calls) == 3
