"""Progress line and table files."""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from distrib.errors import InputError
from distrib.files import atomic
from distrib.studies.progress import Progress, duration
from distrib.studies.table import Column, cell, read_table, write_csv, write_table


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


class Clock:
    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def test_rate_and_remaining_time() -> None:
    screen, clock = Terminal(), Clock()
    bar = Progress(100, already=20, stream=screen, clock=clock)
    for _ in range(10):
        clock.now += 0.5
        bar.update(2)
    assert bar.rate() == pytest.approx(4.0)  # what was there before does not count
    assert bar.remaining() == pytest.approx(15.0)
    assert bar.line() == "40/100 points  40 %  4/s  0:15 left"
    assert screen.getvalue().split("\r")[-1].strip() == bar.line()
    bar.close()
    assert screen.getvalue().endswith("\r") and screen.getvalue().split("\r")[-2].strip() == ""


def test_slow_start_is_forgotten() -> None:
    clock = Clock()
    bar = Progress(10**6, stream=Terminal(), clock=clock)
    clock.now += 60.0
    bar.update(1)
    for _ in range(100):
        clock.now += 1.0
        bar.update(10)
    assert bar.rate() == pytest.approx(10.0)


def test_silent_when_piped_or_quiet() -> None:
    pipe, screen = io.StringIO(), Terminal()
    for bar in (Progress(3, stream=pipe), Progress(3, quiet=True, stream=screen)):
        bar.update(3)
        bar.close()
    assert pipe.getvalue() == "" and screen.getvalue() == ""


def test_redraws_are_few() -> None:
    screen, clock = Terminal(), Clock()
    bar = Progress(10000, stream=screen, clock=clock)
    for _ in range(10000):
        clock.now += 0.0001
        bar.update(1)
    assert screen.getvalue().count("\r") <= 7  # one second at five a second, first and last


@pytest.mark.parametrize("seconds,text", [(0.4, "0:00"), (59.7, "1:00"), (3599, "59:59"),
                                          (7325, "2:02:05")])
def test_durations(seconds: float, text: str) -> None:
    assert duration(seconds) == text


def test_cells_read_back_to_the_same_bits(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    numbers = np.concatenate([rng.normal(size=200) * 10.0 ** rng.integers(-300, 300, 200),
                              [0.1, -0.0, 1e22, 5e-324]])
    columns = (Column("i", "int"), Column("x"), Column("t", "text"), Column("b", "bool"))
    rows = [[i, float(x), 'a "b", c', True] for i, x in enumerate(numbers)]
    write_csv(tmp_path / "t.csv", columns, [rows[:50], rows[50:]])
    table = read_table(tmp_path / "t.csv")
    assert table["x"].tobytes() == numbers.tobytes()
    assert set(table["t"]) == {'a "b", c'} and set(table["b"]) == {"true"}
    assert cell(None, "int") == "" and cell(float("nan"), "float") == ""


def test_a_table_that_breaks_off_leaves_the_old_one(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("old")

    def blocks() -> Iterator[list[list[float]]]:
        yield [[1.0]]
        raise RuntimeError

    with pytest.raises(RuntimeError):
        write_table(path, (Column("x"),), blocks())
    assert path.read_text() == "old" and list(tmp_path.iterdir()) == [path]
    os.umask(mask := os.umask(0o022))
    with atomic(path) as file:
        file.write("new")
    assert path.stat().st_mode & 0o777 == 0o666 & ~mask


def test_a_ragged_table_is_refused(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text("a,b\n1,2\n3\n")
    with pytest.raises(InputError, match=r"t\.csv:3: read 1 cells; allowed: 2 cells"):
        read_table(tmp_path / "t.csv")


def test_many_row_groups_of_parquet(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    from distrib.studies.table import write_parquet

    rows = [[i, None if i % 3 else i / 7.0, "t"] for i in range(100)]
    columns = (Column("i", "int"), Column("x"), Column("t", "text"))
    write_parquet(tmp_path / "t.parquet", columns, [rows[:33], rows[33:]], group=16)
    table = read_table(tmp_path / "t.parquet")
    assert table["i"].tolist() == list(range(100)) and np.isnan(table["x"]).sum() == 66
