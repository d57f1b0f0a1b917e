"""Runners, entries and plenums of a case in words: the schedule beside a drawing."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from distrib.report.numbers import both, millimetres, plain

if TYPE_CHECKING:
    from distrib.case.schema import Bend, Case, Entry, Runner


def distances_m(case: Case) -> dict[int, float]:
    """Cylinder to axial distance (m) between its mouth and the nearest entry."""
    from distrib.case.geometry import cylinders, distance_from_entry_m

    return dict(zip(cylinders(case), distance_from_entry_m(case).tolist(), strict=True))


def bends_in_words(bends: tuple[Bend, ...]) -> str:
    """`45 deg R70 mm, 30 deg R60 mm`, or `straight`."""
    return ", ".join(f"{plain(b.angle_deg, 0)} deg R{millimetres(b.radius_m)} mm"
                     for b in bends) or "straight"


def mouth_in_words(runner: Runner) -> str:
    """Shape of the mouth with its radius or bevel where it has one."""
    if runner.mouth_radius_m <= 0.0:
        return runner.mouth
    word = "w" if runner.mouth == "bevelled" else "r"
    return f"{runner.mouth} {word} {millimetres(runner.mouth_radius_m)} mm"


def runner_columns(case: Case) -> list[tuple[str, list[str]]]:
    """Columns (heading, cells) of the runner schedule, one cell per runner in cylinder order."""
    runners = sorted(case.runners, key=lambda r: r.cylinder)
    distances = distances_m(case)
    columns: list[tuple[str, list[str]]] = [
        ("cyl.", [str(r.cylinder) for r in runners]),
        ("from entry", [both(distances[r.cylinder]) for r in runners]),
        ("station", [both(r.station_m) for r in runners]),
        ("length", [both(r.length_m) for r in runners]),
        ("bore at mouth", [both(r.diameter_m) for r in runners]),
        ("bore at flange", [both(r.end_diameter_m) for r in runners]),
        ("mouth", [mouth_in_words(r) for r in runners]),
        ("take-off", [f"{plain(r.angle_deg, 0)} deg" for r in runners]),
        ("bends", [bends_in_words(r.bends) for r in runners]),
    ]
    if any(r.roof_clearance_m is not None for r in runners):
        columns.append(("to far wall", ["not given" if r.roof_clearance_m is None
                                        else both(r.roof_clearance_m) for r in runners]))
    if len(case.plenums) > 1:
        columns.insert(1, ("plenum", [r.plenum for r in runners]))
    return columns


def entry_line(entry: Entry) -> str:
    """One entry in words with its dimensions in both systems."""
    where = {"side": f"side entry at the {entry.end} end",
             "center": f"center entry on the {entry.face} at {both(entry.at_m)}",
             "ducted": f"duct from the {entry.end} end, discharges at {both(entry.at_m)}"}
    parts = [f"{entry.name}: {where[entry.kind]}", f"diameter {both(entry.diameter_m)}",
             f"pipe {both(entry.length_m)}"]
    if entry.tilt_deg:
        parts.append(f"tilt {plain(entry.tilt_deg, 0)} deg")
    if entry.kind != "side":
        parts.append(f"jet {plain(entry.aim_deg, 0)} deg from the way to the mouths")
    if entry.offset_m:
        parts.append(f"offset {both(entry.offset_m)}")
    if entry.bends:
        parts.append(f"bends {bends_in_words(entry.bends)}")
    if entry.diffuser is not None:
        parts.append(f"cone to {both(entry.diffuser.exit_diameter_m)} over "
                     f"{both(entry.diffuser.length_m)}")
    if entry.throttle is not None:
        parts.append(f"throttle {both(entry.throttle.bore_m)}, plate "
                     f"{plain(entry.throttle.plate_angle_deg, 0)} deg open, shaft "
                     f"{entry.throttle.shaft} the row")
    if entry.baffle is not None:
        parts.append(f"baffle {plain(100 * entry.baffle.open_fraction, 0)} % open")
    return "; ".join(parts)


def entry_lines(case: Case) -> list[str]:
    """All entries, balance tubes, sensors, injectors and service ports, one sentence each."""
    lines = [entry_line(entry) for entry in case.entries]
    for tube in case.balance_tubes:
        lines.append(f"balance tube {tube.from_plenum} at {both(tube.from_at_m)} to "
                     f"{tube.to_plenum} at {both(tube.to_at_m)}: diameter "
                     f"{both(tube.diameter_m)}, length {both(tube.length_m)}")
    notes = case.drawing
    if notes is None:
        return lines
    if notes.pressure_tap_at_m is not None:
        lines.append(f"P: pressure tap at {both(notes.pressure_tap_at_m)}")
    if notes.temperature_sensor_at_m is not None:
        lines.append(f"T: air temperature sensor at {both(notes.temperature_sensor_at_m)}")
    if notes.injector_to_valve_m is not None:
        aim = f", aimed at the {notes.injector_aim}" if notes.injector_aim else ""
        lines.append(f"injector tip {both(notes.injector_to_valve_m)} from the valve{aim}")
    for port in notes.services:
        where = port.place if port.cylinder is None else f"{port.place} {port.cylinder}"
        lines.append(f"service port: {port.name}, {where}")
    return lines


def wrap(text: str, width: int) -> list[str]:
    """Lines of at most `width` characters."""
    return textwrap.wrap(text, width) or [""]
