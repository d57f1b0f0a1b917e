"""Where chunks are worked off: here, in threads, in processes. `cluster` adds a scheduler.

All have the same four calls, and none of them changes a figure: what differs is only the order
in which chunks come back.
"""

from __future__ import annotations

import contextlib
import os
import queue
import signal
import threading
import time
from collections import deque
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from typing import Any, Protocol

from distrib.errors import DistribError
from distrib.studies.evaluate import Chunk, Evaluate, Rows

MOST_DEATHS = 3
"""A chunk whose worker dies this often is taken to be the cause, and the study stops."""


class StudyFailed(DistribError):  # noqa: N818 - said in words
    """A study that cannot go on; what was finished is kept."""

    exit_code = 3


class Backend(Protocol):
    """Works chunks off."""

    capacity: int

    def submit(self, chunk: Chunk) -> None:
        """Take one chunk; the caller never has more than `capacity` outstanding."""
        ...

    def collect(self) -> list[tuple[int, Rows]]:
        """Wait for at least one chunk; return (number, rows) of all that are done."""
        ...

    def close(self) -> None:
        """Give everything up, also when chunks are outstanding."""
        ...


class Serial:
    """In this thread, one chunk at a time."""

    capacity = 1

    def __init__(self, evaluate: Evaluate) -> None:
        self._evaluate = evaluate
        self._waiting: deque[Chunk] = deque()

    def submit(self, chunk: Chunk) -> None:
        self._waiting.append(chunk)

    def collect(self) -> list[tuple[int, Rows]]:
        chunk = self._waiting.popleft()
        return [(chunk.number, guarded(self._evaluate, chunk))]

    def close(self) -> None:
        self._waiting.clear()


def guarded(evaluate: Evaluate, chunk: Chunk) -> Rows:
    """Evaluate a chunk; whatever it raises becomes StudyFailed with the points it happened at."""
    try:
        return evaluate(chunk)
    except Exception as error:
        first, last = int(chunk.indices[0]), int(chunk.indices[-1])
        kind = "" if isinstance(error, DistribError) else f"{type(error).__name__}: "
        raise StudyFailed(f"points {first} to {last}: {kind}{error}") from error


class Threads:
    """In threads of this process: right when the work is done without the interpreter lock."""

    def __init__(self, evaluate: Evaluate, jobs: int) -> None:
        self.capacity = 2 * jobs
        self._evaluate = evaluate
        self._pool = ThreadPoolExecutor(jobs, thread_name_prefix="study")
        self._done: queue.SimpleQueue[tuple[int, Rows | BaseException]] = queue.SimpleQueue()
        self._stopped = threading.Event()

    def _work(self, chunk: Chunk) -> None:
        if self._stopped.is_set():
            return
        try:
            self._done.put((chunk.number, guarded(self._evaluate, chunk)))
        except BaseException as error:
            self._done.put((chunk.number, error))

    def submit(self, chunk: Chunk) -> None:
        self._pool.submit(self._work, chunk)

    def collect(self) -> list[tuple[int, Rows]]:
        out = []
        item = _interruptible_get(self._done)
        while True:
            number, rows = item
            if isinstance(rows, BaseException):
                raise rows
            out.append((number, rows))
            try:
                item = self._done.get_nowait()
            except queue.Empty:
                return out

    def close(self) -> None:
        self._stopped.set()
        self._pool.shutdown(wait=True, cancel_futures=True)


def _interruptible_get(source: queue.SimpleQueue[Any]) -> Any:
    """Get from a queue in short waits, so that Ctrl-C is heard."""
    while True:
        with contextlib.suppress(queue.Empty):
            return source.get(timeout=0.5)


class _Worker:
    """One child process, its pipe and the chunk it holds."""

    def __init__(self, evaluate: Evaluate) -> None:
        context = get_context("spawn")
        self.pipe, there = context.Pipe()
        self.process = context.Process(
            target=serve, args=(there, evaluate, os.getpid()), daemon=True)
        with _interrupts_held():
            self.process.start()
        there.close()
        self.chunk: Chunk | None = None

    def give(self, chunk: Chunk) -> None:
        """Send a chunk; a worker that is dead already is noticed by `collect`."""
        self.chunk = chunk
        with contextlib.suppress(BrokenPipeError):
            self.pipe.send(chunk)


