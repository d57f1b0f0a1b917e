"""Delays from fuel cuts, and logs of full-throttle pulls: known truth comes back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from distrib.calibration.cells import into_cells
from distrib.calibration.clean import steady_windows
from distrib.calibration.delays import sensor_delays
from distrib.calibration.log import read_log
from distrib.calibration.mapping import read_log_mapping
from distrib.errors import InputError

from .logs import AIR, LOG_MAPPING

HEAD = "Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL\n"
PLAIN = LOG_MAPPING.replace("percent = [2.0, 0.0, -1.0, 0.0]", "percent = [0, 0, 0, 0]")
DELAYS = np.array([0.15, 0.25, 0.30, 0.40])
LAG_S = 0.08


def mapping_of(folder: Path, text: str) -> Path:
    (folder / "map.toml").write_text(text)
    return folder / "map.toml"


def cut_log(path: Path, cuts: int, noise: float = 0.0, seed: int = 3) -> Path:
    """100 Hz, 3000 rpm; `cuts` cuts of 1.5 s, 6 s apart. Lambda 0.8 x AIR goes to 1.3 of itself by
    the closed form of a first-order sensor, each cylinder after its own delay."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, 6.0 * cuts + 6.0, 0.01)
    phase = np.where(time < 6.0 * cuts, time % 6.0, 0.0)  # the cut lasts from 3.0 to 4.5 s
    lines = []
    for t, p in zip(time, phase, strict=True):
        since, until = p - 3.0 - DELAYS, p - 4.5 - DELAYS
        up = np.where(since > 0.0, 1.0 - np.exp(-np.maximum(since, 0.0) / LAG_S), 0.0)
        up = np.where(until > 0.0, np.exp(-np.maximum(until, 0.0) / LAG_S), up)
        lam = 0.8 * AIR * (1.0 + 0.3 * up) * np.exp(rng.normal(0.0, noise, 4))
        flag = int(2.995 <= p < 4.495)
        lines.append(f"{t:.2f},3000,100,90,{flag}," + ",".join(f"{v:.6f}" for v in lam) + ",0")
    path.write_text(HEAD + "\n".join(lines) + "\n")
    return path


@pytest.mark.parametrize("noise, within", [(0.0, 0.01), (0.005, 0.02)])
def test_delay_and_lag_of_each_sensor_come_back(
    tmp_path: Path, noise: float, within: float
) -> None:
    """Noise-free to one sample of 10 ms; with 0.5 % noise to two, and inside the bounds."""
    mapping = read_log_mapping(mapping_of(tmp_path, PLAIN))
    found = sensor_delays(read_log(cut_log(tmp_path / "l.csv", 6, noise), mapping), mapping)
    assert [d.cylinder for d in found] == [1, 2, 3, 4] and all(d.cuts == 6 for d in found)
    for one, delay in zip(found, DELAYS, strict=True):
        assert one.delay_s == pytest.approx(delay, abs=within)
        assert one.lag_s == pytest.approx(LAG_S, abs=within)
        assert one.low_s <= delay <= one.high_s and one.high_s - one.low_s < 0.1


def test_delays_are_told_and_used_when_asked_for(tmp_path: Path) -> None:
    log = cut_log(tmp_path / "l.csv", 4)
    told = read_log_mapping(mapping_of(tmp_path, PLAIN))
    notes = steady_windows(read_log(log, told), told).notes
    assert any(n.startswith("lambda of cylinder 1 comes 0.1") and n.endswith(
        "the mapping takes 0.25 s") for n in notes)
    used = read_log_mapping(mapping_of(tmp_path, PLAIN + '\n[clean]\ndelay = "fuel cuts"\n'))
    windows = steady_windows(read_log(log, used), used)
    assert np.allclose(np.nanmedian(windows.lambda_base, axis=0), 0.8 * AIR, rtol=1e-5)
    # with two cuts there is too little to see
    two = cut_log(tmp_path / "two.csv", 2)
    with pytest.raises(InputError, match="no delay of cylinders 1, 2, 3, 4 to be seen"):
        steady_windows(read_log(two, used), used)


def pull_log(path: Path, pulls: int = 3) -> Path:
    """20 Hz pulls from 2000 to 6000 rpm at 500 rpm/s, lambda AIR below 4000 rpm and its mirror
    above, 0.25 s late; between them the speed falls at closed throttle."""
    lines, t = [], 0.0
    for _ in range(pulls):
        for k in range(160):
            rpm = 2000.0 + 25.0 * k
            air = AIR if rpm - 125.0 < 4000.0 else AIR[::-1]
            lines.append(f"{t:.2f},{rpm:.0f},{100 + k % 2},90,0," + ",".join(
                f"{0.8 * a:.6f}" for a in air) + ",0")
            t += 0.05
        for k in range(80):
            lines.append(f"{t:.2f},{6000 - 50 * k},-60,90,0,1,1,1,1,0")
            t += 0.05
    path.write_text(HEAD + "\n".join(lines) + "\n")
    return path


def test_pulls_give_a_window_for_each_passage(tmp_path: Path) -> None:
    text = PLAIN + "\n[clean]\npull_rpm_within = 250\n"
    mapping = read_log_mapping(mapping_of(tmp_path, text))
    windows = steady_windows(read_log(pull_log(tmp_path / "l.csv"), mapping), mapping)
    assert sorted(windows.rpm.round(-2).tolist()) == [3000.0] * 3 + [5000.0] * 3
    cells = into_cells(windows, mapping.cell_rpm, mapping.cell_pressure_pa)
    assert cells.windows.tolist() == [[[3] * 4], [[3] * 4]]
    for row, air in ((0, AIR), (1, AIR[::-1])):
        assert np.allclose(cells.lambda_base[row, 0], 0.8 * air, rtol=1e-6)
    assert any("no fuel comes off on them" in n for n in windows.notes)
    assert np.isnan(windows.egt_k).all()


def test_a_log_of_pulls_without_the_mode_says_so(tmp_path: Path) -> None:
    mapping = read_log_mapping(mapping_of(tmp_path, PLAIN))
    with pytest.raises(InputError, match="for a log of full-throttle pulls set pull_rpm_within"):
        steady_windows(read_log(pull_log(tmp_path / "l.csv"), mapping), mapping)
    high = PLAIN.replace("[3000, 5000]", "[7000, 8000]") + "\n[clean]\npull_rpm_within = 250\n"
    mapping = read_log_mapping(mapping_of(tmp_path, high))
    with pytest.raises(InputError, match="no passage of a cell's speed within 250 rpm"):
        steady_windows(read_log(pull_log(tmp_path / "l.csv"), mapping), mapping)
