"""What one-dimensional gas dynamics itself gets wrong: a stated error that every band carries.

From an own three-dimensional computation of box-shaped manifolds, fitted and tried on designs left
out of the fit in `distrib.verification.space_error`:

    three-dimensional deviation = (1 + G z) x one-dimensional deviation + e

z is one normal number for a speed, e one error for a cylinder with standard deviation c Z; Z is the
Mach number of a runner at mean piston speed: what waves and jets do grows with it. Beyond Z 0.1 to
0.3, straight runners and side or center entries the constants are extrapolated.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from distrib.build.draws import Draws
from distrib.case.schema import Case
from distrib.constants import R_DRY_AIR
from distrib.engine.kinematics import mach_index, mean_piston_speed
from distrib.results import FloatArray

SPREAD_SIGMA: Final = 0.10
ERROR_PER_MACH: Final = {"side": 1.2, "center": 1.6}
"""G, and c in percent points by kind of entry, for a band that also draws loss laws, metal, charge,
end corrections, exhaust pressures and walls. The whole error is larger (side 3.6, center 3.8, G 0.2
by `space_error.fit`); about two thirds of its variance is what those draws already do on the set.
What is left was sized, at the ratio of the kinds, so that 90 % bands hold 90 % of its figures
(0.91 with these; 0.81 without any). The factor on the spread itself is 1: least squares give
1.00 +- 0.07."""
KNOT_RPM: Final = 1000.0
"""Speed over which an error is held to change (own choice; in the set speeds 1500 to 2000 rev/min
apart have none of it in common)."""


@dataclass(frozen=True)
class ModelError:
    """c in points for a kind of entry, and G; see the text of the module."""

    kind: str
    per_mach_percent: float
    spread_sigma: float

    def sigma_percent(self, mach: float) -> float:
        """Standard deviation of one cylinder's error at runner Mach number Z, points."""
        return self.per_mach_percent * mach

    def words(self, mach: float) -> str:
        """One sentence for tables and reports, at the runner Mach number of a speed."""
        return (f"model error, {self.kind} entry: one cylinder {self.sigma_percent(mach):.1f} "
                f"points at the top speed, the spread {100.0 * self.spread_sigma:.0f} % (one "
                "standard deviation; own three-dimensional computation)")


def model_error(case: Case) -> ModelError:
    """The error for a case; ducted entries and several entries take the larger of both kinds."""
    kinds = {e.kind for e in case.entries}
    kind = next(iter(kinds)) if len(case.entries) == 1 else "several"
    c = ERROR_PER_MACH.get(kind, max(ERROR_PER_MACH.values()))
    return ModelError(kind, c, SPREAD_SIGMA)


def runner_mach(case: Case, rpm: float) -> float:
    """Mach number Z = (B/D)^2 Sp/a in a runner that feeds its piston at mean piston speed.

    D is the mean bore of the runner mouths, a the speed of sound in the charge (dry air).
    """
    sound = np.sqrt(1.4 * R_DRY_AIR * case.conditions.charge_temperature_k)
    bore = float(np.mean([r.diameter_m for r in case.runners]))
    speed = mean_piston_speed(case.engine.stroke_m, rpm)
    return float(mach_index(case.engine.bore_m, bore, speed, 1, 1.0, sound))


def with_error(deviation: FloatArray, sigma_percent: FloatArray, rpm: FloatArray,
               error: ModelError, draws: Draws) -> FloatArray:
    """Drawn deviations (P, S, N) with the model's error on them, still of mean zero.

    sigma_percent (P,): standard deviation of one cylinder. Errors are drawn at knots of speed and
    run straight between them, so that neighboring speeds err alike.
    """
    _, samples, n = deviation.shape
    e = np.stack([_over_speed(rpm, lambda k, i=i: np.broadcast_to(  # type: ignore[misc]
        draws.z(f"model.{error.kind}.{i}.{k}"), samples)) for i in range(n)], axis=-1)
    e = (e - e.mean(axis=-1, keepdims=True)) * np.sqrt(n / max(n - 1.0, 1.0))
    z = _over_speed(rpm, lambda k: np.broadcast_to(draws.z(f"model.spread.{k}"), samples))
    return np.asarray((1.0 + error.spread_sigma * z)[..., None] * deviation
                      + sigma_percent[:, None, None] * e)


def _over_speed(rpm: FloatArray, drawn: Callable[[int], FloatArray]) -> FloatArray:
    """Normal numbers (P, S) over speeds (P,): `drawn` (S,) at knots, linear between, variance 1."""
    at = rpm / KNOT_RPM
    left = np.floor(at).astype(int)
    knots = {k: drawn(k) for k in sorted({*left.tolist(), *(left + 1).tolist()})}
    w = (at - left)[:, None]
    mixed = ((1.0 - w) * np.stack([knots[k] for k in left.tolist()])
             + w * np.stack([knots[k + 1] for k in left.tolist()]))
    return np.asarray(mixed / np.sqrt((1.0 - w) ** 2 + w**2))
