"""Random cases through the whole path: text, case, graph, models; solved or refused in words."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from distrib.build.bench import solve_bench
from distrib.build.engine import solve_engine
from distrib.case.change import with_changes
from distrib.case.read import read_text
from distrib.case.schema import Case
from distrib.case.starters import STARTERS
from distrib.case.template import starter
from distrib.errors import InputError
from distrib.unsteady.run import Options

VARIANTS = 8
"""Random variants of each starter: 9 layouts and 2 entries."""
START = [(layout, entry) for layout in STARTERS for entry in ("side", "center")]
MOST_REFUSED = 0.5
"""Of the variants: a random size may break a rule of the case (mouth wider than plenum)."""


def start(layout: str, entry: str) -> Case:
    return read_text(starter(layout, entry))


def variant(case: Case, rng: np.random.Generator, narrowest: float) -> Case:
    """Runner bores from `narrowest` to 1.2 of the starter's, throttle from 15 to 90 degrees.
    InputError where the variant is no design."""
    changes: dict[str, Any] = {}
    bore = case.entries[0].diameter_m
    for entry in {e.name: e for e in case.entries}.values():
        if entry.throttle is not None and len(case.entries) == 1:
            changes["entry.throttle.plate_angle"] = f"{rng.uniform(15.0, 90.0):.1f} deg"
    if len(case.entries) == 1:
        changes["entry.length"] = float(rng.uniform(0.05, 0.4))
        changes["entry.diameter"] = float(bore * rng.uniform(0.8, 1.0))
    scale = rng.uniform(narrowest, 1.2)
    changes["runners.length"] = float(rng.uniform(0.1, 0.5))
    changes["runners.diameter"] = float(case.runners[0].diameter_m * scale)
    changes["runners.end_diameter"] = float(case.runners[0].end_diameter_m * scale)
    changes["runners.angle"] = f"{rng.uniform(45.0, 135.0):.1f} deg"
    changes["runners.roughness"] = float(rng.uniform(1e-6, 1e-4))
    return with_changes(case, changes)


def variants(layout: str, entry: str, narrowest: float = 0.7) -> list[Case]:
    rng = np.random.default_rng([START.index((layout, entry)), 1])
    base = start(layout, entry)
    made = []
    for _ in range(VARIANTS):
        try:
            made.append(variant(base, rng, narrowest))
        except InputError:
            continue
    return made


@pytest.mark.parametrize("layout, entry", START)
def test_random_cases_on_the_bench(layout: str, entry: str) -> None:
    """From a breath to ends that choke: 10 Pa, 2.5, 7, 30 and 45 kPa behind the open runners."""
    made = variants(layout, entry)
    assert len(made) >= (1.0 - MOST_REFUSED) * VARIANTS
    for case in made:
        found = solve_bench(case, depression_pa=[10.0, 2500.0, 7000.0, 30000.0, 45000.0])
        assert found.converged.all(), found.reason
        assert found.mass_residual.max() < 1e-10
        np.testing.assert_allclose(found.share.sum(axis=1), 1.0, rtol=1e-12)
        # no share is bounded by 0: a wide mouth in the entry's jet may blow back on the rig


@pytest.mark.parametrize("layout, entry", START)
def test_random_case_through_the_cycle(layout: str, entry: str) -> None:
    """From 800 rpm to the engine's own top speed, runners narrower than the starter's too."""
    case = variants(layout, entry)[0]
    top = max(case.conditions.rpm)
    found = solve_engine(case, rpm=[800.0, 0.5 * top, top], options=Options(cell_m=0.02))
    assert found.converged.all(), found.reason
    assert found.mass_residual.max() < 1e-9  # finite volumes keep mass to rounding
    assert np.all(found.share > 0.0)


@pytest.mark.parametrize("layout, entry", START)
def test_starter_with_one_runner_open_and_with_all(layout: str, entry: str) -> None:
    case = start(layout, entry)
    every = solve_bench(case)
    one = solve_bench(case, open_runners=[1])
    assert every.converged.all() and one.converged.all()
    assert one.share[0, 0] == pytest.approx(1.0, abs=1e-12)
    # a lone runner has the whole plenum to itself
    assert one.air_kg_s[0, 0] > every.air_kg_s[0].mean() * 0.99
