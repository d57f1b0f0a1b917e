"""Jets of the entries at the mouths: which are rammed, which lie short of the recovery."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from distrib.build.draws import Draws
from distrib.build.entries import WIDE_OPEN_DEG, last_duct
from distrib.build.laws import LawBook
from distrib.build.pipes import given
from distrib.case.schema import Entry, Plenum, Runner
from distrib.losses import jets
from distrib.losses.registry import law
from distrib.network.graph import FlowGraph
from distrib.results import FloatArray

NO_JET = 1e-6
"""Coefficients below this are left out."""


@dataclass(frozen=True)
class MouthJets:
    """Coefficients of an entry's jet at the mouths of its plenum, on the head in the entry, (N,).

    `sigma` is 1-sigma of what the jet does, one draw for all mouths; `thrown` is the pattern that a
    part-open plate adds at plus one sigma, signed, one draw of its own.
    """

    value: FloatArray
    sigma: FloatArray
    thrown: FloatArray


def add_jets(flow: FlowGraph, entry: Entry, plenum: Plenum, runners: list[Runner], book: LawBook,
             draws: Draws) -> None:
    """Let the entry's jet act on the mouths of its plenum, unless the case chooses no jets.

    A strength given in the case multiplies all that the jet does, and its uncertainty replaces the
    law's; the open sign of a part-open plate's throw stays a draw of its own.
    """
    if book.choice.jet == "none":
        book.remark(f"entry {entry.name}", "its jet is left out by losses.jet")
        return
    found = mouth_jets(entry, plenum, runners)
    reach = np.maximum(np.abs(found.value), np.abs(found.thrown)).max(initial=0.0)
    if reach < NO_JET:
        return
    names = ("jet-center.head", "jet-center.aim") if entry.kind == "center" else (
        "jet-side.borda", "jet-side.recovered")
    for name in names:
        record = law(name)
        book.note(record.name, record.source, record.weak)
    if np.any(found.thrown != 0.0):
        book.remark(f"entry {entry.name}", _throw_words(entry))
    duct, _ = last_duct(entry)
    side = draws.z(f"law.throw.{entry.name}")
    strength, shared = _strength(entry, draws)
    for runner, c, s, t in zip(runners, found.value, found.sigma, found.thrown, strict=True):
        flow.jet(f"runner {runner.cylinder} mouth", duct, strength * (c + s * shared + t * side))


def _strength(entry: Entry, draws: Draws) -> tuple[Any, Any]:
    """Factor on the jet law, and the draw of the law's own uncertainty (0 for a given factor)."""
    if entry.jet is None:
        return 1.0, draws.z(f"law.jet.{entry.kind}")
    return given(draws, f"given.entry.{entry.name}.jet", entry.jet), 0.0


def law_sigma(entry: Entry, plenum: Plenum, runners: list[Runner]) -> float:
    """1-sigma of the law as a part of what the jet does, over all mouths (root mean square).

    0 where the jet reaches no mouth.
    """
    found = mouth_jets(entry, plenum, runners)
    if np.abs(found.value).max(initial=0.0) < NO_JET:
        return 0.0
    return float(np.linalg.norm(found.sigma) / np.linalg.norm(found.value))


def _throw_words(entry: Entry) -> str:
    plate = entry.throttle
    if entry.kind == "center" and plate is not None and plate.throws is not None:
        return f"the part-open plate throws the stream to the {plate.throws} end (own estimate)"
    return ("the part-open plate throws the stream to one side, which one the case does not say: "
            "it widens the band only")


def mouth_jets(entry: Entry, plenum: Plenum, runners: list[Runner]) -> MouthJets:
    """What the jet of one entry does at each mouth of its plenum."""
    _, area = last_duct(entry)
    stations = np.array([r.station_m for r in runners])
    if entry.kind == "center":
        found = _center(entry, plenum, stations, np.array([r.diameter_m for r in runners]), area)
    else:
        found = _along(entry, plenum, stations, area)
    c, s, thrown = _plate_throw(entry, plenum, stations, area)
    return MouthJets(found[0] + c, np.hypot(found[1], s), thrown)


