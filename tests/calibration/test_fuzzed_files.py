"""Files broken at random (seeded): a command ends with its work or a message, never a traceback.

What must hold for each: exit code 0 or 2; on 2 a message of bearable length that says what was
read, and nothing written; on 0 a result that is JSON without not-a-number.
"""

from __future__ import annotations

import json
import random
import re
import shutil
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from distrib.calibration import service
from distrib.calibration.bench import read_bench
from distrib.calibration.bench_mapping import read_bench_mapping
from distrib.calibration.sheet import COLUMNS
from distrib.cli.app import main
from distrib.errors import InputError

from .logs import LOG_MAPPING, write_log
from .made import CASES
from .test_next_trims import engine

CASE = CASES / "inline4_side.toml"
EACH = 120
"""Broken files of each kind."""
CELLS = (
    "1e400", "-1e400", "9" * 400, "nan", "inf", "-inf", "", "-", " ", '""', '"', "#REF!", "1,5",
    "1.5.2", "1e", "0", "-1", "-150", "1e-320", "1e308", "\u0663", "\u00bd", "0x10", "1_000",
    "TRUE", "\u22121", "1\u00a0000", "12:30", "\x0b", "\x1c", "a\u2028b", "=1+1", "1;2")
TOKENS = (*CELLS, "[]", "{}", "[1]", '"x"', '""', '" "', "true", "nan", "[nan]", '"0"',
          '"-1 kPa absolute"', '"1e400 s"')


def broken(data: bytes, rng: random.Random, delimiter: str | None) -> bytes:
    """One fault in a text file; `delimiter` None for TOML and JSON."""
    text = data.decode()
    lines = text.split("\n")
    k = rng.randrange(len(lines))
    at, to = sorted((rng.randrange(len(data)), rng.randrange(len(data))))
    faults: list[Callable[[], bytes]] = [
        lambda: data[:at],
        lambda: data[:at] + bytes([rng.randrange(256)]) + data[at + 1:],
        lambda: data[:at] + b"\0" + data[at:],
        lambda: data[:at] + data[to:],
        lambda: text.encode("utf-16"),
        lambda: text.encode("utf-16-le"),
        lambda: text.replace("e", "\u00e9").encode("cp1252"),
        lambda: text.replace("\n", "\r").encode(),
        lambda: b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode(),
        lambda: "\n".join([*lines[:k], lines[k], *lines[k:]]).encode(),
        lambda: "\n".join([*lines[:k], *lines[k + 1:]]).encode(),
        lambda: "\n".join(rng.sample(lines, len(lines))).encode(),
        lambda: "\n".join(lines[: rng.randrange(1, 8)]).encode(),
        lambda: "\n".join([*lines[:k], lines[k] + "x" * rng.choice((1, 300_000)), *lines[k + 1:]]
                          ).encode(),
        lambda: "\n".join([*lines[:k], lines[k].replace(",", ";"), *lines[k + 1:]]).encode(),
        lambda: _with_value(text, rng, delimiter),
        lambda: _with_value(text, rng, delimiter),
        lambda: _with_value(text, rng, delimiter),
        lambda: _column_twice(lines, rng, delimiter or ","),
    ]
    return rng.choice(faults)()


def _with_value(text: str, rng: random.Random, delimiter: str | None) -> bytes:
    """One cell, or one value of a TOML or JSON file, replaced."""
    if delimiter is None:
        spans = [m.span() for m in re.finditer(r'"[^"\n]*"|[-\d.]+', text)]
        start, stop = rng.choice(spans)
        return (text[:start] + rng.choice(TOKENS) + text[stop:]).encode()
    lines = text.split("\n")
    k = rng.randrange(len(lines))
    cells = lines[k].split(delimiter)
    cells[rng.randrange(len(cells))] = rng.choice(CELLS)
    return "\n".join([*lines[:k], delimiter.join(cells), *lines[k + 1:]]).encode()


def _column_twice(lines: list[str], rng: random.Random, delimiter: str) -> bytes:
    j = rng.randrange(6)
    out = []
    for line in lines:
        cells = line.split(delimiter)
        out.append(delimiter.join([*cells[: j + 1], *cells[j:]]))
    return "\n".join(out).encode()


