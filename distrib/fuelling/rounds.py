"""From measured lambdas to the next trims: target first, fuel comes off on evidence only.

Every policy heads for the same mixture, the target of the cell; they differ in what moves (base map
or trims) and in whether fuel may come off at all. Cells (P,), cylinders on the last axis. What a
round says of one part never counts on another part being done: whether the base map was moved or
not, no cylinder ends up with less fuel than its own reading asks for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from distrib.fuelling.errors import TrimError
from distrib.fuelling.lambda_ import port_fuel_factor
from distrib.fuelling.limits import DEFAULT_LIMITS, Limits
from distrib.fuelling.lock import Lock, Run, blank_run, removal_lock
from distrib.fuelling.trims import MEASURED_POLICIES, Policy, Trims
from distrib.results import BoolArray, FloatArray


@dataclass(frozen=True)
class Round:
    """Next trims of P cells by N cylinders from one run, or two.

    `target` and `off_target_percent` (P,): the mean lambda over the target, + is lean. `base_fault`
    (P,): that is beyond its limit, so the base map comes first. `held` (P, N) cylinders whose trim
    stays because of a fault: base map moved first, need too large, or no reading.
    """

    trims: Trims
    run: Run
    lock: Lock
    target: FloatArray
    off_target_percent: FloatArray
    lambda_off_percent: FloatArray
    base_fault: BoolArray
    held: BoolArray
    limits: Limits

    @property
    def base_moved(self) -> BoolArray:
        """Cells (P,) in which the base map is to be moved, either way."""
        return np.asarray(self.trims.base_percent != 0.0)


@dataclass(frozen=True)
class _State:
    """What the steps below share, fractions: trims now, lambda over target, need, what is open."""

    now: FloatArray
    ratio: FloatArray
    factor: FloatArray
    lean: BoolArray
    rich: BoolArray
    may_remove: BoolArray
    off: FloatArray
    fault: BoolArray
    too_large: BoolArray
    unread: BoolArray


def next_round(
    run: Run, target: Any, *, policy: Policy, step: float = 0.5, before: Run | None = None,
    limits: Limits = DEFAULT_LIMITS, air_following_fraction: float = 0.0,
) -> Round:
    """Next trims from a run, with the run before it where there is one.

    `target` lambda, scalar or (P,). `step` is the part of a change that is made now; a base map
    that is lean by more than its limit is raised at once. Policies:
    richen-only: adds fuel to cylinders leaner than the target, takes none off;
    to-target: each cylinder's trim to its own target;
    sum-to-zero: the base map takes what all have in common, the trims the rest;
    anchor-leanest: the base map serves the leanest, the others are trimmed down from there.
    Whatever the policy, fuel comes off only where `removal_lock` opens, and never off a cylinder at
    or leaner than its target. A trim stops at the cap; one beyond it goes no further.
    """
    if not 0.0 < step <= 1.0:
        raise TrimError(f"step {step:g}; allowed: above 0 up to 1")
    if policy not in MEASURED_POLICIES:
        raise TrimError(f"policy {policy!r}; allowed: {', '.join(MEASURED_POLICIES)}")
    goal = np.broadcast_to(np.asarray(target, dtype=np.float64), run.lambda_read.shape[:1])
    earlier = blank_run(run.lambda_read.shape) if before is None else before
    lock = removal_lock(run, earlier, goal, limits, air_following_fraction)
    s = _state(run, lock, goal, limits, air_following_fraction)
    base = _base(s, lock, policy, step, limits)
    wanted = _wanted(s, lock, policy, air_following_fraction)
    moved = (s.fault & (base != 0.0)) | (base < 0.0)  # one at a time
    held = moved[:, None] | s.too_large[:, None] | s.unread
    change = np.where(held, 0.0, step * (wanted - (1.0 + s.now)))
    cap = limits.measured_cap_percent / 100.0
    asked = s.now + change
    trim = np.minimum(np.maximum(asked, np.minimum(-cap, s.now)), np.maximum(cap, s.now))
    trim = np.where(change == 0.0, s.now, trim)
    capped = np.abs(asked - trim) > 1e-12
    need = ((1.0 + s.now) * s.factor - 1.0) * 100.0
    total = (1.0 + base[:, None]) * (1.0 + trim)
    # lambda after the round as far as the reading is true, air-following fuel left aside
    after = s.ratio * (1.0 + s.now) / total
    warned = ~moved[:, None] & (np.abs(need) >= limits.warn_percent)
    made = Trims(
        policy, "measured", step, need, trim * 100.0, base * 100.0,
        ((total / (1.0 + s.now)).mean(axis=1) - 1.0) * 100.0, after, capped, warned,
        s.too_large & ~moved, ())
    return Round(made, run, lock, goal, s.off * 100.0, (s.ratio - 1.0) * 100.0, s.fault, held,
                 limits)


def _state(
    run: Run, lock: Lock, goal: FloatArray, limits: Limits, air_following_fraction: float
) -> _State:
    now = np.nan_to_num(run.trim_percent) / 100.0
    band = limits.dead_band_percent / 100.0
    ratio = run.lambda_read / goal[:, None]
    unread = ~np.isfinite(ratio) | ~np.isfinite(run.trim_percent) | ~(ratio > 0.0)
    ratio = np.where(unread, 1.0, ratio)
    factor = port_fuel_factor(ratio, air_following_fraction)
    number = np.maximum((~unread).sum(axis=1), 1)
    off = np.where(unread, 0.0, ratio - 1.0).sum(axis=1) / number
    size = np.abs((1.0 + now) * factor - 1.0)
    too_large = np.any(~unread & (size >= limits.refuse_percent / 100.0), axis=1)
    fault = np.abs(off) > limits.base_fault_percent / 100.0
    rich = ratio < 1.0 - band
    return _State(now, ratio, factor, ratio > 1.0 + band, rich, rich & lock.open & ~unread, off,
                  fault, too_large, unread)


def _base(
    s: _State, lock: Lock, policy: Policy, step: float, limits: Limits
) -> FloatArray:
    """Change of the base map, fraction (P,).

    Down only where every cylinder is rich and its lock open, and then by what the leanest reading
    of both runs allows.
    """
    band = limits.dead_band_percent / 100.0
    leanest = s.ratio.max(axis=1) - 1.0
    up = np.where(s.fault & (s.off > 0.0), s.off, 0.0)
    open_ = s.may_remove.all(axis=1) & ~s.unread.any(axis=1) & (policy != "richen-only")
    allowed = np.fmax(s.ratio, lock.ratio_before).max(axis=1) - 1.0
    down = np.where(open_, step * np.minimum(allowed, 0.0), 0.0)
    base = np.where(s.fault, np.where(s.off > 0.0, up, down), 0.0)
    if policy == "sum-to-zero":
        # the mean of several readings repeats better than one of them: half the band
        common = np.where(s.off > 0.5 * band, step * s.off,
                          np.where(s.off < -0.5 * band, down, 0.0))
        base = np.where(s.fault, base, common)
    if policy == "anchor-leanest":
        base = np.where(s.fault, base, np.where(leanest > band, step * leanest, 0.0))
    blind = s.unread.all(axis=1) | (s.too_large & ~s.fault)
    return np.asarray(np.where(blind, 0.0, base))


def _wanted(
    s: _State, lock: Lock, policy: Policy, air_following_fraction: float
) -> FloatArray:
    """Multipliers that the trims head for, full step, (P, N); what may not move stays."""
    now = 1.0 + s.now
    up, down = s.ratio, s.ratio
    if policy == "sum-to-zero":
        # relative to the mean, but never farther than the cylinder's own target
        relative = s.ratio / (1.0 + s.off)[:, None]
        up = np.maximum(np.minimum(s.ratio, relative), 1.0)
        down = np.minimum(np.maximum(s.ratio, relative), 1.0)
    more = now * port_fuel_factor(up, air_following_fraction)
    less = now * port_fuel_factor(down, air_following_fraction)
    less = np.fmin(np.fmax(less, lock.need_before), now)  # the run before may ask for more fuel
    wanted = np.where(s.lean & (policy != "anchor-leanest"), more, now)
    wanted = np.where(s.may_remove & (policy != "richen-only"), less, wanted)
    return np.asarray(np.where(np.isfinite(wanted), wanted, now))
