"""`distrib.fit`: the mapping file decides whether the data are a bench sheet or a log."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import distrib
from distrib.calibration import service
from distrib.calibration.service import BenchFit, LogFit

from .logs import LOG_MAPPING, write_log
from .made import drawn_truth, made_forward
from .test_commands import BENCH_MAP, CASE, _bench_csv, _engine


def test_a_bench_sheet(tmp_path: Path) -> None:
    forward = made_forward()
    truth = drawn_truth(forward, np.random.default_rng(12))
    _bench_csv(tmp_path / "bench.csv", forward, truth)
    (tmp_path / "map.toml").write_text(BENCH_MAP)
    found = distrib.fit(distrib.read_case(CASE), tmp_path / "bench.csv", tmp_path / "map.toml")
    assert isinstance(found, BenchFit)
    assert np.all((found.fit.low90 <= truth) & (truth <= found.fit.high90))


def test_a_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(service, "engine_solver", lambda *_: _engine)
    write_log(tmp_path / "log.csv")
    (tmp_path / "map.toml").write_text(LOG_MAPPING)
    found = distrib.fit(distrib.read_case(CASE), tmp_path / "log.csv", tmp_path / "map.toml")
    assert isinstance(found, LogFit)
    assert found.measured_percent.shape == found.predicted_percent.shape == (2, 4)
