"""Runs models, review and trims for a report and puts what they found into its plain data."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from distrib.errors import DistribError, NoSolution
from distrib.report.data import (
    FindingRow,
    ReportData,
    RpmSweep,
    Sensitivity,
    SensitivityTable,
    TrimRow,
    TrimSheet,
)

if TYPE_CHECKING:
    from distrib.case.schema import Case
    from distrib.results import FloatArray, Shares
    from distrib.review.rules import Finding
    from distrib.studies.matters import Group

MODELS: Final = ("phased", "bench", "engine")
SWING_SIGMA: Final = 2.0
GROUPS: Final[tuple[tuple[Group, str, int], ...]] = (
    ("law", "loss laws", 5), ("made", "tolerances of making", 4), ("dimension", "dimensions", 6))
SWING_NOTE: Final = (
    "one input at a time on the steady rig (bench model), all others as designed; what inputs do "
    "together is not seen. Take the order and the sense over to the engine, not the size. One "
    "standard deviation of a bore is {tolerance}, the tolerance of the case")
COMPARE_SAMPLES: Final = 256


@dataclass(frozen=True)
class Wanted:
    """What a report is asked for: models (the first decides the verdicts), speed, effort.

    `keep` is a folder in which results of the engine model are kept and found again.
    """

    models: tuple[str, ...] = ("phased", "bench")
    rpm: float | None = None
    samples: int = 256
    keep: str | None = None
    sensitivity: bool = True
    review: bool = True
    date: str = ""


@dataclass(frozen=True)
class Gathered:
    """Report data of one case, and remarks on what could not be had."""

    data: ReportData
    remarks: tuple[str, ...]


def chosen_rpm(cases: Sequence[Case], wanted: Wanted) -> float:
    """The speed a report is about: as asked, else the highest that all cases name, else the
    highest of the first case."""
    if wanted.rpm is not None:
        return wanted.rpm
    common = set(cases[0].conditions.rpm).intersection(*(c.conditions.rpm for c in cases))
    return max(common or cases[0].conditions.rpm)


def gather(case: Case, wanted: Wanted, rpm: float) -> Gathered:
    """Run what a report on one case needs; a part that fails is left out with a remark."""
    shares, over, remarks = _results(case, wanted, rpm)
    engine = next((s for s in shares if s.model != "bench"), None)
    trims = None
    if engine is not None:
        try:
            trims = trim_sheet(case, engine)
        except DistribError as error:
            remarks.append(f"{case.title}: no trims: {error}")
    sensitivity, found = None, None
    if wanted.sensitivity:
        try:
            from distrib.studies.influences import influences

            found = influences(case)
            sensitivity = swing_table(case)
        except DistribError as error:
            remarks.append(f"{case.title}: no sensitivities: {error}")
    findings = review_rows(case, reviewed(shares, over)) if wanted.review else None
    reasons: tuple[str, ...] = ()
    if shares:
        try:
            reasons = _reasons(case, engine)
        except DistribError as error:
            remarks.append(f"{case.title}: no balance of regain and friction: {error}")
    return Gathered(ReportData(
        case=case, shares=tuple(shares), findings=findings, trims=trims, sensitivity=sensitivity,
        influences=found, rpm_sweep=_sweeps(over, wanted.models), reasons=reasons,
        versions=versions(), date=wanted.date, case_hash=_hash(case)), tuple(remarks))


def _results(
    case: Case, wanted: Wanted, rpm: float,
) -> tuple[list[Shares], dict[str, Shares], list[str]]:
    """Results at the chosen speed in the order asked for, over all speeds by model, and remarks."""
    from distrib.cli.kept import kept_band, kept_engine
    from distrib.cli.solved import solve_case

    steady = [m for m in wanted.models if m != "engine"]
    at: dict[str, Shares] = {}
    over: dict[str, Shares] = {}
    remarks: list[str] = []
    if steady:
        try:
            found = solve_case(case, steady, at=rpm, samples=wanted.samples)
            at, over, remarks = dict(found.at), dict(found.over), list(found.remarks)
        except NoSolution as error:
            remarks.append(f"{case.title}: {error}")
    if "engine" in wanted.models:
        speeds = sorted({*case.conditions.rpm, rpm})
        try:
            whole = kept_engine(case, speeds, wanted.keep)
            over["engine"], at["engine"] = whole, at_point(whole, speeds.index(rpm))
            if bool(at["engine"].converged.all()):
                at["engine"] = kept_band(case, at["engine"], rpm, wanted.keep)
        except NoSolution as error:
            remarks.append(f"{case.title}: the engine model gave no solution: {error}")
        if "engine" in at and "phased" in at and bool(at["engine"].converged.all()):
            from distrib.build.together import spanned

            at["phased"] = spanned(at["phased"], at["engine"], case.limits.lean_percent)
    return [at[m] for m in wanted.models if m in at], over, remarks


def reviewed(at: Sequence[Shares], over: Mapping[str, Shares]) -> list[Shares]:
    """What the review reads: the results with their bands, and the engine model at all its speeds."""
    return [over.get("engine", s) if s.model == "engine" else s for s in at]


def _sweeps(over: Mapping[str, Shares], models: Sequence[str]) -> tuple[RpmSweep, ...]:
    notes = {"phased": "Without inertia of the air, the phased model hardly depends on engine "
                       "speed."}
    found = [_sweep(over[m], notes.get(m, "")) for m in models if m in over]
    return tuple(s for s in found if s is not None)


def _reasons(case: Case, engine: Shares | None) -> tuple[str, ...]:
    """Which way regain and losses push in every plenum, and what slow pumps would show."""
    from distrib.build.balance import balance
    from distrib.cli.shares import pump_limit_percent

    out = [item.words for item in balance(case)]
    if engine is not None and bool(engine.converged.all()):
        out.append(f"limit of slow pumps: a spread of about {pump_limit_percent(engine):.1f} % "
                   "(0.7 M^2 of the plenum)")
    return tuple(out)


def _sweep(shares: Shares, note: str) -> RpmSweep | None:
    """Deviation over the speeds that converged; None with fewer than two."""
    good = np.flatnonzero(shares.converged)
    if good.size < 2:
        return None
    efficiency = shares.volumetric_efficiency
    return RpmSweep(shares.model, np.asarray(shares.conditions["rpm"])[good],
                    shares.deviation_percent[good],
                    None if efficiency is None else efficiency[good], note)


def at_point(shares: Shares, point: int) -> Shares:
    """The result at one of its operating points, still with a leading axis of one point."""
    from dataclasses import replace

    def one(values: FloatArray) -> FloatArray:
        return np.asarray(values[point:point + 1])

    return replace(
        shares, conditions={k: one(np.atleast_1d(v)) for k, v in shares.conditions.items()},
        air_kg_s=one(shares.air_kg_s), share=one(shares.share),
        deviation_percent=one(shares.deviation_percent), spread_percent=one(shares.spread_percent),
        converged=np.asarray(shares.converged[point:point + 1]),
        mass_residual=one(shares.mass_residual), reason=shares.reason[point:point + 1],
        profiles=tuple(replace(p, static_pressure_pa=one(p.static_pressure_pa),
                               velocity_m_s=one(p.velocity_m_s)) for p in shares.profiles),
        volumetric_efficiency=None if shares.volumetric_efficiency is None
        else one(shares.volumetric_efficiency),
        trapped_air_kg=None if shares.trapped_air_kg is None else one(shares.trapped_air_kg),
        extra={k: one(v) for k, v in shares.extra.items()}, band=None)


def trim_sheet(case: Case, shares: Shares) -> TrimSheet:
    """Predicted first trims from an engine model's shares at its (single) point."""
    from distrib.calibration.service import trims

    rpm = float(np.atleast_1d(shares.conditions["rpm"])[0])
    table = trims(case, rpm=[rpm], solve=lambda *_: shares)
    rows = []
    for i, number in enumerate(table.cylinders):
        trim = float(table.trim_shown[0, 0, i])
        note = "" if np.isfinite(trim) else "refused: fault or rework"
        rows.append(TrimRow(int(number), float(table.needed_percent[0, 0, i]), trim, note))
    scheme = (f"{table.policy}, {table.step:g} of the computed change, at {rpm:.0f} rev/min, "
              f"{table.model} model")
    return TrimSheet(scheme, False, tuple(rows), tuple(item.text for item in table.gate.open),
                     tuple(dict.fromkeys((*table.cautions, *table.flips))))


