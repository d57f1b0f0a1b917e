"""No output of any command falls on an input, another output, or a place that cannot be written."""

from __future__ import annotations

import importlib
import inspect
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, get_type_hints

import pytest

from distrib.cli.app import COMMANDS, main
from distrib.cli.targets import FILES

ROOT = Path(__file__).resolve().parents[2]
WORDS = {
    "new": {"layout", "entry"}, "check": set(), "shares": {"model"}, "compare": {"model"},
    "sweep": {"vary", "model", "method", "scheduler"},
    "trims": {"rpm", "load", "policy", "on", "confirmed"}, "review": set(),
    "draw": {"paper"}, "fit": set(), "mapping": set(),
    "improve": {"model", "rpm", "envelope", "scheduler"},
    "report": {"paper", "date"}, "verify": {"topic"},
}
"""Parameters that take text and name no file."""
FLAGS = {"json": "--json", "plot": "--plot", "out": "--out", "csv": "--csv", "page": "--page",
         "output": "--output", "plots": "--plots"}
DATA = {"filled": "--filled", "log": "--log", "mapping": "--mapping", "fit": "--fit",
        "bench": "--bench", "targets": "--targets", "swap": "--swap", "shares": "--shares"}
MORE = {"sweep": ["--vary", "conditions.rpm=3000,4000"], "compare": ["other.toml"]}
"""What a command needs besides its files."""


def texts(command: str) -> set[str]:
    """Parameters of a command that hold text: each names a file, a folder, or neither."""
    found = COMMANDS[command]
    function = inspect.unwrap(getattr(importlib.import_module(found.module), found.function))
    hints = get_type_hints(function)
    return {name for name, hint in hints.items() if name != "return" and "str" in str(hint)}


@pytest.mark.parametrize("command", COMMANDS)
def test_every_option_with_a_file_is_declared(command: str) -> None:
    declared = FILES[command]
    files = {*declared.reads, *declared.writes, *declared.folders}
    assert texts(command) <= files | WORDS[command]
    assert not files & WORDS[command]


def spellings(file: Path, folder: Path) -> dict[str, str]:
    """Ways to name one file."""
    folder.mkdir(exist_ok=True)
    (folder / "soft").symlink_to(file)
    os.link(file, folder / "hard")
    (folder / "chain").symlink_to(folder / "soft")
    (folder / "door").symlink_to(file.parent, target_is_directory=True)
    return {"itself": str(file), "relative": os.path.relpath(file), "dots": str(
                file.parent / "." / ".." / file.parent.name / file.name),
            "symbolic link": str(folder / "soft"), "hard link": str(folder / "hard"),
            "link to a link": str(folder / "chain"),
            "through a linked folder": str(folder / "door" / file.name)}


def attempts() -> list[tuple[str, str, str]]:
    """Command, parameter that reads, parameter that writes."""
    return [(command, read, write) for command, files in FILES.items()
            for read in files.reads for write in files.writes]


