"""Fuel trims by cylinder: policies, caps, percent bases. Arrays in, frozen results out.

A trim is the percent change of one cylinder's fuel, + adds. Cylinders stand on the last axis.
A prediction never takes fuel away from a cylinder: that is only allowed on measured data.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np

from distrib.fuelling.errors import FuellingError, TrimError
from distrib.fuelling.limits import DEFAULT_LIMITS, Limits
from distrib.results import BoolArray, FloatArray

Policy = Literal["richen-only", "sum-to-zero", "anchor-leanest"]
Evidence = Literal["predicted", "measured"]
Basis = Literal["fuel", "effective pulse", "total pulse"]

POLICIES: Final[tuple[Policy, ...]] = ("richen-only", "sum-to-zero", "anchor-leanest")
BASES: Final[tuple[Basis, ...]] = ("fuel", "effective pulse", "total pulse")

STARTING_POINT: Final = (
    "starting point before measurement: an estimate, verify every cylinder before load"
)


@dataclass(frozen=True)
class Trims:
    """Trims of P points and N cylinders, percent on fuel.

    `base_percent` (P,) is what the base map itself is to be raised by before the trims (policy
    anchor-leanest), `mean_percent` (P,) how far the total fuel moves, base and trims together.
    `refused` (P,) points hold NaN trims: fault or re-work. `lambda_over_target` is what each
    cylinder then runs at, relative to the target, if the needed multipliers are true.
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
    needed_multiplier: Any,
    *,
    policy: Policy,
    evidence: Evidence,
    step: float = 0.5,
    limits: Limits = DEFAULT_LIMITS,
    current_percent: Any = 0.0,
) -> Trims:
    """Trims from the fuel multiplier each cylinder needs for equal lambda, (P, N) or (N,).

    `step` is the part of the computed change that is applied now (half-step 0.5 is the habit of
    careful tuners, then measure again). `current_percent` are trims already in the engine; the
    change is made from there. Policies, with n the needed multiplier over its mean:
    richen-only: nobody gets less fuel than the base map gives; on a prediction n - 1 where that is
    above 0, on measured evidence n/min n - 1;
    sum-to-zero: n - 1, mean of multipliers stays 1, only on measured evidence;
    anchor-leanest: base map raised until the leanest cylinder is right; the others are trimmed
    down from there (n/max n - 1) on measured evidence, and left rich on a prediction.
    Caps limit the change of a predicted trim (adding fuel: `richen_cap_percent`) and the size of
    a measured one. A need of `refuse_percent` or more refuses the whole point.
    """
    n = np.atleast_2d(np.asarray(needed_multiplier, dtype=np.float64))
    if not 0.0 < step <= 1.0:
        raise TrimError(f"step {step:g}; allowed: above 0 up to 1")
    if policy not in POLICIES:
        raise TrimError(f"policy {policy!r}; allowed: {', '.join(POLICIES)}")
    if policy == "sum-to-zero" and evidence != "measured":
        raise TrimError(
            "sum-to-zero takes fuel away from some cylinders; on a prediction alone that is "
            "unsafe. Allowed: richen-only or anchor-leanest, or measured data"
        )
    n = n / n.mean(axis=-1, keepdims=True)
    now = np.broadcast_to(np.asarray(current_percent, dtype=np.float64), n.shape) / 100.0
    base, goal = _goal(n, policy, evidence)
    change = step * (goal - now)
    base = step * base
    trim, base, capped = _capped(now, change, base, evidence, limits)
    size = np.abs(n - 1.0).max(axis=-1) * 100.0
    too_large = size >= limits.refuse_percent
    refused = too_large | ~np.isfinite(size)
    trim = np.where(refused[:, None], np.nan, trim)
    base = np.where(refused, np.nan, base)
    total = (1.0 + base[:, None]) * (1.0 + trim)
    needed = (n - 1.0) * 100.0
    warned = np.maximum(np.abs(needed), np.abs(np.nan_to_num(trim)) * 100.0) >= limits.warn_percent
    return Trims(
        policy, evidence, step, needed, trim * 100.0, base * 100.0,
        (total.mean(axis=-1) - 1.0) * 100.0, n / total, capped & ~refused[:, None], warned,
        refused,
        _cautions(policy, evidence, limits, needed, trim, capped & ~refused[:, None], warned,
                  too_large),
    )


