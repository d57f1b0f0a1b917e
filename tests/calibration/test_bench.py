"""Bench sheets: labels, repeats, leakage, depression, and conversions against check rows."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from distrib.calibration.bench import (
    ONE_AT_A_TIME,
    BenchSheet,
    read_bench,
    runner_number,
)
from distrib.calibration.bench_mapping import read_bench_mapping
from distrib.engine import bench_effective_area
from distrib.engine.rig import mass_flux, scale_flow

from .logs import BENCH_MAPPING, BENCH_TEXT


def _read(tmp_path: Path, mapping: str = BENCH_MAPPING, text: str = BENCH_TEXT) -> BenchSheet:
    (tmp_path / "map.toml").write_text(mapping, encoding="utf-8")
    (tmp_path / "bench.csv").write_text(text, encoding="utf-8")
    return read_bench(tmp_path / "bench.csv", read_bench_mapping(tmp_path / "map.toml"), 4)


def test_depression_scaling_rows() -> None:
    assert scale_flow(1.0, 28.0, 10.0) == pytest.approx(0.597614, rel=1e-6)
    assert scale_flow(1.0, 25.0, 28.0) == pytest.approx(1.0583, rel=1e-5)


def test_ideal_flow_row() -> None:
    # row bench.cfm: isentropic, 141.605 cfm per square inch at 28 inH2O (101325 Pa, 293.15 K)
    rho = 101325.0 / (287.05287 * 293.15)
    cfm = float(mass_flux(101325.0, 293.15, 6974.49)) / rho * 0.0254**2 / 0.3048**3 * 60.0
    assert cfm == pytest.approx(141.605, rel=1e-4)
    assert np.isnan(mass_flux(101325.0, 293.15, 60000.0))


def test_flux_agrees_with_the_engine_side() -> None:
    rho = 101325.0 / (287.05287 * 293.15)
    area = bench_effective_area(0.1, 5000.0, rho, 101325.0)
    assert 0.1 * rho / float(mass_flux(101325.0, 293.15, 5000.0)) == pytest.approx(area, rel=1e-12)


def test_labels() -> None:
    for label in ("1", "#1", "cyl1", "R1", "cylinder 1", "Runner 1", "front"):
        assert runner_number(label, {"front": 1}) == 1
    assert runner_number("rear", {}) is None and runner_number("1.5", {}) is None


def test_sheet_is_read(tmp_path: Path) -> None:
    sheet = _read(tmp_path)
    single = {t.runner: t for t in sheet.tests if t.configuration == "one-blocked"}
    together = {t.runner: t for t in sheet.tests if t.configuration == "all-open"}
    assert sorted(single) == [1, 2, 3] and sorted(together) == [1, 2, 3, 4]
    # runner 1: 202 cfm less 2 cfm leakage at 28 inH2O, by hand
    rho = 101325.0 / (287.05287 * 293.15)
    mass = 200.0 * 0.3048**3 / 60.0 * rho
    assert single[1].flow_kg_s == pytest.approx(mass, rel=1e-9)
    assert single[1].effective_area_m2 == pytest.approx(
        mass / float(mass_flux(101325.0, 293.15, 28 * 249.08891)), rel=1e-9
    )
    assert single[2].repeats == 2 and single[3].repeats == 1
    # 198 and 202: standard error 1 % of 200 is (2.828/sqrt 2)/200
    assert single[2].relative_sigma == pytest.approx(0.01, rel=1e-6)
    assert single[3].relative_sigma == pytest.approx(0.005)
    listed = [str(e) for e in sheet.exclusions]
    assert any("not tested" in e for e in listed) and any('row "total"' in e for e in listed)
    assert sheet.cautions == ()


def test_one_runner_at_a_time_says_what_it_cannot_show(tmp_path: Path) -> None:
    head = "\n".join(line for line in BENCH_TEXT.splitlines() if ",all," not in line)
    sheet = _read(tmp_path, text=head + "\n")
    assert sheet.cautions == (ONE_AT_A_TIME,)


def test_standard_and_mass_flow(tmp_path: Path) -> None:
    standard = BENCH_MAPPING.replace(
        'reading = "actual"', 'reading = "standard", standard_pressure = "101.325 kPa absolute", '
        'standard_temperature = "15 degC"')
    first = _read(tmp_path, standard).tests[0]
    rho = 101325.0 / (287.05287 * 288.15)
    assert first.flow_kg_s == pytest.approx(200 * 0.3048**3 / 60 * rho, rel=1e-9)
    mass = BENCH_MAPPING.replace('unit = "cfm", reading = "actual"', 'unit = "g/s"')
    assert _read(tmp_path, mass).tests[0].flow_kg_s == pytest.approx(0.2, rel=1e-12)


def test_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    text = BENCH_TEXT.replace(",", ";").replace("202;202", "202,0;202,0")
    sheet = _read(tmp_path, BENCH_MAPPING + '\n[file]\ndecimal = ","\n', text)
    assert sheet.tests[0].effective_area_m2 == pytest.approx(
        _read(tmp_path).tests[0].effective_area_m2, rel=1e-12
    )
