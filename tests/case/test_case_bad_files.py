"""Every faulty file under tests/bad: its exact message, its lines, exit code 2, no traceback.

Lines with a fault end in `#!` in the files, so that the line numbers have a second witness. The
`.expected` files were written once with the message texts and read one by one against the fault.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from distrib.case.read import read_case
from distrib.cli.app import main
from distrib.errors import InputError

BAD = Path(__file__).parent.parent / "bad"
FILES = sorted(path.name for path in BAD.glob("*.toml"))


def test_at_least_sixty_faulty_files_each_with_its_message() -> None:
    assert len(FILES) >= 60
    answered = sorted(p.with_suffix(".toml").name for p in BAD.glob("*.expected"))
    assert answered == FILES


@pytest.mark.parametrize("name", FILES)
def test_message_and_exit_code(
    name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(BAD)
    expected = (BAD / name).with_suffix(".expected").read_text(encoding="utf-8")
    assert main(["check", name]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err == expected


@pytest.mark.parametrize("name", FILES)
def test_lines_are_those_marked_in_the_file(name: str) -> None:
    lines = (BAD / name).read_text(encoding="utf-8").split("\n")
    marked = {number for number, line in enumerate(lines, start=1) if line.endswith("#!")}
    with pytest.raises(InputError) as caught:
        read_case(BAD / name)
    assert {p.line for p in caught.value.problems if p.line is not None} == marked


@pytest.mark.parametrize("name", ["many_at_once.toml", "syntax_no_quotes.toml", "empty.toml"])
def test_in_a_process_of_its_own(name: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "distrib.cli.app", "check", name],
        cwd=BAD,
        env={"PYTHONPATH": str(BAD.parent.parent), "PATH": "", "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == (BAD / name).with_suffix(".expected").read_text(encoding="utf-8")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    latin = tmp_path / "latin.toml"
    latin.write_bytes(b'title = "a"\nview = "na\xefve"\n')
    cases = {
        tmp_path / "none.toml": "file: read nothing; allowed: a case file that exists",
        tmp_path: "file: read a folder; allowed: a case file",
        latin: "2: file: read the byte 0xef; allowed: text in UTF-8; save the file as UTF-8",
    }
    for path, message in cases.items():
        with pytest.raises(InputError) as caught:
            read_case(path)
        assert str(caught.value).endswith(message)
        assert str(caught.value).startswith(str(path))


def test_several_files_at_once(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(BAD)
    names = ["rpm_empty.toml", "rod_too_short.toml"]
    assert main(["check", *names]) == 2
    expected = "".join((BAD / n).with_suffix(".expected").read_text("utf-8") for n in names)
    assert capsys.readouterr().err == expected
