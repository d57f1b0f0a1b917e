"""Machine code kept on disk follows the sources: also those that a kernel's file only imports."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from distrib import kernels

INNER = """from distrib.kernels import inline

@inline
def law(x):
    return {factor} * x
"""
OUTER = """from distrib.inner import law
from distrib.kernels import kernel

@kernel
def total(x):
    return law(x) + 1.0

@kernel
def other(x):
    return x
"""
RUN = """import numba
from distrib.outer import other, total
other(1.0)
print(total(10.0), bool(numba.config.CACHE_DIR))
"""


@pytest.fixture
def small_package(tmp_path: Path) -> Path:
    """A package called distrib with our kernels.py, a kernel, and a law that it imports."""
    package = tmp_path / "distrib"
    package.mkdir()
    (package / "__init__.py").write_text("")
    (package / "kernels.py").write_text(Path(kernels.__file__).read_text("utf-8"))
    (package / "inner.py").write_text(INNER.format(factor="2.0"))
    (package / "outer.py").write_text(OUTER)
    return package


def run(package: Path, cache: str = "", limit: str = "") -> str:
    environment = {**os.environ, "PYTHONPATH": str(package.parent),
                   "XDG_CACHE_HOME": str(package.parent / "home")}
    environment.pop("NUMBA_CACHE_DIR", None)
    if cache:
        environment["NUMBA_CACHE_DIR"] = cache
    done = subprocess.run(["bash", "-c", f'{limit} exec "$0" -c "$1"', sys.executable, RUN],
                          env=environment, check=True, capture_output=True, text=True,
                          cwd=package.parent)
    return (done.stdout + done.stderr).strip()


def cache_of(package: Path) -> Path:
    return package.parent / "home" / "distrib"


def test_an_edited_law_reaches_the_cached_kernel(small_package: Path) -> None:
    assert run(small_package) == "21.0 False"
    cached = sorted(cache_of(small_package).rglob("*"))
    assert cached
    assert run(small_package) == "21.0 False"
    assert sorted(cache_of(small_package).rglob("*")) == cached
    (small_package / "inner.py").write_text(INNER.format(factor="3.0"))
    assert run(small_package) == "31.0 False"


def test_the_users_cache_folder_stays_the_place(small_package: Path, tmp_path: Path) -> None:
    chosen = tmp_path / "chosen"
    assert run(small_package, str(chosen)) == "21.0 True"
    place = chosen / f"distrib-{os.geteuid()}"
    assert list(place.glob("distrib.outer-*/**/*.nbi"))
    assert not cache_of(small_package).exists()


def test_the_cache_is_for_its_user_alone(small_package: Path) -> None:
    run(small_package)
    assert cache_of(small_package).stat().st_mode & 0o777 == 0o700


def test_damaged_files_of_the_cache_are_made_anew(small_package: Path) -> None:
    """One bit of any file, an empty file, another kernel's file: the figure stays, and the next
    run finds the cache sound again."""
    run(small_package)
    files = [p for p in cache_of(small_package).rglob("*") if p.is_file()]
    assert {p.suffix for p in files} == {".nbi", ".nbc"}
    sound = {p: p.read_bytes() for p in files}
    codes = [p for p in files if p.suffix == ".nbc"]
    for spoil in (lambda data: bytes([*data[:-40], data[-40] ^ 1, *data[-39:]]),
                  lambda data: b"", lambda data: data[:len(data) // 2],
                  lambda data: b"\x80" + data):
        for file in files:
            file.write_bytes(spoil(sound[file]))
        assert run(small_package) == "21.0 False"
        assert all(len(p.read_bytes()) > 32 for p in files)
    codes[0].write_bytes(sound[codes[1]])
    assert run(small_package) == "21.0 False"


def test_a_full_disk_costs_the_cache_only(small_package: Path) -> None:
    assert run(small_package, limit="trap '' XFSZ; ulimit -f 0;") == "21.0 False"
    assert not list(cache_of(small_package).rglob("*.nb*"))
    assert run(small_package) == "21.0 False"


@pytest.mark.parametrize("fault", ["can be written by others", "is no folder",
                                   "belongs to another user", "cannot be made"])
def test_a_cache_that_is_not_ones_own_is_not_used(small_package: Path, fault: str) -> None:
    place = cache_of(small_package)
    if fault == "cannot be made":
        place.parent.write_text("in the way")
    elif fault == "is no folder":
        place.parent.mkdir()
        (small_package.parent / "elsewhere").mkdir(mode=0o700)
        place.symlink_to(small_package.parent / "elsewhere")
    else:
        place.mkdir(parents=True)
        if fault == "belongs to another user":
            if os.geteuid() != 0:
                pytest.skip("only root can give a folder away")
            os.chown(place, 65534, 65534)
            place.chmod(0o755)
        else:
            place.chmod(0o777)
    said = run(small_package)
    assert said.startswith("21.0 False") and fault in said
    assert said.count("compiled anew at every start") == 1
    assert not list(small_package.parent.rglob("*.nb?"))


def digest(module: str, package: Path) -> str:
    kernels._read.cache_clear()
    return kernels.sources_digest(module, package)


def test_the_digest_follows_imports_and_nothing_else(small_package: Path) -> None:
    before = digest("distrib.outer", small_package), digest("distrib.inner", small_package)
    (small_package / "unrelated.py").write_text("x = 1\n")
    (small_package / "outer.py").write_text(OUTER + "# more\n")
    after = digest("distrib.outer", small_package), digest("distrib.inner", small_package)
    assert after[0] != before[0] and after[1] == before[1]
    (small_package / "kernels.py").write_text("")
    assert digest("distrib.inner", small_package) != before[1]


@pytest.mark.parametrize("line", [
    "from distrib import inner", "import distrib.inner", "from distrib.inner import law as f",
    "from distrib import (\n    kernels,  # noqa: F401\n    inner,\n)",
])
def test_every_form_of_import_counts(small_package: Path, line: str) -> None:
    (small_package / "outer.py").write_text(line + "\n")
    before = digest("distrib.outer", small_package)
    (small_package / "inner.py").write_text("")
    assert digest("distrib.outer", small_package) != before


def test_old_states_are_removed(tmp_path: Path) -> None:
    for number in range(9):
        folder = tmp_path / f"distrib.outer-{number}"
        folder.mkdir()
        os.utime(folder, (number, number))
    (tmp_path / "distrib.other-0").mkdir()
    kernels._forget_old(tmp_path / "distrib.outer-new")
    left = sorted(p.name for p in tmp_path.iterdir())
    assert left == ["distrib.other-0", *(f"distrib.outer-{n}" for n in range(4, 9))]


def test_modules_outside_the_project_are_left_to_numba() -> None:
    assert kernels.module_folder("tests.anything") is None
    assert kernels.module_folder("distrib.no_such_module") is None
    assert str(kernels.module_folder("distrib.kernels")).startswith("distrib.kernels-")
