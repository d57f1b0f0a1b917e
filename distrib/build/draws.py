"""Uncertain numbers: nominal, or a seeded sample of all of them at once.

Every uncertain quantity has a name ("law.run", "made.runner.3.diameter"). A draw of a name depends
on the seed and the name only, so that two designs meet the same draw of the same law: paired.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Draws:
    """Standard normal draws by name: 0 for the nominal design, or (samples * repeat,) arrays.

    `repeat` repeats the same samples for several operating points, sample fastest.
    """

    samples: int = 0
    seed: int = 1
    repeat: int = 1

    def z(self, name: str) -> FloatArray | float:
        """The draw of one uncertain quantity, standard normal."""
        if self.samples == 0:
            return 0.0
        generator = np.random.default_rng([self.seed, zlib.crc32(name.encode())])
        return np.tile(generator.standard_normal(self.samples), self.repeat)

    def factor(self, name: str, sigma: float) -> FloatArray | float:
        """Lognormal factor of median 1 for a quantity that cannot change sign."""
        if self.samples == 0:
            return 1.0
        return np.asarray(np.exp(np.log1p(sigma) * self.z(name)))


NOMINAL = Draws()