@pytest.fixture
def good(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
         ) -> dict[str, bytes]:
    """A sound file of each kind, short, by name."""
    monkeypatch.setattr(service, "engine_solver", lambda *_: engine)
    write_log(tmp_path / "log.csv")
    lines = (tmp_path / "log.csv").read_text().split("\n")[:420]
    (tmp_path / "log.csv").write_text("\n".join(lines) + "\n")
    (tmp_path / "log.toml").write_text(LOG_MAPPING.replace("[3000, 5000]", "[3000]"))
    for name in ("bench.csv", "bench.toml", "swap.csv"):
        (tmp_path / name).write_bytes((CASES / "measured" / f"inline4_{name}").read_bytes())
    sheet = tmp_path / "sheet.csv"
    assert main(["trims", str(CASE), "--rpm", "3000,5000", "--csv", str(sheet)]) == 0
    rows = sheet.read_text().split("\n")
    for i, row in enumerate(rows):
        if row[:1].isdigit():
            cells = row.split(",")
            cells[COLUMNS.index("trim_in_engine_percent")] = "0"
            cells[COLUMNS.index("lambda_measured")] = f"0.8{cells[0]}"
            rows[i] = ",".join(cells)
    sheet.write_text("\n".join(rows))
    later = tmp_path / "later.csv"  # a second round: earlier runs, exhaust and knock entered
    assert main(["trims", str(CASE), "--filled", str(sheet), "--csv", str(later)]) == 0
    rows = later.read_text().split("\n")
    for i, row in enumerate(rows):
        if row[:1].isdigit():
            cells = row.split(",")
            for name, value in (("trim_in_engine_percent", "0"), ("lambda_measured", "0.8"),
                                ("egt_degc", "830"), ("knock", "0")):
                cells[COLUMNS.index(name)] = value
            rows[i] = ",".join(cells)
    later.write_text("\n".join(rows))
    (tmp_path / "targets.csv").write_text(
        "rpm / kPa absolute,150,250\n2000,0.9,0.82\n4000,0.88,0.8\n6000,0.86,0.78\n")
    clock = [f"12:{k // 1200:02d}:{k / 20 % 60:05.2f};3 000;{x.split(',', 2)[2].replace(',', ';')}"
             for k, x in enumerate(lines[4:] * 2)]
    (tmp_path / "clock.csv").write_text(
        "# marks\n" + lines[2].replace(",", ";") + "\n" + "\n".join(clock) + "\n")
    (tmp_path / "clock.toml").write_text(
        (tmp_path / "log.toml").read_text().replace('"Time", unit = "s"', '"Time", unit = "clock"')
        + '\n[file]\nthousands = "space"\n[clean]\nshortest = "1 s"\n')
    assert main(["fit", str(CASE), "--log", str(tmp_path / "log.csv"), "--mapping",
                 str(tmp_path / "log.toml"), "--json", str(tmp_path / "fit.json")]) == 0
    capsys.readouterr()
    return {p.name: p.read_bytes() for p in tmp_path.iterdir()}


KINDS = {
    "log.csv": ["trims", "--log", "log.csv", "--mapping", "log.toml"],
    "log.toml": ["fit", "--log", "log.csv", "--mapping", "log.toml"],
    "swap.csv": ["fit", "--swap", "swap.csv"],
    "sheet.csv": ["trims", "--filled", "sheet.csv", "--csv", "next.csv"],
    "later.csv": ["trims", "--filled", "later.csv", "--policy", "to-target", "--csv", "next.csv",
                  "--page", "next.html", "--tables", "tables"],
    "targets.csv": ["trims", "--rpm", "3000", "--targets", "targets.csv"],
    "clock.csv": ["trims", "--log", "clock.csv", "--mapping", "clock.toml"],
    "clock.toml": ["trims", "--log", "clock.csv", "--mapping", "clock.toml"],
    "fit.json": ["trims", "--rpm", "3000", "--fit", "fit.json"],
}


@pytest.mark.parametrize("name", list(KINDS))
def test_broken_files_end_in_a_message(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
    good: dict[str, bytes], name: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    rng = random.Random(name)
    refused = 0
    assert main([KINDS[name][0], str(CASE), *KINDS[name][1:]]) == 0  # sound before it is broken
    Path("next.csv").unlink(missing_ok=True)
    Path("next.html").unlink(missing_ok=True)
    shutil.rmtree("tables", ignore_errors=True)
    capsys.readouterr()
    for _ in range(EACH):
        mark = ";" if name == "clock.csv" else "," if name.endswith("csv") else None
        Path(name).write_bytes(broken(good[name], rng, mark))
        before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
        code = main([KINDS[name][0], str(CASE), *KINDS[name][1:], "--json", "out.json"])
        said = capsys.readouterr()
        assert code in (0, 2), said.err
        if code == 2:
            refused += 1
            assert 0 < len(said.err) < 20_000
            assert "read " in said.err or "is refused" in said.err or "injection" in said.err
            assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before
        else:
            json.loads(Path("out.json").read_text(), parse_constant=lambda c: pytest.fail(c))
            for made in ("out.json", "next.csv", "next.html"):
                Path(made).unlink(missing_ok=True)
            shutil.rmtree("tables", ignore_errors=True)
    assert refused > EACH // 4  # the faults are faults


@pytest.mark.parametrize("name", ["bench.csv", "bench.toml"])
def test_broken_bench_files(tmp_path: Path, good: dict[str, bytes], name: str) -> None:
    """Read only: a fit of each would take minutes. What is read must be fit for a fit."""
    rng = random.Random(name)
    found: list[InputError] = []
    for _ in range(EACH):
        (tmp_path / name).write_bytes(
            broken(good[name], rng, ";" if name.endswith("csv") else None))
        try:
            sheet = read_bench(tmp_path / "bench.csv", read_bench_mapping(tmp_path / "bench.toml"),
                               4)
        except InputError as error:
            found.append(error)
            continue
        for test in sheet.tests:
            assert 1 <= test.runner <= 4 and 0.0 < test.effective_area_m2 < 1e30
            assert 0.0 < test.relative_sigma < 1e3
    assert len(found) > EACH // 4
    assert all(p.file and p.allowed and p.read for error in found for p in error.problems)
    assert max(len(str(error)) for error in found) < 20_000


@pytest.mark.parametrize("name", ["log.csv", "clock.csv"])
def test_mappings_of_broken_logs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], good: dict[str, bytes], name: str
) -> None:
    """Whatever the log, the mapping that is made of it is TOML, or there is none."""
    rng = random.Random(name)
    target = tmp_path / "made.toml"
    for _ in range(EACH):
        (tmp_path / name).write_bytes(broken(good[name], rng, ";" if name == "clock.csv" else ","))
        code = main(["mapping", str(tmp_path / name), "-o", str(target)])
        said = capsys.readouterr()
        assert code in (0, 2) and "Traceback" not in said.err
        if code == 0:
            assert tomllib.loads(target.read_text("utf-8"))["kind"] == "log"
            target.unlink()
        else:
            assert not target.exists() and said.err
