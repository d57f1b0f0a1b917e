"""Small studies with known rows for the runner's tests."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from distrib.studies.evaluate import PerTask
from distrib.studies.known import SlowRow
from distrib.studies.plan import Dimension, Grid
from distrib.studies.runner import Study
from distrib.studies.table import Column

COLUMNS = (Column("number"), Column("sine"), Column("draw"))


@pytest.fixture
def make_study() -> Callable[..., Study]:
    """A study of `a * b` points with hashed rows."""

    def make(a: int = 4, b: int = 5, *, seconds: float = 0.0, fail_every: int = 0,
             chunk: int = 1, seed: int = 1, how: str = "processes") -> Study:
        plan = Grid((Dimension("a.b", "mm", levels=tuple(float(i) for i in range(a))),
                     Dimension("c", choices=tuple(f"text {i}" for i in range(b)))))
        return Study(plan, PerTask(SlowRow(seconds, fail_every), 3), COLUMNS,
                     identity={"case": "demo"}, seed=seed, chunk=chunk, how=how)

    return make
