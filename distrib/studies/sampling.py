"""Quasi-random points over dimensions, seeded, in blocks; and the band of samples."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from distrib.errors import InputError, Problem
from distrib.results import FloatArray
from distrib.studies.plan import Dimension

Method = Literal["sobol", "latin-hypercube", "random"]
METHODS: tuple[Method, ...] = ("sobol", "latin-hypercube", "random")


def unit_blocks(count: int, k: int, seed: int, method: Method = "sobol",
                size: int = 4096) -> Iterator[FloatArray]:
    """Points of the open unit cube in blocks (size, k), always the same for one seed.

    sobol: scrambled Sobol' sequence (Owen-type scrambling; scipy.stats.qmc.Sobol), best with a
    power of two. latin-hypercube holds all its points in memory at once. Numbers never are
    exactly 0 or 1, so that a normal quantile stays finite.
    """
    from scipy.stats import qmc

    rng = np.random.default_rng(seed)
    tiny = 2.0**-33  # half a step of the sequence's 32-bit numbers
    if k == 0:
        for start in range(0, count, size):
            yield np.zeros((min(size, count - start), 0))
        return
    if method == "latin-hypercube":
        whole = np.clip(qmc.LatinHypercube(k, rng=rng).random(count), tiny, 1.0 - tiny)
        for start in range(0, count, size):
            yield whole[start:start + size]
        return
    if method not in METHODS:
        raise InputError([Problem("method", repr(method), ", ".join(METHODS))])
    sequence = qmc.Sobol(k, scramble=True, bits=32, rng=rng) if method == "sobol" else None
    for start in range(0, count, size):
        n = min(size, count - start)
        block = _quiet_random(sequence, n) if sequence is not None else rng.random((n, k))
        yield np.clip(block, tiny, 1.0 - tiny)


def _quiet_random(sequence: Any, n: int) -> FloatArray:
    """Next points of a Sobol' sequence; its remark on powers of two is for the caller to heed."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        return np.asarray(sequence.random(n), dtype=np.float64)


@dataclass(frozen=True)
class Sample:
    """A plan that draws `count` points over the dimensions (levels and choices evenly)."""

    dimensions: tuple[Dimension, ...]
    count: int
    seed: int = 1
    method: Method = "sobol"

    def blocks(self, size: int) -> Iterator[FloatArray]:
        """All points in order, (size, k) at a time."""
        for unit in unit_blocks(self.count, len(self.dimensions), self.seed, self.method, size):
            yield np.stack([d.scaled(unit[:, j]) for j, d in enumerate(self.dimensions)], axis=-1)

    def identity(self) -> dict[str, Any]:
        """Plain form."""
        return {"kind": "sample", "dimensions": [d.as_dict() for d in self.dimensions],
                "count": self.count, "seed": self.seed, "method": self.method}


def quantile_band(samples: FloatArray, level: float) -> tuple[FloatArray, FloatArray]:
    """Low and high of the central interval at probability `level`; samples on the first axis.

    NaN samples (no solution) are left out; where none is left the band is NaN.
    """
    if not 0.0 < level < 1.0:
        raise InputError([Problem("level", str(level), "between 0 and 1")])
    tail = (1.0 - level) / 2.0
    empty = np.isnan(samples).all(axis=0)
    filled = np.where(empty, 0.0, samples)
    low, high = np.nanquantile(filled, [tail, 1.0 - tail], axis=0)
    return np.where(empty, np.nan, low), np.where(empty, np.nan, high)
