"""The trim sheet on paper: nothing cut off on A4 and Letter, the tables on the first page."""

from __future__ import annotations

import csv
import io
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import chrome
import numpy as np
import pytest

from distrib.calibration.filled import next_from_sheet
from distrib.calibration.gate import gate
from distrib.calibration.next_sheet import next_table
from distrib.calibration.sheet import TrimTable, to_csv
from distrib.calibration.sheet_page import to_html
from distrib.calibration.sheet_read import read_sheet
from distrib.case.read import read_case

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chrome.CHROMIUM is None, reason="Chromium is absent"),
    pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler is absent"),
]
PAPERS = {"A4": (8.268, 11.693), "Letter": (8.5, 11.0)}
CASE = Path(__file__).parents[2] / "cases" / "inline4_side.toml"
CAUTIONS = tuple(f"caution number {k}, as long as they come in a real sheet with a reason" * 2
                 for k in range(8))


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[chrome.Page]:
    with chrome.browser(tmp_path_factory.mktemp("profile")) as opened:
        yield opened


def predicted(cells: int = 2) -> TrimTable:
    """A sheet of one pressure with wide figures in every column."""
    shape = (cells, 1, 4)
    air = np.broadcast_to(np.array([-11.2, 10.3, -12.7, 13.6]), shape).copy()
    wide = np.full(shape, 2.5)
    return TrimTable(
        "Boosted inline four, side entry", "ab12" * 16, "engine", "richen-only", "predicted", 0.5,
        "fuel", "gasoline", 0.8, (1, 2, 3, 4), np.array([0.054, 0.148, 0.242, 1.336]),
        np.array([3000.0, 12000.0, 5000.0][:cells]), np.array([220.8e3]), air, air - 10.0,
        air + 10.0, 0.9, np.full(shape, "watch"), 0.8 * (1.0 + air / 100.0), air, wide, wide,
        np.full((cells, 1), 1.5), np.full((cells, 1), 1.0), np.full((cells, 1), 0.812),
        np.full((cells, 1), 3), gate([]), ("lean_percent 3: common practice",) * 9, CAUTIONS, ())


def measured(folder: Path) -> TrimTable:
    """A sheet made from one that was filled in: lean, rich and barred cylinders with reasons."""
    text = to_csv(predicted(2))
    head = [x for x in text.splitlines() if x.startswith("#")]
    rows = list(csv.DictReader(x for x in text.splitlines() if not x.startswith("#")))
    for row in rows:
        lam = {"1": "0.768", "2": "0.828", "3": "0.8", "4": "0.792"}[row["cylinder"]]
        if row["rpm"] == "12000":
            lam = f"{float(lam) + 0.15:.3f}"
        row |= {"lambda_measured": lam, "trim_in_engine_percent": "-2.5", "egt_degc": "905",
                "knock": "0", "notes": "second pull, plug clean, some oil at the seat"}
    out = io.StringIO("\n".join(head) + "\n")
    out.seek(0, io.SEEK_END)
    writer = csv.DictWriter(out, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    (folder / "f.csv").write_text(out.getvalue(), encoding="utf-8")
    case = read_case(CASE)
    found = next_from_sheet(case, read_sheet(folder / "f.csv"), "to-target", 0.5)
    return next_table(case, found, gate([]))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("kind", ["predicted", "measured"])
def test_sheet_prints_whole(page: chrome.Page, tmp_path: Path, kind: str, paper: str) -> None:
    table = predicted() if kind == "predicted" else measured(tmp_path)
    (tmp_path / "s.html").write_text(to_html(table), encoding="utf-8")
    page.open(tmp_path / "s.html", 1280)
    width, height = PAPERS[paper]
    target = tmp_path / "s.pdf"
    target.write_bytes(page.print_pdf(width, height))
    boxes = subprocess.run(["pdftotext", "-bbox", str(target), "-"], capture_output=True,
                           text=True, check=True).stdout
    margin = 12.0 / 25.4 * 72.0
    rights = [float(x) for x in re.findall(r'xMax="([\d.]+)"', boxes)]
    assert len(rights) > 100 and max(rights) <= width * 72.0 - margin + 1.0
    # no cell is wider than its column, and no table than the page
    assert page.ask("Array.from(document.querySelectorAll('td, th')).filter(e => e.scrollWidth >"
                    " e.clientWidth + 1).map(e => e.textContent)") == []
    first = subprocess.run(["pdftotext", "-layout", "-l", "1", str(target), "-"],
                           capture_output=True, text=True, check=True).stdout
    squeezed = re.sub(r"\s+", "", first)
    for i, _ in table.cells():  # every table starts and ends on the first page
        assert re.sub(r"\s+", "", f"{table.rpm[i]:.0f} rpm, 221 kPa absolute") in squeezed
    for heading in page.ask("Array.from(document.querySelectorAll('th')).map(e => e.innerText)"):
        assert all(word in squeezed for word in re.findall(r"\w+", heading)), heading
    whole = subprocess.run(["pdftotext", "-layout", str(target), "-"], capture_output=True,
                           text=True, check=True).stdout
    if kind == "predicted":
        assert all(f"caution number {k}" in whole for k in range(8))  # all there, after the tables
    else:
        assert "STOP" in first and first.index("STOP") < first.index("fuel")


def test_sheet_fits_a_narrow_window(page: chrome.Page, tmp_path: Path) -> None:
    (tmp_path / "s.html").write_text(to_html(measured(tmp_path)), encoding="utf-8")
    page.open(tmp_path / "s.html", 700)
    assert page.ask("document.documentElement.scrollWidth <= 700")
    assert page.complaints() == []
