"""The measured demo files under cases/measured read, and hold what their page says."""

from __future__ import annotations

import numpy as np

from distrib.calibration.bench import read_bench
from distrib.calibration.bench_fit import fit_bench
from distrib.calibration.bench_mapping import read_bench_mapping
from distrib.calibration.cells import into_cells
from distrib.calibration.clean import steady_windows
from distrib.calibration.log import read_log
from distrib.calibration.mapping import read_log_mapping
from distrib.calibration.swap import solve_swap
from distrib.calibration.swap_file import read_swap

from .made import CASES, demo_case

MEASURED = CASES / "measured"


def test_bench_sheet_is_fitted() -> None:
    sheet = read_bench(MEASURED / "inline4_bench.csv",
                       read_bench_mapping(MEASURED / "inline4_bench.toml"), 4)
    assert len(sheet.tests) == 8 and len(sheet.exclusions) == 1
    fitted = fit_bench(demo_case(), sheet)
    # made with runner losses of 1.12, 0.95, 1.05 and 1.18 times those of the laws of that day; the
    # values themselves move when a law beside them does, their order does not
    losses = [fitted.fit.of(f"runner.{c}.loss") for c in (1, 2, 3, 4)]
    assert list(np.argsort(losses)) == [1, 2, 0, 3]
    assert fitted.fit.verdict[:4] == ("determined",) * 4


def test_log_shows_the_small_injector() -> None:
    mapping = read_log_mapping(MEASURED / "inline4_log.toml")
    windows = steady_windows(read_log(MEASURED / "inline4_log.csv", mapping), mapping)
    cells = into_cells(windows, mapping.cell_rpm, mapping.cell_pressure_pa)
    assert cells.windows.min() >= 1
    lean = cells.lambda_base / cells.lambda_base.mean(axis=-1, keepdims=True) - 1.0
    # injector 2 gives 1.5 % less than the first: about 1.2 % less than the mean of the four
    assert np.all(lean.argmax(axis=-1) == 1)


def test_swap_test_finds_injector_b() -> None:
    sheet = read_swap(MEASURED / "inline4_swap.csv", 4)
    found = solve_swap(sheet.runs, injectors=sheet.injectors)
    assert found.spare > 0 and found.sensor is not None
    flow = np.array([1.0, 0.975, 1.005, 1.0])
    expected = flow / np.exp(np.log(flow).mean())
    assert np.all(np.abs(found.injector - expected) <= 3.0 * found.injector_sigma)
    assert any(s.startswith("injector B: -") for s in found.statements)
