"""Many fits at once that share the evaluations of one forward model.

The cost of a prediction hardly grows with the number of its parameter sets, so fits in threads of
their own wait for each other and are served by one call. Each fit sees what it would see alone.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import numpy as np

Predict = Callable[[np.ndarray], np.ndarray]
T = TypeVar("T")


class Shared:
    """A forward model called by several threads; all that still run are served together."""

    def __init__(self, predict: Predict, count: int) -> None:
        self.predict, self.running = predict, count
        self.asked: dict[int, np.ndarray] = {}
        self.answers: dict[int, np.ndarray | BaseException] = {}
        self.turn = threading.Condition()
        self.calls = 0

    def ask(self, who: int, sets: np.ndarray) -> np.ndarray:
        """Predictions of the parameter sets (B, K) of one thread."""
        with self.turn:
            self.asked[who] = sets
            self._serve()
            self.turn.wait_for(lambda: who in self.answers)
            answer = self.answers.pop(who)
        if isinstance(answer, BaseException):
            raise answer
        return answer

    def leave(self) -> None:
        """One thread is done: the others need not wait for it."""
        with self.turn:
            self.running -= 1
            self._serve()

    def _serve(self) -> None:
        if not self.asked or len(self.asked) < self.running:
            return
        whose = sorted(self.asked)  # the order of the threads must not matter
        edges = np.cumsum([len(self.asked[k]) for k in whose])[:-1]
        try:
            found = self.predict(np.concatenate([self.asked[k] for k in whose]))
            self.answers.update(zip(whose, np.split(found, edges), strict=True))
        except BaseException as error:  # every waiting thread must hear of it
            self.answers.update(dict.fromkeys(whose, error))
        self.calls += 1
        self.asked.clear()
        self.turn.notify_all()


def run_together(predict: Predict, count: int, one: Callable[[int, Predict], T]) -> list[T]:
    """Results of `one(k, model)` for k below `count`; `model` gives what `predict` gives."""
    shared = Shared(predict, count)

    def run(k: int) -> T:
        try:
            return one(k, lambda sets: shared.ask(k, sets))
        finally:
            shared.leave()

    with ThreadPoolExecutor(count) as pool:
        return list(pool.map(run, range(count)))
