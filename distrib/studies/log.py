"""Append-only log of a study: every finished piece on disk at once, checked when read back.

Layout: a head (magic, length, JSON identity, crc32), the same head again in case a bad disk
spoils the first, and then records, each

    magic 4 | number u64 | length u32 | crc32 of these three | payload | crc32 of the payload

little-endian. A record is written with one write call. A process killed at any moment leaves at
most one torn record at the end, which `open_log` cuts off. A record spoilt elsewhere (a bad
disk) is passed over by searching for the next magic, and costs only itself.
"""

from __future__ import annotations

import errno
import json
import os
import stat
import struct
import time
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from distrib.errors import InputError, Problem
from distrib.files import naming

HEAD_MAGIC = b"DSTRLOG1"
RECORD_MAGIC = b"\xf1rec"
_FRAME = struct.Struct("<4sQI")
_CRC = struct.Struct("<I")
MOST_HEAD = 1 << 26
"""Bytes of an identity; a length beyond it is a spoilt one."""
SYNC_SECONDS = 1.0
"""Longest time between two fsync calls; what a loss of power may cost. A kill costs nothing."""


@dataclass(frozen=True)
class Record:
    """Where one record's payload lies in the file."""

    number: int
    offset: int
    length: int


def identity_text(identity: Mapping[str, Any]) -> str:
    """Canonical JSON of what a study is; two studies are the same when this text is the same."""
    return json.dumps(identity, sort_keys=True, separators=(",", ":"), ensure_ascii=True)


def _head(identity: Mapping[str, Any]) -> bytes:
    text = identity_text(identity).encode()
    body = HEAD_MAGIC + struct.pack("<I", len(text)) + text
    return body + _CRC.pack(zlib.crc32(body))


def read_head(file: BinaryIO) -> tuple[dict[str, Any], int] | None:
    """Identity, and where the last intact one of the two heads ends; None when there is none."""
    position: int | None = 0
    while position is not None:
        if (found := _head_at(file, position)) is not None:
            return _head_at(file, found[1]) or found
        position = _next_magic(file, position + 1, HEAD_MAGIC)
    return None


def _head_at(file: BinaryIO, position: int) -> tuple[dict[str, Any], int] | None:
    file.seek(position)
    start = file.read(len(HEAD_MAGIC) + 4)
    if len(start) < len(HEAD_MAGIC) + 4 or not start.startswith(HEAD_MAGIC):
        return None
    (length,) = struct.unpack("<I", start[len(HEAD_MAGIC):])
    rest = file.read(min(length, MOST_HEAD) + 4)
    if length > MOST_HEAD or len(rest) < length + 4:
        return None
    if _CRC.unpack(rest[length:])[0] != zlib.crc32(start + rest[:length]):
        return None
    return json.loads(rest[:length]), position + len(start) + length + 4


def _record_at(file: BinaryIO, position: int) -> Record | None:
    """The intact record that starts at `position`, else None."""
    file.seek(position)
    frame = file.read(_FRAME.size + 4)
    if len(frame) < _FRAME.size + 4:
        return None
    magic, number, length = _FRAME.unpack(frame[: _FRAME.size])
    if magic != RECORD_MAGIC or _CRC.unpack(frame[_FRAME.size:])[0] != zlib.crc32(
        frame[: _FRAME.size]
    ):
        return None
    if length > os.fstat(file.fileno()).st_size - position:
        return None
    payload = file.read(length + 4)
    if len(payload) < length + 4 or _CRC.unpack(payload[length:])[0] != zlib.crc32(
        payload[:length]
    ):
        return None
    return Record(number, position + _FRAME.size + 4, length)


def _next_magic(file: BinaryIO, position: int, magic: bytes = RECORD_MAGIC) -> int | None:
    """Position of the next `magic` at or after `position`."""
    block = 1 << 16
    while True:
        file.seek(position)
        data = file.read(block)
        if len(data) < len(magic):
            return None
        found = data.find(magic)
        if found >= 0:
            return position + found
        position += len(data) - len(magic) + 1


def scan(file: BinaryIO, start: int) -> Iterator[Record]:
    """All intact records from `start` on, in file order; spoilt stretches are passed over."""
    position: int | None = start
    while position is not None:
        record = _record_at(file, position)
        if record is None:
            position = _next_magic(file, position + 1)
        else:
            yield record
            position = record.offset + record.length + 4


