"""A report draws every figure once and solves every case once."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import pytest

SIDE = str(Path(__file__).parents[2] / "cases" / "inline5_side.toml")


@pytest.mark.slow
def test_nothing_is_drawn_or_solved_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One nominal solve at the speeds asked for, one set of draws at them."""
    from matplotlib.figure import Figure

    from distrib.answer import run
    from distrib.cli.app import main

    count: Counter[str] = Counter()

    def counted(name: str, function: Any) -> Any:
        def call(*given: Any, **named: Any) -> Any:
            count[name] += 1
            return function(*given, **named)
        return call

    monkeypatch.setattr(Figure, "draw", counted("draw", Figure.draw))
    for name in ("solve_engine", "drawn_trapped"):
        monkeypatch.setattr(run, name, counted(name, getattr(run, name)))
    page = tmp_path / "r.html"
    assert main(["report", SIDE, "--rpm", "4000", "--rpm", "6000", "--draws", "20",
                 "-o", str(page)]) == 0
    figures = page.read_text().count("<svg ")
    assert figures >= 6
    assert count["draw"] == figures
    assert count["solve_engine"] == count["drawn_trapped"] == 1
