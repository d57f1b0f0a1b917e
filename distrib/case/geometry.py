"""Sizes that follow from a case without physics: stations, distances, areas, volumes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from distrib.case.design import Plenum, Runner, Section
from distrib.case.schema import Case

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


def cylinders(case: Case) -> tuple[int, ...]:
    """Cylinder numbers 1 to N."""
    return tuple(range(1, case.engine.cylinders + 1))


def stations(case: Case, plenum: str) -> tuple[Runner, ...]:
    """Runners of one plenum in the order of their stations, x rising."""
    own = [runner for runner in case.runners if runner.plenum == plenum]
    return tuple(sorted(own, key=lambda runner: (runner.station_m, runner.cylinder)))


def distance_from_entry_m(case: Case) -> NDArray[np.float64]:
    """Axial distance from the nearest entry to each runner mouth, (N,) in order of cylinders.

    A plenum without an entry of its own counts from its balance tube: length of the tube plus the
    way from the entry to it. Infinite when no entry can be reached, which `read_case` refuses.
    """
    import numpy as np

    reach = _reach(case)
    return np.array(
        [
            min(
                (
                    far + abs(case.runner(c).station_m - at)
                    for name, at, far in reach
                    if name == case.runner(c).plenum
                ),
                default=math.inf,
            )
            for c in cylinders(case)
        ]
    )


def _reach(case: Case) -> list[tuple[str, float, float]]:
    """(plenum, axial position, distance from an entry) of every inlet of a plenum."""
    reach = [(entry.plenum, entry.at_m, 0.0) for entry in case.entries]
    for _ in case.balance_tubes:
        for tube in case.balance_tubes:
            ends = (
                (tube.from_plenum, tube.from_at_m, tube.to_plenum, tube.to_at_m),
                (tube.to_plenum, tube.to_at_m, tube.from_plenum, tube.from_at_m),
            )
            for here, here_at, there, there_at in ends:
                known = [far + abs(at - here_at) for name, at, far in reach if name == here]
                new = (there, there_at, min(known, default=math.inf) + tube.length_m)
                if known and new not in reach:
                    reach.append(new)
    return reach


def runner_area_m2(case: Case) -> NDArray[np.float64]:
    """Area behind the mouth of each runner, (N,) in order of cylinders."""
    import numpy as np

    return np.array([math.pi / 4 * case.runner(c).diameter_m ** 2 for c in cylinders(case)])


def inlet_positions_m(case: Case, plenum: str) -> tuple[float, ...]:
    """Axial positions where air comes into a plenum: its entries, else its balance tubes."""
    own = tuple(entry.at_m for entry in case.entries if entry.plenum == plenum)
    if own:
        return own
    ends = [(tube.from_plenum, tube.from_at_m) for tube in case.balance_tubes]
    ends += [(tube.to_plenum, tube.to_at_m) for tube in case.balance_tubes]
    return tuple(at for name, at in ends if name == plenum)


def area_ratio(case: Case, plenum: str) -> float:
    """Sum of the runner areas over the plenum area at its inlet (smallest over the inlets).

    NaN for a plenum without runners.
    """
    runners = stations(case, plenum)
    if not runners:
        return math.nan
    total = sum(math.pi / 4 * runner.diameter_m**2 for runner in runners)
    part = case.plenum(plenum)
    return total / min(float(part.area_m2(at)) for at in inlet_positions_m(case, plenum))


def section_volume_m3(sections: Sequence[Section], length_m: float, profile: str) -> float:
    """Volume of the sections over the length, exact for both profiles."""
    at = [section.at_m for section in sections] + [length_m]
    if profile == "step" or len(sections) == 1:
        return sum(s.area_m2 * (at[i + 1] - at[i]) for i, s in enumerate(sections))
    volume = sections[-1].area_m2 * (length_m - sections[-1].at_m)
    for a, b in pairwise(sections):
        mean = (a.area_m2 + math.sqrt(a.area_m2 * b.area_m2) + b.area_m2) / 3.0
        volume += mean * (b.at_m - a.at_m)
    return volume


def plenum_volume_m3(plenum: Plenum) -> float:
    """Inside volume: as given, else sections times length."""
    if plenum.volume_m3 is not None:
        return plenum.volume_m3
    return section_volume_m3(plenum.sections, plenum.length_m, plenum.profile)


def total_plenum_volume_m3(case: Case) -> float:
    """Inside volume of all plenums."""
    return sum(plenum_volume_m3(plenum) for plenum in case.plenums)


def cylinder_volume_m3(case: Case) -> float:
    """Swept volume of one cylinder."""
    return math.pi / 4 * case.engine.bore_m**2 * case.engine.stroke_m


def clearance_volume_m3(case: Case) -> float:
    """Volume of one cylinder at top dead centre."""
    return cylinder_volume_m3(case) / (case.engine.compression_ratio - 1.0)


def displacement_m3(case: Case) -> float:
    """Swept volume of the engine."""
    return case.engine.cylinders * cylinder_volume_m3(case)


def firing_angle_deg(case: Case) -> NDArray[np.float64]:
    """Crank angle at which each cylinder fires, 0 for the first of the firing order, (N,).

    In order of cylinders; each angle is the sum of the firing intervals before it.
    """
    import numpy as np

    angles = np.zeros(case.engine.cylinders)
    angle = 0.0
    for cylinder, step in zip(
        case.engine.firing_order, case.engine.firing_intervals_deg, strict=True
    ):
        angles[cylinder - 1] = angle
        angle += step
    return angles
