"""Fuel trims by cylinder: policies, predicted trims, percent bases. Arrays in, frozen results out.

A trim is the percent change of one cylinder's fuel, + adds. Cylinders stand on the last axis.
A prediction never takes fuel away from a cylinder: only measured data do, see `rounds`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np

from distrib.fuelling.errors import FuellingError, TrimError
from distrib.fuelling.limits import DEFAULT_LIMITS, Limits
from distrib.results import BoolArray, FloatArray

Policy = Literal["richen-only", "to-target", "sum-to-zero", "anchor-leanest"]
Evidence = Literal["predicted", "measured"]
Basis = Literal["fuel", "effective pulse", "total pulse"]

MEASURED_POLICIES: Final[tuple[Policy, ...]] = (
    "richen-only", "to-target", "sum-to-zero", "anchor-leanest")
PREDICTED_POLICIES: Final[tuple[Policy, ...]] = ("richen-only", "anchor-leanest")
BASES: Final[tuple[Basis, ...]] = ("fuel", "effective pulse", "total pulse")

STARTING_POINT: Final = (
    "starting point before measurement: an estimate, verify every cylinder before load"
)


@dataclass(frozen=True)
class Trims:
    """Trims of P points and N cylinders, percent on fuel.

    `needed_percent` predicted: fuel for equal lambda, over the mean; measured: the trim that brings
    the cylinder to its target. `base_percent` (P,) is what the base map itself is to be moved by,
    `mean_percent` (P,) how far the total fuel moves, base and trims together. `refused` (P,)
    points: fault or re-work; a predicted trim is NaN there, a measured one stays as it was.
    `lambda_over_target` is what each cylinder then runs at, if the needed multipliers are true.
    """

    policy: Policy
    evidence: Evidence
    step: float
    needed_percent: FloatArray
    trim_percent: FloatArray
    base_percent: FloatArray
    mean_percent: FloatArray
    lambda_over_target: FloatArray
    capped: BoolArray
    warned: BoolArray
    refused: BoolArray
    cautions: tuple[str, ...]


def check_injection(injection: str) -> None:
    """Raise TrimError unless every cylinder's injector is fired on its own."""
    if injection != "sequential":
        raise TrimError(
            f"{injection} injection fires several injectors on one output, so a trim of a single "
            "cylinder is not possible: every injector of the group would follow it. Fit or enable "
            "sequential injection with the true cylinder phase known"
        )


def plan(
    needed_multiplier: Any, *, policy: Policy, step: float = 0.5, limits: Limits = DEFAULT_LIMITS
) -> Trims:
    """Predicted trims from the fuel multiplier each cylinder needs for equal lambda, (P, N), (N,).

    `step` is the part of the computed change that is applied now (half-step 0.5 is the habit of
    careful tuners, then measure again). Policies, with n the needed multiplier over its mean:
    richen-only: n - 1 where that is above 0: nobody gets less fuel than the base map gives;
    anchor-leanest: the base map is raised until the leanest cylinder is right, the others stay
    rich until they are measured.
    A trim stops at `richen_cap_percent`; a need of `refuse_percent` refuses the whole point.
    """
    n = np.atleast_2d(np.asarray(needed_multiplier, dtype=np.float64))
    if not 0.0 < step <= 1.0:
        raise TrimError(f"step {step:g}; allowed: above 0 up to 1")
    if policy not in PREDICTED_POLICIES:
        raise TrimError(
            f"{policy} takes fuel away from some cylinders; on a prediction alone that is unsafe. "
            f"Allowed: {' or '.join(PREDICTED_POLICIES)}, or measured data")
    n = n / n.mean(axis=-1, keepdims=True)
    cap = limits.richen_cap_percent / 100.0
    zero = np.zeros_like(n)
    wanted, raised = zero, zero[:, 0]
    if policy == "richen-only":
        wanted = step * np.maximum(n - 1.0, 0.0)
    else:
        raised = step * (n.max(axis=-1) - 1.0)
    trim, base = np.minimum(wanted, cap), np.minimum(raised, cap)
    capped = (wanted > cap + 1e-12) | (raised > cap + 1e-12)[:, None]
    size = np.abs(n - 1.0).max(axis=-1) * 100.0
    too_large = size >= limits.refuse_percent
    refused = too_large | ~np.isfinite(size)
    trim = np.where(refused[:, None], np.nan, trim)
    base = np.where(refused, np.nan, base)
    total = (1.0 + base[:, None]) * (1.0 + trim)
    needed = (n - 1.0) * 100.0
    warned = np.maximum(np.abs(needed), np.abs(np.nan_to_num(trim)) * 100.0) >= limits.warn_percent
    capped = capped & ~refused[:, None]
    return Trims(
        policy, "predicted", step, needed, trim * 100.0, base * 100.0,
        (total.mean(axis=-1) - 1.0) * 100.0, n / total, capped, warned, refused,
        _cautions(policy, limits, trim, capped, warned, too_large))


