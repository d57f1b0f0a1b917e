"""Chunks on an existing dask.distributed scheduler (extra `cluster`).

A worker that is killed costs only the chunks it held: the scheduler gives them to another
worker. Figures are the same bit for bit as long as the workers run the same versions on
processors of one kind (compiled kernels and linear algebra follow the processor). The versions are
compared first, and again with every chunk, since a worker may join at any time; what a worker is
to evaluate is sent along with its digest, which comes back with the rows.
"""

from __future__ import annotations

import asyncio
import hashlib
import importlib.util
import os
import pickle
import platform
import re
import socket
import uuid
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from distrib.errors import InputError, Problem
from distrib.studies.backends import StudyFailed, guarded
from distrib.studies.evaluate import Chunk, Evaluate, Rows
from distrib.studies.log import identity_text

CONNECT_SECONDS = 5.0
"""Longest wait for an answer of the scheduler."""
RETRIES = 3

_ADDRESS = re.compile(r"(?:tcp://)?(?P<host>\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9_.-]+):(?P<port>[0-9]{1,5})")


def worker_versions() -> dict[str, str]:
    """Versions that decide the bits of a result, this program's own text, kind of processor."""
    from importlib.metadata import version

    from distrib import __version__

    return {"distrib": __version__, "program text": program_digest(), "numpy": version("numpy"),
            "scipy": version("scipy"), "numba": version("numba"),
            "python": platform.python_version(), "processor": platform.machine(),
            "OPENBLAS_CORETYPE": os.environ.get("OPENBLAS_CORETYPE", "not set")}


@lru_cache(maxsize=1)
def own_versions() -> dict[str, str]:
    """`worker_versions` of this process, found once."""
    return worker_versions()


def check_address(address: str) -> None:
    """InputError unless a scheduler answers at this address within CONNECT_SECONDS."""
    found = _ADDRESS.fullmatch(address)
    if found is None or not 0 < int(found["port"]) < 65536:
        raise InputError([Problem("--scheduler", f'"{address}"',
                                  'the address of a running scheduler, such as "tcp://host:8786"')])
    try:
        socket.create_connection((found["host"].strip("[]"), int(found["port"])),
                                 timeout=CONNECT_SECONDS).close()
        kind = asyncio.run(_who_answers(address))
    except TimeoutError as error:
        raise InputError([Problem("--scheduler", f"{address}: no answer in "
                                  f"{CONNECT_SECONDS:.0f} s", "the address of a running scheduler")
                          ]) from error
    except (OSError, UnicodeError, ValueError) as error:
        raise InputError([Problem("--scheduler", f"{address}: {error}",
                                  "the address of a running scheduler")]) from error
    if kind != "Scheduler":
        raise InputError([Problem("--scheduler", f"{address}: {kind or 'something else'}",
                                  "the address of a running scheduler")])


async def _who_answers(address: str) -> str:
    """What kind of part of a cluster answers: a client that waits for another one waits long."""
    import distributed.comm

    library: Any = distributed.comm  # its own calls carry no types

    async def ask() -> str:
        line: Any = await library.connect(address, timeout=CONNECT_SECONDS)
        try:
            await line.write({"op": "identity", "reply": True})
            answer = await line.read()
        finally:
            line.abort()
        return str(answer.get("type", "")) if isinstance(answer, Mapping) else ""

    return await asyncio.wait_for(ask(), CONNECT_SECONDS)


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
        check_address(address)
        import distributed

        library: Any = distributed  # its own calls carry no types
        self._work = pickle.dumps(evaluate)
        self._digest = hashlib.sha256(
            identity_text(identity).encode() + self._work).hexdigest()
        self._identity = identity_text(identity)
        self._run = f"distrib-{self._digest[:16]}-{uuid.uuid4().hex}"
        self._points: dict[int, int] = {}
        try:
            self._client: Any = _client_class(library)(
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
        here = self._versions = worker_versions()
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
        self._points[chunk.number] = chunk.indices.size
        self._done.add(self._client.submit(
            evaluated, self._work, self._identity, chunk, self._versions,
            key=f"{self._run}-{chunk.number}", retries=RETRIES, pure=False))

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
            number, digest, rows = future.result()
        except Foreign as error:
            raise StudyFailed(str(error)) from error
        except KilledWorker as error:
            raise StudyFailed(f"several workers died on one chunk: {error}") from error
        except (CancelledError, OSError) as error:
            raise StudyFailed(f"the scheduler is gone ({error}); the study can be resumed"
                              ) from error
        if digest != self._digest or rows.values.shape[0] != self._points.pop(int(number), -1):
            raise StudyFailed(f"a worker answered for another study (chunk {number})")
        return int(number), rows

    def close(self) -> None:
        self._client.close()


class Foreign(RuntimeError):  # noqa: N818 - said in words
    """A worker that runs other versions than the study."""


def evaluated(work: bytes, identity: str, chunk: Chunk, versions: Mapping[str, str]
              ) -> tuple[int, str, Rows]:
    """Work one chunk off on a worker: its number, the digest of what was evaluated, the rows.

    Raises Foreign where the worker's versions are not those of the study.
    """
    here = own_versions()
    wrong = [f"{key} {here.get(key)} instead of {value}" for key, value in versions.items()
             if here.get(key) != value]
    if wrong:
        raise Foreign(f"the worker {platform.node()} (process {os.getpid()}) runs "
                      f"{', '.join(wrong)}")
    digest = hashlib.sha256(identity.encode() + work).hexdigest()
    return chunk.number, digest, guarded(_unpacked(work), chunk)


@lru_cache(maxsize=4)
def _unpacked(work: bytes) -> Evaluate:
    """What is to be evaluated; a worker reads it once."""
    found: Evaluate = pickle.loads(work)
    return found


def _client_class(library: Any) -> Any:
    """The library's client without its clean-up on collection: after a failed start that waits
    half a minute and prints a traceback. Ours is always closed by name."""

    class Client(library.Client):  # type: ignore[misc]
        def __del__(self) -> None:
            pass

    return Client
