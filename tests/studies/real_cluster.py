"""A real dask scheduler and workers on loopback, as processes of their own."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT)}


@dataclass
class RealCluster:
    """Address of a running scheduler and the workers started for it."""

    address: str
    folder: Path
    workers: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def add_worker(self, **environment: str) -> None:
        """Start one more worker of one thread and wait until the scheduler knows it."""
        name = f"w{len(self.workers)}"
        with open(self.folder / f"{name}.txt", "wb") as said:
            self.workers.append(subprocess.Popen(
                [sys.executable, "-m", "distributed.cli.dask_worker", self.address, "--nthreads",
                 "1", "--no-nanny", "--no-dashboard", "--name", name, "--local-directory",
                 str(self.folder / name)], stderr=said, stdout=said,
                env={**ENVIRONMENT, **environment}))
        import distributed

        library: Any = distributed
        with library.Client(self.address, set_as_default=False) as client:
            client.wait_for_workers(sum(w.poll() is None for w in self.workers), timeout=30)


@contextmanager
def real_cluster(folder: Path, workers: int) -> Iterator[RealCluster]:
    """A scheduler with so many workers; ends what it started."""
    command = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1",
               "--port", "0", "--no-dashboard", "--no-show"]
    said = folder / "scheduler.txt"
    with open(said, "wb") as errors:
        scheduler = subprocess.Popen(command, stderr=errors, stdout=errors, env=ENVIRONMENT)
    made = RealCluster("", folder)
    try:
        made.address = _address(said)
        for _ in range(workers):
            made.add_worker()
        yield made
    finally:
        for process in [*made.workers, scheduler]:
            process.terminate()
        for process in [*made.workers, scheduler]:
            try:
                process.wait(timeout=10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _address(path: Path) -> str:
    deadline = time.monotonic() + 30.0
    while time.monotonic() < deadline:
        found = re.search(r"(tcp://127\.0\.0\.1:\d+)", path.read_text(errors="replace"))
        if found:
            return found[1]
        time.sleep(0.1)
    raise AssertionError(path.read_text(errors="replace"))
