"""What a planned swap test would find, against what its runs can tell by counting equations."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from distrib.calibration import rehearsal
from distrib.calibration.rehearsal import rehearse
from distrib.calibration.swap import SwapRun
from distrib.cli.app import main

from .made import CASES

N = 4
HOME = np.arange(N)
BLANK = np.full(N, np.nan)
SHIFT = np.roll(HOME, 1)


def plan(*places: tuple[np.ndarray, np.ndarray]) -> list[SwapRun]:
    return [SwapRun(BLANK, injector, sensor, np.zeros(N)) for injector, sensor in places]


def test_sensors_that_stay_are_never_told_from_cylinders() -> None:
    """Injectors moved, sensors not: a bad injector is found, a bad sensor is taken for its cylinder
    and so is never found, though something is named."""
    runs = plan(*((np.roll(HOME, k), HOME) for k in range(4)))
    found = {r.part: r for r in rehearse(runs, tries=40, sizes_percent=(2.0, 4.0, 8.0))}
    assert found["injector"].smallest_percent <= 4.0
    assert np.isnan(found["sensor"].smallest_percent) and max(found["sensor"].misled) > 0.9
    assert "Move the sensors as well" in str(found["sensor"])
    assert found["cylinder"].smallest_percent <= 4.0


def test_moved_sensors_are_found_and_more_runs_find_smaller_faults() -> None:
    few = plan((HOME, HOME), (SHIFT, HOME), (HOME, SHIFT), (np.roll(HOME, 2), SHIFT))
    many = [*few, *plan((np.roll(HOME, 3), np.roll(HOME, 2)), (SHIFT, np.roll(HOME, 3)),
                        (HOME, np.roll(HOME, 2)), (np.roll(HOME, 2), np.roll(HOME, 3)))]
    sizes = (2.0, 4.0, 8.0, 15.0)
    some, more = (rehearse(runs, tries=40, sizes_percent=sizes) for runs in (few, many))
    for a, b in zip(some, more, strict=True):
        assert b.smallest_percent <= a.smallest_percent <= 15.0
        assert all(abs(x + y + z - 1.0) < 1e-12
                   for x, y, z in zip(a.found, a.misled, a.silent, strict=True))


def test_good_parts_are_rarely_accused() -> None:
    """A fault of nothing: in 5 % of the tries at most is any part named (200 tries: within 5 %)."""
    runs = plan((HOME, HOME), (SHIFT, HOME), (HOME, SHIFT), (np.roll(HOME, 2), SHIFT))
    for one in rehearse(runs, sizes_percent=(0.0,), tries=200):
        assert one.silent[0] >= 0.90


def test_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rehearsal.rehearse, "__defaults__", (0.01, 20, 1, (4.0, 12.0)))
    lines = ["run,cylinder,lambda,injector,sensor,trim_percent"]
    for k in range(4):
        lines += [f"r{k},{c + 1},,I{(c + k) % 4},S{(c + k // 2) % 4},0" for c in range(4)]
    (tmp_path / "plan.csv").write_text("\n".join(lines) + "\n")
    case = CASES / "inline4_side.toml"
    args = ["fit", str(case), "--swap", str(tmp_path / "plan.csv"), "--rehearse"]
    assert main([*args, "--json", str(tmp_path / "r.json")]) == 0
    out = capsys.readouterr().out
    assert "an injector that gives less fuel: found nine times of ten from" in out
    assert "A leak reads lean in vacuum and rich under boost" in " ".join(out.split())
    made = json.loads((tmp_path / "r.json").read_text())["rehearsal"]["faults"]
    assert [r["part"] for r in made] == ["injector", "sensor", "cylinder"]
    assert main(["fit", str(case), "--rehearse", "--bench", "x.csv"]) == 2
    assert "the runs of a swap test" in capsys.readouterr().err