def _center(entry: Entry, plenum: Plenum, stations: FloatArray, bores: FloatArray,
            area: float) -> tuple[FloatArray, FloatArray]:
    depth = _depth(plenum, entry.at_m)
    # with an entry as large as the wall it can spread over there is no jet
    wall = max(plenum.length_m * depth, area)
    baffle = _passed(entry, stations)
    plain, behind = (
        jets.center_entry(
            stations, at_m=entry.at_m, distance_m=depth, entry_diameter_m=_bore(area),
            mouth_diameter_m=bores, reach_area_m2=wall, aim_deg=entry.aim_deg,
            tilt_deg=entry.tilt_deg, offset_m=entry.offset_m, baffle_open_fraction=fraction)
        for fraction in (None, _open_fraction(entry)))
    return (np.where(baffle, behind.c, plain.c), np.where(baffle, behind.sigma, plain.sigma))


def _along(entry: Entry, plenum: Plenum, stations: FloatArray,
           area: float) -> tuple[FloatArray, FloatArray]:
    """Side or ducted stream: points away from its end; mouths behind it feel nothing."""
    origin = entry.at_m
    wide = float(plenum.area_m2(origin))
    if area >= wide:
        return np.zeros(stations.size), np.zeros(stations.size)
    ahead = (-1.0 if entry.end == "far" else 1.0) * (stations - origin)
    baffle = _passed(entry, stations)
    plain, behind = (
        jets.side_entry(np.maximum(ahead, 0.0), area, wide, offset_m=entry.offset_m,
                        baffle_open_fraction=fraction)
        for fraction in (None, _open_fraction(entry)))
    reached = ahead >= -1e-9
    return (np.where(reached, np.where(baffle, behind.c, plain.c), 0.0),
            np.where(reached, np.where(baffle, behind.sigma, plain.sigma), 0.0))


def _open_fraction(entry: Entry) -> float | None:
    return entry.baffle.open_fraction if entry.baffle is not None else None


def _passed(entry: Entry, stations: FloatArray) -> Any:
    """Which mouths lie behind the baffle as the stream sees them; all for one over the entry."""
    if entry.baffle is None:
        return np.zeros(stations.size, dtype=bool)
    if entry.baffle.at_m is None:
        return np.ones(stations.size, dtype=bool)
    way = entry.baffle.at_m - entry.at_m
    return np.sign(way) * (stations - entry.baffle.at_m) >= 0.0


def _plate_throw(entry: Entry, plenum: Plenum, stations: FloatArray,
                 area: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What a part-open plate does: coefficients, their 1-sigma, and a pattern of unknown sign.

    Shaft across the row at a center entry: the stream goes to the end that the case names
    (`throws`); if it names none, to either end. At a side or ducted entry the stream goes to one
    wall, and whether that is the wall of the mouths the case does not say either.
    """
    zero = np.zeros(stations.size)
    plate = entry.throttle
    wide = float(plenum.area_m2(entry.at_m))
    if plate is None or plate.plate_angle_deg >= WIDE_OPEN_DEG or area >= wide:
        return zero, zero, zero
    if entry.kind == "center" and plate.shaft != "across":
        return zero, zero, zero
    fraction = float(law("throttle.area").evaluate(
        plate_deg=plate.plate_angle_deg, closed_deg=plate.closed_angle_deg,
        shaft_over_bore=plate.shaft_diameter_m / plate.bore_m).value)
    away = stations - entry.at_m
    center = entry.kind == "center"
    side = np.where(np.abs(away) > 1e-9, np.sign(away), 0.0) if center else np.ones(stations.size)
    found = jets.throttle_throw(fraction, side, np.abs(away), _bore(area), area, wide)
    if center and plate.throws is not None:
        sign = 1.0 if plate.throws == "far" else -1.0
        return sign * found.c, found.sigma, zero
    return zero, zero, np.asarray(found.c)


def _bore(area: float) -> float:
    return 2.0 * float(np.sqrt(area / np.pi))


def _depth(plenum: Plenum, at_m: float) -> float:
    """Distance across the plenum, from the entry's wall to the mouths' wall."""
    return 2.0 * float(np.sqrt(plenum.area_m2(at_m) / np.pi))
