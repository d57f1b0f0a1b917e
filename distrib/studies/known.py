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


def ishigami(x: FloatArray, a: float = 7.0, b: float = 0.1) -> FloatArray:
    """sin x1 + a sin^2 x2 + b x3^4 sin x1 for x (n, 3) in [-pi, pi]; returns (n, 1).

    Source: T. Ishigami and T. Homma, An importance quantification technique in uncertainty
    analysis for computer models, ISUMA 1990, p. 398-403.
    """
    out = np.sin(x[:, 0]) * (1.0 + b * x[:, 2] ** 4) + a * np.sin(x[:, 1]) ** 2
    return np.asarray(out)[:, None]


def ishigami_indices(a: float = 7.0, b: float = 0.1) -> tuple[FloatArray, FloatArray]:
    """First-order and total indices of `ishigami`, (3,) each, in closed form.

    V1 = (1 + b pi^4/5)^2 / 2, V2 = a^2/8, V13 = 8 b^2 pi^8/225, V = V1 + V2 + V13 (same source).
    """
    v1 = 0.5 * (1.0 + b * np.pi**4 / 5.0) ** 2
    v2 = a * a / 8.0
    v13 = 8.0 * b * b * np.pi**8 / 225.0
    total = v1 + v2 + v13
    return np.array([v1, v2, 0.0]) / total, np.array([v1 + v13, v2, v13]) / total


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
