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
"""
RUN = """import numba
from distrib.outer import total
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


def run(package: Path, cache: str = "") -> str:
    environment = {**os.environ, "PYTHONPATH": str(package.parent)}
    environment.pop("NUMBA_CACHE_DIR", None)
    if cache:
        environment["NUMBA_CACHE_DIR"] = cache
    done = subprocess.run([sys.executable, "-c", RUN], env=environment, check=True,
                          capture_output=True, text=True, cwd=package.parent)
    return done.stdout.strip()


def test_an_edited_law_reaches_the_cached_kernel(small_package: Path) -> None:
    assert run(small_package) == "21.0 False"
    cached = sorted(p.name for p in (small_package / "__pycache__").glob("distrib.outer-*"))
    assert run(small_package) == "21.0 False"
    assert sorted(p.name for p in (small_package / "__pycache__").glob("distrib.outer-*")) == cached
    (small_package / "inner.py").write_text(INNER.format(factor="3.0"))
    assert run(small_package) == "31.0 False"


def test_the_users_cache_folder_stays_the_place(small_package: Path, tmp_path: Path) -> None:
    chosen = tmp_path / "chosen"
    assert run(small_package, str(chosen)) == "21.0 True"
    assert list(chosen.glob("distrib.outer-*/**/*.nbi"))
    assert not list((small_package / "__pycache__").glob("distrib.*"))


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
    for number in range(6):
        folder = tmp_path / f"distrib.outer-{number}"
        folder.mkdir()
        os.utime(folder, (number, number))
    (tmp_path / "distrib.other-0").mkdir()
    kernels._forget_old(tmp_path / "distrib.outer-new")
    left = sorted(p.name for p in tmp_path.iterdir())
    assert left == ["distrib.other-0", "distrib.outer-4", "distrib.outer-5"]


def test_the_place_is_the_users_else_beside_the_package_else_at_home(
        monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    assert kernels._root(str(tmp_path)) == tmp_path
    assert kernels._root("") == kernels.PACKAGE / "__pycache__"
    monkeypatch.setattr(os, "access", lambda *_: False)
    monkeypatch.setenv("HOME", str(tmp_path))
    assert kernels._root("") == tmp_path / ".cache" / "distrib"


def test_modules_outside_the_project_are_left_to_numba() -> None:
    assert kernels.module_folder("tests.anything") is None
    assert kernels.module_folder("distrib.no_such_module") is None
    assert str(kernels.module_folder("distrib.kernels")).startswith("distrib.kernels-")
