"""Standard output that is closed, full, or left by its reader; disks that are full."""

from __future__ import annotations

import json
import resource
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow
ROOT = Path(__file__).resolve().parents[2]
CASE = str(ROOT / "cases" / "inline5_side.toml")
COMMANDS = (["--help"], ["--version"], ["check", "--help"], ["nothing"], ["check", CASE],
            ["check", CASE, "--json", "-"], ["new", "--reference"],
            ["review", CASE, "--no-solve"], ["verify", "--topic", "structure"])


def run(args: list[str], shell: str, **more: object) -> subprocess.CompletedProcess[str]:
    """distrib with its streams redirected as `shell` says."""
    script = f'"$0" -m distrib.cli.app "$@" {shell}'
    return subprocess.run(["bash", "-c", script, sys.executable, *args], capture_output=True,
                          text=True, cwd=ROOT, **more)  # type: ignore[call-overload,no-any-return]


def quiet(done: subprocess.CompletedProcess[str]) -> bool:
    return "Traceback" not in done.stderr and "Exception ignored" not in done.stderr


@pytest.mark.parametrize("args", COMMANDS, ids=lambda a: " ".join(a[:2])[:20])
@pytest.mark.parametrize("shell", ["> /dev/full", ">&-", "2>&-", "> /dev/full 2>&1", ">&- 2>&- <&-",
                                   "| true", "| head -c 1 > /dev/null"])
def test_no_stream_gives_a_traceback(args: list[str], shell: str) -> None:
    done = run(args, shell)
    assert quiet(done), done.stderr
    if shell == "> /dev/full" and args != ["nothing"]:
        assert done.returncode in (2, 4)  # a review that asks for a change ends with 4
        assert "standard output: No space left on device" in done.stderr
    if shell == ">&-" and args[-1] == "-":
        assert done.returncode == 2 and "standard output is closed" in done.stderr


@pytest.mark.parametrize("shell", ["> /dev/full", ">&-", "| true"])
def test_the_files_are_written_though_nobody_listens(shell: str, tmp_path: Path) -> None:
    out = tmp_path / "checked.json"
    done = run(["check", CASE, "--json", str(out)], shell)
    assert quiet(done)
    assert json.loads(out.read_text())["ok"] is True


def small_files_only() -> None:
    """Every write beyond 1 kB fails as on a full disk (an error instead of the signal)."""
    import signal

    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1024, 1024))


@pytest.mark.parametrize("args, name", [
    (["check", CASE, "--json", "FILE"], "a.json"),
    (["new", "inline-4", "side", "-o", "FILE"], "a.toml"),
    (["draw", CASE, "-o", "FILE"], "a.dxf"),
    (["draw", CASE, "-o", "FILE"], "a.svg"),
    (["sweep", CASE, "--model", "bench", "--jobs", "1", "--vary", "plenum.length=462:500:0.5 mm",
      "-o", "FILE"], "a.csv"),
])
def test_a_full_disk_is_told_with_the_file_and_leaves_nothing(
        args: list[str], name: str, tmp_path: Path) -> None:
    file = tmp_path / name
    file.write_text("as it was")
    if args[0] == "new":
        args = [*args, "--force"]
    done = run([str(file) if a == "FILE" else a for a in args], "", preexec_fn=small_files_only)
    assert quiet(done), done.stderr
    assert done.returncode in (2, 3)
    assert str(file) in done.stderr and "too large" in done.stderr, done.stderr
    assert file.read_text() == "as it was"
    left = {p.name for p in tmp_path.iterdir()} - {name, f"{name}.log"}
    assert not left
