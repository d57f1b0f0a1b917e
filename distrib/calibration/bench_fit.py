"""A bench sheet fitted into a case, and the calibrated case that follows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from distrib.calibration.bench import BenchSheet, read_bench
from distrib.calibration.bench_mapping import BenchMapping
from distrib.calibration.bench_model import (
    BenchForward,
    bench_forward,
    calibrated_changes,
    labels,
)
from distrib.calibration.fit import Fit, fit_map
from distrib.case.change import to_toml, with_changes
from distrib.case.schema import Case
from distrib.errors import InputError, Problem


@dataclass(frozen=True)
class BenchFit:
    """A bench sheet fitted into a case: the model, its fit, the fit with every jet free as well
    (None where the rows cannot show one), the calibrated case, and what to say about it.

    `fit` leaves free the jets that the rows determine, and `calibrated` holds what it found."""

    sheet: BenchSheet
    forward: BenchForward
    fit: Fit
    with_jet: Fit | None
    calibrated: Case
    labels: tuple[str, ...]
    statements: tuple[str, ...]


def fit_bench(case: Case, sheet: BenchSheet) -> BenchFit:
    """Fit runner losses, regain, entry loss and, where the rows determine it, the jet's strength.

    A first fit holds the jets at their laws, a second leaves all of them free. A jet that the
    second determines, inside its limits, stays free and goes into the calibrated case; every other
    one is held at its law and its strength is reported only.
    """
    forward = bench_forward(case, sheet, jet=False)
    found = fit_map(forward.predict, forward.observed, forward.sigma, forward.parameters)
    free = bench_forward(case, sheet, jet=True)
    with_jet = None
    statements = [*sheet.cautions, *found.statements]
    if len(free.unknowns) > len(forward.unknowns):
        with_jet = fit_map(free.predict, free.observed, free.sigma, free.parameters)
        named = _determined_jets(case, free, with_jet)
        statements = [*sheet.cautions, *_about_jet(with_jet, found, named)]
        if named:
            forward = bench_forward(case, sheet, jet=named)
            found = with_jet if len(forward.unknowns) == len(free.unknowns) else fit_map(
                forward.predict, forward.observed, forward.sigma, forward.parameters)
        statements += found.statements
    changes: dict[str, Any] = dict(calibrated_changes(forward, found))
    changes["title"] = f"{case.title} (calibrated)"
    changes["note"] = (f"{case.note} Loss coefficients fitted to {sheet.path.name}.").strip()
    return BenchFit(sheet, forward, found, with_jet, with_changes(case, changes),
                    labels(forward.tests), tuple(statements))


def _determined_jets(case: Case, free: BenchForward, with_jet: Fit) -> tuple[str, ...]:
    """Names of the entries whose jet the rows determine, away from its limits."""
    names = {f"entry.{e.name}.jet": e.name for e in case.entries}
    return tuple(
        names[p.name] for p, verdict, stuck in zip(
            free.parameters, with_jet.verdict, with_jet.at_limit, strict=True)
        if p.name in names and verdict == "determined" and not stuck)


def _about_jet(with_jet: Fit, held: Fit, written: Sequence[str]) -> list[str]:
    out = []
    for p, value, sigma, verdict, stuck in zip(
        with_jet.parameters, with_jet.value, with_jet.sigma, with_jet.verdict, with_jet.at_limit,
        strict=True,
    ):
        if not (p.name.startswith("entry.") and p.name.endswith(".jet")):
            continue
        name = p.name[len("entry."):-len(".jet")]
        text = (f"strength of the jet of entry {name}, if left free: {value:.2f} +- {sigma:.2f} of "
                f"the law's ({'at its limit' if stuck else verdict})")
        if name in written:
            text += "; the calibrated file holds it"
        else:
            text += f"; the calibrated file holds it at {p.prior:g}"
            if held.chi2 - with_jet.chi2 > 4.0:
                text += ": the rows fit better with it free, its other coefficients carry that " \
                        "misfit"
        out.append(text)
    return out


def read_bench_sheet(path: str | Path, mapping: BenchMapping, case: Case) -> BenchSheet:
    """Read a bench sheet for the engine of a case."""
    return read_bench(path, mapping, case.engine.cylinders)


def calibrated_path(case: Case, wanted: str | None) -> Path:
    """Where the calibrated case goes: beside the original; InputError if it would replace it."""
    source = Path(case.path)
    target = Path(wanted) if wanted else source.with_name(f"{source.stem}.calibrated.toml")
    if target.exists() and source.exists() and target.samefile(source):
        raise InputError([Problem("output", f'"{target}"', "another file than the original case",
                                  "the original is never written over")])
    return target


def calibrated_text(fitted: BenchFit) -> str:
    """The calibrated case as TOML text."""
    return to_toml(fitted.calibrated)
