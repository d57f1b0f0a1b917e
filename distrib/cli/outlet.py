"""Standard output and error that may be closed, full, or left by their reader.

A command that has worked for minutes must still write its files when nobody listens any more, so
what cannot be printed is dropped, and the fault is told at the end.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
from collections.abc import Iterator
from typing import Any, TextIO


class Outlet(io.TextIOBase):
    """A stream that never raises for want of a reader or of room.

    `closed_from_start` says that there was none; `fault` holds the error of one that failed
    (not of a pipe whose reader had enough).
    """

    def __init__(self, stream: TextIO | None) -> None:
        self._stream = stream
        self.closed_from_start = stream is None
        self.fault: OSError | None = None
        self._dead = stream is None
        if isinstance(stream, io.TextIOWrapper) and stream.errors == "strict":
            stream.reconfigure(errors="backslashreplace")

    def write(self, text: str) -> int:
        if self._stream is not None and not self._dead:
            try:
                self._stream.write(text)
            except OSError as error:
                self._give_up(error)
        return len(text)

    def flush(self) -> None:
        if self._stream is not None and not self._dead:
            try:
                self._stream.flush()
            except OSError as error:
                self._give_up(error)

    def _give_up(self, error: OSError) -> None:
        """Drop what follows; what the stream still holds goes nowhere when the program ends."""
        self._dead = True
        if not isinstance(error, BrokenPipeError):
            self.fault = error
        with contextlib.suppress(OSError, ValueError, AttributeError):
            assert self._stream is not None
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self._stream.fileno())
            os.close(nowhere)

    def isatty(self) -> bool:
        return self._stream is not None and not self._dead and self._stream.isatty()

    def fileno(self) -> int:
        if self._stream is None:
            raise OSError("no stream")
        return self._stream.fileno()

    def writable(self) -> bool:
        return True

    def __getattr__(self, name: str) -> Any:
        return getattr(object.__getattribute__(self, "_stream"), name)


@contextlib.contextmanager
def outlets() -> Iterator[Outlet]:
    """While a command runs, standard output and error are outlets; yields that of the output."""
    _fill_closed()
    before = sys.stdout, sys.stderr
    out = Outlet(before[0])
    sys.stdout, sys.stderr = out, Outlet(before[1])
    try:
        yield out
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        sys.stdout, sys.stderr = before


def _fill_closed() -> None:
    """Open the null device where standard input, output or error are closed.

    The next file opened would take the place, and what is meant for a screen would go there.
    """
    handle = os.open(os.devnull, os.O_RDWR)
    while handle <= 2:
        handle = os.open(os.devnull, os.O_RDWR)
    os.close(handle)