def swing_table(case: Case) -> SensitivityTable:
    """What moves the bench spread and its leanest lambda most, one input at a time, by groups."""
    from distrib.studies.matters import what_matters

    found = what_matters(case, "bench", reach=SWING_SIGMA)
    base = found.spread_percent
    note = SWING_NOTE.format(tolerance=f"{1000.0 * case.uncertainty.tolerance_m:g} mm")
    rows = [Sensitivity(e.name, e.change, e.spread_low_percent, e.spread_high_percent, words,
                        e.lambda_low, e.lambda_high)
            for group, words, most in GROUPS for e in found.of(group)[:most]
            if e.reach_percent(base) > 0.0]
    return SensitivityTable("bench", base, tuple(rows), found.leanest_lambda, note)


def review_rows(case: Case, shares: Sequence[Shares]) -> tuple[FindingRow, ...]:
    """The reviewer's checklist on the case and its results."""
    from distrib.review.run import review

    return tuple(_finding(f) for f in review(case, shares).findings)


def _finding(found: Finding) -> FindingRow:
    limit = "" if found.limit is None else _limit(found)
    override = ""
    if found.overridden:
        was = "" if found.standard_limit is None else f"usual {found.standard_limit:g}; "
        override = f"{was}{found.override_reason}"
    return FindingRow(
        found.id, found.title, found.text, limit, found.verdict, found.why,
        f"{found.origin.kind}: {found.origin.text}" if found.origin.kind == "published"
        else found.origin.kind, found.todo if found.verdict != "ok" else "", override,
        found.applies)