@pytest.fixture
def no_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading a case counts as work that must not have begun."""
    def stop(*_: Any) -> None:
        raise AssertionError("a case was read before the outputs were checked")

    monkeypatch.setattr("distrib.case.read.read_case", stop)


@pytest.mark.usefixtures("no_work")
@pytest.mark.parametrize("command, read, write", attempts())
def test_no_output_falls_on_an_input(command: str, read: str, write: str, tmp_path: Path,
                                     monkeypatch: pytest.MonkeyPatch,
                                     capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(tmp_path)
    file = tmp_path / "case" / "read.svg"  # an ending that every output may have
    file.parent.mkdir()
    file.write_text("what was read")
    (tmp_path / "other.toml").write_text("another case")
    for way, name in spellings(file, tmp_path / "links").items():
        first = read in ("case", "cases") or command == "mapping"
        case = str(file) if first else "other.toml"
        reads = [] if first else [DATA[read], str(file)]
        args = [command, case, *MORE.get(command, []), *reads, FLAGS[write], name]
        if command == "draw" and write != "output":
            args += ["-o", "drawn.svg"]
        assert main(args) == 2, (way, args)
        said = capsys.readouterr().err
        assert "what was read is never written over" in said and FLAGS[write] in said, (way, said)
        assert file.read_text() == "what was read", way
    assert sorted(p.name for p in tmp_path.iterdir()) == ["case", "links", "other.toml"]


@pytest.mark.usefixtures("no_work")
@pytest.mark.parametrize("args, beside", [
    (["sweep", "CASE", *MORE["sweep"], "-o", "t.csv"], "t.csv.log"),
    (["sweep", "CASE", *MORE["sweep"], "-o", "t.csv"], "t.csv.json"),
    (["sweep", "CASE", *MORE["sweep"], "-o", "t.csv"], "t.partial.csv"),
    (["sweep", "CASE", *MORE["sweep"]], "sweep.csv"),
    (["fit", "CASE", "--bench", "b.csv", "--mapping", "m.toml"], "case.calibrated.toml"),
    (["improve", "CASE"], "proposals/case.search.log"),
    (["improve", "CASE"], "proposals/case_best.toml"),
    (["shares", "CASE", "--plot", "p"], "p/shares.svg"),
    (["compare", "CASE", "other.toml", "--plot", "p"], "p/compare.png"),
    (["report", "CASE"], "report.html"),
])
def test_what_is_written_beside_is_no_input_either(
        args: list[str], beside: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(tmp_path)
    case = tmp_path / "case.toml"
    case.write_text("what was read")
    (tmp_path / beside).parent.mkdir(exist_ok=True)
    (tmp_path / beside).symlink_to(case)
    assert main([str(case) if a == "CASE" else a for a in args]) == 2
    assert "what was read is never written over" in capsys.readouterr().err
    assert case.read_text() == "what was read" and (tmp_path / beside).is_symlink()


@pytest.mark.usefixtures("no_work")
def test_outputs_that_cannot_be_written_are_refused_before_work(
        tmp_path: Path, capsys: pytest.CaptureFixture[str],
        monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    os.mkfifo("pipe")
    Path("case.toml").write_text("")
    for target, words in (("pipe", "a pipe or a device"), (os.devnull, "a pipe or a device"),
                          ("/dev/full", "a pipe or a device"), (".", "a folder"),
                          ("case.toml/x.json", "a folder to write in"), ("", "the name of a file")):
        assert main(["check", "case.toml", "--json", target]) in (2, 4)
        said = capsys.readouterr().err
        assert words in said or "never written over" in said, (target, said)
    assert main(["sweep", "case.toml", *MORE["sweep"], "-o", "t.csv", "--json", "t.csv.json"]) == 2
    assert "another file than that of" in capsys.readouterr().err
    assert main(["draw", "case.toml", "-o", "a.svg", "--json", "./a.svg"]) == 2
    assert "another file than that of" in capsys.readouterr().err


@pytest.fixture
def as_nobody() -> Callable[[Callable[[], Any]], None]:
    """Run a function in a child that is not root: root may write everywhere."""
    def run(work: Callable[[], Any]) -> None:
        child = os.fork()
        if child == 0:
            code = 1
            try:
                if os.geteuid() == 0:
                    os.setgid(65534)
                    os.setuid(65534)
                work()
                code = 0
            finally:
                os._exit(code)
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0

    return run


def test_read_only_folders_and_files_are_refused(
        tmp_path: Path, as_nobody: Callable[[Callable[[], Any]], None]) -> None:
    from distrib.cli.targets import check
    from distrib.errors import InputError

    for folder in (tmp_path, *tmp_path.parents[:-2]):
        folder.chmod(0o755)
    place = tmp_path / "locked"
    place.mkdir(mode=0o555)
    kept = tmp_path / "kept.json"
    kept.write_text("{}")
    kept.chmod(0o444)

    def work() -> None:
        for files, folders in (([("--json", str(place / "a.json"))], []),
                               ([("--json", str(place / "new" / "a.json"))], []),
                               ([("--json", str(kept))], []),
                               ([], [("--plot", str(place), ["*.svg"])]),
                               ([], [("--plot", str(place / "new"), ["*.svg"])])):
            with pytest.raises(InputError, match=r"to write in|write-protected"):
                check([], files, folders)

    as_nobody(work)
