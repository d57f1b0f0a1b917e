"""The one decorator for compiled kernels, and where their machine code is kept between runs.

numba notices an edit in the file of a kernel, but not in a module that this file imports: a
kernel compiled yesterday would go on with yesterday's friction law. Hence every module's kernels
are cached in a folder whose name holds a digest of its source and of all sources of the project
that it imports, directly or not. Editing one of them leads to another folder, and the oldest go.
"""

from __future__ import annotations

import functools
import hashlib
import os
import re
import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final, TypeVar, cast

F = TypeVar("F", bound=Callable[..., Any])

PACKAGE: Final = Path(__file__).parent
KEPT: Final = 3
"""How many states of one module's sources keep their machine code on disk."""

_IMPORT: Final = re.compile(
    r"^from (distrib[\w.]*) import (\([^)]*\)|[^\n]*)|^import (distrib[\w.]+)", re.MULTILINE)
_COMMENT: Final = re.compile("#[^\n]*")
_one_at_a_time: Final = threading.RLock()


def kernel(function: F) -> F:
    """Compile with numba: cached on disk, without the interpreter lock, IEEE division.

    The uncompiled source stays reachable as `.py_func`. Contraction to fused multiply-add is the
    only liberty taken with arithmetic.
    """
    return _compile(function)


def inline(function: F) -> F:
    """Compile a small function that is always inlined into the kernels that call it.

    Not kept on disk by itself: the kernels are, and writing its machine code costs more than it.
    """
    return _compile(function, cache=False, forceinline=True)


def inner(function: F) -> F:
    """Compile a function that only kernels call: without the code to call it from Python, and not
    kept on disk by itself, since it stands in the code of the kernels. Both cost more than it."""
    return _compile(function, cache=False, no_cpython_wrapper=True)


def in_parts(run: Callable[[int, int], Any], count: int, threads: int, portions: int = 1) -> None:
    """Call run(first, last) over 0 to count, on `threads` threads with `portions` parts for each.

    For kernels, which release the interpreter lock. An exception of a part is raised.
    """
    if threads <= 1 or count <= 1:
        run(0, count)
        return
    from concurrent.futures import ThreadPoolExecutor

    parts = min(threads * portions, count)
    cuts = [count * k // parts for k in range(parts + 1)]
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(run, cuts[:-1], cuts[1:]))


def _compile(function: F, **options: Any) -> F:
    from numba import njit

    with _cache_folder(function.__module__):
        settings: dict[str, Any] = {
            "cache": True, "nogil": True, "error_model": "numpy", "fastmath": {"contract"},
            "no_cfunc_wrapper": True, **options}
        compiled: Any = njit(**settings)(function)
    return cast("F", compiled)


@contextmanager
def _cache_folder(module: str) -> Iterator[None]:
    """While a kernel of `module` is made, numba's cache folder is the one of these sources.

    numba asks for the folder only when a kernel is made, so the setting is put back at once and
    kernels of other projects in the same process are not touched. A folder that the user has set
    (NUMBA_CACHE_DIR) stays the place: ours lies below it.
    """
    folder_name = module_folder(module)
    if folder_name is None:
        yield
        return
    import numba

    config: Any = numba.config
    with _one_at_a_time:
        before: str = config.CACHE_DIR
        folder = _root(before) / folder_name
        if not folder.is_dir():
            _forget_old(folder)
        config.CACHE_DIR = str(folder)
        try:
            yield
        finally:
            config.CACHE_DIR = before


@functools.lru_cache(maxsize=128)
def module_folder(module: str) -> str | None:
    """Name of the cache folder of a module's kernels: its name and the digest of its sources.

    None for a module outside the project or without a source file: numba's own rule holds there.
    """
    if not module.startswith("distrib.") or source_file(module) is None:
        return None
    return f"{module}-{sources_digest(module)}"


def sources_digest(module: str, package: Path = PACKAGE) -> str:
    """Digest of the sources of `module` and of every module of the project it imports."""
    needed = sorted(_needed(module, package))
    sources = "".join(f"{name} {_read(package, name)[0]}\n" for name in needed)
    return hashlib.sha256(sources.encode()).hexdigest()[:16]


def _needed(module: str, package: Path) -> set[str]:
    """`module` and the modules of the project that it imports at its top, directly or not."""
    found: set[str] = set()
    waiting = {module}
    while waiting:
        name = waiting.pop()
        found.add(name)
        waiting.update(other for other in _read(package, name)[1] if other not in found)
    return found


@functools.lru_cache(maxsize=1024)
def _read(package: Path, name: str) -> tuple[str, tuple[str, ...]]:
    """Digest of a module's file and the modules of the project that it imports.

    Both empty where there is no such module: a name taken from a package may mean either.
    """
    path = source_file(name, package)
    if path is None:
        return "", ()
    content = path.read_bytes()
    names = set()
    for parent, members, module in _IMPORT.findall(content.decode("utf-8")):
        names.add(module or parent)
        if members and _is_package(package, parent):
            names.update(f"{parent}.{words.split()[0]}" for words
                         in _COMMENT.sub("", members).strip("()").split(",") if words.strip())
    return hashlib.sha256(content).hexdigest(), tuple(names)


@functools.lru_cache(maxsize=256)
def _is_package(package: Path, name: str) -> bool:
    return os.path.isdir(os.path.join(package, *name.split(".")[1:]))


def source_file(name: str, package: Path = PACKAGE) -> Path | None:
    """File of a module of the project, None where there is none (a member of a module)."""
    base = os.path.join(package, *name.split(".")[1:])
    for path in (f"{base}.py", os.path.join(base, "__init__.py")):
        if os.path.isfile(path):
            return Path(path)
    return None


def _root(set_by_user: str) -> Path:
    """Where the folders lie: as the user has set it, else beside the package, else at home."""
    if set_by_user:
        return Path(set_by_user)
    beside = PACKAGE / "__pycache__"
    if os.access(beside if beside.is_dir() else PACKAGE, os.W_OK):
        return beside
    return Path.home() / ".cache" / "distrib"


def _forget_old(folder: Path) -> None:
    """Before `folder` is made: of the same module's other folders only the newest stay."""
    with suppress(OSError):
        module = folder.name.rpartition("-")[0]
        states = sorted(folder.parent.glob(f"{module}-*"), key=lambda p: p.stat().st_mtime)
        for old in states[: max(0, len(states) - KEPT + 1)]:
            shutil.rmtree(old, ignore_errors=True)
