"""Sampled phased model of a six-cylinder engine over twenty speeds: cost and what it leaves open.

The whole size (1000 samples, a minute) runs with `--benchmark-only`; a smaller part of it in every
run. All times are processor times of the process, so that other work on the machine does not count.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from distrib.build import band
from distrib.build.band import phased_samples
from distrib.build.draws import Draws
from distrib.build.phased import operating_points
from distrib.case.read import read_text
from distrib.case.schema import Case
from distrib.case.template import starter

SPEEDS = np.linspace(2000.0, 7000.0, 20)
WHOLE, PART = 1000, 24
LIMIT_S, CORES = 60.0, 2
LEFT_OPEN = 0.02
"""Percent points of deviation, as `band.SAMPLE_REPEATS` states."""


@pytest.fixture(scope="module")
def case() -> Case:
    return read_text(starter("inline-6", "side"))


def sampled(case: Case, speeds: Any, samples: int) -> Any:
    return phased_samples(case, operating_points(case, speeds, None, None), Draws(samples, 1))[0]


def timed(function: Callable[[], Any]) -> tuple[Any, float]:
    begun = time.process_time()
    found = function()
    return found, time.process_time() - begun


def test_speeds_together_cost_less_than_one_by_one(case: Case) -> None:
    """A sample starts from its own state at the speed before, and the nominal design is solved for
    all speeds at once: together they must cost clearly less than one by one (measured: a third),
    for the same deviations."""
    sampled(case, [3000.0], 8)  # compiled and loaded
    together, whole = timed(lambda: sampled(case, SPEEDS, PART))
    alone, parts = timed(lambda: np.concatenate([sampled(case, [s], PART) for s in SPEEDS]))
    print(f"\n{SPEEDS.size} speeds x {PART} samples, busy: together {whole:.2f} s, one by one "
          f"{parts:.2f} s")
    assert np.isfinite(together).all()
    np.testing.assert_allclose(together, alone, rtol=0.0, atol=2.0 * LEFT_OPEN)
    assert parts > 1.5 * whole


def test_samples_repeat_as_closely_as_stated(
        case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    usual = sampled(case, SPEEDS[::4], PART)
    monkeypatch.setattr(band, "SAMPLE_REPEATS", 1e-8)
    monkeypatch.setattr(band, "SAMPLE_CYCLES", 60)
    to_the_end = sampled(case, SPEEDS[::4], PART)
    assert np.abs(usual - to_the_end).max() < LEFT_OPEN


def test_foretold_states_lead_to_the_same_figures(
        case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    """Many samples at one speed: most begin where a fit through the first says; the busy time with
    and without that is printed (measured: a fifth less with it)."""
    sampled(case, [5000.0], 8)
    foretold, fewer = timed(lambda: sampled(case, [5000.0], 400))
    monkeypatch.setattr(band, "PILOTS", 10_000)
    plain, whole = timed(lambda: sampled(case, [5000.0], 400))
    print(f"\n400 samples at one speed, busy: {fewer:.2f} s, each from the nominal state "
          f"{whole:.2f} s")
    assert np.isfinite(foretold).all() and foretold.tobytes() != plain.tobytes()
    np.testing.assert_allclose(foretold, plain, rtol=0.0, atol=2.0 * LEFT_OPEN)
    np.testing.assert_allclose(foretold[0, :128], plain[0, :128], rtol=0.0, atol=1e-9)


@pytest.mark.benchmark(group="phased")
@pytest.mark.slow
def test_twenty_speeds_with_a_thousand_samples(
        benchmark: Any, case: Case, pytestconfig: pytest.Config) -> None:
    """Under a minute on two cores: both are busy to the end, so half of the processor's time is
    what the clock shows on an idle machine. The clock itself is printed."""
    if not pytestconfig.getoption("benchmark_only"):
        pytest.skip("whole size: with --benchmark-only")
    sampled(case, [3000.0], 8)
    begun, busy = time.perf_counter(), time.process_time()
    found = benchmark.pedantic(sampled, args=(case, SPEEDS, WHOLE), rounds=1)
    clock, busy = time.perf_counter() - begun, time.process_time() - busy
    benchmark.extra_info["busy_seconds"] = busy
    print(f"\n{SPEEDS.size} speeds x {WHOLE} samples: {clock:.1f} s on the clock, {busy:.1f} s "
          f"busy, {busy / CORES:.1f} s on {CORES} idle cores")
    assert np.isfinite(found).all()
    assert busy / CORES < LIMIT_S
