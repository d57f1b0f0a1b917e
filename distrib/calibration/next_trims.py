"""What comes out of measured lambdas: next trims by cell and cylinder, with what to say of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from distrib.build.fuel_sets import enlargement
from distrib.calibration.cell_words import cell_name
from distrib.calibration.entries import Entries, Texts
from distrib.calibration.score import Score
from distrib.case.schema import Case
from distrib.fuelling import Limits, Round, Trims, sign_flips
from distrib.results import FloatArray, IntArray


@dataclass(frozen=True)
class NextTrims:
    """Next trims of P measured cells by N cylinders, with air as measured and as predicted.

    `round` holds the trims, on all fuel at the ports, with what barred the rest; `trim_shown` is on
    the basis `trim_on` and, where the case has several injector sets, for the trimmed ones.
    `lambda_read` as read, `lambda_measured` with a closed loop taken out where that is leaner.
    `stops` (P,) banners and `why` (P, N) reasons in words. `predicted_percent` is what the sheet
    held: `reference` says whether that was predicted or measured before; NaN for a log.
    `total_pulse_s`, `dead_time_s` (P, N) untrimmed pulse of a sheet; `duty` (P, N) with the next
    trims, both None where not known. `logged` holds counts and spread of a log, `windows` its
    windows. `travels` is what the next sheet carries on.
    """

    cylinders: tuple[int, ...]
    rpm: FloatArray
    pressure_pa: FloatArray
    lambda_read: FloatArray
    lambda_measured: FloatArray
    measured_percent: FloatArray
    predicted_percent: FloatArray
    round: Round
    trim_shown: FloatArray
    trim_on: str
    reference: str
    score: Score | None
    stops: tuple[str, ...]
    why: Texts
    statements: tuple[str, ...]
    travels: Travels
    total_pulse_s: FloatArray | None = None
    dead_time_s: FloatArray | None = None
    duty: FloatArray | None = None
    logged: Logged | None = None
    windows: WindowPoints | None = None

    @property
    def trims(self) -> Trims:
        """The trims of the round."""
        return self.round.trims


@dataclass(frozen=True)
class Travels:
    """Entries that go on to the next sheet: the run that was used and those before it (P, N), the
    oldest first. Cells that are not complete (Q, N): target and pulse (Q,), air with its band, the
    trim that was to be set, entries and earlier runs."""

    runs: tuple[Entries, ...]
    rest_rpm: FloatArray
    rest_pressure_pa: FloatArray
    rest_target: FloatArray
    rest_pulse_s: FloatArray
    rest_air: FloatArray
    rest_low: FloatArray
    rest_high: FloatArray
    rest_trim: FloatArray
    rest_entries: Entries
    rest_runs: tuple[Entries, ...]


@dataclass(frozen=True)
class WindowPoints:
    """The windows of a log: speed and pressure (W,), lambda as read and exhaust (W, N)."""

    rpm: FloatArray
    pressure_pa: FloatArray
    lambda_read: FloatArray
    egt_k: FloatArray


@dataclass(frozen=True)
class Logged:
    """What stands behind the cells of a log: windows, samples, largest minus smallest window in
    lambda, exhaust temperature (NaN where not logged), all (P, N)."""

    windows: IntArray
    samples: IntArray
    spread: FloatArray
    egt_k: FloatArray


def about_duty(
    duty: FloatArray | None, rpm: FloatArray, pressure_pa: FloatArray, cylinders: Sequence[int],
    limits: Limits, why_not: str,
) -> list[str]:
    """Cells in which an injector would be open for too long with the next trims."""
    if duty is None:
        return [f"injector duty with the next trims was not checked: {why_not}"]
    out = []
    highest = np.nan_to_num(duty).max(axis=1)
    for k in np.flatnonzero(highest > limits.duty_max):
        who = cylinders[int(np.nan_to_num(duty[k]).argmax())]
        out.append(f"injector duty {highest[k] * 100:.0f} % with the next trims at cylinder {who}, "
                   f"{cell_name(rpm[k], pressure_pa[k])}: above {limits.duty_max * 100:g} % "
                   f"({limits.origin('duty_max')})")
    return out


def about_sets(case: Case) -> tuple[str, ...]:
    """Which injector sets the trims in the engine and the next ones are for."""
    names = [s.name for s in case.fuel.stages if s.trimmed]
    if not names:
        return ()
    return (f"trims in the engine and next trims are those of set {' and '.join(names)}, "
            f"{enlargement(case):.3g} times the change of all fuel at the ports",)


def flips_of(rpm: FloatArray, pressure_pa: FloatArray, air_percent: FloatArray) -> tuple[str, ...]:
    """Sign flips of the air between neighbouring cells; a cell not measured is no neighbour."""
    rows, columns = np.unique(rpm), np.unique(pressure_pa)
    grid = np.zeros((len(rows), len(columns), air_percent.shape[1]))
    grid[np.searchsorted(rows, rpm), np.searchsorted(columns, pressure_pa)] = air_percent
    return sign_flips(np.nan_to_num(grid), "rpm", rows.tolist(), "kPa absolute",
                      (columns / 1e3).tolist())
