"""What commands print on terminals narrow and wide, piped, and where colour is not wanted."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import struct
import subprocess
import sys
import termios
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from distrib.cli.output import column_widths, records
from distrib.report.grid import Column, Table, fit_columns

ROOT = Path(__file__).parents[2]
SIDE, CENTER = "cases/inline5_side.toml", "cases/inline5_center.toml"
MEASURED = "cases/measured/inline4"
CODES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
BORDERS = "┏┡└┗"

QUICK = {
    "check": ["check", SIDE],
    "check with mistakes": ["check", "tests/bad/empty.toml"],
    "review": ["review", "--no-solve", SIDE],
    "verify": ["verify", "--topic", "mouths"],
    "new": ["new", "inline-6", "center", "-o", "OUT.toml"],
    "draw": ["draw", SIDE, "-o", "OUT.svg"],
    "report": ["report", SIDE, "--no-solve", "-o", "OUT.html"],
}
SPEEDS = ["--rpm", "4000", "--rpm", "6000", "--draws", "20"]
SOLVING = {
    "shares": ["shares", SIDE, "--detail", *SPEEDS],
    "shares on the rig": ["shares", SIDE, "--model", "bench"],
    "compare": ["compare", SIDE, CENTER, *SPEEDS],
    "trims": ["trims", SIDE, "--rpm", "4000,6000", "--draws", "20"],
    "sweep": ["sweep", SIDE, "--vary", "plenum.length=440,470 mm", "--model", "bench",
              "-o", "OUT.csv"],
    "improve": ["improve", SIDE, "--evaluations", "40", "--draws", "20", "--jobs", "1", "-o",
                "OUT"],
    "fit": ["fit", "cases/inline4_side.toml", "--bench", f"{MEASURED}_bench.csv", "--mapping",
            f"{MEASURED}_bench.toml", "-o", "OUT.toml"],
}
WITH_TABLES = ("check", "review", "verify", "shares", "shares on the rig", "compare",
               "improve", "trims", "fit")
KNOWN_ENGINE = """
import sys
sys.path.insert(0, "tests")
from fake_engine import faked, hill
from distrib.cli.app import main
def curve(case, rpm):
    return hill({4: 100.0 * abs(case.plenums[0].sections[0].diameter_m - 0.095)})(case, rpm)
with faked(curve):
    sys.exit(main(sys.argv[1:]))
