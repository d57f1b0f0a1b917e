"""Engine lambdas against the model: one discrepancy factor, and what stays with each cylinder.

`ln lambda(cell, c) = level(cell) + ln(1 + d x predicted deviation) + offset(c)`. d says how large
the real pattern is beside the predicted one (1 as predicted, 0 none, negative reversed); the
offsets take what does not change with speed and load: injector, sensor, leak, compression.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from distrib.calibration.blame import stands_out
from distrib.calibration.fit import Fit, Parameter, fit_map
from distrib.errors import InputError, Problem
from distrib.results import FloatArray

DISCREPANCY_SIGMA: Final = 0.7
"""Prior of the discrepancy factor about 1: the steady and the pump limit bracket the engine widely,
and no measured data fix where it lies (own estimate)."""
OFFSET_SIGMA: Final = 0.02
"""Prior of one cylinder's offset, as a share: injectors match within 1 to 2 %, sensors within 0.01
to 0.02 lambda (common practice)."""


@dataclass(frozen=True)
class EngineFit:
    """Discrepancy factor with its 90 % interval, offsets in percent (N,), the fit itself, words."""

    discrepancy: float
    low90: float
    high90: float
    sigma: float
    offset_percent: FloatArray
    offset_sigma_percent: FloatArray
    fit: Fit
    statements: tuple[str, ...]


def fit_discrepancy(
    predicted_percent: Any,
    lambda_base: Any,
    sigma: Any,
    cylinders: tuple[int, ...],
    offset_sigma: float = OFFSET_SIGMA,
    discrepancy_sigma: float = DISCREPANCY_SIGMA,
) -> EngineFit:
    """Fit P cells by N cylinders: predicted deviation in percent, lambda at equal fuel, its sigma.

    NaN lambdas are left out. InputError when no cell holds two cylinders.
    """
    predicted = np.atleast_2d(np.asarray(predicted_percent, dtype=np.float64))
    lam = np.atleast_2d(np.asarray(lambda_base, dtype=np.float64))
    error = np.broadcast_to(np.asarray(sigma, dtype=np.float64), lam.shape)
    seen = np.isfinite(predicted) & np.isfinite(lam) & np.isfinite(error)
    seen &= (seen.sum(axis=1) >= 2)[:, None]
    if not seen.any():
        raise InputError([Problem("engine data", "no cell with two cylinders measured",
                                  "lambda of at least two cylinders in one cell")])
    cell, column = np.nonzero(seen)
    used = np.unique(cell)
    row = np.searchsorted(used, cell)
    n, k = lam.shape[1], len(used)
    deviation = predicted[seen] / 100.0
    observed = np.log(lam[seen])
    start = [float(np.log(np.nanmean(lam[p][seen[p]]))) for p in used]
    parameters = [
        Parameter("discrepancy", 1.0, discrepancy_sigma, "linear", -3.0, 6.0, "-", "own estimate"),
        *(Parameter(f"offset.{c}", 0.0, offset_sigma, "linear", -0.5, 0.5, "-",
                    "injector and sensor scatter, common practice") for c in cylinders),
        *(Parameter(f"level.{p}", start[i], None) for i, p in enumerate(used)),
    ]

    def predict(sets: FloatArray) -> FloatArray:
        pattern = np.log1p(sets[:, :1] * deviation)
        return np.asarray(sets[:, 1 + n + row] + pattern + sets[:, 1 + column])

    found = fit_map(predict, observed, error[seen] / lam[seen], parameters)
    offset = found.value[1 : 1 + n]
    centred = np.eye(n) - 1.0 / n
    covariance = centred @ found.covariance[1 : 1 + n, 1 : 1 + n] @ centred.T
    offset_percent = (offset - offset.mean()) * 100.0
    offset_error = np.sqrt(np.clip(np.diag(covariance), 0.0, None)) * 100.0
    return EngineFit(
        float(found.value[0]), float(found.low90[0]), float(found.high90[0]),
        float(found.sigma[0]), offset_percent, offset_error, found,
        _statements(found, cylinders, offset_percent, offset_error, k),
    )


def _statements(
    found: Fit, cylinders: tuple[int, ...], offset: FloatArray, error: FloatArray, cells: int
) -> tuple[str, ...]:
    d, low, high = (float(x[0]) for x in (found.value, found.low90, found.high90))
    out = []
    if found.verdict[0] == "not determined":
        out.append("the data do not tell how large the real pattern is (90 %: "
                   f"{low:.2f} to {high:.2f} times the predicted one): the predicted deviations "
                   "are small beside the scatter of the readings")
    elif high < 0.0:
        out.append(f"the real pattern is the reverse of the predicted one (factor {d:+.2f}): check "
                   "the cylinder numbering and the entry end before anything else")
    else:
        out.append(f"the real pattern is {d:.2f} times the predicted one (90 %: {low:.2f} to "
                   f"{high:.2f})")
    for c, value, out_ in zip(cylinders, *stands_out(offset, error, len(offset)), strict=True):
        if out_:
            side = "lean" if value > 0.0 else "rich"
            out.append(
                f"cylinder {c} reads {abs(value):.1f} % {side} at every speed and load: injector, "
                "sensor, leak or compression rather than the manifold; a swap test tells")
    if cells == 1:
        out.append("one cell only: what belongs to the manifold and what to injector and sensor "
                   "cannot be parted; add speeds and loads, or a swap test")
    return tuple(out)
