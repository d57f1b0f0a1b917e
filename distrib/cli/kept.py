"""Engine results kept in a folder the user names, so that a second report need not run them."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Sequence
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from distrib.case.schema import Case
    from distrib.results import Shares

SOURCES: Final = ("engine", "build", "losses", "gas", "engine", "case")
"""Packages whose text decides a engine result; a change of any makes kept results stale."""


def kept_engine(case: Case, speeds: Sequence[float], folder: str | None) -> Shares:
    """The engine model at these speeds, from `folder` where it was kept, else run and kept there.

    A kept file counts only for the same case, speeds, version and program text. A file that
    cannot be read is made anew. Raises NoSolution as the model does.
    """
    def solved() -> Shares:
        from distrib.build.engine import solve_engine

        return solve_engine(case, rpm=list(speeds))

    return _kept(case, "engine", speeds, folder, solved)


def kept_band(case: Case, nominal: Shares, rpm: float, folder: str | None) -> Shares:
    """A engine result at one speed with its band, kept likewise."""
    def solved() -> Shares:
        from distrib.cli.solved import with_engine_band

        return with_engine_band(case, nominal, rpm)

    return _kept(case, "engine-band", [rpm], folder, solved)


def _kept(case: Case, name: str, speeds: Sequence[float], folder: str | None,
          solved: Callable[[], Shares]) -> Shares:
    from distrib.files import write_bytes_atomic

    if folder is None:
        return solved()
    place = Path(folder) / f"{name}-{_key(case, speeds)}.npz"
    try:
        return unpacked(place.read_bytes())
    except (OSError, ValueError, KeyError, TypeError):
        found = solved()
    write_bytes_atomic(place, packed(found))
    return found


def _key(case: Case, speeds: Sequence[float]) -> str:
    import hashlib

    import distrib
    from distrib.case.change import case_hash

    digest = hashlib.sha256()
    digest.update(f"{case_hash(case)} {list(speeds)} {distrib.__version__}".encode())
    root = Path(distrib.__file__).parent
    for package in SOURCES:
        for file in sorted((root / package).rglob("*")):
            if file.suffix in (".py", ".csv"):
                digest.update(file.name.encode() + file.read_bytes())
    return digest.hexdigest()[:32]


def packed(shares: Shares) -> bytes:
    """A result as an npz archive of arrays and one JSON text; no pickled objects."""
    import numpy as np

    arrays: dict[str, Any] = {}

    def plain(value: Any, name: str) -> Any:
        if isinstance(value, np.ndarray):
            arrays[name] = value
            return {"array": name}
        if isinstance(value, tuple | list):
            return {"list": [plain(v, f"{name}.{i}") for i, v in enumerate(value)]}
        if hasattr(value, "items"):
            return {"map": {str(k): plain(v, f"{name}.{k}") for k, v in value.items()}}
        if hasattr(value, "__dataclass_fields__"):
            return {"kind": type(value).__name__, "parts": {
                f.name: plain(getattr(value, f.name), f"{name}.{f.name}") for f in fields(value)}}
        if value is None or isinstance(value, str | bool | int | float):
            return {"value": value}
        raise TypeError(f"cannot keep {type(value).__name__}")

    text = json.dumps(plain(shares, "shares"))
    stream = io.BytesIO()
    np.savez_compressed(stream, json=np.frombuffer(text.encode(), dtype=np.uint8), **arrays)
    return stream.getvalue()


def unpacked(data: bytes) -> Shares:
    """The result that `packed` wrote. Raises ValueError, KeyError or TypeError for other bytes."""
    import zipfile
    import zlib

    import numpy as np

    from distrib import results

    kinds = {name: getattr(results, name) for name in ("Shares", "Profile", "Band", "Source",
                                                       "Assumed")}

    def made(part: Any, arrays: Any) -> Any:
        if "array" in part:
            return arrays[part["array"]]
        if "list" in part:
            return tuple(made(v, arrays) for v in part["list"])
        if "map" in part:
            return {k: made(v, arrays) for k, v in part["map"].items()}
        if "kind" in part:
            return kinds[part["kind"]](**{k: made(v, arrays) for k, v in part["parts"].items()})
        return part["value"]

    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
            found = made(json.loads(arrays["json"].tobytes().decode()), arrays)
    except (zipfile.BadZipFile, zlib.error, EOFError) as error:
        raise ValueError("no archive of a result") from error
    if not isinstance(found, results.Shares):
        raise ValueError("no result of a model")
    return found