@contextlib.contextmanager
def _interrupts_held() -> Iterator[None]:
    """Start children deaf to Ctrl-C from the first moment (an ignored signal is inherited)."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


class Processes:
    """In child processes that end with this one, also when this one is killed.

    A worker holds one chunk at a time, so that neither side can wait for the other. A worker
    that dies loses only that chunk: it goes first to the worker that takes its place. Until the
    first worker has answered (it imports and loads for seconds) this process works off waiting
    chunks itself, so that a short study is never slower than without workers.
    """

    def __init__(self, evaluate: Evaluate, jobs: int) -> None:
        self.capacity = 2 * jobs
        self._evaluate = evaluate
        self._deaths: dict[int, int] = {}
        self._waiting: deque[Chunk] = deque()
        self._started = False
        self._workers = [_Worker(evaluate) for _ in range(jobs)]

    def submit(self, chunk: Chunk) -> None:
        self._waiting.append(chunk)
        self._hand_out()

    def _hand_out(self) -> None:
        for worker in self._workers:
            if worker.chunk is None and self._waiting:
                worker.give(self._waiting.popleft())

    def collect(self) -> list[tuple[int, Rows]]:
        out: list[tuple[int, Rows]] = []
        if not self._started and self._waiting:
            chunk = self._waiting.popleft()
            out.append((chunk.number, guarded(self._evaluate, chunk)))
        first = True
        while first or not out:
            first = False
            ready = wait([w.pipe for w in self._workers], timeout=0.0 if out else 0.5)
            for i, worker in enumerate(self._workers):
                if worker.pipe not in ready:
                    continue
                try:
                    number, rows = worker.pipe.recv()
                except (EOFError, ConnectionResetError):
                    self._replace(i)
                    continue
                worker.chunk, self._started = None, True
                if isinstance(rows, BaseException):
                    raise rows
                out.append((number, rows))
            self._hand_out()
        return out

    def _replace(self, index: int) -> None:
        """Start a new worker in the place of a dead one and put its chunk first in the queue."""
        dead = self._workers[index]
        dead.process.join()
        dead.pipe.close()
        lost = dead.chunk
        if lost is None:
            raise StudyFailed(f"a worker cannot start (exit code {dead.process.exitcode})")
        deaths = self._deaths[lost.number] = self._deaths.get(lost.number, 0) + 1
        if deaths >= MOST_DEATHS:
            raise StudyFailed(
                f"points {int(lost.indices[0])} to {int(lost.indices[-1])}: the worker died "
                f"{MOST_DEATHS} times (exit code {dead.process.exitcode})")
        self._waiting.appendleft(lost)
        self._workers[index] = _Worker(self._evaluate)

    def close(self) -> None:
        for worker in self._workers:
            worker.pipe.close()
            if worker.chunk is not None:
                worker.process.terminate()
        for worker in self._workers:
            worker.process.join(timeout=10.0)


def serve(pipe: Connection, evaluate: Evaluate, parent: int) -> None:
    """Body of a child process: chunks in, rows out, until the pipe closes or the parent is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to handle
    threading.Thread(target=_die_with, args=(parent,), daemon=True).start()
    while True:
        try:
            chunk: Chunk = pipe.recv()
        except (EOFError, ConnectionResetError):
            return
        answer: Rows | BaseException
        try:
            answer = guarded(evaluate, chunk)
        except StudyFailed as error:
            answer = error
        try:
            pipe.send((chunk.number, answer))
        except (BrokenPipeError, ConnectionResetError):
            return


def _die_with(parent: int) -> None:
    """End this process soon after its parent ended, even in the middle of a long point."""
    while os.getppid() == parent:
        time.sleep(0.5)
    os._exit(1)


def local_backend(evaluate: Evaluate, jobs: int, how: str) -> Backend:
    """The local backend by name: "serial", "threads" or "processes"; one job is always serial.

    An `evaluate` with a method `warm()` is asked to do once here what each process would do for
    itself: compile.
    """
    if jobs == 1 or how == "serial":
        return Serial(evaluate)
    if how == "threads":
        return Threads(evaluate, jobs)
    if how == "processes":
        if (warm := getattr(evaluate, "warm", None)) is not None:
            warm()
        return Processes(evaluate, jobs)
    raise ValueError(f"unknown backend {how!r}; allowed: serial, threads, processes")
