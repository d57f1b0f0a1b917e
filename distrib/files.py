"""Files read within limits, and written whole or not at all."""

from __future__ import annotations

import contextlib
import json
import os
import stat
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any, BinaryIO

from distrib.errors import InputError, Problem

MOST_JSON = 64 << 20
PASSING = ".part"
"""Ending of a file that is not finished yet."""


def open_to_read(path: str | Path) -> BinaryIO:
    """A regular file, open to be read as bytes; never waits.

    Raises OSError when it cannot be opened (a folder: IsADirectoryError), and InputError for a
    pipe or a device, which may never end or never begin.
    """
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        mode = os.fstat(handle).st_mode
        if stat.S_ISDIR(mode):
            raise IsADirectoryError(21, "Is a directory", str(path))
        if not stat.S_ISREG(mode):
            raise InputError([Problem("file", "a pipe or a device", "a regular file",
                                      file=str(path))])
        return os.fdopen(handle, "rb")
    except BaseException:
        with contextlib.suppress(OSError):
            os.close(handle)
        raise


def read_limited(path: str | Path, most: int) -> bytes:
    """The bytes of a regular file of at most `most` bytes; OSError and InputError otherwise."""
    with open_to_read(path) as file:
        data = file.read(most + 1)
        if len(data) > most:
            size = os.fstat(file.fileno()).st_size
            raise InputError([Problem("file", f"{size:,} bytes", f"up to {most:,} bytes",
                                      file=str(path))])
    return data


def read_json(path: str | Path) -> Any:
    """What a JSON file of up to MOST_JSON bytes holds; ValueError for what is no JSON."""
    try:
        return json.loads(read_limited(path, MOST_JSON))
    except RecursionError:
        raise ValueError("too deep") from None


@contextlib.contextmanager
def atomic(path: str | Path, mode: str = "w") -> Iterator[IO[Any]]:
    """A file that takes the place of `path` when the block ends well, and vanishes otherwise.

    A reader sees the old file or the new one, never half. Missing folders are made. The new file
    keeps the permissions of the old one, or gets the usual ones. Text is UTF-8 with line feeds.
    Raises OSError, which names `path`, when the place cannot be written.
    """
    target = Path(path)
    text = "b" not in mode
    with naming(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".distrib-", suffix=PASSING, dir=target.parent)
    try:
        with naming(target), os.fdopen(handle, mode, encoding="utf-8" if text else None,
                                       newline="" if text else None) as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        with naming(target):
            os.chmod(name, _mode(target))
            os.replace(name, target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


@contextlib.contextmanager
def naming(path: str | Path) -> Iterator[None]:
    """Let an OSError of the block name `path` unless it names another file of the user's.

    "No space left" alone does not say where, and the name of a passing file helps nobody.
    """
    try:
        yield
    except OSError as error:
        passing = error.filename is None or str(error.filename).endswith(PASSING)
        if error.errno is None or not passing:
            raise
        raise OSError(error.errno, os.strerror(error.errno), str(path)) from error


def write_bytes_atomic(path: str | Path, data: bytes) -> Path:
    """Write `data` to `path` in one step, see `atomic`; returns the path."""
    with atomic(path, "wb") as stream:
        stream.write(data)
    return Path(path)


def write_text_atomic(path: str | Path, text: str) -> Path:
    """Write `text` as UTF-8 with line feeds, in one step; see `atomic`."""
    return write_bytes_atomic(path, text.encode("utf-8"))


def _mode(target: Path) -> int:
    if target.exists():
        return target.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
