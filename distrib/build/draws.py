"""Uncertain numbers: nominal, or a seeded sample of all of them at once.

Every uncertain quantity has a name ("law.run", "made.runner.3.diameter"). The draws of a name
depend on its name, their number and the seed only, so that two designs meet the same draw of the
same law: paired.

The samples are a centred Latin hypercube: each name takes the middle of every one of S equal parts
of its probability once, in an order of its own (M. D. McKay, R. J. Beckman and W. J. Conover,
Technometrics 21 (1979) 239-245). Means and bands then scatter less than those of plain random draws
wherever single names carry much of them. It is what `scipy.stats.qmc.LatinHypercube` gives with
`scramble=False`, but a name can be drawn without knowing the others.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from statistics import NormalDist

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
        return np.tile(generator.permutation(_quantiles(self.samples)), self.repeat)

    def factor(self, name: str, sigma: float) -> FloatArray | float:
        """Lognormal factor of median 1 for a quantity that cannot change sign."""
        if self.samples == 0:
            return 1.0
        return np.asarray(np.exp(np.log1p(sigma) * self.z(name)))


@dataclass(frozen=True)
class PartOfDraws(Draws):
    """The draws from number `first` on of others; parts that share `drawn` draw a name once.

    `drawn` then holds all draws of every name that was asked for.
    """

    of: Draws = field(default_factory=Draws)
    first: int = 0
    drawn: dict[str, FloatArray] = field(default_factory=dict)

    def z(self, name: str) -> FloatArray | float:
        """The draws of this part, (samples * repeat,)."""
        if name not in self.drawn:
            self.drawn[name] = np.asarray(self.of.z(name))
        return np.tile(self.drawn[name][self.first:self.first + self.samples], self.repeat)


def parts_of(draws: Draws, cuts: Sequence[int]) -> tuple[PartOfDraws, ...]:
    """Draws cut at the numbers of `cuts`, the first and the last included."""
    drawn: dict[str, FloatArray] = {}
    return tuple(PartOfDraws(samples=b - a, seed=draws.seed, of=draws, first=a, drawn=drawn)
                 for a, b in pairwise(cuts))


@lru_cache(maxsize=16)
def _quantiles(samples: int) -> FloatArray:
    """Standard normal quantiles at the middles of `samples` equal parts of probability."""
    normal = NormalDist()
    values = np.array([normal.inv_cdf((i + 0.5) / samples) for i in range(samples)])
    values.flags.writeable = False
    return values


NOMINAL = Draws()