class StudyLog:
    """An open log that is written by this process alone (an advisory lock keeps others out)."""

    def __init__(self, path: Path, file: BinaryIO, start: int) -> None:
        self.path = path
        self._file = file
        self._start = start
        self._synced = time.monotonic()

    def records(self) -> Iterator[Record]:
        """Intact records in file order."""
        return scan(self._file, self._start)

    def payload(self, record: Record) -> bytes:
        """Payload of one record that was found intact before."""
        self._file.seek(record.offset)
        return self._file.read(record.length)

    def payload_at(self, offset: int) -> bytes:
        """Payload that starts at `offset`; its length is read from the frame before it."""
        self._file.seek(offset - _FRAME.size - 4)
        _, _, length = _FRAME.unpack(self._file.read(_FRAME.size))
        self._file.seek(offset)
        return self._file.read(length)

    def append(self, number: int, payload: bytes) -> int:
        """Write one record; return the offset of its payload. On return it survives SIGKILL."""
        frame = _FRAME.pack(RECORD_MAGIC, number, len(payload))
        data = frame + _CRC.pack(zlib.crc32(frame)) + payload + _CRC.pack(zlib.crc32(payload))
        position = self._file.seek(0, os.SEEK_END)
        view = memoryview(data)
        with naming(self.path):
            while view:
                view = view[os.write(self._file.fileno(), view):]
        if time.monotonic() - self._synced > SYNC_SECONDS:
            self.sync()
        return position + _FRAME.size + 4

    def sync(self) -> None:
        """Push what was written through to the disk."""
        os.fsync(self._file.fileno())
        self._synced = time.monotonic()

    def close(self) -> None:
        """Close the file and give up the lock."""
        self._file.close()


def open_log(path: Path, identity: Mapping[str, Any], *, resume: bool) -> StudyLog:
    """Open the log of one study for writing: a new one, or with `resume` the one that is there.

    Raises InputError when a log is there and `resume` is false, when the log belongs to another
    study (it names what differs), or when another process is writing it.
    """
    with naming(path):
        path.parent.mkdir(parents=True, exist_ok=True)
    file = _opened(path)
    try:
        found = read_head(file)
        if found is None:
            if file.seek(0, os.SEEK_END) > 0 and not _only_torn_head(file):
                raise InputError([Problem(str(path), "a file that is not a study log",
                                          "a log of this program, or no file")])
            file.truncate(0)
            with naming(path):
                os.write(file.fileno(), 2 * _head(identity))
                os.fsync(file.fileno())
            return StudyLog(path, file, 2 * len(_head(identity)))
        if not resume:
            raise InputError([Problem(str(path), "an unfinished study", "no file",
                                      "continue it with --resume, or remove that file")])
        _same_study(path, found[0], identity)
        _cut_torn_tail(file, found[1])
        return StudyLog(path, file, found[1])
    except BaseException:
        file.close()
        raise


def _opened(path: Path) -> BinaryIO:
    """The log, open and locked. Opened anew where another process has finished and removed it
    between the two: what is written would be seen by nobody."""
    while True:
        file: BinaryIO = open(path, "a+b", buffering=0, opener=_opener)  # noqa: SIM115 - StudyLog's
        try:
            _own(file, path)
            _lock(file, path)
            if path.exists() and os.path.samestat(path.stat(), os.fstat(file.fileno())):
                return file
        except BaseException:
            file.close()
            raise
        file.close()


def _opener(path: str, flags: int) -> int:
    """Open the log itself, never what a link of its name points to, and do not wait for a pipe."""
    try:
        return os.open(path, flags | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0),
                       0o666)
    except OSError as error:
        if error.errno == errno.ELOOP:
            raise InputError([Problem(path, "a link", "a log of this program, or no file",
                                      "remove the link")]) from None
        raise


def _own(file: BinaryIO, path: Path) -> None:
    """Refuse what is no regular file, and a file that has a second name."""
    found = os.fstat(file.fileno())
    if not stat.S_ISREG(found.st_mode) or found.st_nlink > 1:
        raise InputError([Problem(str(path), "a link, a pipe or a device",
                                  "a log of this program, or no file")])


def _lock(file: BinaryIO, path: Path) -> None:
    """Keep other processes out, where the system has such locks (not on Windows)."""
    try:
        import fcntl
    except ImportError:
        return
    try:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        raise InputError([Problem(str(path), "a log that another process is writing",
                                  "one process for one study")]) from error


def _only_torn_head(file: BinaryIO) -> bool:
    """Whether the file is the beginning of a head that was never finished."""
    file.seek(0)
    start = file.read(len(HEAD_MAGIC))
    return HEAD_MAGIC.startswith(start) and RECORD_MAGIC not in file.read()


def _same_study(path: Path, there: Mapping[str, Any], asked: Mapping[str, Any]) -> None:
    wrong = [
        Problem(f"{path}: {key}", f"{there.get(key)!r} in the unfinished study",
                f"{asked.get(key)!r} as asked now",
                "ask for the same study, or remove that file to start again")
        for key in sorted(set(there) | set(asked))
        if identity_text({"v": there.get(key)}) != identity_text({"v": asked.get(key)})
    ]
    if wrong:
        raise InputError(wrong)


def _cut_torn_tail(file: BinaryIO, start: int) -> None:
    """Cut off whatever follows the last intact record."""
    end = start
    for record in scan(file, start):
        end = record.offset + record.length + 4
    if file.seek(0, os.SEEK_END) > end:
        file.truncate(end)
