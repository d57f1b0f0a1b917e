"""Which speeds are solved: a coarse look everywhere, then the speeds where the figures bend."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from scipy.interpolate import CubicSpline

from distrib.case.schema import Case
from distrib.results import FloatArray

SCAN_RPM: Final = 75.0
"""Step of the coarse look. Peaks of the demo cases are 300 rev/min wide or more at half height."""
BEND_PERCENT: Final = 1.0
"""Straight lines between the solved speeds may miss a deviation by this much, percent points."""
MOST: Final = 9
"""Most speeds before peaks are added; the listed ones and the wanted band's ends count."""
LOOK_RPM: Final = 25.0


def speed_range(case: Case) -> tuple[float, float]:
    """Lowest and highest speed that the case gives, wanted band included."""
    given = [*case.conditions.rpm, *(case.conditions.wanted_rpm or ())]
    return min(given), max(given)


def wanted_band(case: Case) -> tuple[float, float]:
    """The band of speeds that counts: the wanted one, else the whole range."""
    wanted = case.conditions.wanted_rpm
    return (min(wanted), max(wanted)) if wanted else speed_range(case)


def scan_speeds(low: float, high: float) -> FloatArray:
    """Low, high, and the multiples of SCAN_RPM between them but for those next to an end."""
    first, last = np.ceil(low / SCAN_RPM + 0.4), np.floor(high / SCAN_RPM - 0.4)
    return np.unique([low, *np.arange(first, last + 0.5) * SCAN_RPM, high])


def bends(rpm: FloatArray, curves: FloatArray, keep: list[float]) -> list[float]:
    """Speeds out of `rpm` (P,) that hold `curves` (P, C) between straight lines, rising.

    Ends and peaks of every curve come first, then wherever the lines miss most. Speeds of `keep`
    count as held.
    """
    good = np.isfinite(curves).all(axis=1)
    if good.sum() < 3:
        return sorted({float(x) for x in rpm} | set(keep))
    x, y = rpm[good], curves[good]
    held = {0, x.size - 1, *y.argmax(axis=0).tolist()}
    while len(held) + len(keep) < MOST:
        at = sorted({*held, *(int(np.abs(x - k).argmin()) for k in keep)})
        lines = np.stack([np.interp(x, x[at], y[at, c]) for c in range(y.shape[1])], axis=-1)
        miss = np.abs(lines - y).max(axis=1)
        worst = int(miss.argmax())
        if miss[worst] <= BEND_PERCENT:
            break
        held.add(worst)
    return sorted({float(x[i]) for i in held} | set(keep))


def peaks(scan_rpm: FloatArray, scan: FloatArray, rpm: FloatArray, solved: FloatArray,
          band: tuple[float, float], margin_percent: float) -> list[float]:
    """Speeds at which a cylinder likely has more air than at any solved speed of the band.

    The coarse curve is stretched and scaled as a whole to fit the solved figures (coarse cells put
    all resonances a little off, by a like part of their speed), moved by what then still differs,
    linear between them, and looked at every LOOK_RPM.
    """
    good = np.isfinite(scan).all(axis=1)
    known = np.isfinite(solved).all(axis=1)
    if good.sum() < 4 or known.sum() < 2:
        return []
    look = np.arange(max(band[0], scan_rpm[good][0]), min(band[1], scan_rpm[good][-1]) + 1e-9,
                     LOOK_RPM)
    if look.size == 0:
        return []
    curve = _fitted(CubicSpline(scan_rpm[good], scan[good]), rpm[known], solved[known])
    gap = solved[known] - curve(rpm[known])
    moved = curve(look) + np.stack(
        [np.interp(look, rpm[known], gap[:, c]) for c in range(gap.shape[1])], axis=-1)
    inside = known & (rpm >= band[0] - 1e-9) & (rpm <= band[1] + 1e-9)
    best = solved[inside].max(axis=0) if inside.any() else np.full(solved.shape[1], -np.inf)
    out = []
    for c in range(moved.shape[1]):
        at = int(moved[:, c].argmax())
        if moved[at, c] > best[c] + margin_percent and np.abs(rpm - look[at]).min() > 1.0:
            out.append(float(look[at]))
    return sorted(set(out))


def _fitted(curve: CubicSpline, rpm: FloatArray, solved: FloatArray
            ) -> Callable[[FloatArray], FloatArray]:
    """The curve with its size and its speeds scaled by the two factors that fit best.

    Least squares, to first order in the speeds: solved = size curve(rpm) - part rpm curve'(rpm).
    """
    value, slope = curve(rpm), curve(rpm, 1) * rpm[:, None]
    columns = np.stack([value.ravel(), -slope.ravel()], axis=1)
    (size, part), *_ = np.linalg.lstsq(columns, solved.ravel(), rcond=None)
    stretch = 1.0 - (part / size if abs(size) > 0.5 else 0.0)
    first, last = float(curve.x[0]), float(curve.x[-1])

    def fitted(x: FloatArray) -> FloatArray:
        return np.asarray(size * curve(np.clip(x * stretch, first, last)))

    return fitted
