"""A bench sheet made by the model itself at known coefficients."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from distrib.calibration.bench import BenchSheet, BenchTest
from distrib.calibration.bench_model import BenchForward, bench_forward
from distrib.case.read import read_case
from distrib.case.schema import Case

CASES = Path(__file__).parents[2] / "cases"
ALONE_PA, TOGETHER_PA = 28 * 249.08891, 10 * 249.08891


def demo_case() -> Case:
    """The side-fed inline four."""
    return read_case(CASES / "inline4_side.toml")


def blank_sheet(cylinders: int, together: bool = True) -> BenchSheet:
    """Every runner alone, and all together, effective areas still to come."""
    tests = [BenchTest("one-blocked", c, None, ALONE_PA, 1.0, 1e-3, 0.01, 1, (c,))
             for c in range(1, cylinders + 1)]
    if together:
        tests += [BenchTest("all-open", c, None, TOGETHER_PA, 1.0, 1e-3, 0.01, 1, (9 + c,))
                  for c in range(1, cylinders + 1)]
    return BenchSheet(Path("made.csv"), tuple(tests), (), (), ())


def with_areas(forward: BenchForward, log_area: np.ndarray, sigma: float) -> BenchForward:
    """The forward model with measured areas and their standard error."""
    tests = tuple(
        replace(t, effective_area_m2=float(np.exp(a)), relative_sigma=sigma)
        for t, a in zip(forward.tests, log_area, strict=True)
    )
    return replace(forward, tests=tests)


def drawn_truth(forward: BenchForward, rng: np.random.Generator) -> np.ndarray:
    """Parameter values drawn from their priors, inside their limits."""
    return truth_of(forward, rng.standard_normal(len(forward.parameters)))


def truth_of(forward: BenchForward, steps: np.ndarray) -> np.ndarray:
    """Parameter values so many prior standard deviations from their priors, inside their limits."""
    out = []
    for p, z in zip(forward.parameters, steps, strict=True):
        assert p.prior_sigma is not None
        step = p.prior_sigma * z
        value = p.prior * np.exp(step) if p.scale == "log" else p.prior + step
        out.append(float(np.clip(value, p.low, p.high)))
    return np.array(out)


def made_forward(jet: bool = True, together: bool = True) -> BenchForward:
    """Forward model of the demo case for the blank sheet."""
    case = demo_case()
    return bench_forward(case, blank_sheet(case.engine.cylinders, together), jet=jet)
