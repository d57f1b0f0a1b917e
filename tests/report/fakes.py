"""Results and findings made up by hand, so that pages can be tested without any model."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import fake_engine
import numpy as np

from distrib.answer import Answer
from distrib.case.schema import Case
from distrib.report.answer_words import first_lines, worst_table
from distrib.report.data import (
    FindingRow,
    ReportData,
    RpmSweep,
    Sensitivity,
    SensitivityTable,
    TrimRow,
    TrimSheet,
)
from distrib.report.schedule import distances_m
from distrib.results import Assumed, Band, FloatArray, Profile, Shares, Source, at_point

DEVIATIONS = {"bench": (-7.2, -4.4, -0.9, 4.1, 8.4), "engine": (-2.1, -0.9, 0.2, 0.8, 2.0)}


ASSUMED = (Assumed("runners.roughness", "0.02 mm", "rolled sheet (common practice)"),)
SOURCES = (Source("jets.dump", "Borda and Carnot, sudden widening", "published"),
           Source("junction.run", "loss of the straight run, own reading of a chart",
                  "from memory"))
CAUTIONS = ("An engine figure holds for the speeds at which it was solved.",)


def by_cylinder(count: int, model: str = "engine") -> FloatArray:
    """Deviations (N,) of mean zero that rise along the plenum."""
    base = np.interp(np.linspace(0, 4, count), np.arange(5), DEVIATIONS[model])
    return np.asarray(base - base.mean())


def answer(case: Case, sigma_percent: float = 0.5) -> Answer:
    """The answer to a case whose cylinders deviate most at 6500 rev/min."""
    def curve(case: Case, rpm: FloatArray) -> FloatArray:
        return np.exp(-(((rpm - 6500.0) / 1500.0) ** 2))[:, None] * by_cylinder(len(case.runners))

    return fake_engine.answered(case, curve, sigma_percent)


def shares(case: Case, model: Any = "engine", deviation: tuple[float, ...] | None = None,
           half: float | None = 0.9, title: str | None = None) -> Shares:
    numbers = np.array(sorted(r.cylinder for r in case.runners))
    count = numbers.size
    if deviation is None:
        deviation = tuple(by_cylinder(count, model))
    dev = np.array([deviation])
    share = (1 + dev / 100) / count
    band = None
    if half is not None:
        width = half * (1 + 0.1 * np.arange(count))
        chance = np.clip((dev + width - 3.0) / (2 * width), 0, 1)
        spread = np.array([np.ptp(dev)])
        band = Band(0.9, dev - width, dev + width, np.eye(count)[[int(dev.argmax())]], chance,
                    spread - half, spread + half, 96, 0, 1)
    profiles = []
    for plenum in case.plenums:
        x = np.linspace(0, plenum.length_m, 12)
        profiles.append(Profile(plenum.name, x, 2.2e5 + 900 * (x / plenum.length_m)[None] ** 1.5,
                                45 * (1 - x / plenum.length_m)[None], plenum.area_m2(x)))
    return Shares(
        model, case.title if title is None else title, case.sha256, numbers,
        np.array([distances_m(case)[int(n)] for n in numbers]),
        {"rpm": np.array([6500.0]), "charge_pressure_pa": np.array([2.2e5]),
         "charge_temperature_k": np.array([318.15])},
        share * 0.30, share, dev, np.array([np.ptp(dev)]), np.array([True]), np.array([1e-13]),
        ("",), tuple(profiles), band,
        assumed=ASSUMED, sources=SOURCES, cautions=CAUTIONS)


def findings() -> tuple[FindingRow, ...]:
    return (
        FindingRow("area-ratio", "runner areas over plenum area", "1.04", "at most 0.7", "change",
                   "a crowded plenum speeds the stream up and tilts the pressure along it",
                   "from memory", "enlarge the plenum section or use smaller mouths"),
        FindingRow("marks", "cylinder 1 end, view and entry marked", "not stated", "all stated",
                   "missing", "numbering conventions differ", "common practice",
                   "mark them on the drawing"),
        FindingRow("mach", "plenum Mach number", "0.08", "at most 0.10", "ok", "", "computed", "",
                   "longer runs of the engine planned"),
        FindingRow("gasket", "gasket bore", "41 mm", "1 to 2 mm over the port", "ask", "lips trip",
                   "common practice", "measure the gasket"))


def report(case: Case, found: Answer | None = None, **more: Any) -> ReportData:
    """Report data of a case from an answer, with review, trims and sensitivities made up."""
    found = found or answer(case)
    engine = replace(at_point(found.engine, found.headline), assumed=ASSUMED, sources=SOURCES,
                     cautions=CAUTIONS)
    results = (engine, shares(case, "bench"))
    numbers = [int(n) for n in results[0].cylinders]
    deviation = results[0].deviation_percent[0]
    trims = TrimSheet(
        "richen-only, half-step", False,
        tuple(TrimRow(n, float(d), round(float(max(0.0, (d + 2.1) / 2)), 1),
                      "capped" if d > 1.9 else "") for n, d in zip(numbers, deviation,
                                                                   strict=True)),
        ("injectors flow-matched", "no leaks", "compression even", "sequential injection"),
        ("starting point before measurement: an estimate, verify every cylinder before load",))
    rpm = np.linspace(3000, 7000, 9)
    over = RpmSweep("engine", rpm, np.outer(np.sin(rpm / 900.0), deviation) + deviation,
                    0.9 + 0.1 * np.cos(rpm / 800.0)[:, None] * np.ones(len(numbers)))
    values: dict[str, Any] = {
        "findings": findings(), "trims": trims, "lines": tuple(first_lines(found)),
        "worst": worst_table(found),
        "reasons": ("plenum main: regain wins, more air away from the entry",),
        "rpm_sweep": (over,),
        "sensitivity": SensitivityTable("engine", 4.1, (
            Sensitivity("plenum diameter", "-5 % / +5 %", 5.0, 3.3),
            Sensitivity("mouth radius", "5 mm / 15 mm", 4.3, 4.0),
            Sensitivity("regain", "0.6 / 0.9", 2.4, 5.2))),
        "versions": {"distrib": "0.1.0", "python": "3.11"}, "date": "2026-01-02",
        "case_hash": case.sha256}
    return ReportData(case=case, shares=results, **{**values, **more})