def _limit(found: Finding) -> str:
    unit = "" if found.unit in ("-", "") else f" {found.unit}"
    hard = "" if found.hard is None else f", change beyond {found.hard:g}{unit}"
    return f"{found.sense} {found.limit:g}{unit}{hard}"


def compared(
    cases: Mapping[str, Case], rpm: float, samples: int, models: Sequence[str] = ("phased",),
) -> tuple[str, ...]:
    """Sentences on every pair of designs from samples that all share, what holds of the engine
    models together first; empty for one design."""
    from distrib.cli.compare import sentences
    from distrib.studies.designs import compare_designs

    names = list(cases)
    if len(names) < 2:
        return ()
    paired = {m: compare_designs(cases, m, rpm=[rpm], samples=min(samples, COMPARE_SAMPLES))
              for m in ("phased", "engine") if m in models}
    said = [f"{text[0].upper()}{text[1:]}" for text in sentences(names, paired)]
    pairs = len(names) * (len(names) - 1) // 2
    each = len(said) // pairs
    return tuple(text for p in range(pairs)
                 for text in (said[(p + 1) * each - 1], *said[p * each:(p + 1) * each - 1]))


def versions() -> dict[str, str]:
    """Versions of this program and of what its figures rest on."""
    import platform
    from importlib.metadata import version

    from distrib import __version__

    names = ("numpy", "scipy", "numba", "matplotlib")
    return {"distrib": __version__, "Python": platform.python_version(),
            **{name: version(name) for name in names}}


def _hash(case: Case) -> str:
    from distrib.case.change import case_hash

    return case_hash(case)
