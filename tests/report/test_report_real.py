"""The report of a demo case from the models themselves: the same bytes twice, nothing left out."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from distrib.cli.app import main

SIDE = str(Path(__file__).parents[2] / "cases" / "inline5_side.toml")


@pytest.mark.slow
def test_report_of_a_demo_case_is_whole_and_repeats(tmp_path: Path) -> None:
    first, second = tmp_path / "a.html", tmp_path / "b.html"
    for target in (first, second):
        assert main(["report", SIDE, "--rpm", "4000", "--rpm", "6000", "--draws", "20", "--bench",
                     "--no-sensitivity", "--date", "none", "-o", str(target)]) == 0
    assert first.read_bytes() == second.read_bytes()
    text = first.read_text().replace("\u00a0", " ")
    for title in ("At a glance", "Drawing to scale", "Shares, lean risk and band",
                  "Why: pressure and velocity along the plenum", "Over engine speed",
                  "Fuel trims", "Review", "Assumptions and limits",
                  "Laws used, with sources", "Cautions", "Versions", "Shop sheet", "Tuner sheet",
                  "Reviewer sheet"):
        assert f">{title}" in text, title
    shares = [float(s) for s in re.findall(
        r'<td class="right">(\d\d\.\d+)</td>\s*<td class="right">[+-]?[\d.]+</td>', text)][:5]
    assert sum(shares) == pytest.approx(100.0, abs=0.3)
    assert "nan" not in re.sub(r"<svg.*?</svg>", "", text, flags=re.DOTALL).lower().split()
