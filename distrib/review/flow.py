"""Rules on speeds and shares: plenum Mach number, valve Mach index, tuning, spread, lean risk."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

import numpy as np

from distrib.case import geometry
from distrib.numerals import chance_in_words
from distrib.results import Shares, Source
from distrib.review import estimates
from distrib.review.rules import (
    MEMORY,
    Limits,
    Outcome,
    Rule,
    missing,
    not_applicable,
    worst,
)
from distrib.review.subject import Subject, circle_m2

ESTIMATE_REGAIN: Final = 0.8
ESTIMATE_RUNNER_LOSS: Final = 2.0
QUARTER_ORDERS: Final = (3.5, 4.5)
WIDE_BAND: Final = 4.0
"""Width of a band, percent, from which tenths say nothing."""
CHANCE_LEAN: Final = 0.5
CHANCE_WATCH: Final = 0.1
"""Chances of passing the lean limit from which a cylinder is lean, and watched."""

LIMIT_PAIR: Final = Source(
    "limit-pair",
    "rig limit 50 r AR^2/K and pump limit 100 g/2 M^2: small-difference forms of the momentum "
    "balance, r 0.8 and K 2 assumed",
    "computed",
)
PRESSURE_FRACTION: Final = Source(
    "head-over-pressure",
    "dynamic head over static pressure = g/2 M^2 (isentropic flow)",
    "computed",
)
LEAN_LIMITS: Final = Source(
    "lean-limits", "lean from 3 %, watch from 1.5 % deviation", "common practice"
)
ENGINE_SPREAD: Final = Source(
    "engine-spread",
    "air spread at full load: 2 % good, 2 to 6 % typical, above 8 % bad",
    "from memory",
)


def peak_mach(subject: Subject) -> tuple[str, float]:
    """Plenum name and largest axial Mach number at the highest mean flow (estimate)."""
    c = subject.case.conditions
    values = []
    for plenum in subject.case.plenums:
        for at, flow in subject.axial_flow(plenum):
            mach = estimates.mach_number(
                flow, float(plenum.area_m2(at)), c.charge_pressure_pa, c.charge_temperature_k
            )
            values.append((f"plenum {plenum.name} at {at * 1e3:.0f} mm", mach))
    return worst(values, "at most")


def check_plenum_mach(subject: Subject, limits: Limits) -> Outcome:
    """Largest axial Mach number in any plenum."""
    name, value = peak_mach(subject)
    basis = f"({subject.flow_basis}, even shares)"
    if math.isinf(value):
        return Outcome("change", f"{name}: {estimates.mach_text(value)} {basis}", value)
    head = estimates.pump_spread_percent(value)
    return Outcome(
        limits.grade(value),
        f"{name}: Mach {value:.3f}, dynamic head {head:.2g} % of the pressure {basis}",
        value,
    )


def check_valve_mach(subject: Subject, limits: Limits) -> Outcome:
    """Inlet valve Mach index at the highest speed."""
    engine = subject.case.engine
    if engine.intake_valve is None:
        return missing("intake valve: count and diameter")
    value = estimates.mach_index(
        engine.bore_m,
        engine.intake_valve.diameter_m,
        engine.intake_valve.count,
        2.0 * engine.stroke_m * subject.rpm / 60.0,
        estimates.sound_speed_m_s(subject.case.conditions.charge_temperature_k),
    )
    return Outcome(
        limits.grade(value),
        f"index {value:.2f} at {subject.rpm:.0f} rpm (mean flow coefficient "
        f"{estimates.MEAN_VALVE_COEFFICIENT:g}, from memory)",
        value,
    )


def _tuned_by_model(subject: Subject, low: float, high: float) -> Outcome | None:
    found = subject.model("engine")
    if found is None or found.volumetric_efficiency is None or "rpm" not in found.conditions:
        return None
    rpm = np.asarray(found.conditions["rpm"])
    filling = np.nanmean(found.volumetric_efficiency, axis=-1)
    if rpm.size < 3 or not np.isfinite(filling).any():
        return None
    best = float(rpm[int(np.nanargmax(filling))])
    return Outcome(
        "ok" if low <= best <= high else "ask",
        f"engine model fills best at {best:.0f} rpm of the speeds it ran; wanted {low:.0f} to "
        f"{high:.0f}",
        best,
    )


def check_tuning(subject: Subject, limits: Limits) -> Outcome:
    """Tuned speed of the runners against the wanted band; rules of thumb unless waves ran."""
    wanted = subject.case.conditions.wanted_rpm
    if wanted is None:
        return missing("speed band where torque is wanted")
    low, high = min(wanted), max(wanted)
    by_model = _tuned_by_model(subject, low, high)
    if by_model is not None:
        return by_model
    engine = subject.case.engine
    mean_length = float(np.mean([r.length_m for r in subject.case.runners]))
    mean_area = float(np.mean([circle_m2(r.diameter_m) for r in subject.case.runners]))
    sound = estimates.sound_speed_m_s(subject.case.conditions.charge_temperature_k)
    tuned = estimates.helmholtz_rpm(
        mean_length,
        mean_area,
        subject.displacement_m3 / engine.cylinders,
        engine.compression_ratio,
        sound,
    )
    radius = float(np.sqrt(mean_area / np.pi))
    waves = [estimates.quarter_wave_rpm(mean_length, radius, sound, k) for k in QUARTER_ORDERS]
    inside = low <= tuned <= high or any(low <= w <= high for w in waves)
    text = (
        f"rules of thumb: resonator about {tuned:.0f} rpm, quarter wave about "
        f"{waves[1]:.0f} and {waves[0]:.0f} rpm; wanted {low:.0f} to {high:.0f}; "
    )
    text += "rank with it, then run the engine model" if inside else "none lies in the band"
    return Outcome("ok" if inside else "ask", text, tuned)


def _converged(shares: Iterable[Shares]) -> list[Shares]:
    """Results of engine models that have at least one solved point."""
    return [s for s in shares if s.model != "bench" and bool(s.converged.any())]


def _speed(shares: Shares, point: int, alone: bool = False) -> str:
    """` at 4500 rev/min` where a result holds several speeds or `alone`, else nothing."""
    rpm = np.atleast_1d(shares.conditions.get("rpm", np.array([])))
    return f" at {rpm[point]:.0f} rev/min" if rpm.size > (0 if alone else 1) else ""


def _spread(shares: Shares) -> tuple[float, str]:
    good = np.where(shares.converged, shares.spread_percent, np.nan)
    at = int(np.nanargmax(good))
    value = float(good[at])
    named = f"{shares.model} model: largest spread"
    if shares.band is None:
        return value, f"{named} {value:.1f} %{_speed(shares, at)}"
    low = float(shares.band.spread_low_percent[at])
    high = float(shares.band.spread_high_percent[at])
    places = 0 if high - low >= WIDE_BAND else 1
    return value, (f"{named} {value:.{places}f} %{_speed(shares, at)} (band {low:.{places}f} to "
                   f"{high:.{places}f} %)")


def check_spread(subject: Subject, limits: Limits) -> Outcome:
    """Largest predicted spread of the engine models; the two plain limits where none has run."""
    used = _converged(subject.shares)
    if used:
        value, text = max(_spread(shares) for shares in used)
        return Outcome(limits.grade(value), text, value)
    fed = [p for p in subject.case.plenums if subject.runners_of(p)]
    ratio = max(geometry.area_ratio(subject.case, p.name) / subject.streams_of(p) for p in fed)
    rig = estimates.bench_spread_percent(ratio, ESTIMATE_REGAIN, ESTIMATE_RUNNER_LOSS)
    _, mach = peak_mach(subject)
    if math.isinf(mach):
        return Outcome("change", "no model has run; the plenum is choked by the estimated flow")
    pump = estimates.pump_spread_percent(mach)
    verdict = limits.grade(pump)
    if verdict == "ok" and limits.grade(rig) != "ok":
        verdict = "ask"
    return Outcome(
        verdict,
        f"no model has run; plain limits: about {rig:.0f} % on a rig with all runners open, "
        f"{pump:.2g} % if the cylinders were slow pumps; an engine lies between, so run `shares`",
        pump,
    )


def _lean_limits(subject: Subject, limits: Limits) -> Limits:
    """Watch and lean limit of the case, unless the rule itself is overridden."""
    if limits.overridden:
        return limits
    own = subject.case.limits
    return Limits(own.watch_percent, own.lean_percent, limits.sense)


def _lean_reason(subject: Subject) -> str:
    reasons = dict(subject.case.limits.reasons)
    return "; ".join(reasons[k] for k in ("watch_percent", "lean_percent") if k in reasons)


def check_lean(subject: Subject, limits: Limits) -> Outcome:
    """Largest deviation above the mean over all engine models; the chance where a band ran."""
    used = _converged(subject.shares)
    if not used:
        return Outcome("ask", "no engine model has run: lean risk is not known; run `shares`")
    limits = _lean_limits(subject, limits)
    found = []
    for result in used:
        deviation = np.where(result.converged[:, None], result.deviation_percent, np.nan)
        at = np.unravel_index(int(np.nanargmax(deviation)), deviation.shape)
        found.append((float(deviation[at]), int(result.cylinders[at[1]]), result.model,
                      _speed(result, int(at[0]))))
    chances = []
    for s in used:
        if s.band is not None:
            point, _ = np.unravel_index(int(np.nanargmax(s.band.chance_lean)),
                                        s.band.chance_lean.shape)
            chances.append((float(np.nanmax(s.band.chance_lean)),
                            _speed(s, int(point), alone=True)))
    value, cylinder, model, speed = max(found)
    verdict = limits.grade(value)
    text = (
        f"{model} model: cylinder {cylinder} gets {value:+.1f} % air{speed}; more air at equal "
        "fuel burns lean"
    )
    if chances:
        likely, at_speed = max(chances)
        text += (f"; by the band{at_speed} the chance of passing the lean limit is "
                 f"{chance_in_words(likely)}")
        if likely >= CHANCE_LEAN:
            verdict = "change"
        elif likely >= CHANCE_WATCH and verdict == "ok":
            verdict = "ask"
    return Outcome(verdict, text, value, limits.limit, _lean_reason(subject))


def check_bench_limit(subject: Subject, limits: Limits) -> Outcome:
    """Spread on a steady rig, shown so that nobody trims by it."""
    shares = subject.model("bench")
    if shares is None or not bool(shares.converged.any()):
        return not_applicable("the bench model has not run")
    value, text = _spread(shares)
    return Outcome(
        limits.grade(value), f"{text}; a rig overstates the engine, never trim fuel by it", value
    )


def check_nearly_even(subject: Subject, limits: Limits) -> Outcome:
    """Whether the band lets the leanest cylinder change: then say so instead of naming one."""
    shares = subject.engine_shares
    if shares is None or shares.band is None:
        return not_applicable("no band has been sampled")
    value = float(np.nanmin(np.nanmax(shares.band.chance_leanest, axis=-1)))
    return Outcome(
        limits.grade(value),
        f"the leanest cylinder is the same one in {chance_in_words(value)} of the samples at the "
        "least certain speed",
        value,
    )


RULES: Final = (
    Rule(
        "plenum-mach",
        "flow",
        "Speed in the plenum",
        checks="largest axial Mach number in the plenum at the highest mean flow",
        why=(
            "the dynamic head as a share of the pressure is 0.7 M^2: it sets what distribution can "
            "do to the cylinders, and boost alone does not change it"
        ),
        todo="enlarge the section, or feed from the center",
        origin=PRESSURE_FRACTION,
        test=check_plenum_mach,
        unit="-",
        sense="at most",
        limit=0.10,
        hard=0.15,
    ),
    Rule(
        "valve-mach",
        "flow",
        "Inlet valve Mach index",
        checks="mean inlet valve Mach index at the highest speed",
        why="beyond about 0.5 the valve limits the air, whatever the manifold does",
        todo="larger or more valves, more lift, or less speed; do not blame the manifold",
        origin=estimates.MACH_INDEX_SOURCE,
        test=check_valve_mach,
        unit="-",
        sense="at most",
        limit=0.5,
        hard=0.6,
    ),
    Rule(
        "runner-tuning",
        "flow",
        "Runner length and the wanted speeds",
        checks="speed that the runners favour against the speed band wanted",
        why=(
            "waves in the runners can outweigh the plenum, and the acoustic rules of thumb "
            "disagree with each other"
        ),
        todo="use the rules to rank lengths, then run the engine model, then test",
        origin=estimates.THUMB_TUNING,
        test=check_tuning,
        unit="rpm",
        sense="report",
    ),
    Rule(
        "spread",
        "flow",
        "Predicted spread of the air",
        checks="largest minus smallest deviation over the cylinders, worst engine model and speed",
        why="uneven air at even fuel is uneven mixture",
        todo="see the geometry and entry findings; compare with the other entry",
        origin=ENGINE_SPREAD,
        test=check_spread,
        unit="%",
        sense="at most",
        limit=4.0,
        hard=8.0,
    ),
    Rule(
        "lean-risk",
        "flow",
        "Lean risk",
        checks="largest deviation above the mean, and the chance of passing the lean limit",
        why=(
            "the cylinder with more air burns lean at equal fuel and detonates first under boost; "
            "an even prediction is no clearance to lean out"
        ),
        todo="instrument that cylinder first; start richer; change the metal if it stays",
        origin=LEAN_LIMITS,
        test=check_lean,
        unit="%",
        sense="at most",
        limit=1.5,
        hard=3.0,
    ),
    Rule(
        "bench-spread",
        "flow",
        "Spread on a steady rig",
        checks="spread of the bench model, all chosen runners open",
        why="the same plenum shows 15 to 40 % on a rig and far less on the engine",
        todo="use it to compare with flow-bench data, never as a trim",
        origin=LIMIT_PAIR,
        test=check_bench_limit,
        unit="%",
        sense="at most",
        limit=10.0,
    ),
    Rule(
        "rank-certainty",
        "flow",
        "How sure the leanest cylinder is",
        checks="share of the samples in which the same cylinder is the leanest",
        why="near a cancellation of regain and friction a small change flips the order",
        todo="measure before you trust the order; treat two candidates as one",
        origin=MEMORY,
        test=check_nearly_even,
        unit="-",
        sense="at least",
        limit=0.5,
    ),
)
