"""A mapping made for a log: completed by hand it reads the log, uncompleted it is refused."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from distrib.calibration.draft import draft_mapping, read_columns
from distrib.calibration.log import read_log
from distrib.calibration.mapping import read_log_mapping
from distrib.cli.app import main
from distrib.errors import InputError

from .logs import LogText, write_log

LOGS = {
    "plain": LogText(),
    "semicolon and decimal comma": LogText(";", ","),
    "tabs": LogText("\t"),
    "no units, no metadata": LogText(metadata=(), units=None),
    "utf-16": LogText(encoding="utf-16"),
}


@pytest.mark.parametrize("way", LOGS)
def test_completed_it_reads_the_log(tmp_path: Path, way: str) -> None:
    log = write_log(tmp_path / "log.csv", LOGS[way])
    text = draft_mapping(read_columns(log))
    for column in ("Time", "RPM", "Boost", "L4"):
        assert f'#   "{column}"' in text
    path = tmp_path / "map.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_log_mapping(path)
    assert len(caught.value.problems) >= 3  # injection, trims, closed loop: asked for
    for old, new in (
        ('time = { column = "?"', 'time = { column = "Time"'),
        ('rpm = { column = "?"', 'rpm = { column = "RPM"'),
        ('manifold_pressure = { column = "?", unit = "kPa absolute"',
         'manifold_pressure = { column = "Boost", unit = "kPa gauge"'),
        ('# coolant = { column = "?"', 'coolant = { column = "ECT"'),
        ('lambda = { columns = ["?"], cylinders = [1]',
         'lambda = { columns = ["L1", "L2", "L3", "L4"], cylinders = [1, 2, 3, 4]'),
        ('injection = "?"', 'injection = "sequential"'), ('trims = "?"', 'trims = "none"'),
        ('closed_loop = "?"', 'closed_loop = { column = "CL", unit = "percent" }'),
        ("# barometer = \"100", "barometer = \"100"),
    ):
        assert old in text, old
        text = text.replace(old, new, 1)
    path.write_text(text, encoding="utf-8")
    read = read_log(log, read_log_mapping(path))
    assert len(read.time_s) == 1200 and read.rpm[-1] == 5000.0
    assert read.pressure_pa[0] == pytest.approx(2e5) and read.others["coolant"][0] > 300.0


def test_names_with_odd_signs_stay_a_mapping(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text('"Time (s)","L ""1"" \\ x","RPM\tfast",\u03bb2\n0,1,2,3\n1,2,3,4\n',
                    encoding="utf-8")
    assert tomllib.loads(draft_mapping(read_columns(path)))["kind"] == "log"


def test_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = write_log(tmp_path / "log.csv")
    target = tmp_path / "map.toml"
    assert main(["mapping", str(log), "-o", str(target)]) == 0
    kept = target.read_bytes()
    assert "10 columns from line 3" in capsys.readouterr().out
    for out, said in ((target, "never written over"), (log, "what was read is never")):
        assert main(["mapping", str(log), "-o", str(out)]) == 2
        assert said in capsys.readouterr().err
    assert target.read_bytes() == kept
    for name, content in (("empty.csv", b""), ("text.csv", b"only words\nand more\n"),
                          ("zip.csv", b"PK\x03\x04x"), ("bin.csv", b"a,b,c\n\x00\x01\n")):
        (tmp_path / name).write_bytes(content)
        assert main(["mapping", str(tmp_path / name), "-o", str(tmp_path / "new.toml")]) == 2
        assert "Traceback" not in capsys.readouterr().err
    assert not (tmp_path / "new.toml").exists()
