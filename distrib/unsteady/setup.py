"""What the unsteady solver is told: ducts, what their ends are joined to, cylinders, conditions.

Plain frozen dataclasses of numbers and arrays, SI units, angles in crank degrees; no case file.
Each duct runs along its own x from 0 to `length_m`; its end "left" is x = 0, "right" is x = length.
Names are positions: `ToVolume(2)` is the third of `UnsteadySetup.volumes`.

`problems(setup)` finds every mistake at once; `solve` and `run_many` call it before any work.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from distrib.constants import R_DRY_AIR
from distrib.errors import Problem
from distrib.results import FloatArray


@dataclass(frozen=True)
class Closed:
    """A rigid wall."""


@dataclass(frozen=True)
class Transmissive:
    """Waves leave without reflection (to first order); meant for tests and long-pipe studies."""


@dataclass(frozen=True)
class ToVolume:
    """End that opens into a reservoir, a storage volume or a cylinder-less space.

    `loss_in`: total-pressure loss over the duct's velocity head when gas enters the duct, >= 0
    (0 is a perfect bell). `loss_out`: loss besides the velocity head itself, which is always lost
    when gas leaves, >= 0. `end_correction_m` lengthens the duct by the inertia of the air outside
    (0.6133 a unflanged, 0.8216 a flanged, a = radius).
    """

    volume: int
    loss_in: float = 0.0
    loss_out: float = 0.0
    end_correction_m: float = 0.0


@dataclass(frozen=True)
class ToJunction:
    """End that meets other ends in a point without volume.

    With `total` the loss counts from total pressure (Bernoulli between ends without loss);
    without, all ends share one static pressure. `loss_in` acts when gas leaves this duct into the
    junction, `loss_out` when gas enters this duct from it; both on this duct's velocity head.
    """

    junction: int
    total: bool = False
    loss_in: float = 0.0
    loss_out: float = 0.0


@dataclass(frozen=True)
class ToThrottle:
    """End at one side of a throttle; exactly two ends share one throttle."""

    throttle: int


@dataclass(frozen=True)
class ToValve:
    """End at the intake valve of a cylinder; `share` of its effective area (twin ports: 0.5)."""

    cylinder: int
    share: float = 1.0


@dataclass(frozen=True)
class TakeOff:
    """End that opens sideways into another duct (a runner mouth or a center entry in a plenum).

    The mouth covers `at_m - width_m/2 .. at_m + width_m/2` of duct `duct`. Gas entering this end
    comes from the local static pressure of those cells, with the loss
    `rho/2 F(q) (k_ww W^2 + k_wv W v + k_vv v^2)` in total pressure (W cross-flow, v speed in this
    duct, F = a0 + a1 q below q1, a2 beyond; `branch_left` for flow that comes from x = 0,
    `branch_right` for flow from the far end; each (k_ww, k_wv, k_vv, a0, a1, q1, a2)).
    The header's run loses total pressure K = c0 + c1 q' + c2 q'^2 + c8 q'^8 on its head before
    the mouth (`run`), and the leaving gas takes `momentum` times its axial momentum (1 with a
    run law in total pressure). Gas leaving this end into the header loses its velocity head and
    `loss_out` of it more, and brings `join_cos` of its momentum along the header axis (+x).
    `jets`: pairs (jet number of `UnsteadySetup.jets`, c): the mouth sees c times its head more.
    """

    duct: int
    at_m: float
    width_m: float
    branch_left: tuple[float, ...] = (1.0, 0.0, 0.5, 1.0, 0.0, 2.0, 1.0)
    branch_right: tuple[float, ...] = (1.0, 0.0, 0.5, 1.0, 0.0, 2.0, 1.0)
    run: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    momentum: float = 1.0
    loss_out: float = 0.0
    join_cos: float = 0.0
    jets: tuple[tuple[int, float], ...] = ()
    end_correction_m: float = 0.0


End = Closed | Transmissive | ToVolume | ToJunction | ToThrottle | ToValve | TakeOff


@dataclass(frozen=True)
class Duct:
    """One duct with a straight-lined profile of area over x.

    `x_m` increases from 0 to the length, `area_m2` stands at those points (two points at least).
    `hydraulic_diameter_m`: one value per point; None means round. `losses`: (from_m, to_m, K):
    bends and lumped losses, K on the local velocity head, spread over that stretch, either
    direction. `wall_temperature_k` None means no heat exchange. `friction`: factor on the law of
    wall friction; 0: smooth as glass in theory. `start`: state at time 0 where it is not the
    ambient.
    """

    name: str
    x_m: FloatArray
    area_m2: FloatArray
    left: End
    right: End
    hydraulic_diameter_m: FloatArray | None = None
    roughness_m: float = 0.0
    friction: float = 1.0
    wall_temperature_k: float | None = None
    losses: tuple[tuple[float, float, float], ...] = ()
    cells: int | None = None
    start: Start | None = None

    @property
    def length_m(self) -> float:
        """Length without end corrections, m."""
        return float(self.x_m[-1])


@dataclass(frozen=True)
class Start:
    """Start state along a duct, linear between points; step changes by repeated x."""

    x_m: FloatArray
    p_pa: FloatArray
    t_k: FloatArray
    u_m_s: FloatArray
    burned: FloatArray


@dataclass(frozen=True)
class Volume:
    """A space without velocity: endless (a reservoir, `volume_m3` None) or finite."""

    name: str
    volume_m3: float | None
    pressure_pa: float
    temperature_k: float
    burned: float = 0.0


@dataclass(frozen=True)
class Throttle:
    """A restriction between two duct ends: effective area (discharge coefficient included)."""

    name: str
    effective_area_m2: float


@dataclass(frozen=True)
class Cylinder:
    """One cylinder. Angles are degrees after its own firing TDC (see `distrib.engine.valves`).

    `intake_area_m2`, `exhaust_area_m2`: effective areas at 0, 720/n, ... degrees (the table of
    `ValveFlow.area_table`). The closed part runs from `intake_closes_deg` to `exhaust_opens_deg`
    of the next cycle; there the state follows `distrib.engine.closed`: temperature at opening
    T = closed_gain T_trapped + closed_rise (fresh air / trapped mass), both from
    `unsteady.cylinders.closed_coefficients`. `unburned_share`: part of the fresh air that does not
    burn (1 - 1/lambda if lean).
    """

    name: str
    tdc_deg: float
    bore_m: float
    stroke_m: float
    rod_m: float
    compression_ratio: float
    intake_area_m2: FloatArray
    exhaust_area_m2: FloatArray
    intake_closes_deg: float
    exhaust_opens_deg: float
    exhaust_pressure_pa: float
    closed_gain: float
    closed_rise_k: float
    unburned_share: float = 0.0


@dataclass(frozen=True)
class UnsteadySetup:
    """A whole problem. `rpm` None: no crank; the solver then runs in time only.

    `ambient_*` is the start state of every duct without its own, and the reference density of the
    volumetric efficiency. `jets`: (duct, end "left"|"right") whose velocity head feeds
    the `jets` of take-offs while gas leaves that end. Limits of the model: ratio of specific
    heats 7/5 and one gas constant everywhere; burned gas differs by its temperature only.
    """

    ducts: tuple[Duct, ...]
    volumes: tuple[Volume, ...] = ()
    junctions: int = 0
    throttles: tuple[Throttle, ...] = ()
    cylinders: tuple[Cylinder, ...] = ()
    jets: tuple[tuple[int, str], ...] = ()
    rpm: float | None = None
    ambient_pressure_pa: float = 101325.0
    ambient_temperature_k: float = 293.15
    reference_pressure_pa: float | None = None
    reference_temperature_k: float | None = None
    gas_constant_j_kg_k: float = R_DRY_AIR
    viscous: bool = True
    record: tuple[int, ...] = field(default=())
    title: str = ""


def _duct_problems(k: int, duct: Duct) -> list[Problem]:
    where = f"ducts[{k}] {duct.name}"
    out: list[Problem] = []
    x, a = np.asarray(duct.x_m, float), np.asarray(duct.area_m2, float)
    if x.ndim != 1 or x.size < 2 or x[0] != 0.0 or np.any(np.diff(x) <= 0.0):
        out.append(Problem(f"{where}.x_m", str(x), "at least 2 points, increasing from 0"))
    if a.shape != x.shape or not np.all(np.isfinite(a)) or np.any(a <= 0.0):
        out.append(Problem(f"{where}.area_m2", str(a), "one positive area per point of x_m"))
    if duct.roughness_m < 0.0:
        out.append(Problem(f"{where}.roughness_m", str(duct.roughness_m), "0 or more"))
    for x0, x1, loss in duct.losses:
        if not (0.0 <= x0 < x1 <= x[-1] + 1e-12 and loss >= 0.0):
            out.append(Problem(f"{where}.losses", f"({x0}, {x1}, {loss})",
                               "0 <= from < to <= length and K >= 0"))
    if duct.cells is not None and duct.cells < 2:
        out.append(Problem(f"{where}.cells", str(duct.cells), "2 or more"))
    return out


def _end_problems(setup: UnsteadySetup, where: str, end: End) -> list[Problem]:
    def index(value: int, count: int, what: str) -> list[Problem]:
        if 0 <= value < count:
            return []
        return [Problem(where, f"{what} {value}", f"0 to {count - 1}" if count else f"no {what}")]

    out: list[Problem] = []
    if isinstance(end, ToVolume):
        out += index(end.volume, len(setup.volumes), "volume")
    elif isinstance(end, ToJunction):
        out += index(end.junction, setup.junctions, "junction")
    elif isinstance(end, ToThrottle):
        out += index(end.throttle, len(setup.throttles), "throttle")
    elif isinstance(end, ToValve):
        out += index(end.cylinder, len(setup.cylinders), "cylinder")
    elif isinstance(end, TakeOff):
        out += index(end.duct, len(setup.ducts), "duct")
        if not out:
            length = setup.ducts[end.duct].length_m
            if not (0.0 <= end.at_m <= length and end.width_m > 0.0):
                out.append(Problem(where, f"mouth at {end.at_m} m, width {end.width_m} m",
                                   f"inside 0 to {length} m, width above 0"))
        out += [p for j, _ in end.jets for p in index(j, len(setup.jets), "jet")]
    losses = [getattr(end, name, 0.0) for name in ("loss_in", "loss_out", "end_correction_m")]
    if min(losses) < 0.0:
        out.append(Problem(where, str(losses), "losses and end correction 0 or more"))
    return out


def _cylinder_problems(setup: UnsteadySetup) -> list[Problem]:
    out: list[Problem] = []
    if setup.cylinders and not (setup.rpm is not None and setup.rpm > 0.0):
        out.append(Problem("rpm", str(setup.rpm), "a positive speed, since there are cylinders"))
    ends = [e for d in setup.ducts for e in (d.left, d.right)]
    for k, c in enumerate(setup.cylinders):
        where = f"cylinders[{k}] {c.name}"
        if not 0.0 < c.exhaust_opens_deg < c.intake_closes_deg < 720.0:
            out.append(Problem(where, f"exhaust opens {c.exhaust_opens_deg:g} deg, intake closes "
                               f"{c.intake_closes_deg:g} deg", "0 < opens < closes < 720"))
        if not (c.rod_m > 0.5 * c.stroke_m > 0.0 and c.compression_ratio > 1.0 and c.bore_m > 0.0):
            out.append(Problem(where, "bore, stroke, rod, compression ratio",
                               "positive, rod above half the stroke, ratio above 1"))
        for name in ("intake_area_m2", "exhaust_area_m2"):
            table = np.asarray(getattr(c, name), float)
            if table.ndim != 1 or table.size < 2 or not (table >= 0.0).all() or not table.any():
                out.append(Problem(f"{where}.{name}", f"{table.size} values",
                                   "areas of 0 or more over the cycle, some above 0"))
        if not c.exhaust_pressure_pa > 0.0:
            out.append(Problem(f"{where}.exhaust_pressure_pa", f"{c.exhaust_pressure_pa}",
                               "above 0"))
        share = sum(e.share for e in ends if isinstance(e, ToValve) and e.cylinder == k)
        if abs(share - 1.0) > 1e-9:
            out.append(Problem(where, f"valve shares sum to {share:g}", "1"))
    return out


def problems(setup: UnsteadySetup) -> Sequence[Problem]:
    """Every mistake of a setup, in order; empty if it can be solved."""
    out: list[Problem] = []
    if not setup.ducts:
        out.append(Problem("ducts", "none", "at least one duct"))
    counts = np.zeros(len(setup.throttles), dtype=int)
    meets = np.zeros(setup.junctions, dtype=int)
    for k, duct in enumerate(setup.ducts):
        out += _duct_problems(k, duct)
        for side, end in (("left", duct.left), ("right", duct.right)):
            out += _end_problems(setup, f"ducts[{k}] {duct.name}.{side}", end)
            if isinstance(end, ToThrottle) and 0 <= end.throttle < counts.size:
                counts[end.throttle] += 1
            if isinstance(end, ToJunction) and 0 <= end.junction < meets.size:
                meets[end.junction] += 1
            if isinstance(end, TakeOff) and end.duct == k:
                out.append(Problem(f"ducts[{k}] {duct.name}.{side}", "a take-off of itself",
                                   "another duct"))
    out += [Problem(f"junction {k}", f"{n} ends", "2 or more ends")
            for k, n in enumerate(meets) if n < 2]
    for k, n in enumerate(counts):
        if n != 2:
            out.append(Problem(f"throttles[{k}]", f"{n} ends", "exactly 2 ends"))
        if setup.throttles[k].effective_area_m2 < 0.0:
            out.append(Problem(f"throttles[{k}]", "negative area", "0 or more"))
    for k, v in enumerate(setup.volumes):
        size = v.volume_m3
        if not (v.pressure_pa > 0.0 and v.temperature_k > 0.0 and (size is None or size > 0.0)):
            out.append(Problem(f"volumes[{k}] {v.name}", f"{v}", "positive p, T and volume"))
    if not (setup.ambient_pressure_pa > 0.0 and setup.ambient_temperature_k > 0.0):
        out.append(Problem("ambient", f"{setup.ambient_pressure_pa} Pa, "
                           f"{setup.ambient_temperature_k} K", "positive"))
    return out + _cylinder_problems(setup)
