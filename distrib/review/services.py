"""Rules on what is bolted to the plenum: injectors, services, sensors, bosses, test plan."""

from __future__ import annotations

from typing import Final

from distrib.case.schema import Drawing
from distrib.results import Source
from distrib.review.rules import (
    PRACTICE,
    Limits,
    Outcome,
    Rule,
    missing,
    not_applicable,
    worst,
)
from distrib.review.subject import Subject

PCC2_TEST: Final = Source(
    "pneumatic-hazard",
    "a vessel fabricator's note on pneumatic testing (gas stores far more energy than water); "
    "process-piping practice of 1.1 x design with air and 1.5 x with water, quoted by a "
    "secondary page: engine parts are outside these codes, an analogy only",
    "published",
)


def drawing_of(subject: Subject) -> Drawing:
    """The drawing section, empty when the case has none."""
    return subject.case.drawing or Drawing()


def check_injector_aim(subject: Subject, limits: Limits) -> Outcome:
    """What the spray hits, and whether it is the same for all."""
    d = drawing_of(subject)
    if d.injector_aim is None:
        return missing("what the injector spray hits")
    if d.injector_aim == "wall":
        return Outcome("change", "the spray hits a wall: a fuel film, late and uneven")
    if d.injectors_alike is False:
        return Outcome("change", "injectors do not all aim alike")
    if d.injectors_alike is None:
        return missing("whether all injectors have the same aim and distance")
    if d.injector_aim == "mouth":
        return Outcome("ask", "injectors spray into the mouths: part of the fuel follows the air")
    return Outcome("ok", "all injectors aim at the valve back alike")


def check_injector_distance(subject: Subject, limits: Limits) -> Outcome:
    """Injector tip to valve, mm."""
    d = drawing_of(subject)
    if d.injector_to_valve_m is None:
        return missing("distance from injector tip to valve")
    value = d.injector_to_valve_m * 1e3
    return Outcome(limits.grade(value), f"injector tip {value:.0f} mm from the valve", value)


def check_services(subject: Subject, limits: Limits) -> Outcome:
    """No service may enter one runner; the list must be said to be complete."""
    d = drawing_of(subject)
    if not d.services:
        if d.services_complete:
            return Outcome("ok", "the drawing says that there is no service port")
        return missing("service ports (servo, breather, purge), or the word that there are none")
    bad = [s for s in d.services if s.place == "runner"]
    if bad:
        listed = ", ".join(
            s.name + (f" (cylinder {s.cylinder})" if s.cylinder is not None else "") for s in bad
        )
        return Outcome("change", f"into one runner: {listed}")
    end = [s.name for s in d.services if s.place == "plenum end"]
    if end:
        return Outcome(
            "ask", f"at the plenum end: {', '.join(end)}; it favours the cylinder that sits there"
        )
    if not d.services_complete:
        return Outcome("ask", "listed services are well placed; is the list complete?")
    return Outcome("ok", "services are well placed: none in a runner or at an end")


def _in_jet_or_end(subject: Subject, at_m: float) -> tuple[str, float]:
    """What a tap at x suffers from, and its distance to the nearest entry in entry diameters."""
    entries = subject.case.entries
    distance = min(abs(at_m - e.at_m) / e.diameter_m for e in entries)
    longest = max(p.length_m for p in subject.case.plenums)
    ends = [r.station_m for p in subject.case.plenums for r in subject.last_runners(p)]
    beyond = any(
        (at_m > station and station > longest / 2) or (at_m < station and station < longest / 2)
        for station in ends
    )
    return ("in the dead end" if beyond else ""), distance


def _placed(subject: Subject, at_m: float | None, what: str, limits: Limits) -> Outcome:
    if at_m is None:
        return missing(f"position of the {what}")
    trouble, distance = _in_jet_or_end(subject, at_m)
    text = f"{what} at {at_m * 1e3:.0f} mm, {distance:.2f} entry diameters from the entry"
    verdict = limits.grade(distance)
    if trouble:
        return Outcome("ask", f"{text}, {trouble}", distance)
    return Outcome(verdict, text, distance)


def check_pressure_tap(subject: Subject, limits: Limits) -> Outcome:
    """Pressure tap outside the jet and the dead end."""
    return _placed(subject, drawing_of(subject).pressure_tap_at_m, "pressure tap", limits)


