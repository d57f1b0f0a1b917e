"""The engine figure beside the own three-dimensional computation (computed, not measured)."""

from __future__ import annotations

from functools import partial
from typing import Final

from distrib.verification import space
from distrib.verification.published import Published

SOURCE: Final = "own three-dimensional computation"
WHERE: Final = ("Euler equations on 6 and 3 mm cells, seven designs at 3 or 4 speeds, inline four "
                "to six; ")
WHOLE_RMS: Final[dict[space.Kind, float]] = {"all": 0.63, "side": 0.54, "center": 0.71}
"""Rms error of the engine figure over the whole set of 36 points, as stated with the set; 25 points
of it stand here."""
DOUBT: Final = 0.3
"""Points by which most figures of the reference move between 6 and 3 mm cells, as stated there."""
PART: Final[dict[space.Kind, float]] = {"all": 0.12, "side": 0.08, "center": 0.20}
"""Standard deviation of the rms error when points are drawn anew, with repetition, 4000 times."""
FACTOR_SIGMA: Final = 0.07
"""Of the least-squares factor, by leaving out one design after the other (jackknife)."""

ENTRIES: Final[dict[space.Kind, str]] = {"all": "all entries", "side": "side entry",
                                         "center": "center entry"}


def limit(kind: space.Kind) -> float:
    """Largest rms error allowed, points."""
    return float((WHOLE_RMS[kind] ** 2 + DOUBT**2) ** 0.5 + 2.0 * PART[kind])


def _rms(kind: space.Kind) -> float:
    return space.statistics(space.best_pairs(kind)).rms_percent


def _signs() -> tuple[float, float]:
    s = space.statistics(space.best_pairs())
    return s.signs / s.clear, s.leads_met / s.leads


def _factor() -> float:
    return space.statistics(space.best_pairs()).factor


CHECKS = (
    *(Published(
        f"space.rms.{kind}", SOURCE, WHERE + f"rms error of the deviations, points, {text}", (0.0,),
        f"stated with the set: rms {WHOLE_RMS[kind]:g} over all its points; the reference's own "
        f"doubt of {DOUBT:g} in quadrature; twice {PART[kind]:g}, the scatter of the rms of a part",
        partial(_rms, kind), "space", SOURCE, atol=limit(kind))
      for kind, text in ENTRIES.items()),
    Published(
        "space.signs", SOURCE, WHERE + "part of the figures beyond 1 % with the right sign; part "
        "of the points where one cylinder leads by more than 1 point with the same one leanest",
        (1.0, 1.0), "exact: 1 % is three times the reference's own doubt", _signs, "space", SOURCE),
    Published(
        "space.factor", SOURCE, WHERE + "least-squares factor from the engine figure to the "
        "reference: no deviation is shrunk or stretched as a rule", (1.0,),
        f"twice its standard deviation of {FACTOR_SIGMA:g}, by leaving out one design after the "
        "other", _factor, "space", SOURCE, atol=2.0 * FACTOR_SIGMA),
)