def _goal(n: FloatArray, policy: Policy, evidence: Evidence) -> tuple[FloatArray, FloatArray]:
    """Full-step base change (P,) and trims (P, N) as fractions."""
    zero = np.zeros(n.shape[0])
    if policy == "richen-only":
        # a prediction adds to the cylinders with more air than the mean, and leaves the others
        lowest = 1.0 if evidence == "predicted" else n.min(axis=-1, keepdims=True)
        return zero, np.maximum(n / lowest - 1.0, 0.0)
    if policy == "sum-to-zero":
        return zero, n - 1.0
    top = n.max(axis=-1, keepdims=True)
    if evidence == "predicted":
        return top[:, 0] - 1.0, np.zeros_like(n)
    return top[:, 0] - 1.0, n / top - 1.0


def _capped(
    now: FloatArray, change: FloatArray, base: FloatArray, evidence: Evidence, limits: Limits
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Trim and base after caps, and where a cap was met; a predicted trim never falls below 0."""
    if evidence == "predicted":
        low, high = 0.0, limits.richen_cap_percent / 100.0
        base_high = high
    else:
        high = limits.measured_cap_percent / 100.0
        low, base_high = -high, high
    wanted = now + change
    trim = np.minimum(np.maximum(wanted, low), high)
    kept = np.minimum(base, base_high)
    capped = (wanted < low - 1e-12) | (wanted > high + 1e-12) | (base > base_high + 1e-12)[:, None]
    return trim, kept, capped


def _cautions(
    policy: Policy, evidence: Evidence, limits: Limits, needed: FloatArray, trim: FloatArray,
    capped: BoolArray, warned: BoolArray, too_large: BoolArray,
) -> tuple[str, ...]:
    """Sentences that go with the trims."""
    out: list[str] = []
    if evidence == "predicted":
        out.append(STARTING_POINT)
        if np.nanmax(np.append(trim, 0.0)) * 100.0 > limits.prediction_cap_percent:
            out.append(f"more than {limits.prediction_cap_percent:g} % on a prediction alone: "
                       "measure that cylinder first")
    if policy == "richen-only":
        out.append("the mean mixture moves rich: check the base map, plugs and power again")
    if policy == "anchor-leanest" and evidence == "predicted":
        out.append("the base map is raised for the leanest cylinder; the others run rich until "
                   "they are measured")
    if policy == "sum-to-zero":
        out.append("some cylinders get less fuel than before: start at low load with knock watched")
    if capped.any() and evidence == "predicted":
        out.append(f"capped at {limits.richen_cap_percent:g} %: the rest waits for a measurement")
    far = np.nanmax(np.abs(np.append(needed, 0.0))) > limits.measured_cap_percent
    if evidence == "measured" and (far or capped.any()):
        out.append(f"a measured need or trim beyond {limits.measured_cap_percent:g} %: re-work of "
                   f"the metal rather than fuel ({limits.origin('measured_cap_percent')}); trims "
                   "stop there")
    if warned.any():
        out.append(f"a need of {limits.warn_percent:g} % or more: look for a fault first "
                   f"({limits.origin('warn_percent')})")
    if too_large.any():
        out.append(f"refused where a need reaches {limits.refuse_percent:g} %: fault or re-work of "
                   "the metal, not fuel")
    return tuple(out)


def from_lambda(trim_percent: Any, lambda_measured: Any, lambda_target: Any) -> FloatArray:
    """New trim, percent, from a lambda measured with `trim_percent` active.

    (1 + old) x measured/target - 1. A misfire reads lean, a leak at the sensor too.
    """
    now = 1.0 + np.asarray(trim_percent, dtype=np.float64) / 100.0
    return np.asarray(
        (now * np.asarray(lambda_measured, float) / np.asarray(lambda_target, float) - 1.0) * 100.0
    )


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
