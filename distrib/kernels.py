"""The one decorator for compiled kernels, and where their machine code is kept between runs.

numba notices an edit in the file of a kernel, but not in a module that this file imports: a
kernel compiled yesterday would go on with yesterday's friction law. Hence every module's kernels
are cached in a folder whose name holds a digest of its source and of all sources of the project
that it imports, directly or not. Editing one of them leads to another folder, and the oldest go.
Machine code is run as it is found, so the folders lie where only their user can write, and each
file carries a digest: what was damaged is compiled anew.
"""

from __future__ import annotations

import functools
import hashlib
import os
import pickle
import re
import shutil
import stat
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final, TypeVar, cast

F = TypeVar("F", bound=Callable[..., Any])

PACKAGE: Final = Path(__file__).parent
KEPT: Final = 6
"""How many states of one module's sources keep their machine code on disk, of all copies of the
project that one user works with."""

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

    options = {"nogil": True, "error_model": "numpy", "fastmath": {"contract"},
               "no_cfunc_wrapper": True, **options}
    kept: bool = options.pop("cache", True)
    name = module_folder(function.__module__) if kept else None
    if name is None:  # not kept, or no module of the project: numba's own rule holds
        return cast("F", njit(cache=kept, **options)(function))
    with _cache_folder(name) as cached:
        compiled: Any = njit(cache=cached, **options)(function)
    if cached:
        cache = compiled._cache
        cache._cache_file = _checked_file()(
            cache._cache_path, cache._impl.filename_base, cache._impl.locator.get_source_stamp())
    return cast("F", compiled)


@contextmanager
def _cache_folder(name: str) -> Iterator[bool]:
    """While a kernel is made, numba's cache folder is the one of these sources.

    numba asks for the folder only when a kernel is made, so the setting is put back at once and
    kernels of other projects in the same process are not touched. Yields False where there is no
    private folder to write in: machine code that somebody else could have written is not run.
    """
    import numba

    config: Any = numba.config
    with _one_at_a_time:
        before: str = config.CACHE_DIR
        root = private_root(before)
        if root is None:
            yield False
            return
        folder = root / name
        if not folder.is_dir():
            _forget_old(folder)
        config.CACHE_DIR = str(folder)
        try:
            yield True
        finally:
            config.CACHE_DIR = before


@functools.lru_cache(maxsize=1)
def _checked_file() -> Any:
    """A cache file of numba's that is never fatal and never another kernel's code."""
    from numba.core import caching

    base: Any = caching.IndexDataCacheFile  # its own calls carry no types

    class Checked(base):  # type: ignore[misc]
        """Every file begins with a digest of the rest, all code names its own key.

        What does not fit is compiled anew and written over: a damaged file, and the code of
        another signature that a second process put under the same name at the same moment. A
        disk that is full costs the cache only.
        """

        def load(self, key: Any) -> Any:
            try:
                found, code = super().load(key)
            except Exception:  # nothing there, or whatever damage does to a pickle
                return None
            return code if found == key else None

        def save(self, key: Any, data: Any) -> None:
            with suppress(OSError):
                super().save(key, (key, data))

        def _load_index(self) -> Any:
            try:
                version, stamp, names = self._read(self._index_path)
            except Exception:
                return {}
            return names if (version, stamp) == (self._version, self._source_stamp) else {}

        def _save_index(self, overloads: Any) -> None:
            self._write(self._index_path, (self._version, self._source_stamp, overloads))

        def _load_data(self, name: str) -> Any:
            return self._read(self._data_path(name))

        def _save_data(self, name: str, data: Any) -> None:
            self._write(self._data_path(name), data)

        def _read(self, path: str) -> Any:
            data = Path(path).read_bytes()
            if hashlib.sha256(data[32:]).digest() != data[:32]:
                raise ValueError(path)
            return pickle.loads(data[32:])

        def _write(self, path: str, content: Any) -> None:
            data: bytes = self._dump(content)
            with self._open_for_write(path) as file:
                file.write(hashlib.sha256(data).digest() + data)

    return Checked


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


def private_root(set_by_user: str) -> Path | None:
    """Where the folders lie: below the folder that the user has set, else below ~/.cache.

    It is made for this user alone. None, with a warning, where that cannot be: no place to write,
    or a folder that is a link, belongs to somebody else, or can be written by others.
    """
    user = os.geteuid() if hasattr(os, "geteuid") else 0
    if set_by_user:
        folder = Path(set_by_user) / f"distrib-{user}"
    else:
        home = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
        folder = Path(home) / "distrib"
    fault = _not_private(folder, user)
    if fault:
        warnings.warn(f"kernels are compiled anew at every start: the folder {folder} {fault}",
                      RuntimeWarning, stacklevel=2)
    return None if fault else folder


@functools.lru_cache(maxsize=8)
def _not_private(folder: Path, user: int) -> str:
    """What is wrong with a cache folder, which is made if need be; empty when nothing is."""
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with suppress(FileExistsError):
            folder.mkdir(mode=0o700)
        found = folder.lstat()
    except OSError as error:
        return f"cannot be made ({error.strerror})"
    if not stat.S_ISDIR(found.st_mode):
        return "is no folder"
    if hasattr(os, "geteuid") and found.st_uid != user:
        return "belongs to another user"
    if os.name == "posix" and found.st_mode & 0o022:
        return "can be written by others"
    return "" if os.access(folder, os.W_OK | os.X_OK) else "cannot be written"


def _forget_old(folder: Path) -> None:
    """Before `folder` is made: of the same module's other folders only the newest stay."""
    with suppress(OSError):
        module = folder.name.rpartition("-")[0]
        states = sorted(folder.parent.glob(f"{module}-*"), key=lambda p: p.stat().st_mtime)
        for old in states[: max(0, len(states) - KEPT + 1)]:
            shutil.rmtree(old, ignore_errors=True)
