"""Runs models, review and trims for a report and puts what they found into its plain data."""

from __future__ import annotations

from collections.abc import Sequence
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
from distrib.results import Shares, at_point

if TYPE_CHECKING:
    from distrib.answer import Answer
    from distrib.case.schema import Case
    from distrib.review.rules import Finding
    from distrib.studies.matters import Group

SWING_SIGMA: Final = 2.0
GROUPS: Final[tuple[tuple[Group, str, int], ...]] = (
    ("law", "loss laws", 5), ("made", "tolerances of making", 4),
    ("engine", "engine, charge and pipe before the entry", 4), ("dimension", "dimensions", 6))
SWING_NOTE: Final = (
    "one input at a time on the engine figure, the largest spread over six speeds of the wanted "
    "band, all others as designed; what inputs do together is not seen. One standard deviation of "
    "a bore is {tolerance}, the tolerance of the case")


@dataclass(frozen=True)
class Wanted:
    """What a report is asked for: speeds (None: where the figures bend), draws, parts."""

    rpm: tuple[float, ...] | None = None
    draws: int = 96
    solve: bool = True
    bench: bool = False
    sensitivity: bool = True
    review: bool = True
    date: str = ""


@dataclass(frozen=True)
class Gathered:
    """Report data of one case, and remarks on what could not be had."""

    data: ReportData
    remarks: tuple[str, ...]


def gather(cases: Sequence[Case], wanted: Wanted) -> tuple[list[Gathered], tuple[str, ...]]:
    """Run what a report on these cases needs, and what can be said of them side by side.

    A part that fails is left out with a remark. Designs of other engines are not compared.
    """
    from distrib.cli.compare import check_alike
    from distrib.cli.shares import all_solved
    from distrib.errors import InputError
    from distrib.report.compare_words import design_lines, pair_sentences
    from distrib.studies.designs import compared

    rpm = None if wanted.rpm is None else list(wanted.rpm)
    found: list[Answer | None] = [None] * len(cases)
    remarks: list[list[str]] = [[] for _ in cases]
    sentences: tuple[str, ...] = ()
    if wanted.solve:
        try:
            if len(cases) > 1:
                check_alike(cases)
            answers = all_solved(list(cases), rpm, wanted.draws)
            found = list(answers)
            if len(cases) > 1:
                both = compared({str(i): one for i, one in enumerate(answers)})
                sentences = (*pair_sentences(answers, both), *design_lines(answers))
        except (InputError, NoSolution) as error:
            if len(cases) > 1:
                sentences = (f"Not compared: {error}",)
                remarks[0].append(f"not compared: {error}")
            for i, case in enumerate(cases):
                try:
                    found[i] = all_solved([case], rpm, wanted.draws)[0]
                except NoSolution as none:
                    remarks[i].append(f"{case.title}: {none}")
    return [_gathered(case, one, wanted, said)
            for case, one, said in zip(cases, found, remarks, strict=True)], sentences


def _gathered(case: Case, found: Answer | None, wanted: Wanted, remarks: list[str]) -> Gathered:
    """Report data of one case from its answer."""
    from distrib.build.balance import balance
    from distrib.report.answer_words import first_lines, worst_table

    shares: list[Shares] = []
    trims, sensitivity = None, None
    if found is not None:
        shares.append(at_point(found.engine, found.headline))
        try:
            trims = trim_sheet(case, shares[0])
        except DistribError as error:
            remarks.append(f"{case.title}: no trims: {error}")
    if wanted.solve and wanted.bench:
        from distrib.build.band import bench_with_band

        shares.append(bench_with_band(case))
    if wanted.solve and wanted.sensitivity:
        try:
            sensitivity = swing_table(case)
        except DistribError as error:
            remarks.append(f"{case.title}: no sensitivities: {error}")
    seen = ([found.engine] if found is not None else []) + shares[1:]
    findings = review_rows(case, seen) if wanted.review else None
    reasons = tuple(item.words for item in balance(case)) if wanted.solve else ()
    sweep = None if found is None else _sweep(found.engine, "")
    return Gathered(ReportData(
        case=case, shares=tuple(shares), findings=findings, trims=trims, sensitivity=sensitivity,
        rpm_sweep=() if sweep is None else (sweep,), reasons=reasons,
        lines=() if found is None else tuple(first_lines(found)),
        worst=None if found is None else worst_table(found),
        versions=versions(), date=wanted.date, case_hash=_hash(case)), tuple(remarks))


def _sweep(shares: Shares, note: str) -> RpmSweep | None:
    """Deviation over the speeds that converged; None with fewer than two."""
    good = np.flatnonzero(shares.converged)
    if good.size < 2:
        return None
    efficiency = shares.volumetric_efficiency
    return RpmSweep(shares.model, np.asarray(shares.conditions["rpm"])[good],
                    shares.deviation_percent[good],
                    None if efficiency is None else efficiency[good], note)


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
    scheme = (f"{table.policy}, {table.step:g} of the computed change, at {rpm:.0f} rpm")
    return TrimSheet(scheme, False, tuple(rows), tuple(item.text for item in table.gate.open),
                     tuple(dict.fromkeys((*table.cautions, *table.flips))))


def swing_table(case: Case) -> SensitivityTable:
    """What moves the engine spread and its leanest lambda most, one input at a time, by groups."""
    from distrib.studies.matters import what_matters

    found = what_matters(case, reach=SWING_SIGMA)
    base = found.spread_percent
    note = SWING_NOTE.format(tolerance=f"{1000.0 * case.uncertainty.tolerance_m:g} mm")
    rows = [Sensitivity(e.name, e.change, e.spread_low_percent, e.spread_high_percent, words,
                        e.lambda_low, e.lambda_high)
            for group, words, most in GROUPS for e in found.of(group)[:most]
            if e.reach_percent(base) > 0.0]
    return SensitivityTable(found.model, base, tuple(rows), found.leanest_lambda, note)


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
