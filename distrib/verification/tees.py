"""Measured tees and take-offs against each law: predictions, rms errors, the table."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from distrib.losses.junctions import (
    BRANCH_DEFAULT,
    BRANCH_LAWS,
    RUN_DEFAULT,
    branch_coefficients,
    run_coefficients,
)
from distrib.losses.measured import rms, series
from distrib.losses.takeoff import cd_takeoff, cd_takeoff_reattached, static_basis_Rohde

FloatArray = NDArray[np.float64]

BRANCH_SERIES = {"tee_branch_45": 45.0, "tee_branch_90": 90.0, "tee_branch_120": 120.0}
RUN_SERIES = ("tee_run_45", "tee_run_90", "tee_run_envelope_mean", "tee_run_single")
RUN_NAMES = ("rennels", "bassett", "idelchik", "static")


def branch_prediction(law: str, name: str) -> FloatArray:
    """Branch loss of a law at the points of a measured series (equal areas, sharp mouth)."""
    return branch_coefficients(law, 1.0, BRANCH_SERIES[name]).loss(series(name).x, 1.0)


def run_prediction(law: str, name: str) -> FloatArray:
    """Run loss of a law at the points of a measured series."""
    points = series(name)
    share = points.x if "q_run" in points.columns else 1.0 - points.x
    return run_coefficients(law).loss(share)


def branch_rms(law: str, name: str) -> float:
    """Rms error of a branch law on one series."""
    return rms(branch_prediction(law, name), series(name).y)


def run_rms(law: str, name: str) -> float:
    """Rms error of a run law on one series."""
    return rms(run_prediction(law, name), series(name).y)


TAKEOFF_SERIES = {"takeoff_short_sharp": (0.0, 0.51), "takeoff_sharp": (0.0, 1.06),
                  "takeoff_rounded": (0.488, 1.06)}
"""Series of Rohde et al. (1969) by edge radius and length over hole diameter."""
TAKEOFF_LAWS = {"mcgreehan": cd_takeoff, "reattached": cd_takeoff_reattached}
TAKEOFF_RE = 2e4
"""Reynolds number of the holes in that rig, order of magnitude (own estimate)."""


def takeoff_points(name: str) -> tuple[FloatArray, FloatArray]:
    """Cross-flow U1/Vi and discharge coefficient on the static basis of a take-off series."""
    points = series(name)
    if "crossflow" in points.columns:
        return points.x, points.y
    return static_basis_Rohde(points.x, points.y)


def takeoff_ratio(law: str, name: str) -> FloatArray:
    """Predicted over measured discharge coefficient of a series."""
    crossflow, cd = takeoff_points(name)
    radius, length = TAKEOFF_SERIES[name]
    return np.asarray(TAKEOFF_LAWS[law](TAKEOFF_RE, radius, length, crossflow) / cd)


def best_branch() -> str:
    """Branch law with the lowest rms over all branch series together."""
    return min(BRANCH_LAWS, key=lambda law: sum(branch_rms(law, n) ** 2 for n in BRANCH_SERIES))


def best_run() -> str:
    """Run law with the lowest rms over all run series together."""
    return min(RUN_NAMES, key=lambda law: sum(run_rms(law, n) ** 2 for n in RUN_SERIES))


def rms_table() -> list[str]:
    """Markdown lines: rms error of each law on each series, and the choice that follows."""
    lines = ["Rms error of the loss coefficient on the upstream head.", "",
             "| branch law | " + " | ".join(BRANCH_SERIES) + " |",
             "|---|" + "---|" * len(BRANCH_SERIES)]
    for law in BRANCH_LAWS:
        cells = " | ".join(f"{branch_rms(law, n):.3f}" for n in BRANCH_SERIES)
        lines.append(f"| {law} | {cells} |")
    lines += ["", "| run law | " + " | ".join(RUN_SERIES) + " |",
              "|---|" + "---|" * len(RUN_SERIES)]
    for law in RUN_NAMES:
        cells = " | ".join(f"{run_rms(law, n):.3f}" for n in RUN_SERIES)
        lines.append(f"| {law} | {cells} |")
    lines += ["", "Rms error of the take-off discharge coefficient, percent (static basis).", "",
              "| take-off law | " + " | ".join(TAKEOFF_SERIES) + " |",
              "|---|" + "---|" * len(TAKEOFF_SERIES)]
    for law in TAKEOFF_LAWS:
        cells = " | ".join(f"{100.0 * rms(takeoff_ratio(law, n), np.ones(1)):.1f}"
                           for n in TAKEOFF_SERIES)
        lines.append(f"| {law} | {cells} |")
    lines += ["", f"Default branch law: {BRANCH_DEFAULT}; lowest over all branch series: "
              f"{best_branch()}. Default run law: {RUN_DEFAULT}; lowest over all run series: "
              f"{best_run()}.",
              "The composite law has one constant fitted to tee_branch_90; the 45 and 120 degree "
              "series did not enter the fit. Rennels and static know only 90 degrees: their errors "
              "at other angles show what ignoring the angle costs. tee_run_single holds points of "
              "many tees with wide scatter; no law follows them closely."]
    return lines
