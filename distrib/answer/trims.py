"""Predicted first trims from an engine figure: what each cylinder needs, and what to set first."""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.answer.facts import limits_of
from distrib.build.fuel_sets import enlargement, fuel_sets
from distrib.case.schema import Case
from distrib.fuelling import Trims, check_injection, plan, port_factors
from distrib.fuelling.lambda_ import needed_multiplier
from distrib.fuelling.trims import Policy
from distrib.results import FloatArray, Shares

AT_PORT = "mean static pressure at each port over the cycle"
BESIDE_MOUTH = "static pressure in the plenum beside the mouth"


def predicted_trims(case: Case, shares: Shares, deviation: FloatArray, *,
                    policy: Policy = "richen-only", step: float = 0.5) -> Trims:
    """Trims of a prediction for deviations (P, N), percent on all fuel at the ports.

    TrimError when the injection, or every one of its sets, cannot trim single cylinders.
    """
    check_injection(case.fuel.injection)
    enlargement(case)
    factor, _ = port_factor(case, shares)
    return plan(needed_multiplier(1.0 + deviation / 100.0, factor), policy=policy,
                step=step, limits=limits_of(case))


def port_pressures(case: Case, shares: Shares) -> tuple[FloatArray, str] | None:
    """Mean static pressure at each injector, (P, N) Pa, and where it was taken, in words.

    At the ports where the model gives it, else beside the mouths from the plenum profiles; None
    where it gives neither.
    """
    ports = shares.extra.get("port_pressure_pa")
    if ports is not None:
        return np.asarray(ports, dtype=np.float64), AT_PORT
    columns = []
    for cylinder in shares.cylinders:
        runner = case.runner(int(cylinder))
        profile = next((p for p in shares.profiles if p.plenum == runner.plenum), None)
        if profile is None or len(profile.x_m) == 0:
            return None
        distance = np.abs(profile.x_m - runner.station_m)
        near = distance <= distance.min() + 1e-9
        columns.append(profile.static_pressure_pa[:, near].mean(axis=1))
    return np.stack(columns, axis=1), BESIDE_MOUTH


def port_factor(case: Case, shares: Shares) -> tuple[Any, str]:
    """Fuel flow at each port over the mean from the ports' pressures, where the model gives them.

    Sets at the cylinders count by their shares; a set in the runner is taken to feel its port's
    pressure. With different rail pressures the trimmed sets' own factors differ from this mean by
    less than they differ from one, which is second order in a trim.
    """
    found = port_pressures(case, shares)
    sets = [item for item in fuel_sets(case) if not item.stage.follows_air]
    without = [item.stage.name for item in sets if item.rail_pressure_pa is None]
    if found is None or without:
        return 1.0, (f"injector flow is taken as even over the ports: set {', '.join(without)} "
                     "has no injector data" if found is not None and case.fuel.stages else "")
    ports, taken = found
    reference = ports.mean(axis=-1, keepdims=True)
    total = sum(item.stage.share for item in sets)
    factor = sum(item.stage.share / total * port_factors(
        float(item.rail_pressure_pa or np.nan), 0.0, ports - reference) for item in sets)
    return factor, ("injector flow follows the root of rail minus port pressure, cylinder by "
                    f"cylinder ({taken})")