def check_temperature_sensor(subject: Subject, limits: Limits) -> Outcome:
    """Air temperature sensor in moving air, not in the dead end."""
    at = drawing_of(subject).temperature_sensor_at_m
    if at is None:
        return missing("position of the air temperature sensor")
    trouble, _ = _in_jet_or_end(subject, at)
    text = f"air temperature sensor at {at * 1e3:.0f} mm"
    return Outcome("ask", f"{text}, {trouble}") if trouble else Outcome("ok", text)


def check_heat_soak(subject: Subject, limits: Limits) -> Outcome:
    """Sensor not warmed by hot metal."""
    soaked = drawing_of(subject).temperature_sensor_soaked
    if soaked is None:
        return missing("whether hot metal warms the air temperature sensor")
    if soaked:
        return Outcome("change", "hot metal warms the air temperature sensor")
    return Outcome("ok", "the sensor is kept from hot metal")


def check_lambda(subject: Subject, limits: Limits) -> Outcome:
    """Mixture sensors: one per port."""
    return _bosses(drawing_of(subject).lambda_bosses, "mixture sensor")


def check_exhaust_temperature(subject: Subject, limits: Limits) -> Outcome:
    """Exhaust temperature probes: one per port."""
    return _bosses(drawing_of(subject).temperature_bosses, "exhaust temperature probe")


def _bosses(where: str | None, what: str) -> Outcome:
    if where is None:
        return missing(f"a boss at each port for: {what}")
    if where == "none":
        return Outcome("change", f"no {what}: the prediction cannot be checked")
    if where == "collector":
        return Outcome("ask", f"{what} in the collector only: it hides the spread")
    return Outcome("ok", f"{what}: a boss at each port")


def check_boss_distance(subject: Subject, limits: Limits) -> Outcome:
    """All bosses at the same distance from the valve."""
    d = drawing_of(subject)
    if d.lambda_bosses != "each port" and d.temperature_bosses != "each port":
        return not_applicable("no boss at each port")
    if d.bosses_alike is None:
        return missing("distance of the bosses from the valve, the same for all")
    if not d.bosses_alike:
        return Outcome("change", "bosses at different distances from the valve")
    return Outcome("ok", "bosses at one distance from the valve")


def check_plenum_taps(subject: Subject, limits: Limits) -> Outcome:
    """Static pressure taps along the plenum, count."""
    count = drawing_of(subject).plenum_taps
    if count is None:
        return missing("static pressure taps along the plenum")
    value = float(count)
    return Outcome(limits.grade(value), f"{count} static pressure taps along the plenum", value)


def check_test_plan(subject: Subject, limits: Limits) -> Outcome:
    """Test plan on the drawing: text, proof medium, acceptance, bench report."""
    d = drawing_of(subject)
    if not d.test_plan:
        return missing("test plan: leak pressure, medium, bench report, acceptance")
    lacking = [
        name
        for name, there in (
            ("leak test pressure", d.leak_test_pressure_pa is not None),
            ("acceptance", bool(d.acceptance)),
            ("bench report", bool(d.bench_report)),
        )
        if not there
    ]
    if lacking:
        return missing(f"in the test plan: {', '.join(lacking)}")
    return Outcome("ok", f"test plan: {d.test_plan}")


def check_leak_pressure(subject: Subject, limits: Limits) -> Outcome:
    """Leak test by air over ambient against the working pressure, ratio."""
    d = drawing_of(subject)
    if d.leak_test_pressure_pa is None:
        return missing("leak test pressure")
    gauge = d.leak_test_pressure_pa - subject.case.conditions.ambient_pressure_pa
    if subject.gauge_pa <= 0.0:
        return Outcome(
            "ok" if gauge <= 70e3 else "ask",
            f"leak test at {gauge / 1e5:.2f} bar gauge on an engine without boost",
        )
    values = [("leak test", gauge / subject.gauge_pa)]
    _, value = worst(values, "at most")
    return Outcome(
        limits.grade(value),
        f"leak test at {gauge / 1e5:.2f} bar gauge = {value:.2f} x working boost",
        value,
    )


