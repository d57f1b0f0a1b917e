"""Lambda by cylinder at equal fuel, and what injection details do to it.

At equal fuel the cylinder with MORE air is lean, the starved one RICH:
`lambda_i = lambda_target x m_i / mean m`. Cylinders stand on the last axis throughout.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from distrib.fuelling.errors import FuellingError, TrimError
from distrib.results import FloatArray

BISECTIONS: Final = 60
"""Halvings of the interval of a scale: to the last digit of a double."""


def over_mean(values: Any) -> FloatArray:
    """Each value over the mean of the last axis."""
    array = np.asarray(values, dtype=np.float64)
    return np.asarray(array / array.mean(axis=-1, keepdims=True), dtype=np.float64)


def lambda_at_equal_fuel(
    air: Any,
    lambda_target: Any,
    injector_factor: Any = 1.0,
    air_following_fraction: float = 0.0,
) -> FloatArray:
    """Lambda of each cylinder with no trim, (..., N).

    `air`: masses, flows or shares. `injector_factor`: fuel of each port injector over the mean
    (flow mismatch, or `injectors.port_factors`). `air_following_fraction` of the fuel enters in the
    plenum or before the throttle and is taken to divide exactly as the air does (vapour; a liquid
    film would not); it lowers the spread. With f that fraction, a air over mean, j injector over
    mean: lambda = target x a/(f a + (1 - f) j). FuellingError unless 0 <= f <= 1. NaN where air
    flows back or stands: there is no mixture.
    """
    f = air_following_fraction
    if not 0.0 <= f <= 1.0:
        raise FuellingError(f"air-following fraction {f:g}; allowed: 0 to 1")
    a = over_mean(air)
    j = np.broadcast_to(np.asarray(injector_factor, dtype=np.float64), a.shape)
    fuel = f * a + (1.0 - f) * over_mean(j)
    with np.errstate(divide="ignore", invalid="ignore"):
        mixture = np.asarray(lambda_target) * a / fuel
    return np.asarray(np.where(a > 0.0, mixture, np.nan), dtype=np.float64)


def needed_multiplier(air: Any, injector_factor: Any = 1.0) -> FloatArray:
    """Fuel multiplier of each port injector for equal lambda: (air/mean)/(injector/mean).

    The same whatever share of the fuel follows the air: that share is already right.
    """
    a = over_mean(air)
    j = np.broadcast_to(np.asarray(injector_factor, dtype=np.float64), a.shape)
    return np.asarray(a / over_mean(j), dtype=np.float64)


def port_fuel_factor(lambda_ratio: Any, air_following_fraction: float = 0.0) -> FloatArray:
    """Factor on the port fuel of a cylinder that brings its lambda from `lambda_ratio` to one.

    `lambda_ratio` is lambda read over its target. Without air-following fuel the factor is the
    ratio r. With a fraction f of the base fuel following the air a of a cylinder, and m its port
    multiplier, the total now is T = f a + (1 - f) m with r = a/T; needed is T = a, so the new m
    over m is (1 - f) r/(1 - f r). infinite where f r reaches 1: nothing is left to trim.
    """
    r = np.asarray(lambda_ratio, dtype=np.float64)
    f = air_following_fraction
    if not 0.0 <= f < 1.0:
        raise FuellingError(f"air-following fraction {f:g} leaves no fuel to trim; allowed: "
                            "0 to below 1")
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(f * r < 1.0, (1.0 - f) * r / (1.0 - f * r),
                                   np.where(np.isnan(r), np.nan, np.inf)))


def air_from_lambda(
    multiplier_now: Any, lambda_measured: Any, air_following_fraction: float = 0.0
) -> FloatArray:
    """Air of each cylinder, up to a factor for each point, from measured lambdas (..., N).

    `multiplier_now` is the port fuel of each cylinder over its base, trims in. With all fuel at the
    ports air is lambda x multiplier. With a fraction f following the air, cylinder i has the fuel
    T = f a + (1 - f) now, and k lambda = a/T with a k that is the same for all (the base map may be
    off): a = (1 - f) now k lambda/(1 - f k lambda), where k makes the mean of a one. NaN where
    lambda is NaN; the mean is then that of the measured cylinders. FuellingError unless 0 <= f < 1.
    """
    f = air_following_fraction
    if not 0.0 <= f < 1.0:
        raise FuellingError(f"air-following fraction {f:g} leaves no fuel to trim; allowed: "
                            "0 to below 1")
    now, lam = np.broadcast_arrays(np.asarray(multiplier_now, dtype=np.float64),
                                   np.asarray(lambda_measured, dtype=np.float64))
    if f == 0.0:
        return np.asarray(now * lam, dtype=np.float64)
    number = np.maximum(np.isfinite(lam).sum(axis=-1, keepdims=True), 1)
    highest = np.nan_to_num(lam).max(axis=-1, keepdims=True)
    low, high = np.zeros_like(highest), 1.0 / (f * np.maximum(highest, 1e-300))

    def air(k: FloatArray) -> FloatArray:
        with np.errstate(divide="ignore"):
            return np.asarray((1.0 - f) * now * k * lam / (1.0 - f * k * lam), dtype=np.float64)

    for _ in range(BISECTIONS):  # the mean rises from 0 to infinity between low and high
        middle = 0.5 * (low + high)
        over = np.nansum(air(middle), axis=-1, keepdims=True) / number > 1.0
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return air(low)


@dataclass(frozen=True)
class Stage:
    """One set of injectors in a staged system: its share of the fuel and whether it follows air."""

    name: str
    share: float
    follows_air: bool
    trimmed: bool


def air_following_share(stages: Sequence[Stage]) -> float:
    """Part of the fuel that divides as the air does. FuellingError unless the shares sum to 1."""
    total = sum(s.share for s in stages)
    if abs(total - 1.0) > 1e-9:
        raise FuellingError(f"shares of the injector sets sum to {total:g}; allowed: 1")
    return sum(s.share for s in stages if s.follows_air)


def trim_of_stage(trim_percent: Any, stages: Sequence[Stage]) -> FloatArray:
    """Percent to set on the trimmed port sets for a percent wanted on all port fuel.

    Port sets that are not trimmed dilute a trim: percent x (port share)/(trimmed port share).
    Sets that follow the air need none. TrimError when no port set is trimmed.
    """
    port = sum(s.share for s in stages if not s.follows_air)
    trimmed = sum(s.share for s in stages if s.trimmed and not s.follows_air)
    air_following_share(stages)
    if trimmed <= 0.0:
        raise TrimError(
            "no port injector set is trimmed, so single cylinders cannot be corrected")
    return np.asarray(np.asarray(trim_percent, dtype=np.float64) * port / trimmed)
