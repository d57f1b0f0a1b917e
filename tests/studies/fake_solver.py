"""Solvers with known answers, of the same shape as the real ones, importable by workers."""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.build.draws import Draws
from distrib.errors import NoSolution
from distrib.results import Shares, deviation_percent, spread_percent
from distrib.studies.sampled import Sampled


def solve(case: Any, *, rpm: Any = None, slope: float = 1.0) -> Shares:
    """Air of cylinder i: 1 + slope * i * length_m * (rpm/10000), so that figures are known.

    A plenum of exactly 0.4 m has no solution, and a speed of 3000 rpm does not converge.
    """
    length = case.plenums[0].length_m
    if abs(length - 0.4) < 1e-12:
        raise NoSolution("a plenum of 400 mm is meant to fail\nsecond line")
    speeds = np.atleast_1d(np.array([0.0] if rpm is None else rpm, dtype=np.float64))
    cylinders = np.array(sorted(r.cylinder for r in case.runners))
    air = 1.0 + slope * np.outer(speeds / 1e4 if rpm is not None else np.ones(1),
                                 np.arange(cylinders.size)) * length
    share = air / air.sum(axis=-1, keepdims=True)
    converged = speeds != 3000.0
    return Shares(
        model="bench" if rpm is None else "engine", title=case.title, case_hash="",
        cylinders=cylinders, distance_from_entry_m=np.zeros(cylinders.size),
        conditions={"rpm": speeds}, air_kg_s=air, share=share,
        deviation_percent=deviation_percent(share), spread_percent=spread_percent(share),
        converged=converged, mass_residual=np.zeros(speeds.size),
        reason=tuple("" if c else "meant not to converge" for c in converged))


def sampler(case: Any, rpm: Any, draws: Draws, threads: int = 1) -> Sampled:
    """The same air with a slope of 1 + 0.1 z of the name "law.known"."""
    z = np.atleast_1d(np.asarray(draws.z("law.known")))
    air = np.stack([solve(case, rpm=rpm, slope=1.0 + 0.1 * float(v)).air_kg_s for v in z])
    return Sampled(np.array(sorted(r.cylinder for r in case.runners)), air)
