"""Runs the models that a command asks for: every speed nominal, one speed with its band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from distrib.errors import InputError, Problem

if TYPE_CHECKING:
    from distrib.case.schema import Case
    from distrib.results import Shares

MODELS: Final = ("phased", "engine", "bench")


@dataclass(frozen=True)
class Solved:
    """Results of one case: at the chosen speed (one point each), over all speeds, remarks."""

    case: Case
    rpm: float
    at: dict[str, Shares]
    over: dict[str, Shares]
    remarks: tuple[str, ...]

    @property
    def deciding(self) -> Shares:
        """The result that verdicts and trims follow: phased before wave before bench.

        Phased and wave together: the band of phased then spans both.
        """
        if "phased" in self.at and "engine" in self.at:
            from distrib.build.together import spanned

            return spanned(self.at["phased"], self.at["engine"], self.case.limits.lean_percent)
        return next(self.at[m] for m in MODELS if m in self.at)


def wanted_models(case: Case, asked: Sequence[str] | None) -> tuple[str, ...]:
    """Models asked for; by default phased, bench, and wave where the case has valve data."""
    from distrib.cli.output_choice import choice

    if asked:
        return tuple(dict.fromkeys(choice("--model", name, MODELS) for name in asked))
    wave = case.engine.intake_valve is not None and case.engine.exhaust_valve is not None
    return ("phased", "engine", "bench") if wave else ("phased", "bench")


def solve_case(
    case: Case, models: Sequence[str], *, rpm: Sequence[float] | None = None,
    at: float | None = None, samples: int | None = None, seed: int | None = None,
    sampled: bool = True,
) -> Solved:
    """Run `models` over `rpm` (default the case's) and, with its band, at speed `at`.

    at: default the highest speed. A model that gives no solution is left out with a remark.
    """
    from distrib.cli.report_data import at_point
    from distrib.errors import NoSolution

    speeds = sorted({*(case.conditions.rpm if rpm is None else rpm), *([] if at is None else [at])})
    if any(not 50.0 <= s <= 30000.0 for s in speeds):
        raise InputError([Problem("--rpm", f"{speeds}", "speeds from 50 to 30000 rev/min")])
    chosen = max(speeds) if at is None else at
    point = speeds.index(chosen)
    at_speed: dict[str, Shares] = {}
    over: dict[str, Shares] = {}
    remarks: list[str] = []
    for model in models:
        try:
            if model == "bench":
                at_speed[model] = _bench(case, samples, seed, sampled)
                continue
            whole = _engine(case, model, speeds)
        except NoSolution as error:
            remarks.append(f"{case.title}: the {model} model gave no solution: {error}")
            continue
        over[model] = whole
        at_speed[model] = at_point(whole, point)
        if not whole.converged[point]:
            remarks.append(f"{case.title}: {model} at {chosen:g} rev/min: {whole.reason[point]}")
        elif model == "phased" and sampled:
            at_speed[model] = _with_band(case, at_speed[model], chosen, samples, seed)
        elif model == "engine" and sampled:
            at_speed[model] = with_engine_band(case, at_speed[model], chosen, seed)
    if not any(bool(s.converged.all()) for s in at_speed.values()):
        raise NoSolution("; ".join(remarks) or "no model gave a solution")
    at_speed = {m: s for m, s in at_speed.items() if bool(s.converged.all())}
    return Solved(case, chosen, at_speed, over, tuple(remarks))


def _engine(case: Case, model: str, speeds: Sequence[float]) -> Shares:
    if model == "phased":
        from distrib.build.phased import solve_phased

        return solve_phased(case, rpm=list(speeds))
    from distrib.build.engine import solve_engine

    return solve_engine(case, rpm=list(speeds))


def _bench(case: Case, samples: int | None, seed: int | None, sampled: bool) -> Shares:
    if sampled:
        from distrib.build.band import bench_with_band

        return bench_with_band(case, samples=samples, seed=seed)
    from distrib.build.bench import solve_bench

    return solve_bench(case)


def _with_band(case: Case, nominal: Shares, rpm: float, samples: int | None,
               seed: int | None) -> Shares:
    from dataclasses import replace

    from distrib.build.band import phased_band

    return replace(nominal, band=phased_band(case, nominal, rpm=[rpm], samples=samples, seed=seed))


def with_engine_band(case: Case, nominal: Shares, rpm: float, seed: int | None = None) -> Shares:
    """A engine result at one speed with the band of its few draws."""
    from dataclasses import replace

    from distrib.build.engine_draws import engine_band

    return replace(nominal, band=engine_band(case, nominal, rpm=[rpm], seed=seed))
