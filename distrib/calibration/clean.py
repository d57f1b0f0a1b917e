"""From a raw log to steady windows: medians by cylinder, with counts, spread and what was left out.

Rules (limits in `mapping.CleanRules`, common practice): steady speed and pressure for some seconds,
warm engine, no fuel cut; lambda shifted by the transport delay; saturated sensors, open exhaust
probes and suspected misfire left out and listed; trims and closed-loop corrections that were active
removed, so that the lambda handed on is the one every cylinder would show at the base map's equal
fuel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from distrib.calibration.log import Log, fill_gaps
from distrib.calibration.mapping import CleanRules, LogMapping
from distrib.calibration.pulls import PULLS, passages
from distrib.errors import InputError, Problem
from distrib.results import BoolArray, FloatArray, IntArray

CREDIBLE_PERCENT = 50.0
"""Trims and corrections beyond this are faults of the channel or its unit (own choice)."""
STUCK_SAMPLES = 100
"""Equal readings from which a sensor counts as stuck (own choice)."""


@dataclass(frozen=True)
class Exclusion:
    """Something left out: what, where, how many samples or windows, why."""

    what: str
    where: str
    count: int
    why: str

    def __str__(self) -> str:
        return f"{self.what}, {self.where}: {self.count} left out ({self.why})"


@dataclass(frozen=True)
class Windows:
    """W steady windows and N cylinders.

    `lambda_read` (W, N) medians as read, `lambda_base` (W, N) with active trims and corrections
    removed; `scatter` standard deviation inside the window, `count` samples used. `trim_percent`
    (W, N) active trim, `loop_percent` (W, N) active correction; `egt_k`, `pulse_s` (W, N) medians
    of exhaust temperature and injector pulse, `knock` (W, N) highest of its channel, all NaN where
    not logged. NaN where a cylinder was left out. `lines` (W, 2) first and last line.
    """

    cylinders: tuple[int, ...]
    start_s: FloatArray
    stop_s: FloatArray
    lines: IntArray
    rpm: FloatArray
    pressure_pa: FloatArray
    lambda_read: FloatArray
    lambda_base: FloatArray
    scatter: FloatArray
    count: IntArray
    trim_percent: FloatArray
    loop_percent: FloatArray
    egt_k: FloatArray
    pulse_s: FloatArray
    knock: FloatArray
    exclusions: tuple[Exclusion, ...]
    notes: tuple[str, ...]


def steady_windows(log: Log, mapping: LogMapping) -> Windows:
    """Steady windows of a log. InputError when none is found, with what stood in the way."""
    from distrib.calibration.windows import steady_stretches

    rules = mapping.rules
    rpm, pressure = fill_gaps(log.rpm), fill_gaps(log.pressure_pa)
    usable, out = _usable(log, mapping, rpm, pressure)
    if rules.pull_rpm_within is not None:
        found = passages(rpm, pressure, usable, mapping)
        wanted = (f"no passage of a cell's speed within {rules.pull_rpm_within:g} rpm",
                  "rising speed through the cells of the mapping, pressure within "
                  f"{rules.pressure_within_pa / 1000:g} kPa, {rules.least_samples} samples")
    else:
        most = int((log.time_s[-1] - log.time_s[0]) / rules.shortest_s) + 2
        stretches = np.empty((most, 2), dtype=np.int64)
        found = stretches[:steady_stretches(
            log.time_s, rpm, pressure, usable, 2.0 * rules.rpm_within,
            2.0 * rules.pressure_within_pa, rules.shortest_s, rules.longest_s, stretches)]
        wanted = (f"no steady window of {rules.shortest_s:g} s",
                  f"speed within {rules.rpm_within:g} rpm and pressure within "
                  f"{rules.pressure_within_pa / 1000:g} kPa; for a log of full-throttle pulls set "
                  "pull_rpm_within under [clean]")
    if len(found) == 0:
        reasons = "; ".join([*(str(e) for e in out), _held(log, usable, rpm, pressure)])
        raise InputError([Problem("log", *wanted, reasons, str(log.path), None, "steady")])
    return _measure(log, mapping, rpm, pressure, found, out)


def _late(log: Log, mapping: LogMapping) -> tuple[FloatArray, tuple[str, ...]]:
    """Delay of each sensor, (N,), and what the log's fuel cuts say of it.

    InputError where the mapping takes it from the cuts and they do not show that of every sensor.
    """
    from distrib.calibration.delays import LEAST_CUTS, sensor_delays

    found = sensor_delays(log, mapping)
    delay = np.full(len(log.cylinders), mapping.rules.delay_s)
    if not mapping.rules.delay_from_cuts:
        return delay, tuple(f"{d}; the mapping takes {mapping.rules.delay_s:g} s" for d in found)
    seen = {d.cylinder: d.delay_s for d in found}
    missing = [c for c in log.cylinders if c not in seen]
    if missing:
        raise InputError([Problem(
            "clean.delay", f"no delay of cylinders {', '.join(map(str, missing))} to be seen",
            f"{LEAST_CUTS} fuel cuts of 0.6 s or more in the log, or a delay in seconds",
            "map fuel_cut or pulse", str(log.path), None, "delay")])
    return np.array([seen[c] for c in log.cylinders]), tuple(map(str, found))


def _held(log: Log, usable: BoolArray, rpm: FloatArray, pressure: FloatArray) -> str:
    """What is left to find windows in, in words."""
    count = int(np.count_nonzero(usable))
    if not count:
        return "no row is left"
    lasted = float(log.time_s[-1] - log.time_s[0])
    speed, load = rpm[usable], pressure[usable] / 1e3
    return (f"{count} of {len(usable)} rows are left of {lasted:.0f} s, {np.min(speed):.0f} to "
            f"{np.max(speed):.0f} rpm, {np.min(load):.0f} to {np.max(load):.0f} kPa: speed or "
            "pressure never held still for long")


def _stuck(log: Log) -> BoolArray:
    """Cylinders (N,) whose lambda never moves while that of another does."""
    known = np.isfinite(log.lambda_)
    count = known.sum(axis=1)
    low = np.min(log.lambda_, axis=1, initial=np.inf, where=known)
    high = np.max(log.lambda_, axis=1, initial=-np.inf, where=known)
    still = (count >= STUCK_SAMPLES) & (high <= low)
    return np.asarray(still & bool(np.any(high > low)))


def _usable(
    log: Log, mapping: LogMapping, rpm: FloatArray, pressure: FloatArray
) -> tuple[BoolArray, list[Exclusion]]:
    """Rows that may belong to a window, and what was left out of the others."""
    rules = mapping.rules
    usable = np.isfinite(rpm) & np.isfinite(pressure)
    usable[log.restarts] = False  # no window spans two parts of a log
    out: list[Exclusion] = []

    def drop(mask: BoolArray, what: str, why: str) -> None:
        nonlocal usable
        lost = int(np.count_nonzero(mask & usable))
        if lost:
            usable = usable & ~mask
            out.append(Exclusion(what, "rows of the log", lost, why))

    coolant = log.others.get("coolant")
    if coolant is not None:
        drop(fill_gaps(coolant) < rules.coolant_from_k, "warm-up",
             f"coolant below {rules.coolant_from_k - 273.15:g} degC")
    cut = log.others.get("fuel_cut")
    if cut is not None:
        drop(fill_gaps(cut) == mapping.channels["fuel_cut"].cut_when, "fuel cut", "flag set")
    pulse = log.others.get("pulse")
    if pulse is not None:
        off = np.zeros(len(rpm), dtype=np.bool_)
        for row in pulse:
            off |= fill_gaps(row) <= 0.0
        drop(off, "fuel cut", "an injector pulse of zero")
    drop(rpm <= 0.0, "engine stopped", "speed is zero")
    return usable, out


def _measure(
    log: Log, mapping: LogMapping, rpm: FloatArray, pressure: FloatArray, stretches: IntArray,
    out: list[Exclusion],
) -> Windows:
    """Medians of every window."""
    rules = mapping.rules
    w, n = len(stretches), len(log.cylinders)
    start, stop = log.time_s[stretches[:, 0]], log.time_s[stretches[:, 1] - 1]
    late, about_delay = _late(log, mapping)
    low = np.searchsorted(log.time_s, start[:, None] + late, side="left")
    high = np.searchsorted(log.time_s, stop[:, None] + late, side="right")
    read = np.full((w, n), np.nan)
    scatter = np.full((w, n), np.nan)
    count = np.zeros((w, n), dtype=np.int64)
    trim = np.zeros((w, n))
    loop = np.zeros((w, n))
    saturated = np.zeros((w, n), dtype=np.int64)
    for k in range(w):
        piece = _piece(log.lambda_, low[k], high[k])
        beyond = (piece <= rules.lambda_low) | (piece >= rules.lambda_high)
        good = np.isfinite(piece) & ~beyond
        saturated[k] = np.count_nonzero(beyond, axis=1)
        count[k] = np.count_nonzero(good, axis=1)
        if good.all() and piece.shape[1] >= rules.least_samples:  # the usual case, all at once
            read[k], scatter[k] = np.median(piece, axis=1), np.std(piece, axis=1)
        for c in range(n):
            if count[k, c] >= rules.least_samples and not np.isfinite(read[k, c]):
                values = piece[c][good[c]]
                read[k, c] = np.median(values)
                scatter[k, c] = np.std(values)
        rows = slice(int(stretches[k, 0]), int(stretches[k, 1]))
        trim[k] = _median(log.trim_percent, rows)
        loop[k] = _median(log.loop_percent, rows)
    out.extend(_leave_out(log, rules, read, scatter, count, saturated))
    for stuck in np.flatnonzero(_stuck(log) & np.isfinite(read).any(axis=0)):
        out.append(Exclusion("window with a stuck sensor", f"cylinder {log.cylinders[stuck]}",
                             int(np.isfinite(read[:, stuck]).sum()),
                             "the same reading throughout the log while others move"))
        read[:, stuck] = np.nan
    base = read * (1.0 + trim / 100.0) * (1.0 + loop / 100.0)
    out.extend(_without_trim(log, read, base, trim, loop))
    pulls = rules.pull_rpm_within is not None
    egt = None if pulls else log.others.get("egt")
    if egt is not None:
        egt = _open_probes(log, rules, egt, out)
    return Windows(
        log.cylinders, start, stop,
        np.stack([log.line[stretches[:, 0]], log.line[stretches[:, 1] - 1]], axis=1),
        np.array([np.median(rpm[a:b]) for a, b in stretches]),
        np.array([np.median(pressure[a:b]) for a, b in stretches]),
        read, base, scatter, count, trim, loop, _medians(egt, stretches, n, rules),
        _medians(log.others.get("pulse"), stretches, n, rules),
        _highest(log.others.get("knock"), stretches, n), tuple(out),
        (*log.notes, *(PULLS if pulls else ()), *about_delay, *_removed(trim, loop),
         *_in_windows(log, stretches)),
    )


def _piece(lam: FloatArray, low: IntArray, high: IntArray) -> FloatArray:
    """Readings of a window, (N, samples), each sensor from its own delay on; NaN where shorter."""
    if np.all(low == low[0]) and np.all(high == high[0]):
        return lam[:, low[0] : high[0]]
    out = np.full((len(lam), int((high - low).max())), np.nan)
    for c, (a, b) in enumerate(zip(low, high, strict=True)):
        out[c, : b - a] = lam[c, a:b]
    return out


def _without_trim(
    log: Log, read: FloatArray, base: FloatArray, trim: FloatArray, loop: FloatArray
) -> list[Exclusion]:
    """Windows with a lambda whose trim or correction is not known (blank at the start of the log)
    or not credible; blanks the latter in `base`."""
    out = []
    far = (np.abs(trim) > CREDIBLE_PERCENT) | (np.abs(loop) > CREDIBLE_PERCENT)
    base[far] = np.nan
    for c, cylinder in enumerate(log.cylinders):
        seen = np.isfinite(read[:, c])
        for mask, what, why in (
            (seen & far[:, c], "window with a trim or correction that cannot be",
             f"beyond {CREDIBLE_PERCENT:g} %"),
            (seen & ~far[:, c] & ~np.isfinite(base[:, c]),
             "window without a known trim or correction", "blank up to there"),
        ):
            if mask.any():
                out.append(Exclusion(what, f"cylinder {cylinder}", int(mask.sum()), why))
    return out


def _open_probes(
    log: Log, rules: CleanRules, egt: FloatArray, out: list[Exclusion]
) -> FloatArray:
    """Exhaust temperatures without what an open or shorted probe reads, which is listed."""
    wrong = (egt < rules.egt_low_k) | (egt > rules.egt_high_k)
    for c, cylinder in enumerate(log.cylinders):
        lost = int(np.count_nonzero(wrong[c]))
        if lost:
            out.append(Exclusion(
                "exhaust temperature of an open probe", f"cylinder {cylinder}", lost,
                f"not between {rules.egt_low_k - 273.15:g} and {rules.egt_high_k - 273.15:g} degC"))
    return np.where(wrong, np.nan, egt) if wrong.any() else egt


def _medians(
    values: FloatArray | None, stretches: IntArray, n: int, rules: CleanRules
) -> FloatArray:
    """Medians (W, N) of a channel by cylinder; NaN for too few samples or no such channel."""
    out = np.full((len(stretches), n), np.nan)
    if values is None:
        return out
    for k, (start, stop) in enumerate(stretches):
        piece = values[:, start:stop]
        known = np.isfinite(piece)
        if known.all() and stop - start >= rules.least_samples:  # the usual case, all at once
            out[k] = np.median(piece, axis=1)
            continue
        for c in range(n):
            if np.count_nonzero(known[c]) >= rules.least_samples:
                out[k, c] = np.median(piece[c][known[c]])
    return out


def _highest(values: FloatArray | None, stretches: IntArray, n: int) -> FloatArray:
    """Highest reading (W, N) of a channel by cylinder; NaN where it is blank throughout."""
    out = np.full((len(stretches), n), np.nan)
    if values is not None:
        for k, (start, stop) in enumerate(stretches):
            piece = values[:, start:stop]
            known = np.isfinite(piece).any(axis=1)
            out[k, known] = np.nanmax(piece[known], axis=1)
    return out


def _removed(trim: FloatArray, loop: FloatArray) -> list[str]:
    """What was taken out of the readings, in words."""
    out = []
    for name, values in (("trims", trim), ("closed-loop correction", loop)):
        known = values[np.isfinite(values)]
        if known.size and np.any(known != 0.0):
            out.append(f"{name} active while logging taken out: {known.min():+.1f} to "
                       f"{known.max():+.1f} %")
    return out


_SHOWN = {"exhaust_pressure": (1e-3, 0.0, "kPa absolute"), "fuel_pressure": (1e-3, 0.0, "kPa"),
          "intake_air": (1.0, -273.15, "degC"), "battery": (1.0, 0.0, "V"),
          "duty": (100.0, 0.0, "%")}
"""Channels whose range in the windows is told: scale and offset from SI, unit."""
_USED = frozenset({"coolant", "fuel_cut", "pulse", "egt", "knock", "barometer"})


def _in_windows(log: Log, stretches: IntArray) -> list[str]:
    """Ranges of what else was logged, and what was mapped without a part in the clean-up."""
    inside = np.zeros(len(log.time_s), dtype=np.bool_)
    for start, stop in stretches:
        inside[start:stop] = True
    out = []
    for name, (scale, offset, unit) in _SHOWN.items():
        values = log.others.get(name)
        if values is None or not np.isfinite(values[inside]).any():
            continue
        low, high = (float(f(values[inside])) * scale + offset for f in (np.nanmin, np.nanmax))
        out.append(f"{name.replace('_', ' ')} in the windows: {low:.4g} to {high:.4g} {unit}")
    idle = sorted(set(log.others) - _USED - set(_SHOWN))
    if idle:
        out.append(f"mapped, without a part in the clean-up: {', '.join(idle)}")
    return out


def _median(values: FloatArray, rows: slice) -> FloatArray:
    if values.shape[1] == 1:
        return values[:, 0]
    return np.asarray(np.median(values[:, rows], axis=1), dtype=np.float64)


def _leave_out(
    log: Log, rules: CleanRules, read: FloatArray, scatter: FloatArray, count: IntArray,
    saturated: IntArray,
) -> list[Exclusion]:
    """Blank the windows of a cylinder that cannot be trusted (in place) and list them."""
    out: list[Exclusion] = []
    for c, cylinder in enumerate(log.cylinders):
        where = f"cylinder {cylinder}"
        if saturated[:, c].any():
            out.append(Exclusion(
                "saturated sensor", where, int(saturated[:, c].sum()),
                f"lambda not between {rules.lambda_low:g} and {rules.lambda_high:g}",
            ))
        mostly = saturated[:, c] > count[:, c]
        rough = scatter[:, c] > rules.misfire_scatter
        few = (count[:, c] < rules.least_samples) & ~mostly
        for mask, what, why in (
            (mostly, "window with a saturated sensor", "more than half of its samples"),
            (rough, "window with suspected misfire",
             f"scatter above {rules.misfire_scatter:g} lambda; a misfire reads lean"),
            (few, "window with few samples", f"fewer than {rules.least_samples}"),
        ):
            if mask.any():
                out.append(Exclusion(what, where, int(mask.sum()), why))
                read[mask, c] = np.nan
    return out
