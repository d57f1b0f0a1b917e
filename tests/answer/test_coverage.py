"""Bands against the own three-dimensional computation: they hold what they claim, and no more."""

from __future__ import annotations

import numpy as np
import pytest

from distrib.answer import answer
from distrib.verification import space
from distrib.verification.space_error import coverage


@pytest.mark.slow
def test_bands_hold_the_three_dimensional_figures():
    """At least 85 % of the figures lie in the 90 % band of the same design, and bands are no wider
    on the mean than 95 % would need."""
    chosen = space.best_pairs()
    band = {}
    for name in dict.fromkeys(p.reference.design for p in chosen):
        speeds = [p.reference.rpm for p in chosen if p.reference.design == name]
        found = answer(space.design(name), rpm=sorted(speeds))
        for rpm in speeds:
            k = int(np.flatnonzero(found.rpm == rpm)[0])
            band[name, rpm] = found.band_percent[k]
    bands = [band[p.reference.design, p.reference.rpm] for p in chosen]
    got = coverage(chosen, [b[:, 0] for b in bands], [b[:, 1] for b in bands])
    print(f"\ncoverage {got.inside:.3f}, mean width {got.width_percent:.2f}, for 95 % "
          f"{got.width_for_95_percent:.2f} points")
    assert got.inside >= 0.85
    assert got.width_percent <= got.width_for_95_percent