def _cautions(
    policy: Policy, limits: Limits, trim: FloatArray, capped: BoolArray, warned: BoolArray,
    too_large: BoolArray,
) -> tuple[str, ...]:
    """Sentences that go with predicted trims."""
    out = [STARTING_POINT]
    if np.nanmax(np.append(trim, 0.0)) * 100.0 > limits.prediction_cap_percent:
        out.append(f"more than {limits.prediction_cap_percent:g} % on a prediction alone: "
                   "measure that cylinder first")
    out.append("the mean mixture moves rich: check the base map, plugs and power again"
               if policy == "richen-only" else
               "the base map is raised for the leanest cylinder; the others run rich until "
               "they are measured")
    if capped.any():
        out.append(f"capped at {limits.richen_cap_percent:g} %: the rest waits for a measurement")
    return (*out, *about_faults(limits, bool(warned.any()), bool(too_large.any())))


def about_faults(limits: Limits, warned: bool, too_large: bool) -> tuple[str, ...]:
    """Sentences about needs that point to a fault rather than to fuel."""
    out = []
    if warned:
        out.append(f"a need of {limits.warn_percent:g} % or more: look for a fault first "
                   f"({limits.origin('warn_percent')})")
    if too_large:
        out.append(f"refused where a need reaches {limits.refuse_percent:g} %: fault or re-work of "
                   "the metal, not fuel")
    return tuple(out)


def convert_percent(
    percent: Any, given_on: Basis, wanted_on: Basis, total_pulse_s: Any, dead_time_s: Any
) -> FloatArray:
    """Percent on one basis as percent on another, at an untrimmed total pulse and dead time.

    fuel and effective pulse are the same (linear injector). A change of the effective pulse
    (total - dead) by q percent changes the total by q (total - dead)/total; at 2 ms total and
    1 ms dead 5 % on total is 10 % fuel. FuellingError where the pulse is not longer than the dead
    time.
    """
    for name in (given_on, wanted_on):
        if name not in BASES:
            raise FuellingError(f"percent basis {name!r}; allowed: {', '.join(BASES)}")
    total = np.asarray(total_pulse_s, dtype=np.float64)
    effective = total - np.asarray(dead_time_s, dtype=np.float64)
    if np.any(effective <= 0.0):
        raise FuellingError("the pulse is not longer than the dead time: nothing is injected")
    value = np.asarray(percent, dtype=np.float64)
    on_fuel = value * (total / effective if given_on == "total pulse" else 1.0)
    return np.asarray(on_fuel * (effective / total if wanted_on == "total pulse" else 1.0))


def sign_flips(
    trim_percent: Any, row_name: str, rows: Any, column_name: str, columns: Any,
    threshold_percent: float = 0.5,
) -> tuple[str, ...]:
    """Neighbouring cells between which a cylinder's need changes sign, in words.

    `trim_percent` (R, C, N) over rows (rpm) and columns (load). Both cells must exceed the
    threshold, which is about the repeatability of a cell (common practice 0.5 to 1 %).
    """
    t = np.asarray(trim_percent, dtype=np.float64)
    out: list[str] = []
    for axis, name, values, other, others in (
        (0, row_name, rows, column_name, columns), (1, column_name, columns, row_name, rows)
    ):
        a, b = (t[:-1], t[1:]) if axis == 0 else (t[:, :-1], t[:, 1:])
        hit = (a * b < 0.0) & (np.minimum(np.abs(a), np.abs(b)) > threshold_percent)
        for r, c, cylinder in np.argwhere(hit):
            i, j = (r, c) if axis == 0 else (c, r)
            out.append(
                f"cylinder {cylinder + 1}: {a[r, c, cylinder]:+.1f} % at {name} {values[i]:g} but "
                f"{b[r, c, cylinder]:+.1f} % at {name} {values[i + 1]:g} "
                f"({other} {others[j]:g}): measure again before using either"
            )
    return tuple(out)
