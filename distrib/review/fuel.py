"""Rules on fuel: can single cylinders be trimmed, does fuel follow the air, is there room."""

from __future__ import annotations

from typing import Final

from distrib.build.fuel_sets import fuel_sets
from distrib.fuelling import fuels, injectors
from distrib.results import Source
from distrib.review.rules import PRACTICE, Limits, Outcome, Rule, missing
from distrib.review.subject import Subject

DUTY_SOURCE: Final = Source(
    "injector-duty",
    "fuel per cycle over injector flow (arithmetic); limit 80 to 90 % in use is a trade rule",
    "common practice",
)


def check_injection(subject: Subject, limits: Limits) -> Outcome:
    """Only sequential injection can trim single cylinders."""
    mode, stages = subject.case.fuel.injection, subject.case.fuel.stages
    if mode == "sequential" and stages and not any(s.trimmed for s in stages):
        return Outcome("ask", "sequential, but no injector set at the cylinders takes trims: only "
                       "the metal can even them")
    if mode == "sequential":
        return Outcome("ok", "sequential: single cylinders can be trimmed")
    return Outcome(
        "ask", f"{mode} injection cannot trim single cylinders: only the metal can even them"
    )


def check_air_following(subject: Subject, limits: Limits) -> Outcome:
    """Share of the fuel that enters before or in the plenum, percent."""
    value = 100.0 * subject.case.fuel.air_following_fraction
    if value == 0.0:
        return Outcome("ok", "all fuel enters at the ports", value)
    return Outcome(
        limits.grade(value),
        f"{value:.0f} % of the fuel follows the air; it divides as the air does, wets the plenum "
        "and cannot be trimmed",
        value,
    )


def check_duty(subject: Subject, limits: Limits) -> Outcome:
    """Share of the cycle that the injectors are open at the highest flow, percent; of several sets
    the one that is open longest."""
    case = subject.case
    found: list[tuple[float, str, str]] = []
    lacking = []
    for item in fuel_sets(case):
        name = f" of set {item.stage.name}" if item.stage.name else ""
        if item.injectors is None or item.rail_pressure_pa is None:
            lacking.append(name)
            continue
        dead = "" if item.injectors.dead_time else ", its dead time not given and left out"
        found.append((_open_percent(subject, item.injectors, item.rail_pressure_pa), name, dead))
    if lacking:
        return missing(f"injector flow and dead time{' and'.join(lacking)}")
    value, name, dead = max(found)
    if not limits.overridden:
        limits = Limits(100.0 * case.limits.duty_max, 100.0, limits.sense)
    reason = dict(case.limits.reasons).get("duty_max", "")
    return Outcome(
        limits.grade(value),
        f"injector{name} open {value:.0f} % of the cycle at {subject.rpm:.0f} rpm "
        f"({subject.flow_basis}), before any trim that adds fuel{dead}",
        value,
        limits.limit,
        reason,
    )


def _open_percent(subject: Subject, made: injectors.InjectorSet, rail_pressure_pa: float) -> float:
    """Share of the cycle that one injector of a set is open, percent."""
    fuel = subject.case.fuel
    burned = fuels.fuel(fuel.kind, fuel.ethanol_volume_fraction)
    flow = injectors.flow_at_pressure(made.static_flow_kg_s, made.at_pressure_pa, rail_pressure_pa)
    air = subject.mass_flow / len(subject.case.runners) * 120.0 / subject.rpm
    part = fuels.fuel_mass(air, fuel.lambda_target, burned) * made.share / made.per_cylinder
    dead = max((seconds for _, seconds in made.dead_time), default=0.0)
    return 100.0 * float(injectors.duty(injectors.effective_pulse(part, flow) + dead, subject.rpm))


RULES: Final = (
    Rule(
        "injection-mode",
        "fuel",
        "Injection that can trim",
        checks="sequential injection with the true cylinder phase",
        why="paired and batch firing give the same pulse to several cylinders",
        todo="wire it sequentially, or even the air by the metal",
        origin=PRACTICE,
        test=check_injection,
    ),
    Rule(
        "fuel-in-plenum",
        "fuel",
        "Fuel that follows the air",
        checks="share of the fuel that enters before or in the plenum",
        why="that share divides as the air does: it hides the uneven air and wets the walls",
        todo="move the stage to the ports, or keep it for full load only",
        origin=PRACTICE,
        test=check_air_following,
        unit="%",
        sense="at most",
        limit=5.0,
        hard=60.0,
    ),
    Rule(
        "injector-duty",
        "fuel",
        "Room left in the injectors",
        checks="share of the cycle that the injectors are open at the highest flow",
        why="a trim that adds fuel needs room; a saturated injector makes its cylinder lean",
        todo="larger injectors or more pressure, or less air",
        origin=DUTY_SOURCE,
        test=check_duty,
        unit="%",
        sense="at most",
        limit=85.0,
        hard=100.0,
    ),
)
