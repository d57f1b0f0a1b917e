"""Logs, sheets and results that are no such thing: refused in words, at once."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from distrib.calibration.layout import find_layout
from distrib.cli.app import main

ROOT = Path(__file__).resolve().parents[2]
CASE = str(ROOT / "cases" / "inline5_side.toml")


def layout_fault(path: Path) -> str:
    with pytest.raises(Exception, match="read") as found:
        find_layout(path, ["rpm", "lambda"])
    assert type(found.value).__name__ == "InputError"
    return str(found.value)


def test_a_log_with_a_million_columns(tmp_path: Path) -> None:
    """The columns that are asked for are there, but nobody could have read them."""
    names = ["rpm", *(f"c{i}" for i in range(1_000_000)), "lambda"]
    path = tmp_path / "log.csv"
    path.write_text(",".join(names) + "\n" + ",".join("1" for _ in names) + "\n")
    assert "log.csv:1: file: read a line of more than" in layout_fault(path)
    path.write_text("# made by a logger\n" + ",".join(names) + "\n1,2,3\n")
    assert "log.csv:2: file: read a line of more than" in layout_fault(path)


def test_a_log_with_ten_thousand_columns_is_read(tmp_path: Path) -> None:
    names = ["rpm", *(f"c{i}" for i in range(10_000)), "lambda"]
    path = tmp_path / "log.csv"
    path.write_text(",".join(names) + "\n" + ",".join("1" for _ in names) + "\n")
    assert find_layout(path, ["rpm", "lambda"]).names == tuple(names)


def test_pipes_and_devices_are_not_waited_for(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for name in (str(pipe), "/dev/zero"):
        assert "a pipe or a device" in layout_fault(Path(name))
        for args in (["check", name], ["fit", CASE, "--bench", "b.csv", "--mapping", name],
                     ["draw", CASE, "-o", str(tmp_path / "a.svg"), "--shares", name],
                     ["trims", CASE, "--fit", name]):
            assert main(args) == 2
            assert "a pipe or a device" in capsys.readouterr().err, args


def test_deep_json_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    deep = tmp_path / "deep.json"
    deep.write_text("[" * 200_000)
    for args in (["draw", CASE, "-o", str(tmp_path / "a.svg"), "--shares", str(deep)],
                 ["trims", CASE, "--fit", str(deep)]):
        assert main(args) == 2
        assert "deep.json" in capsys.readouterr().err
