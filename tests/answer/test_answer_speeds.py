"""The speeds that are solved: no peak is missed, the worst is that of a dense sweep."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from distrib.answer import answer
from distrib.answer.speeds import MOST, bends, speed_range, wanted_band
from distrib.case.change import with_changes
from distrib.case.read import read_case, read_text

from .curves import Curves, stand_in

CASES = Path(__file__).resolve().parents[2] / "cases"
MISS_PERCENT = 0.2
"""What the reported worst deviation may miss of a sweep every 25 rev/min (demand on the answer)."""


@st.composite
def resonances(draw):
    """Five cylinders with three resonances each between 2000 and 8000 rev/min, up to 8 %, half as
    wide as 150 rev/min or more (the narrowest of the demo cases: about 150)."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    return Curves(rng.uniform(2000.0, 8000.0, (5, 3)), rng.uniform(150.0, 900.0, (5, 3)),
                  rng.uniform(-8.0, 8.0, (5, 3)))


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(curves=resonances(), off=st.floats(-40.0, 40.0), part=st.floats(0.9, 1.1))
def test_worst_of_every_cylinder_is_that_of_a_dense_sweep(monkeypatch, curves, off, part):
    """Coarse cells put the peaks up to 40 rev/min and a tenth of their size off."""
    case = read_case(CASES / "inline5_side.toml")
    coarse = Curves(curves.at_rpm, curves.width_rpm, curves.size_percent, off, part)
    with monkeypatch.context() as patch:
        stand_in(patch, curves, coarse)
        found = answer(case, draws=0)
    low, high = wanted_band(case)
    dense = np.arange(low, high + 1.0, 25.0)
    air = curves.air(dense)
    best = (100.0 * (air / air.mean(axis=1, keepdims=True) - 1.0)).max(axis=0)
    inside = found.inside()
    reported = found.engine.deviation_percent[inside].max(axis=0)
    assert np.all(reported > best - MISS_PERCENT)
    assert found.rpm.size <= MOST + len(case.conditions.rpm) + 15


def test_lines_between_the_speeds_hold_the_curves():
    x = np.linspace(2000.0, 7000.0, 101)
    y = np.stack([np.sin(x / 300.0), np.cos(x / 700.0) * 3.0], axis=1)
    held = bends(x, y, [2500.0])
    assert held[0] == 2000.0 and held[-1] == 7000.0 and 2500.0 in held
    at = np.searchsorted(x, held)
    lines = np.stack([np.interp(x, x[at], y[at, c]) for c in range(2)], axis=1)
    from distrib.answer.speeds import BEND_PERCENT
    assert (len(held) < 101 and np.abs(lines - y).max() <= BEND_PERCENT) or len(held) >= MOST


def test_range_and_band_are_those_of_the_case():
    case = read_case(CASES / "inline5_side.toml")
    assert speed_range(case) == (2500.0, 7200.0) and wanted_band(case) == (4500.0, 7000.0)
    wide = with_changes(case, {"conditions.wanted_rpm": [2000.0, 7000.0]})
    assert speed_range(wide) == (2000.0, 7200.0)


def test_one_speed_is_solved_alone(monkeypatch):
    text = (CASES / "inline4_side.toml").read_text(encoding="utf-8")
    text = re.sub(r"\nrpm = .*", "\nrpm = [5000]", re.sub(r"\nwanted_rpm = .*", "", text))
    case = read_text(text)
    rng = np.random.default_rng(1)
    curves = Curves(rng.uniform(4000, 6000, (4, 1)), np.full((4, 1), 500.0),
                    rng.uniform(-3, 3, (4, 1)))
    stand_in(monkeypatch, curves, curves)
    found = answer(case, draws=0)
    assert found.rpm.tolist() == [5000.0] and not any(w.at_edge for w in found.worst)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["inline5_side", "inline4_center"])
def test_worst_of_a_demo_case_is_that_of_a_dense_sweep(name):
    """Every 25 rev/min through the wanted band, the solver itself."""
    from distrib.build.engine import solve_engine

    case = read_case(CASES / f"{name}.toml")
    found = answer(case, draws=0)
    low, high = wanted_band(case)
    dense = solve_engine(case, rpm=np.arange(low, high + 1.0, 25.0), threads=2)
    assert dense.converged.all()
    reported = found.engine.deviation_percent[found.inside()].max(axis=0)
    assert np.all(reported > dense.deviation_percent.max(axis=0) - MISS_PERCENT)