RULES: Final = (
    Rule(
        "injector-aim",
        "services",
        "Injector aim",
        checks="what the spray hits, the same for all cylinders",
        why="fuel on a wall arrives late and unevenly and looks like uneven air",
        todo="aim at the back of the valve, all alike",
        origin=PRACTICE,
        test=check_injector_aim,
    ),
    Rule(
        "injector-distance",
        "services",
        "Injector to valve",
        checks="distance from injector tip to valve",
        why="far injectors wet the runner, and the film answers late",
        todo="move the boss towards the head unless staged injection is meant",
        origin=PRACTICE,
        test=check_injector_distance,
        unit="mm",
        sense="at most",
        limit=150.0,
    ),
    Rule(
        "service-ports",
        "services",
        "Service ports",
        checks="servo, breather, purge, nitrous and water: plenum centre or before the throttle",
        why="air, fuel vapour or oil that enters one runner changes that cylinder alone",
        todo="move it to the plenum centre or before the throttle; say when the list is complete",
        origin=PRACTICE,
        test=check_services,
    ),
    Rule(
        "pressure-tap",
        "services",
        "Pressure tap",
        checks="distance of the tap from the entry in entry diameters; not in the dead end",
        why="in the jet it reads low, in the dead end high: the fuel map is built on it",
        todo="place it between the mouths, out of the jet",
        origin=PRACTICE,
        test=check_pressure_tap,
        unit="D",
        sense="at least",
        limit=1.0,
        hard=0.25,
    ),
    Rule(
        "temperature-sensor",
        "services",
        "Air temperature sensor",
        checks="in moving air, not in the dead end",
        why="still air warms and the reading drifts; 3 K are 1 % of fuel",
        todo="place it in the stream before the first mouth",
        origin=PRACTICE,
        test=check_temperature_sensor,
    ),
    Rule(
        "heat-soak",
        "services",
        "Sensor kept from hot metal",
        checks="whether hot metal warms the air temperature sensor",
        why="a soaked sensor reads warm after a stop and takes fuel away",
        todo="mount it in plastic or away from the head",
        origin=PRACTICE,
        test=check_heat_soak,
    ),
    Rule(
        "lambda-bosses",
        "services",
        "Mixture sensor at each port",
        checks="bosses for a mixture sensor at each port",
        why="a sensor in the collector reads the mean and hides a lean cylinder",
        todo="weld a boss in every primary before coating",
        origin=PRACTICE,
        test=check_lambda,
    ),
    Rule(
        "exhaust-bosses",
        "services",
        "Exhaust temperature at each port",
        checks="bosses for an exhaust temperature probe at each port",
        why="trend and change of one cylinder; equal temperature is not equal mixture",
        todo="weld a boss in every primary before coating",
        origin=PRACTICE,
        test=check_exhaust_temperature,
    ),
    Rule(
        "boss-distance",
        "services",
        "Bosses at one distance",
        checks="all bosses at the same distance from the valve",
        why="unequal distance makes unequal readings of equal cylinders",
        todo="use one jig for all bosses",
        origin=PRACTICE,
        test=check_boss_distance,
    ),
    Rule(
        "plenum-taps",
        "services",
        "Static taps along the plenum",
        checks="number of static pressure taps along the plenum",
        why="they show cheaply whether regain or friction wins, before any fuel is changed",
        todo="add plugged taps at the first, middle and last mouth",
        origin=PRACTICE,
        test=check_plenum_taps,
        unit="taps",
        sense="at least",
        limit=2.0,
    ),
    Rule(
        "test-plan",
        "services",
        "Test plan",
        checks="leak pressure, medium, bench report and acceptance on the drawing",
        why="what is not written is not tested",
        todo="write pressure, medium, hold time, acceptance and bench report on the drawing",
        origin=PRACTICE,
        test=check_test_plan,
    ),
    Rule(
        "leak-pressure",
        "services",
        "Leak test by air",
        checks="leak test pressure over ambient against the working boost",
        why="air stores energy and pressure can turn the engine; couplers fly off",
        todo=(
            "find leaks at or below working boost, in steps, with regulator and relief; hands off "
            "the belts; prove strength with water"
        ),
        origin=PCC2_TEST,
        test=check_leak_pressure,
        unit="-",
        sense="at most",
        limit=1.0,
        hard=1.1,
    ),
)
