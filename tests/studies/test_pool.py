"""Standing workers: every point once, remembered on disk, the same after a stop."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from distrib.errors import InputError
from distrib.results import FloatArray
from distrib.studies.evaluate import Chunk, PerTask, Rows
from distrib.studies.known import SlowRow
from distrib.studies.pool import Pool


def per_chunk(chunk: Chunk) -> Rows:
    """A chunk of points by `squares`."""
    return Rows(squares(chunk.points), ("",) * chunk.indices.size)


def squares(points: FloatArray) -> FloatArray:
    return np.hstack([points**2, points + 1.0])


@pytest.mark.parametrize("jobs,how", [(1, "serial"), (2, "threads"), (2, "processes")])
def test_rows_come_back_in_order_and_repeated_points_cost_nothing(jobs: int, how: str) -> None:
    points = np.array([[3.0], [1.0], [3.0], [2.0]])
    with Pool(per_chunk, 2, jobs=jobs, how=how) as pool:
        np.testing.assert_array_equal(pool(points), squares(points))
        assert pool.evaluated == 3
        np.testing.assert_array_equal(pool(points[::-1]), squares(points[::-1]))
        assert pool.evaluated == 3 and pool.remembered == 5


def _calls(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0


def test_a_stopped_search_takes_what_is_there(tmp_path: Path) -> None:
    counter, log = tmp_path / "calls", tmp_path / "search.log"
    evaluate = PerTask(SlowRow(count_into=str(counter)), 3)
    points = np.arange(12.0)[:, None]
    told: list[int] = []

    def stop(count: int) -> None:
        told.append(count)
        if len(told) == 7:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt), Pool(evaluate, 3, remember=log, told=stop) as pool:
        pool(points)
    assert _calls(counter) == 7
    with Pool(evaluate, 3, remember=log, resume=True) as pool:
        again = pool(points)
        assert pool.evaluated == 5
        pool.forget()
    assert _calls(counter) == 12 and not log.exists()
    with Pool(evaluate, 3) as pool:
        fresh = pool(points)
    assert fresh[:, 1].tobytes() == again[:, 1].tobytes()  # index differs by batch, the point not


def test_an_unfinished_search_is_not_overwritten(tmp_path: Path) -> None:
    log = tmp_path / "search.log"
    with Pool(per_chunk, 2, remember=log, identity={"of": "a"}) as pool:
        pool(np.array([[1.0]]))
    with pytest.raises(InputError, match="unfinished study"):
        Pool(per_chunk, 2, remember=log, identity={"of": "a"})
    with pytest.raises(InputError, match="of: read 'a'"):
        Pool(per_chunk, 2, remember=log, identity={"of": "b"}, resume=True)
    empty = tmp_path / "empty.log"
    with Pool(per_chunk, 2, remember=empty):
        pass
    assert not empty.exists()


