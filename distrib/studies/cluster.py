"""Chunks on an existing dask.distributed scheduler (extra `cluster`).

A worker that is killed costs only the chunks it held: the scheduler gives them to another
worker. Figures are the same bit for bit as long as the workers run the same versions on
processors of one kind (compiled kernels and linear algebra follow the processor); the versions are
compared first.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import platform
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from distrib.errors import InputError, Problem
from distrib.studies.backends import StudyFailed, guarded
from distrib.studies.evaluate import Chunk, Evaluate, Rows
from distrib.studies.log import identity_text

CONNECT_SECONDS = 15.0
RETRIES = 3


def worker_versions() -> dict[str, str]:
    """Versions that decide the bits of a result, this program's own text, kind of processor."""
    from importlib.metadata import version

    from distrib import __version__

    return {"distrib": __version__, "program text": program_digest(), "numpy": version("numpy"),
            "scipy": version("scipy"), "numba": version("numba"),
            "python": platform.python_version(), "processor": platform.machine(),
            "OPENBLAS_CORETYPE": os.environ.get("OPENBLAS_CORETYPE", "not set")}


def program_digest() -> str:
    """Digest of every source and data file of the package: one version can have many texts."""
    import distrib

    root = Path(distrib.__file__).parent
    digest = hashlib.sha256()
    for file in sorted(root.rglob("*")):
        if file.suffix in (".py", ".csv", ".toml"):
            digest.update(file.relative_to(root).as_posix().encode() + b"\0" + file.read_bytes())
    return digest.hexdigest()[:12]


class Cluster:
    """Backend on a scheduler, given by its address ("tcp://host:port")."""

    def __init__(self, evaluate: Evaluate, address: str, identity: Mapping[str, Any]) -> None:
        if importlib.util.find_spec("distributed") is None:
            raise InputError([Problem("--scheduler", address, "only with the extra `cluster`",
                                      "install distrib[cluster]")])
        import distributed

        library: Any = distributed  # its own calls carry no types
        self._evaluate = evaluate
        self._tag = hashlib.sha256(identity_text(identity).encode()).hexdigest()[:16]
        try:
            self._client: Any = library.Client(
                address, timeout=CONNECT_SECONDS, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            raise InputError([Problem("--scheduler", f"{address}: {error}",
                                      "the address of a running scheduler")]) from error
        try:
            threads = self._check_workers(address)
        except BaseException:
            self._client.close()
            raise
        self.capacity = 2 * threads + 2
        self._done: Any = library.as_completed(loop=self._client.loop)

    def _check_workers(self, address: str) -> int:
        """Compare versions with the workers; return the number of worker threads."""
        nthreads = self._client.nthreads()
        if not nthreads:
            raise InputError([Problem("--scheduler", f"{address}: no workers",
                                      "a scheduler with at least one worker")])
        here = worker_versions()
        try:
            there = self._client.run(worker_versions)
        except ImportError as error:
            raise InputError([Problem("--scheduler", f"{address}: {error}",
                                      "workers that have distrib installed")]) from error
        wrong = [Problem(f"worker {name}", f"{key} {found[key]}", f"{key} {here[key]} as here")
                 for name, found in there.items() for key in here if found[key] != here[key]]
        if wrong:
            raise InputError(wrong)
        return int(sum(nthreads.values()))

    def submit(self, chunk: Chunk) -> None:
        self._done.add(self._client.submit(
            numbered, self._evaluate, chunk, key=f"distrib-{self._tag}-{chunk.number}",
            retries=RETRIES, pure=False))

    def collect(self) -> list[tuple[int, Rows]]:
        out: list[tuple[int, Rows]] = []
        future = next(self._done)
        batch = [future]
        if not self._done.is_empty():
            batch += list(self._done.next_batch(block=False))
        for future in batch:
            out.append(self._result(future))
        return out

    def _result(self, future: Any) -> tuple[int, Rows]:
        from distributed import CancelledError, KilledWorker

        try:
            number, rows = future.result()
        except KilledWorker as error:
            raise StudyFailed(f"several workers died on one chunk: {error}") from error
        except (CancelledError, OSError) as error:
            raise StudyFailed(f"the scheduler is gone ({error}); the study can be resumed"
                              ) from error
        return int(number), rows

    def close(self) -> None:
        self._client.close()


def numbered(evaluate: Evaluate, chunk: Chunk) -> tuple[int, Rows]:
    """Work one chunk off on a worker."""
    return chunk.number, guarded(evaluate, chunk)
