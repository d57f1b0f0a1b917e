"""The engine model replaced by figures that are known beforehand; all judging stays real.

A curve gives the deviation of every cylinder at every speed. What is drawn differs from it by
`sigma_percent` of an independent normal draw for each cylinder. Bands, chances, verdicts, trims and
worst speeds are then formed by the program itself, in milliseconds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from typing import Any
from unittest.mock import patch

import numpy as np

from distrib.answer import Answer, answer
from distrib.build.draws import Draws
from distrib.build.points import operating_points
from distrib.case.schema import Case
from distrib.results import FloatArray, Profile, Shares, deviation_percent, spread_percent

Curve = Callable[[Case, FloatArray], FloatArray]
"""Case and speeds (P,) to deviations in percent (P, N); their sum over cylinders is zero."""
PLACES = ("distrib.answer.run", "distrib.answer.draws", "distrib.build.engine",
          "distrib.calibration.service")


def hill(peaks: Mapping[int, float], top_rpm: float = 6000.0, width_rpm: float = 800.0,
         unsolved_rpm: tuple[float, ...] = ()) -> Curve:
    """Cylinders of `peaks` reach their percentages at `top_rpm`; the others share the rest."""
    def curve(case: Case, rpm: FloatArray) -> FloatArray:
        numbers = sorted(r.cylinder for r in case.runners)
        rest = -sum(peaks.values()) / max(len(numbers) - len(peaks), 1)
        top = np.array([peaks.get(n, rest) for n in numbers])
        out = np.exp(-(((rpm - top_rpm) / width_rpm) ** 2))[:, None] * (top - top.mean())
        out[np.isin(rpm, unsolved_rpm)] = np.nan
        return out

    return curve


def solve(curve: Curve, case: Case, rpm: Any = None, charge_pressure_pa: Any = None,
          charge_temperature_k: Any = None) -> Shares:
    """The nominal result of a curve, with the parts that pages and trims read."""
    from distrib.build.graph import runner_order
    from distrib.report.schedule import distances_m

    points = operating_points(case, rpm, charge_pressure_pa, charge_temperature_k)
    share = (1.0 + curve(case, points["rpm"]) / 100.0) / len(case.runners)
    good = np.isfinite(share).all(axis=1)
    distances = distances_m(case)
    air = share * points["rpm"][:, None] * 4e-5
    count = good.size
    return Shares(
        "engine", case.title, case.sha256, np.array(runner_order(case)),
        np.array([distances[int(c)] for c in runner_order(case)]), points, air, share,
        deviation_percent(share), spread_percent(share), good, np.full(count, 1e-12),
        tuple("" if g else "the pulses do not repeat" for g in good),
        tuple(Profile(p.name, x, np.tile(2.2e5 + 900.0 * x, (count, 1)),
                      np.tile(45.0 - 60.0 * x, (count, 1)), p.area_m2(x))
              for p in case.plenums for x in [np.linspace(0.0, p.length_m, 12)]),
        volumetric_efficiency=0.9 * share * len(case.runners), trapped_air_kg=air,
        cautions=("estimate, not measured",))


@contextmanager
def faked(curve: Curve, sigma_percent: float = 0.3) -> Iterator[None]:
    """Within: every engine solve, nominal or drawn, gives what the curve says."""
    def solved(case: Case, *, rpm: Any = None, charge_pressure_pa: Any = None,
               charge_temperature_k: Any = None, **_: Any) -> Shares:
        return solve(curve, case, rpm, charge_pressure_pa, charge_temperature_k)

    def coarse(case: Case, points: Mapping[str, FloatArray], threads: int = 1) -> FloatArray:
        return 1.0 + curve(case, points["rpm"]) / 100.0

    def drawn(case: Case, points: Mapping[str, FloatArray], draws: Draws, told: Any = None,
              threads: int = 1) -> FloatArray:
        z = np.stack([np.broadcast_to(draws.z(f"law.cylinder.{i}"), draws.samples)
                      for i in range(len(case.runners))], axis=-1)
        if told is not None:
            told(draws.samples * points["rpm"].size)
        return 1.0 + (curve(case, points["rpm"])[:, None] + sigma_percent * z) / 100.0

    parts = {"solve_engine": solved, "coarse_trapped": coarse, "drawn_trapped": drawn}
    with ExitStack() as stack:
        for place in PLACES:
            module = __import__(place, fromlist=["_"])
            for name, part in parts.items():
                if hasattr(module, name):
                    stack.enter_context(patch.object(module, name, part))
        yield


def answered(case: Case, curve: Curve, sigma_percent: float = 0.3, **options: Any) -> Answer:
    """The answer to a case whose figures follow the curve."""
    with faked(curve, sigma_percent):
        return answer(case, **options)
