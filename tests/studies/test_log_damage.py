"""Logs of studies on bad disks and in places that somebody else has prepared."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from distrib.errors import InputError
from distrib.studies.evaluate import Chunk, Rows
from distrib.studies.log import open_log, read_head
from distrib.studies.runner import Study, log_path, run_study


def stopped(study: Study, out: Path, after: int) -> bytes:
    """Run a study until `after` chunks are done; return its log."""
    done = 0

    def evaluate(chunk: Chunk) -> Rows:
        nonlocal done
        if done == after:
            raise KeyboardInterrupt
        done += 1
        return study.evaluate(chunk)

    cut = Study(study.plan, evaluate, study.columns, study.identity, study.seed, study.chunk)
    with pytest.raises(Exception, match="stopped after"):
        run_study(cut, out, progress=False)
    return log_path(out).read_bytes()


def test_any_bit_of_the_file_may_flip(tmp_path: Path, make_study: Callable[..., Study]) -> None:
    """Every byte of the log once: at most one record is lost, and the table is the same."""
    study = make_study()
    out = tmp_path / "t.csv"
    run_study(study, out, progress=False)
    whole = out.read_bytes()
    out.unlink()
    log = stopped(study, out, after=8)
    rng = np.random.default_rng(5)
    for place in range(len(log)):
        spoilt = bytearray(log)
        spoilt[place] ^= 1 << int(rng.integers(8))
        log_path(out).write_bytes(spoilt)
        out.unlink(missing_ok=True)
        outcome = run_study(study, out, resume=True, progress=False)
        assert outcome.resumed >= 7, place
        assert out.read_bytes() == whole, place


def test_a_link_in_the_place_of_the_log_is_not_followed(
        tmp_path: Path, make_study: Callable[..., Study]) -> None:
    out = tmp_path / "t.csv"
    victim = tmp_path / "victim"
    victim.write_text("precious")
    log_path(out).symlink_to(victim)
    with pytest.raises(InputError, match=r"a link; allowed: a log of this program"):
        run_study(make_study(), out, progress=False)
    log_path(out).unlink()
    os.link(victim, log_path(out))
    with pytest.raises(InputError, match=r"a link, a pipe or a device"):
        run_study(make_study(), out, resume=True, progress=False)
    log_path(out).unlink()
    os.mkfifo(log_path(out))
    with pytest.raises(InputError, match=r"a link, a pipe or a device"):
        run_study(make_study(), out, progress=False)
    assert victim.read_text() == "precious"


def test_the_head_stands_twice(tmp_path: Path) -> None:
    path = tmp_path / "a.log"
    open_log(path, {"what": "this"}, resume=False).close()
    data = path.read_bytes()
    assert data[:len(data) // 2] == data[len(data) // 2:]
    with open(path, "rb") as file:
        assert read_head(file) == ({"what": "this"}, len(data))
    path.write_bytes(b"\x00" * (len(data) // 2) + data[len(data) // 2:])
    with open(path, "rb") as file:
        assert read_head(file) == ({"what": "this"}, len(data))


def test_a_result_table_keeps_its_private_mode(
        tmp_path: Path, make_study: Callable[..., Study]) -> None:
    out = tmp_path / "t.csv"
    out.write_text("old")
    out.chmod(0o600)
    run_study(make_study(), out, progress=False)
    assert out.stat().st_mode & 0o777 == 0o600
    assert out.read_text() != "old"
