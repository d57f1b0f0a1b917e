"""Solve a case at every speed that matters, nominal and drawn, and judge it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from distrib.answer.draws import DRAWS, Told, coarse_trapped, drawn_trapped
from distrib.answer.facts import extra_sigma_percent, limits_of, missing_facts
from distrib.answer.model_error import ModelError, model_error, runner_mach, with_error
from distrib.answer.speeds import bends, peaks, scan_speeds, speed_range, wanted_band
from distrib.answer.trims import predicted_trims
from distrib.build.band import band_from
from distrib.build.draws import Draws
from distrib.build.engine import solve_engine
from distrib.build.points import operating_points
from distrib.case.schema import Case
from distrib.errors import NoSolution
from distrib.fuelling import TrimError, Trims, verdicts
from distrib.fuelling.verdict import RANK
from distrib.results import FloatArray, Shares, deviation_of_air, joined

ROUNDS = 3
"""Most rounds in which speeds are added where a cylinder may have still more air."""
MARGIN_PERCENT = 0.05
"""A speed is added for more than this above the largest deviation solved, percent points."""


@dataclass(frozen=True)
class Worst:
    """The worst speed of one cylinder within the wanted band: gravest verdict, then largest figure.

    `at_edge`: it lies at the end of the speeds that the case gives, so beyond may be worse.
    """

    cylinder: int
    point: int
    rpm: float
    deviation_percent: float
    low_percent: float
    high_percent: float
    chance_lean: float
    verdict: str
    trim_percent: float | None
    at_edge: bool


@dataclass(frozen=True)
class Answer:
    """All of the engine figure of one case at P speeds for N cylinders.

    `engine`: nominal result with its band at every speed; `verdict` (P, N); `trims` (P, N) or None
    with the reason in `no_trims`; `headline`: the point the first line is about, the worst in the
    wanted band; `worst`: by cylinder; `drawn_percent` (P, S, N): drawn deviations, model error
    included, NaN where a draw has no solution; `missing`: facts that were not given.
    """

    case: Case
    engine: Shares
    verdict: np.ndarray
    trims: Trims | None
    no_trims: str
    headline: int
    worst: tuple[Worst, ...]
    drawn_percent: FloatArray
    error: ModelError
    missing: tuple[str, ...]

    @property
    def rpm(self) -> FloatArray:
        """Solved speeds, (P,)."""
        return self.engine.conditions["rpm"]

    @property
    def band_percent(self) -> FloatArray:
        """Band of every deviation, (P, N, 2)."""
        band = self.engine.band
        assert band is not None
        return np.stack([band.low_percent, band.high_percent], axis=-1)

    @property
    def drawn_spread_percent(self) -> FloatArray:
        """Drawn spreads, (S, P)."""
        return np.asarray(np.ptp(self.drawn_percent, axis=-1).T)

    def inside(self) -> np.ndarray:
        """Which points lie in the wanted band, (P,)."""
        low, high = wanted_band(self.case)
        return (self.rpm >= low - 1e-9) & (self.rpm <= high + 1e-9)

    def counted(self) -> np.ndarray:
        """Numbers of the solved points that count: of the wanted band, else of all."""
        inside = self.inside() & self.engine.converged
        return np.flatnonzero(inside if inside.any() else self.engine.converged)

    def widest(self) -> int:
        """The point of the largest spread among those that count."""
        points = self.counted()
        return int(points[np.argmax(self.engine.spread_percent[points])])


def answer(case: Case, *, rpm: ArrayLike | None = None, draws: int = DRAWS,
           seed: int | None = None, told: Told | None = None) -> Answer:
    """The answer to one case.

    rpm: the speeds to solve, instead of those found by looking where the figures bend. draws: of
    everything uncertain, at every speed; 0 leaves the band out. told: called with the number of
    runs done. NoSolution when no speed gives one; InputError for impossible speeds.
    """
    return answers([case], rpm=rpm, draws=draws, seed=seed, told=told)[0]


def answers(cases: Sequence[Case], *, rpm: ArrayLike | None = None, draws: int = DRAWS,
            seed: int | None = None, told: Told | None = None) -> tuple[Answer, ...]:
    """Answers to several cases at the same speeds and on the same draws, ready to compare."""
    if rpm is not None:
        speeds = operating_points(cases[0], rpm, None, None)["rpm"]
        found = [solve_engine(case, rpm=speeds, threads=2) for case in cases]
    else:
        found = _solved(cases)
    return tuple(judged(case, shares, draws, seed, told)
                 for case, shares in zip(cases, found, strict=True))


def common_range(cases: Sequence[Case]) -> tuple[float, float]:
    """The speeds that all cases give; InputError where they share none."""
    from distrib.errors import InputError, Problem

    ranges = [speed_range(case) for case in cases]
    low, high = max(r[0] for r in ranges), min(r[1] for r in ranges)
    if low > high:
        raise InputError([Problem("conditions.rpm", "; ".join(f"{a:g} to {b:g}" for a, b in ranges),
                                  "speeds that all cases share", "give them with --rpm")])
    return low, high


def _solved(cases: Sequence[Case]) -> list[Shares]:
    """Nominal results at the speeds that hold the figures of all cases."""
    low, high = common_range(cases)
    scan = scan_speeds(low, high)
    curves = [deviation_of_air(coarse_trapped(case, operating_points(case, scan, None, None)))
              for case in cases]
    keep = {n for case in cases for n in (*case.conditions.rpm, *wanted_band(case))
            if low <= n <= high}
    speeds = bends(scan, np.concatenate(curves, axis=1), sorted(keep))
    found = [solve_engine(case, rpm=speeds, threads=2) for case in cases]
    for _ in range(ROUNDS):
        more = sorted({n for case, curve, shares in zip(cases, curves, found, strict=True)
                       for n in peaks(scan, curve, shares.conditions["rpm"],
                                      shares.deviation_percent, _within(case, low, high),
                                      MARGIN_PERCENT)})
        if not more:
            break
        found = [joined(shares, solve_engine(case, rpm=more, threads=2), "rpm")
                 for case, shares in zip(cases, found, strict=True)]
    return found


def _within(case: Case, low: float, high: float) -> tuple[float, float]:
    a, b = wanted_band(case)
    return max(a, low), min(b, high)


def judged(case: Case, shares: Shares, draws: int = DRAWS, seed: int | None = None,
           told: Told | None = None) -> Answer:
    """Bands, verdicts, trims and worst speeds of a nominal engine result at any points.

    seed: of the draws, default the case's. NoSolution when no point has one.
    """
    seed = case.uncertainty.seed if seed is None else seed
    if not shares.converged.any():
        raise NoSolution(f"{case.title}: no speed gave a solution: {shares.reason[0]}")
    error, missing = model_error(case), missing_facts(case)
    drawn = np.full((shares.converged.size, 0, shares.cylinders.size), np.nan)
    if draws > 0:
        drawn = _drawn(case, shares, Draws(draws, seed), error, len(missing), told)
        band = band_from(shares.deviation_percent, drawn, case.limits.lean_percent, seed)
        shares = replace(shares, band=band)
    chance = None if shares.band is None else shares.band.chance_lean
    words = verdicts(shares.deviation_percent, chance, limits_of(case))
    trims, refused = None, ""
    try:
        trims = predicted_trims(case, shares, shares.deviation_percent)
    except TrimError as problem:
        refused = str(problem)
    found = Answer(case, shares, words, trims, refused, 0, (), drawn, error, missing)
    worst = tuple(_worst(found, i) for i in range(shares.cylinders.size))
    return replace(found, worst=worst, headline=_headline(found, worst))


def _drawn(case: Case, shares: Shares, draws: Draws, error: ModelError, missing: int,
           told: Told | None) -> FloatArray:
    """Drawn deviations about the nominal ones, the model's error on them, (P, S, N)."""
    points = {name: shares.conditions[name]
              for name in ("rpm", "charge_pressure_pa", "charge_temperature_k")}
    drawn, centre = map(deviation_of_air, drawn_trapped(case, points, draws, told))
    moved = drawn - centre[:, None, :] + shares.deviation_percent[:, None, :]
    sigma = np.array([error.sigma_percent(runner_mach(case, float(n))) for n in points["rpm"]])
    return with_error(moved, np.hypot(sigma, extra_sigma_percent(missing)), points["rpm"], error,
                      draws)


