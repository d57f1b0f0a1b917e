"""What one-dimensional gas dynamics itself gets wrong, by kind of entry.

From an own three-dimensional computation of box-shaped manifolds (`distrib.verification.space`):
three-dimensional deviation = factor x one-dimensional deviation + error of each cylinder.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from distrib.build.draws import Draws
from distrib.case.schema import Case
from distrib.results import FloatArray

KNOT_RPM: Final = 1000.0
"""Speed over which the error of a cylinder is held to change (own choice; the set has three speeds,
1500 to 2000 rev/min apart, with hardly any correlation between neighbors)."""


@dataclass(frozen=True)
class ModelError:
    """Factor on every deviation with its relative 1-sigma, and 1-sigma of one cylinder, points."""

    kind: str
    factor: float
    factor_sigma: float
    sigma_percent: float

    def words(self) -> str:
        """One sentence for tables and reports."""
        return (f"model error, {self.kind} entry: one cylinder {self.sigma_percent:.2f} points "
                f"(one standard deviation), spread {self.factor:.2f} times as computed (own "
                "three-dimensional computation)")


ERRORS: Final[dict[str, ModelError]] = {
    "side": ModelError("side", 1.10, 0.10, 0.50),
    "center": ModelError("center", 1.10, 0.10, 0.66),
}


def model_error(case: Case) -> ModelError:
    """The error for a case; ducted entries and several entries take the larger of both kinds."""
    kinds = {e.kind for e in case.entries}
    if kinds == {"side"} and len(case.entries) == 1:
        return ERRORS["side"]
    worst = max(ERRORS.values(), key=lambda e: e.sigma_percent)
    return worst if kinds == {"center"} else ModelError(
        "other", worst.factor, worst.factor_sigma, worst.sigma_percent)


def with_error(deviation: FloatArray, rpm: FloatArray, error: ModelError, draws: Draws,
               extra_percent: float = 0.0) -> FloatArray:
    """Drawn deviations (P, S, N) with the model's error on them, still of mean zero.

    The error of a cylinder is drawn at knots of speed and runs straight between them, so that
    neighboring speeds err alike. `extra_percent`: more 1-sigma, for facts that nobody gave.
    """
    _, samples, n = deviation.shape
    first, last = np.floor(rpm.min() / KNOT_RPM), np.ceil(rpm.max() / KNOT_RPM)
    knots = np.arange(first, last + 1.0)
    z = np.stack([np.stack([np.broadcast_to(draws.z(f"model.{error.kind}.{i}.{k:.0f}"), samples)
                            for i in range(n)], axis=-1) for k in knots])
    z = (z - z.mean(axis=-1, keepdims=True)) * np.sqrt(n / max(n - 1.0, 1.0))
    at = rpm / KNOT_RPM - first
    left = np.minimum(at.astype(int), len(knots) - 1)
    right = np.minimum(left + 1, len(knots) - 1)
    w = (at - left)[:, None, None]
    mixed = ((1.0 - w) * z[left] + w * z[right]) / np.sqrt((1.0 - w) ** 2 + w**2)
    sigma = float(np.hypot(error.sigma_percent, extra_percent))
    factor = error.factor * np.exp(error.factor_sigma * np.broadcast_to(
        draws.z("model.factor"), samples))
    return np.asarray(factor[None, :, None] * deviation + sigma * mixed)
