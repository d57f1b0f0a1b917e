"""Files written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def write_bytes_atomic(path: str | Path, data: bytes) -> Path:
    """Write `data` to `path` in one step: a reader sees the old file or the new one, never half.

    Missing folders are made. The new file keeps the permissions of the old one, or gets the usual
    ones. Returns the path; raises OSError when the place cannot be written, and leaves nothing.
    """
    target = Path(path)
    target.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, _mode(target))
        os.replace(name, target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return target


def write_text_atomic(path: str | Path, text: str) -> Path:
    """Write `text` as UTF-8 with line feeds, in one step; see `write_bytes_atomic`."""
    return write_bytes_atomic(path, text.encode("utf-8"))


def _mode(target: Path) -> int:
    if target.exists():
        return target.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
