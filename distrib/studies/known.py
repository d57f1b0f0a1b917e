"""Functions whose answers are known, to check the studies with (and to try them out).

They are kept here, not in the tests, because worker processes must be able to import them.
"""

from __future__ import annotations

import hashlib
import itertools
import time
from dataclasses import dataclass

import numpy as np

from distrib.errors import NoSolution
from distrib.results import FloatArray
from distrib.studies.evaluate import Task


def morris_function(x: FloatArray) -> FloatArray:
    """Morris's function of 20 inputs for x (n, 20) in the unit cube; returns (n, 1).

    Source: M. D. Morris, Technometrics 33 (1991) 161-174, section 4: the first seven inputs act
    bent or jointly, inputs 8 to 10 straight, the last ten hardly. The paper draws the remaining
    coefficients from a standard normal law; here they are (-1)^i and (-1)^(i+j), of like size.
    """
    w = 2.0 * (x - 0.5)
    for j in (2, 4, 6):
        w[:, j] = 2.0 * (1.1 * x[:, j] / (x[:, j] + 0.1) - 0.5)
    sign = (-1.0) ** np.arange(1, 21)
    straight = np.where(np.arange(20) < 10, 20.0, sign)
    pairs = np.outer(sign, sign)
    pairs[:6, :6] = -15.0
    out = w @ straight + np.einsum("ni,ij,nj->n", w, np.triu(pairs, 1), w)
    for order, coefficient, last in ((3, -10.0, 5), (4, 5.0, 4)):
        for group in itertools.combinations(range(last), order):
            out += coefficient * np.prod(w[:, group], axis=1)
    return np.asarray(out)[:, None]


@dataclass(frozen=True)
class SlowRow:
    """A task of about `seconds` whose row depends on point, index and seed in a hashed way.

    Any mistake in order, seed or repetition changes bits of the table. Points whose index is a
    multiple of `fail_every` have no solution. Each call adds one byte to the file `count_into`,
    so that work done twice can be counted over all workers.
    """

    seconds: float = 0.0
    fail_every: int = 0
    count_into: str = ""

    def __call__(self, task: Task) -> FloatArray:
        if self.count_into:
            with open(self.count_into, "ab", buffering=0) as file:
                file.write(b".")
        if self.seconds:
            time.sleep(self.seconds)
        if self.fail_every and task.index % self.fail_every == 0:
            raise NoSolution(f"point {task.index} is meant to fail")
        rng = np.random.default_rng(task.seed)
        text = task.point.tobytes() + task.index.to_bytes(8, "little")
        number = int.from_bytes(hashlib.sha256(text).digest()[:6], "little")
        return np.array([number / 2.0**48, float(np.sin(task.point).sum()), rng.normal()])