def _worst(found: Answer, i: int) -> Worst:
    """The worst speed of cylinder number i: the gravest verdict, then the largest figure."""
    deviation = found.engine.deviation_percent[:, i]

    def gravity(p: int) -> tuple[int, float]:
        rank = RANK[str(found.verdict[p, i])]  # type: ignore[index]
        return rank, float(deviation[p] if rank >= RANK["watch"] else abs(deviation[p]))

    p = max(found.counted().tolist(), key=gravity)
    band, rpm = found.engine.band, found.rpm
    low, high = speed_range(found.case)
    return Worst(
        int(found.engine.cylinders[i]), p, float(rpm[p]), float(deviation[p]),
        np.nan if band is None else float(band.low_percent[p, i]),
        np.nan if band is None else float(band.high_percent[p, i]),
        np.nan if band is None else float(band.chance_lean[p, i]), str(found.verdict[p, i]),
        None if found.trims is None else float(found.trims.trim_percent[p, i]),
        bool(high > low and (abs(rpm[p] - low) < 1.0 or abs(rpm[p] - high) < 1.0)))


def _headline(found: Answer, worst: Sequence[Worst]) -> int:
    """The point that the first line is about: the leanest of the gravest, else most spread."""
    grave = [w for w in worst if RANK[w.verdict] >= RANK["watch"]]  # type: ignore[index]
    if grave:
        top = max(grave, key=lambda w: (RANK[w.verdict], w.deviation_percent))  # type: ignore[index]
        return top.point
    return found.widest()
