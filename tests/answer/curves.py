"""Analytic stand-ins for the solver: deviations over speed as resonances, and drawn ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from distrib.case.schema import Case
from distrib.results import FloatArray, Shares, deviation_percent, spread_percent


@dataclass(frozen=True)
class Curves:
    """Air of N cylinders over speed: even air and resonances of a given speed, width and size.

    `off_rpm` and `off_part` move and scale the resonances, as coarse cells do; `scatter` is the
    1-sigma of what a draw scales them by.
    """

    at_rpm: FloatArray
    width_rpm: FloatArray
    size_percent: FloatArray
    off_rpm: float = 0.0
    off_part: float = 1.0

    def air(self, rpm: FloatArray, scale: float = 1.0) -> FloatArray:
        """Air (P, N), mean 1."""
        x = (np.asarray(rpm)[:, None, None] - self.at_rpm - self.off_rpm) / self.width_rpm
        raw = (scale * self.off_part * self.size_percent / (1.0 + x * x)).sum(axis=2) / 100.0
        return np.asarray(1.0 + raw - raw.mean(axis=1, keepdims=True))


def shares_of(case: Case, curves: Curves, rpm: FloatArray) -> Shares:
    """A result of the engine figure with this air."""
    rpm = np.asarray(rpm, dtype=float)
    air = curves.air(rpm)
    share = air / air.sum(axis=1, keepdims=True)
    ones = np.ones(rpm.size)
    order = sorted(r.cylinder for r in case.runners)
    return Shares(
        "engine", case.title, "hash", np.array(order), np.linspace(0.05, 0.4, len(order)),
        {"rpm": rpm, "charge_pressure_pa": case.conditions.charge_pressure_pa * ones,
         "charge_temperature_k": case.conditions.charge_temperature_k * ones},
        air * 0.05, share, deviation_percent(share), spread_percent(share),
        np.ones(rpm.size, bool), np.zeros(rpm.size), ("",) * rpm.size,
        volumetric_efficiency=air)


def stand_in(monkeypatch, curves: Curves, coarse: Curves, scatter: float = 0.2) -> None:
    """Let the answer stand on these curves instead of the solver."""
    from distrib.answer import run

    def solve(case, *, rpm, **_):
        return shares_of(case, curves, rpm)

    def coarse_trapped(case, points, *_):
        return coarse.air(points["rpm"])

    def drawn_trapped(case, points, draws, *_):
        scales = np.exp(scatter * np.asarray(draws.z("law.run")))
        air = np.stack([coarse.air(points["rpm"], float(s)) for s in scales], axis=1)
        return air, coarse.air(points["rpm"])

    monkeypatch.setattr(run, "solve_engine", solve)
    monkeypatch.setattr(run, "coarse_trapped", coarse_trapped)
    monkeypatch.setattr(run, "drawn_trapped", drawn_trapped)
