"""More than a hundred faulty files: each is refused with place, value and what is allowed.

Each fault is one edit of a good file. Expected: the message part, and the line where it stands.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from distrib.calibration.bench import read_bench
from distrib.calibration.bench_mapping import read_bench_mapping
from distrib.calibration.log import read_log
from distrib.calibration.mapping import read_log_mapping
from distrib.errors import InputError

from .logs import BENCH_MAPPING, BENCH_TEXT, LOG_MAPPING, write_log

Edit = tuple[str, str, str, int | None]

LOG_MAPPING_FAULTS: list[Edit] = [
    ('kind = "log"', 'kind = "bench"', 'read "bench"; allowed: "log"', 2),
    ('kind = "log"', "", "kind: read nothing", None),
    ('kind = "log"', 'kind = log', "no valid TOML", 2),
    ("[channels]", "[channels", "no valid TOML", 4),
    ("[cells]", '[cells]\nrpm = [3000', "no valid TOML", 20),
    ('pressure = ["100 kPa gauge"]', 'pressure = ["100 kPa gauge', "no valid TOML", 20),
    ('column = "Time"', 'column = ""', 'channels.time.column: read ""', 5),
    ('unit = "s" }', 'unit = " " }', 'channels.time.unit: read " "', 5),
    ('"L3", "L1"', '"L3", ""', "channels.lambda.columns", 10),
    ("rpm = [3000, 5000]", "rpm = [nan, 5000]", "a number from 100 to 20000", 19),
    ("rpm = [3000, 5000]", "rpm = [true, 5000]", "a number from 100 to 20000", 19),
    ('"100 kPa absolute"', '"nan kPa absolute"', "state.barometer", 14),
    ("[channels]", "[chanels]", "channels: read nothing", None),
    ("[state]", "[stat]", "state: read nothing", None),
    ("[cells]", "[cell]", "cell: read unknown key", None),
    ('time = { column = "Time", unit = "s" }', "", "channels.time: read nothing", 4),
    ('time = { column = "Time", unit = "s" }', 'time = "Time"', 'channels.time: read "Time"', 5),
    ('column = "Time"', "column = 3", "channels.time.column: read 3", 5),
    ('column = "Time"', 'colum = "Time"', "channels.time.column: read nothing", 5),
    ('{ column = "Time", unit = "s" }', '{ column = "Time" }', "channels.time.unit: read nothing",
     5),
    ('unit = "s"', 'unit = "fortnight"', "unknown unit fortnight", 5),
    ('unit = "s"', 'unit = "kPa"', "kPa is a unit of pressure", 5),
    ('unit = "rpm"', 'unit = "rpn"', "unknown unit rpn; nearest: rpm", 6),
    ('unit = "kPa gauge"', 'unit = "kPa"', "a pressure with gauge or absolute", 7),
    ('unit = "kPa gauge"', 'unit = "psii gauge"', "nearest: psi", 7),
    ('unit = "degC"', 'unit = "C0"', "unknown unit", 8),
    (', cut_when = 1', "", "channels.fuel_cut.cut_when: read nothing", 9),
    ("cut_when = 1", 'cut_when = "on"', "a number from", 9),
    ('columns = ["L3", "L1", "L4", "L2"]', 'columns = ["L3", "L1", "L4"]',
     "cylinders: read 4 numbers; allowed: 3", 10),
    ('columns = ["L3", "L1", "L4", "L2"]', 'columns = ["L3", "L3", "L4", "L2"]', "each name once",
     10),
    ('columns = ["L3", "L1", "L4", "L2"]', 'columns = "L3"', "a list of texts", 10),
    ("cylinders = [3, 1, 4, 2], unit", "unit", "channels.lambda.cylinders: read nothing", 10),
    ("cylinders = [3, 1, 4, 2]", "cylinders = [3, 1, 4, 4]", "each number once", 10),
    ("cylinders = [3, 1, 4, 2]", "cylinders = [3, 1, 4, 0]", "whole numbers from 1 to 16", 10),
    ("cylinders = [3, 1, 4, 2]", "cylinders = [3.5, 1, 4, 2]", "whole numbers from 1 to 16", 10),
    ('unit = "lambda"', 'unit = "afr"', 'nearest: "AFR"', 10),
    ('unit = "lambda"', 'unit = "AFR"', "channels.lambda.scale: read nothing", 10),
    ('unit = "lambda"', 'unit = "AFR", scale = 0', "a number from 5 to 20", 10),
    ('unit = "lambda"', 'unit = "equivalence ratio"', "export lambda", 10),
    ('injection = "sequential"', 'injection = "batched"', 'nearest: "batch"', 13),
    ('injection = "sequential"', "", "state.injection: read nothing", 12),
    ('barometer = "100 kPa absolute"', "", "manifold_pressure in gauge pressure", 4),
    ('barometer = "100 kPa absolute"', 'barometer = "100 kPa"', "a pressure with gauge", 14),
    ('barometer = "100 kPa absolute"', "barometer = 100", "a bare number", 14),
    ('barometer = "100 kPa absolute"', 'barometer = "0 psi gauge"', "needs the barometer", 14),
    ("trims = {", "trim = {", "state.trims: read nothing", 12),
    ("trims = { percent = [2.0, 0.0, -1.0, 0.0], cylinders = [1, 2, 3, 4], on = \"fuel\" }",
     'trims = "unknown"', 'allowed: "none"', 15),
    (', on = "fuel"', "", "state.trims.on: read nothing", 15),
    ('on = "fuel"', 'on = "duty"', 'allowed: "fuel", "effective pulse", "total pulse"', 15),
    ('on = "fuel"', 'on = "total pulse"', "dead_time: read nothing", 15),
    ("percent = [2.0, 0.0, -1.0, 0.0]", "percent = [2.0, 0.0]", "percent: read 2 numbers", 15),
    ("percent = [2.0, 0.0, -1.0, 0.0]", 'percent = ["2", 0, 0, 0]', "a number from -50 to 50", 15),
    ("percent = [2.0, 0.0, -1.0, 0.0]", "percent = []", "a list of numbers", 15),
    ("percent = [2.0, 0.0, -1.0, 0.0], cylinders = [1, 2, 3, 4]",
     "percent = [2.0, 0.0], cylinders = [1, 2]", "nothing for cylinders 3, 4", 15),
    ("percent = [2.0, 0.0, -1.0, 0.0], cylinders = [1, 2, 3, 4]",
     'columns = ["T1", "T2", "T3"], cylinders = [1, 2, 3], unit = "percent"',
     "nothing for cylinders 4", 15),
    ('column = "CL", unit = "percent"', 'columns = ["CL"], cylinders = [1], unit = "percent"',
     "state.closed_loop: read nothing for cylinders 2, 3, 4", 16),
    ('closed_loop = { column = "CL", unit = "percent" }', "", "closed_loop: read nothing", 12),
    ('closed_loop = { column = "CL", unit = "percent" }', 'closed_loop = "on"', 'allowed: "off"',
     16),
    ('"CL", unit = "percent"', '"CL", unit = "factor"', 'allowed: "percent", "multiplier"', 16),
    ("rpm = [3000, 5000]", "rpm = [3000, 99999]", "a number from 100 to 20000", 19),
    ("rpm = [3000, 5000]", "rpm = [5000, 3000]", "cells.rpm: read 5000, 3000; allowed: rising", 19),
    ('pressure = ["100 kPa gauge"]', 'pressure = ["1 bar gauge", "100 kPa gauge"]',
     "cells.pressure: read 200000, 200000; allowed: rising", 20),
    ('pressure = ["100 kPa gauge"]', "pressure = [200]", "a list of texts", 20),
    ('pressure = ["100 kPa gauge"]', 'pressure = ["200 kPa"]', "a pressure with gauge", 20),
    ("[cells]", '[clean]\nshortest = "9 s"\n[cells]', "clean.shortest: read 9 s", 19),
    ("[cells]", "[clean]\nrpm_withn = 40\n[cells]", "nearest: rpm_within", 19),
    ("[cells]", '[file]\ndecimal = ";"\n[cells]', 'allowed: ".", ","', 19),
    ("[cells]", '[file]\nheader_row = 0\n[cells]', "a number from 1 to 400", 19),
    ("[cells]", '[file]\nunits_row = "yes"\n[cells]', "true or false", 19),
]

LOG_FILE_FAULTS: list[Edit] = [
    ("L3", "Lambda3", 'column "L3": read no such column', 3),
    ("Boost", "MAP", 'column "Boost": read no such column', 3),
    ("Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL", "", 'column "Time": read no such column', None),
    ("L3,L4", "L3,L3", 'column "L4": read no such column', 3),
    ("ECT,Cut", "ECT,ECT", 'column "Cut": read no such column', 3),
    ("L1,L2,L3,L4,CL\n", "L1,L2,L3,L4,CL,CL\n", 'column "CL": read 2 columns of that name', 3),
    ("\n0.5,3000,", "\n0.5,abc,", 'column 2 "RPM": read "abc"', 15),
    ("\n0.5,3000,", "\n0.5,3 000,", 'column 2 "RPM": read "3 000"', 15),
    ("\n0.5,3000,", "\n0.5,3000rpm,", 'read "3000rpm"', 15),
    ("\n0.5,3000,", '\n0.5,"3,000",', 'read "3,000"', 15),
    ("\n0.5,3000,", "\n0.5,1e,", 'read "1e"', 15),
    ("\n0.5,3000,", "\n0.5,--3000,", 'read "--3000"', 15),
    ("\n0.5,3000,", "\n0.5,3000.5.1,", 'read "3000.5.1"', 15),
    ("\n0.5,3000,", "\n0.5,#REF!,", 'read "#REF!"', 15),
    ("\n0.5,3000,", "\n0.5,0x1F,", 'read "0x1F"', 15),
    ("\n0.5,3000,", "\n0.5,inf,", 'read "inf"', 15),
    ("\n0.5,3000,", "\n0.5,,3000,", "line: read 11 cells; allowed: 10", 15),
    ("\n0.5,3000,", "\n0.5;3000;", "line: read 8 cells", 15),
    ("\n0.5,3000,", "\n3000,", "line: read 9 cells", 15),
    ("\n0.5,3000,", "\n17\n0.5,3000,", "line: read 1 cells", 15),
    ("\n0.5,3000,", "\n#REF!,3000,", 'column 1 "Time": read "#REF!"', 15),
    ("\n0.5,3000,", "\n12:30:00,3000,", 'unit = "clock"', 15),
    ("\n0.5,3000,", "\n,3000,", "time: read a blank", 15),
    ("\n0.5,3000,", "\n0.1,3000,", "0.1 s after 0.45 s", 15),
    ("\n0.5,3000,", "\n-0.5,3000,", "times that increase", 15),
    ("s,rpm,kPa", "s,rpm,psi", "unit psi in the file", 4),
    ("s,rpm,kPa", "ms,rpm,kPa", "unit ms in the file", 4),
    ("kPa,degC", "kPa,degF", "unit degF in the file", 4),
    ("-,lambda,lambda", "-,lambda,AFR", 'column 7 "L2": read unit AFR in the file', 4),
    ("\n0.5,3000,", "\n0.5,1e400,", 'column 2 "RPM": read "1e400"', 15),
    ("\n0.5,3000,", "\n0.5," + "9" * 400 + ",", 'column 2 "RPM": read "9999', 15),
    ("\n0.5,3000,", "\n0.5,2e30,", 'column 2 "RPM": read "2e30"', 15),
    ("\n0.5,3000,", "\n0.5,x\u2028y,", 'column 2 "RPM": read', 15),
    ("\n0.5,3000,", "\n0.5,\u0663000,", 'column 2 "RPM": read', 15),
    ("\n0.5,3000,", "\n0.5,1_000,", 'column 2 "RPM": read "1_000"', 15),
    ("\n0.5,3000,", "\n0.5,\x00,", "a binary file (zero bytes)", 15),
    ("\n0.5,3000,", '\n0.5,"3000,', "line: read", 15),
]

BENCH_MAPPING_FAULTS: list[Edit] = [
    ('kind = "bench"', 'kind = "log"', 'read "log"; allowed: "bench"', 2),
    ('runner = { column = "runner", names = { "front" = 1 } }', "",
     "columns.runner: read nothing", 4),
    ('"front" = 1', '"front" = 0', "a number from 1 to 16", 5),
    ('"front" = 1', '"front" = "one"', "a number from 1 to 16", 5),
    ('unit = "cfm"', 'unit = "percent"', "export the flow itself", 6),
    ('unit = "cfm"', 'unit = "cfn"', "nearest: cfm", 6),
    ('unit = "cfm", reading = "actual"', 'unit = "cfm"', "columns.flow.reading: read nothing", 6),
    ('reading = "actual"', 'reading = "std"', 'allowed: "actual", "standard"', 6),
    ('reading = "actual"', 'reading = "standard"', "standard_pressure: read nothing", 6),
    ('unit = "inH2O"', 'unit = "inH2O gauge"', "leave gauge, absolute and vacuum out", 7),
    ('unit = "inH2O"', 'unit = "in"', "in is a unit of length", 7),
    ('unit = "degC"', 'unit = "deg"', "deg is a unit of angle", 8),
    ('"all" = "all-open"', '"all" = "everything"', 'allowed: "all-open", "one-blocked"', 10),
    ('configuration = { column', 'setup = { column', "state.configuration: read nothing", 12),
    ('barometer = "1013.25 hPa absolute"', "", "state.barometer: read nothing", 12),
    ('barometer = "1013.25 hPa absolute"', 'barometer = "1013.25 hPa"', "a pressure with gauge",
     13),
    ('leak = "column"', "", "state.leak: read nothing", 12),
    ('leak = "column"', 'leak = "none"', "a leak column is mapped", 14),
    ('column = "config"', 'column = ""', 'columns.configuration.column: read ""', 10),
    ('"flow_1", "flow_2"', '"flow_1", "flow_1"', "each name once", 6),
    ('leak = { column = "leak" }', "", 'state.leak: read "column"', 14),
    ('leak = "column"', 'leak = "column"\ntemperature = "20 degC"', "a column and a value", 15),
    ('leak = "column"', 'leak = "column"\nrepeatability_percent = 50', "from 0.01 to 20", 15),
]

BENCH_FILE_FAULTS: list[Edit] = [
    ("flow_2", "flow2", 'column "flow_2": read no such column', 3),
    ("#2,single", "#7,single", '"runner": read "#7"; allowed: a runner from 1 to 4', 5),
    ("#2,single", "rear,single", '"runner": read "rear"', 5),
    ("#2,single", "2.5,single", '"runner": read "2.5"', 5),
    ("#2,single", "#2,both", '"config": read "both"', 5),
    ("2,200,204", "2,two hundred,204", '"flow_1": read "two hundred"', 5),
    ("2,200,204", '2,"200,5",204', "decimal sign?", 5),
    ("2,200,204", "2,200,204,,x", "read 10 cells; allowed: 8", 5),
    ("2,200,204", "2,200", "line: read 7 cells; allowed: 8", 5),
    ("2,200,204", "2,nan?,204", 'read "nan?"', 5),
    ("2,200,204", "2,inf,204", "a finite number", 5),
    ("2,200,204", "2,1,204", "more flow than leak", 5),
    ("2,200,204", "2,1e308,204", "a finite number", 5),
    ("2,200,204", "2," + "9" * 400 + ",204", "a finite number", 5),
    ("flow_1,flow_2", "flow_1,flow_1", 'column "flow_2": read no such column', 3),
    ("dp,temp", "dp,dp,temp", 'column "dp": read 2 columns of that name', 3),
    ("#2,single,28", "#2,single,", '"dp": read a blank; allowed: the depression of this row', 5),
    ("#2,single,28", "#2,single,0", "above zero and below the critical depression", 5),
    ("#2,single,28", "#2,single,300", "below the critical depression", 5),
    ("#2,single,28", "#2,single,28kPa", '"dp": read "28kPa"', 5),
    ("28,20,2,200", "28,,2,200", "the temperature of this row", 5),
    ("28,20,2,200", "28,-300,2,200", "room state", 5),
]


def _edited(text: str, edit: Edit) -> str:
    old, new, _, _ = edit
    assert old in text, "the fault must change the good file"
    return text.replace(old, new, 1)


def _refused(folder: Path, edit: Edit, read: object) -> None:
    """The reader raises InputError with the part and the line, and writes nothing."""
    before = sorted(p.name for p in folder.iterdir())
    with pytest.raises(InputError) as caught:
        read()  # type: ignore[operator]
    text = str(caught.value)
    assert edit[2] in text, text
    hit = [p for p in caught.value.problems if edit[2] in str(p)]
    if edit[3] is not None:
        assert edit[3] in [p.line for p in hit], text
    assert all(p.file for p in caught.value.problems)
    assert all(p.allowed for p in caught.value.problems)
    assert sorted(p.name for p in folder.iterdir()) == before


@pytest.mark.parametrize("edit", LOG_MAPPING_FAULTS, ids=lambda e: e[2][:40])
def test_log_mapping(tmp_path: Path, edit: Edit) -> None:
    path = tmp_path / "map.toml"
    path.write_text(_edited(LOG_MAPPING, edit), encoding="utf-8")
    _refused(tmp_path, edit, lambda: read_log_mapping(path))


@pytest.mark.parametrize("edit", LOG_FILE_FAULTS, ids=lambda e: e[2][:40])
def test_log_file(tmp_path: Path, edit: Edit) -> None:
    (tmp_path / "map.toml").write_text(LOG_MAPPING, encoding="utf-8")
    path = write_log(tmp_path / "log.csv")
    path.write_text(_edited(path.read_text(encoding="utf-8"), edit), encoding="utf-8")
    mapping = read_log_mapping(tmp_path / "map.toml")
    _refused(tmp_path, edit, lambda: read_log(path, mapping))


@pytest.mark.parametrize("edit", BENCH_MAPPING_FAULTS, ids=lambda e: e[2][:40])
def test_bench_mapping(tmp_path: Path, edit: Edit) -> None:
    path = tmp_path / "map.toml"
    path.write_text(_edited(BENCH_MAPPING, edit), encoding="utf-8")
    _refused(tmp_path, edit, lambda: read_bench_mapping(path))


@pytest.mark.parametrize("edit", BENCH_FILE_FAULTS, ids=lambda e: e[2][:40])
def test_bench_file(tmp_path: Path, edit: Edit) -> None:
    (tmp_path / "map.toml").write_text(BENCH_MAPPING, encoding="utf-8")
    path = tmp_path / "bench.csv"
    path.write_text(_edited(BENCH_TEXT, edit), encoding="utf-8")
    mapping = read_bench_mapping(tmp_path / "map.toml")
    _refused(tmp_path, edit, lambda: read_bench(path, mapping, 4))


WHOLE_FILES: list[tuple[bytes, str]] = [
    (b"", "an empty file"),
    (b"PK\x03\x04 sheet", "a compressed spreadsheet"),
    (b"\x00\x01\x02binary", "a binary file"),
    (b"Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL\n", "a header but no data lines"),
    (b"Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL\ns,rpm,kPa,degC,-,,,,,%\n", "no data lines"),
    (b"Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL\r1,2,3,4,5,6,7,8,9,1\r", "a bare carriage return"),
    (b"no table here, only text\n", "no such column"),
]


@pytest.mark.parametrize("content, part", WHOLE_FILES, ids=[p for _, p in WHOLE_FILES])
def test_whole_file(tmp_path: Path, content: bytes, part: str) -> None:
    (tmp_path / "map.toml").write_text(LOG_MAPPING, encoding="utf-8")
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    mapping = read_log_mapping(tmp_path / "map.toml")
    _refused(tmp_path, ("", "", part, None), lambda: read_log(path, mapping))


def test_missing_files_and_folders(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(LOG_MAPPING, encoding="utf-8")
    mapping = read_log_mapping(tmp_path / "map.toml")
    with pytest.raises(InputError, match="no such file"):
        read_log(tmp_path / "gone.csv", mapping)
    with pytest.raises(InputError, match="a folder"):
        read_log(tmp_path, mapping)
    with pytest.raises(InputError, match="a readable TOML file"):
        read_log_mapping(tmp_path / "gone.toml")
    (tmp_path / "latin.toml").write_bytes(b'kind = "\xe4"\n')
    with pytest.raises(InputError, match="not UTF-8"):
        read_log_mapping(tmp_path / "latin.toml")


def test_files_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file without permission, as the system says it (the test may run as root)."""
    (tmp_path / "map.toml").write_text(LOG_MAPPING, encoding="utf-8")
    mapping = read_log_mapping(tmp_path / "map.toml")
    path = write_log(tmp_path / "log.csv")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("distrib.files.os.open", refuse)
    with pytest.raises(InputError, match=r"log\.csv: file: read Permission denied"):
        read_log(path, mapping)
    with pytest.raises(InputError, match=r"map\.toml: file: read Permission denied"):
        read_log_mapping(tmp_path / "map.toml")


def test_many_faults_are_reported_together_up_to_a_limit(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(LOG_MAPPING, encoding="utf-8")
    path = write_log(tmp_path / "log.csv")
    path.write_text(path.read_text(encoding="utf-8").replace(",3000,", ",bad,"), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_log(path, read_log_mapping(tmp_path / "map.toml"))
    assert len(caught.value.problems) == 26
    assert "the list stops here" in str(caught.value.problems[-1])


def test_there_are_a_hundred() -> None:
    count = sum(map(len, (LOG_MAPPING_FAULTS, LOG_FILE_FAULTS, BENCH_MAPPING_FAULTS,
                          BENCH_FILE_FAULTS, WHOLE_FILES)))
    assert count >= 100
