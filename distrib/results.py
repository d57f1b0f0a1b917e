"""Frozen results of the models: what every report, study and command reads.

Arrays carry operating points as the first axis (P,) and cylinders as the last axis (N,), in
the order of `cylinders`. A point that did not converge holds NaN and a reason.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
ModelName = Literal["bench", "engine"]


@dataclass(frozen=True)
class Source:
    """Where a law or a figure comes from. `key` is unique; `kind` says how much to trust it."""

    key: str
    text: str
    kind: Literal["published", "computed", "common practice", "from memory", "own estimate"]


@dataclass(frozen=True)
class Assumed:
    """One value that was assumed rather than given in the case."""

    field: str
    value: str
    why: str


@dataclass(frozen=True)
class Profile:
    """Mean state along one plenum, x from the cylinder-1 end: (P, S) arrays over S stations."""

    plenum: str
    x_m: FloatArray
    static_pressure_pa: FloatArray
    velocity_m_s: FloatArray
    area_m2: FloatArray


@dataclass(frozen=True)
class Band:
    """What the uncertain laws and tolerances do to the shares.

    `low` and `high` bound deviation in percent, (P, N), at probability `level`;
    `chance_leanest` is the share of draws in which that cylinder had the most air; `chance_lean`
    the share of draws above the lean limit, at least that of every cylinder with less air.
    """

    level: float
    low_percent: FloatArray
    high_percent: FloatArray
    chance_leanest: FloatArray
    chance_lean: FloatArray
    spread_low_percent: FloatArray
    spread_high_percent: FloatArray
    samples: int
    failed: int
    seed: int


@dataclass(frozen=True)
class Shares:
    """How one model divides the air of one case over its cylinders."""

    model: ModelName
    title: str
    case_hash: str
    cylinders: IntArray
    distance_from_entry_m: FloatArray
    conditions: Mapping[str, FloatArray]
    air_kg_s: FloatArray
    share: FloatArray
    deviation_percent: FloatArray
    spread_percent: FloatArray
    converged: BoolArray
    mass_residual: FloatArray
    reason: tuple[str, ...]
    profiles: tuple[Profile, ...] = ()
    band: Band | None = None
    volumetric_efficiency: FloatArray | None = None
    trapped_air_kg: FloatArray | None = None
    extra: Mapping[str, FloatArray] = field(default_factory=dict)
    assumed: tuple[Assumed, ...] = ()
    sources: tuple[Source, ...] = ()
    cautions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def leanest_cylinder(self) -> IntArray:
        """Cylinder with the most air at each point (P,); 0 where not converged."""
        out = np.zeros(self.share.shape[0], dtype=np.int64)
        good = self.converged & np.isfinite(self.share).any(axis=-1)
        out[good] = self.cylinders[np.nanargmax(self.share[good], axis=-1)]
        return out


def deviation_percent(share: FloatArray) -> FloatArray:
    """Deviation of each share from the even share, percent; cylinders on the last axis."""
    return np.asarray((share * share.shape[-1] - 1.0) * 100.0, dtype=np.float64)


def deviation_of_air(air: FloatArray) -> FloatArray:
    """Deviation of each cylinder from the even share of the air, percent; any unit of air."""
    return deviation_percent(air / air.sum(axis=-1, keepdims=True))


def spread_percent(share: FloatArray) -> FloatArray:
    """Largest minus smallest deviation over the cylinders, percent."""
    deviation = deviation_percent(share)
    return np.asarray(deviation.max(axis=-1) - deviation.min(axis=-1), dtype=np.float64)


def at_points(shares: Shares, points: Any) -> Shares:
    """The result at some of its points (an index array or slice), band included."""
    return _by_point(shares, lambda a: np.asarray(a[points]),
                     lambda t: tuple(np.array(t, dtype=object)[points].tolist()))


def at_point(shares: Shares, point: int) -> Shares:
    """The result at one of its points, still with a leading axis of one point."""
    return at_points(shares, slice(point, point + 1))


def joined(first: Shares, second: Shares, key: str) -> Shares:
    """Two results of one case and model as one, points in the order of condition `key`."""
    both = _by_point(first, lambda a: a, lambda t: t, second)
    return at_points(both, np.argsort(both.conditions[key], kind="stable"))


def _by_point(shares: Shares, array: Callable[[Any], Any], words: Callable[[Any], Any],
              other: Shares | None = None) -> Shares:
    """Apply to everything that has points as first axis, appended by that of `other`."""

    def both(a: Any, b: Any) -> Any:
        if a is None:
            return None
        if isinstance(a, tuple):
            return words(a if other is None else (*a, *b))
        return array(np.atleast_1d(a) if other is None else np.concatenate([a, b]))

    out: dict[str, Any] = {
        name: both(getattr(shares, name), getattr(other, name, None)) for name in (
            "air_kg_s", "share", "deviation_percent", "spread_percent", "converged",
            "mass_residual", "reason", "volumetric_efficiency", "trapped_air_kg")}
    for name in ("conditions", "extra"):
        theirs = getattr(other, name, {})
        out[name] = {k: both(v, theirs.get(k)) for k, v in getattr(shares, name).items()}
    out["profiles"] = tuple(replace(p, **{
        name: both(getattr(p, name), None if other is None else getattr(other.profiles[i], name))
        for name in ("static_pressure_pa", "velocity_m_s")})
        for i, p in enumerate(shares.profiles) if other is None or i < len(other.profiles))
    if shares.band is not None:
        theirs_band = None if other is None else other.band
        out["band"] = replace(shares.band, **{
            f.name: both(getattr(shares.band, f.name), getattr(theirs_band, f.name, None))
            for f in fields(shares.band) if isinstance(getattr(shares.band, f.name), np.ndarray)})
    if other is not None:
        out["warnings"] = tuple(dict.fromkeys((*shares.warnings, *other.warnings)))
    return replace(shares, **out)