"""
"""A search by the gas dynamics takes long: `improve` gets known figures, the rest is real."""


def on_terminal(arguments: list[str], columns: int, folder: Path, **more: str) -> str:
    """What a terminal of that many columns gets, standard error included; lines of a progress
    bar that are written over each other are cut down to the last."""
    first, second = pty.openpty()
    fcntl.ioctl(second, termios.TIOCSWINSZ, struct.pack("HHHH", 50, columns, 0, 0))
    environment = {**os.environ, "TERM": "xterm-256color", **more}
    for name in ("COLUMNS", "LINES", *(() if "NO_COLOR" in more else ("NO_COLOR",))):
        environment.pop(name, None)
    process = subprocess.Popen(command(arguments, folder), cwd=ROOT, env=environment,
                               stdin=second, stdout=second, stderr=second, close_fds=True)
    os.close(second)
    parts = []
    while True:
        try:
            part = os.read(first, 1 << 16)
        except OSError:  # the other side has closed
            break
        if not part:
            break
        parts.append(part)
    process.wait(timeout=300)
    os.close(first)
    text = b"".join(parts).decode().replace("\r\n", "\n")
    return "\n".join(line.split("\r")[-1] for line in text.split("\n"))


def command(arguments: list[str], folder: Path) -> list[str]:
    """The command, with what it writes put below `folder`."""
    start = ["-c", KNOWN_ENGINE] if arguments[0] == "improve" else ["-m", "distrib.cli.app"]
    return [sys.executable, *start,
            *(a.replace("OUT", str(folder / "o")) if a.startswith("OUT") else a
              for a in arguments)]


def checked(name: str, arguments: list[str], columns: int, folder: Path) -> None:
    text = on_terminal(arguments, columns, folder)
    assert "Traceback" not in text
    lines = CODES.sub("", text).split("\n")
    # a path is not broken, so that it can be copied
    wide = [line for line in lines if len(line) > columns and str(folder) not in line]
    assert wide == []
    edges = [line for line in lines if line[:1] in BORDERS and len(line) > 1]
    ends = {"┏": "┓", "┡": "┩", "└": "┘", "┗": "┛"}
    assert all(line[-1] == ends[line[0]] for line in edges)
    assert "…" not in text
    if name in WITH_TABLES:
        assert edges or any(line.startswith("    ") and ": " in line for line in lines)


@pytest.mark.parametrize("columns", [60, 160])
@pytest.mark.parametrize("name", list(QUICK))
def test_output_fits_the_terminal(name: str, columns: int, tmp_path: Path) -> None:
    checked(name, QUICK[name], columns, tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("columns", [60, 160])
@pytest.mark.parametrize("name", list(SOLVING))
def test_output_of_models_fits_the_terminal(name: str, columns: int, tmp_path: Path) -> None:
    checked(name, SOLVING[name], columns, tmp_path)


@pytest.mark.parametrize("name", list(QUICK))
def test_no_control_codes_when_piped_or_not_wanted(name: str, tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    plain = on_terminal(QUICK[name], 100, tmp_path / "a", NO_COLOR="1")
    assert "\x1b" not in plain and len(plain) > 20
    piped = subprocess.run(command(QUICK[name], tmp_path / "b"), cwd=ROOT, capture_output=True,
                           text=True, check=False,
                           env={**os.environ, "TERM": "xterm-256color", "FORCE_COLOR": ""})
    assert "\x1b" not in piped.stdout + piped.stderr
    assert not set(BORDERS) & set(piped.stdout)


def test_terminal_shows_tables_with_borders_where_they_fit(tmp_path: Path) -> None:
    wide = on_terminal(QUICK["verify"], 160, tmp_path)
    narrow = on_terminal(QUICK["verify"], 60, tmp_path)
    assert "┏" in wide and "┏" not in narrow
    squeezed = re.sub(r"\s+", " ", narrow)
    for cell in ("mouth.sharp.miller", "0.509268", "0.075 abs", "result: pass"):
        assert cell in squeezed


words = st.text("abcdefgh 123", min_size=0, max_size=40).map(lambda t: " ".join(t.split()))


@given(st.integers(2, 5).flatmap(lambda n: st.tuples(
    st.lists(st.text("abcde", min_size=1, max_size=9), min_size=n, max_size=n),
    st.lists(st.lists(words, min_size=n, max_size=n), min_size=1, max_size=6),
    st.lists(st.booleans(), min_size=n, max_size=n), st.integers(10, 120))))
def test_columns_share_the_room_without_breaking_words(
    drawn: tuple[list[str], list[list[str]], list[bool], int],
) -> None:
    names, cells, right, room = drawn
    widths = column_widths(names, cells, right, room)
    longest = [max(len(w) for w in [names[i], *(w for r in cells for w in (
        [r[i]] if right[i] else r[i].split() or [""]))]) for i in range(len(names))]
    if widths is None:
        assert sum(longest) > room
        return
    assert sum(widths) <= room
    assert all(width >= least for width, least in zip(widths, longest, strict=True))


@given(st.lists(st.lists(words, min_size=3, max_size=3), min_size=1, max_size=5),
       st.integers(40, 90))
def test_rows_as_paragraphs_lose_nothing_and_fit(cells: list[list[str]], width: int) -> None:
    text = records("a title", ["one", "two", "three"], cells, width)
    assert max(len(line) for line in text.split("\n")) <= width
    squeezed = "".join(text.split())
    for row in cells:
        assert all("".join(cell.split()) in squeezed for cell in row)


def test_what_is_left_out_is_named_once() -> None:
    columns = (Column("a"), Column("filling", rank=3), Column("filling", rank=3))
    narrow = fit_columns(Table("t", columns, (("x" * 20, "1" * 20, "2" * 20),)), 30)
    assert narrow.notes == ("left out for lack of width: filling",)
