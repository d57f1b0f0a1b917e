"""Invented engines whose air, injectors, sensors and probes are known, read over many rounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from distrib.fuelling import Round, Run
from distrib.results import FloatArray

SLOPE_K = 7.0
"""Kelvin cooler for 1 % richer (from memory: 5 to 8)."""


@dataclass
class Engine:
    """P cells by N cylinders: fuel multipliers and trims as they stand, and what reads wrong.

    True lambda is target x `air`/(f air + (1 - f) (1 + trim) `injector`) / `base`.
    """

    target: FloatArray
    air: FloatArray
    injector: FloatArray
    sensor: FloatArray
    probe_k: FloatArray
    knock: FloatArray
    base: FloatArray
    trim_percent: FloatArray
    follows: float
    noise: float
    noise_k: float
    rng: np.random.Generator

    def true_lambda(self) -> FloatArray:
        port = (1.0 - self.follows) * (1.0 + self.trim_percent / 100.0) * self.injector
        return np.asarray(self.target[:, None] * self.air / (self.follows * self.air + port)
                          / self.base[:, None])

    def read(self) -> Run:
        """One run, with noise; trims as the sheet shows them, one decimal."""
        lam = self.true_lambda()
        shape = lam.shape
        hot = 1100.0 + 100.0 * SLOPE_K * (lam / self.target[:, None] - 1.0) + self.probe_k
        return Run(
            lam * self.sensor * np.exp(self.rng.normal(0.0, self.noise, shape)),
            self.trim_percent.copy(), hot + self.rng.normal(0.0, self.noise_k, shape),
            self.knock.copy())

    def apply(self, made: Round) -> None:
        """Do what the round says, trims to one decimal, and the base map."""
        self.trim_percent = np.round(made.trims.trim_percent, 1)
        self.base = self.base * (1.0 + made.trims.base_percent / 100.0)


def sound(target: float, air: FloatArray, base: float, rng: np.random.Generator,
          noise: float = 0.003) -> Engine:
    """An engine with true sensors and no knock; air over its mean, fuel `base` of what is right."""
    air = np.atleast_2d(air)
    air = air / air.mean(axis=1, keepdims=True)
    one, zero = np.ones_like(air), np.zeros_like(air)
    cells = len(air)
    return Engine(np.full(cells, target), air, one, one, zero, zero, np.full(cells, base),
                  zero.copy(), 0.0, noise, 1.5, rng)
