"""Which of regain and friction wins along a plenum, and how close they come to cancelling.

Along a plenum from an inlet to the dead end the static pressure rises where the stream slows
(regain) and falls by the total-pressure loss of the sections between the mouths (friction). Both
are read from the solved steady network: their difference is exactly the change of static pressure.
Beside them stand the numbers of the continuous header (momentum equation of a dividing header,
dp = -r d(rho W^2/2) - (f/D)(rho W^2/2) dx): m^2 = r AR^2/zeta and K = (f L/D) AR^2/zeta with
AR the mouths' area over the plenum's; the flow is level at the inlet when K = 2 m^2 u(0), u(0) the
first runner's flow over the mean.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from distrib.build.bench import BenchModel, bench_model, run_bench, station_flows
from distrib.build.graph import Station
from distrib.build.pipes import circle_m2
from distrib.case.schema import Case, Plenum
from distrib.constants import GAMMA
from distrib.gas.properties import viscosity_Sutherland
from distrib.losses.friction import darcy
from distrib.network.solve import Solution

NEAR = 0.25
"""Regain and friction count as near cancelling when their difference is below this part of the
larger one (own choice: a draw of the run law alone can then turn the sign)."""
STILL = 1e-9
"""Flow below this part of the largest counts as none."""


@dataclass(frozen=True)
class Balance:
    """Regain against friction along one plenum on the steady rig, mean of its arms.

    regain_pa: static rise where the stream slows, less the run losses, and what the shape of the
    plenum adds or takes. friction_pa: total pressure lost between the stations. ratio: friction
    over regain, infinite without regain. jet_pa: largest effect of an entry jet on a mouth, for
    comparison. m2, k, first_runner: numbers of the continuous header for the arm with the most
    mouths, NaN where it has none. near_cancelling: difference below a quarter of the larger.
    """

    plenum: str
    regain_pa: float
    friction_pa: float
    ratio: float
    winner: Literal["regain", "friction"]
    near_cancelling: bool
    words: str
    arms: int = 1
    jet_pa: float = 0.0
    m2: float = float("nan")
    k: float = float("nan")
    first_runner: float = float("nan")


@dataclass(frozen=True)
class _Face:
    """One face of a station: static pressure, dynamic head (Pa), flow towards +x (kg/s)."""

    p: float
    h: float
    m: float


@dataclass(frozen=True)
class _Arm:
    """Part of a plenum along which the stream keeps its direction; stations in flow order."""

    regain_pa: float
    friction_pa: float
    stations: tuple[Station, ...]
    fed: bool
    start: _Face


def balance(case: Case, *, depression_pa: float | None = None) -> tuple[Balance, ...]:
    """Balance of every plenum of a case, on its bench; one solve of the steady network."""
    model = bench_model(case, depression_pa=depression_pa)
    return balances(model, run_bench(model))


def balances(model: BenchModel, found: Solution, point: int = 0) -> tuple[Balance, ...]:
    """Balance of every plenum from a solved bench model; none where it did not converge."""
    if not bool(found.solved[point]):
        return ()
    return tuple(made for plenum in model.case.plenums
                 if (made := _of_plenum(model, found, point, plenum)) is not None)


@dataclass(frozen=True)
class _State:
    """One point of a solved bench model, with readers for pressures, flows and heads."""

    model: BenchModel
    found: Solution
    point: int

    @property
    def reference_pa(self) -> float:
        return float(np.ravel(self.found.p_reference)[self.point])

    @property
    def pool_pa(self) -> float:
        return self.reference_pa + float(self.model.network.x_fixed[:, self.point].min())

    def flow(self, name: str) -> float:
        network = self.model.network
        return float(self.found.x[network.n_pressures + network.flow[name], self.point])

    def face(self, slot: int, m: float, area_m2: float) -> _Face:
        """Pressure, head and flow at a slot; the head is total less static pressure, exact."""
        p = float(self.found.x[slot, self.point]) + self.reference_pa
        phi = (m / area_m2 / p) ** 2 * float(self.model.network.params.c_node[0, self.point])
        x = 0.4 * phi / (1.0 + np.sqrt(1.0 + 0.8 * phi))
        return _Face(p, p * float(np.expm1(3.5 * np.log1p(x))), m)

    def faces(self, name: str) -> tuple[_Face, _Face]:
        """Left and right face of a station."""
        network = self.model.network
        area = float(self.model.built.graph.nodes[name]["area_m2"])
        made = []
        for slot, k in zip(network.slot[name], station_flows(network, name), strict=True):
            m = float(self.found.x[network.n_pressures + k, self.point]) if k >= 0 else 0.0
            made.append(self.face(slot, m, area))
        return made[0], made[1]

    def density(self, p: float) -> float:
        return p / (GAMMA * float(self.model.network.params.c_node[0, self.point]))


def _of_plenum(model: BenchModel, found: Solution, point: int, plenum: Plenum) -> Balance | None:
    state = _State(model, found, point)
    own = [s for s in model.built.stations if s.plenum == plenum.name]
    faces = [state.faces(s.name) for s in own]
    stop = 1.0 - float(np.ravel(model.built.graph.nodes[own[0].name]["run"][0])[0])
    arms = _arms(own, faces, stop)
    if not arms:
        return None
    regain = float(np.mean([a.regain_pa for a in arms]))
    friction = float(np.mean([a.friction_pa for a in arms]))
    jet = _jet_pa(state, plenum)
    near = abs(regain - friction) < NEAR * max(abs(regain), abs(friction))
    winner: Literal["regain", "friction"] = "regain" if regain > friction else "friction"
    m2, k, first = _header_numbers(state, plenum, max(arms, key=lambda a: len(a.stations)))
    text = _words(plenum.name, regain, friction, near, jet, len(arms))
    return Balance(plenum.name, regain, friction, friction / regain if regain > 0.0 else np.inf,
                   winner, near, text, len(arms), jet, m2, k, first)


def _arms(own: Sequence[Station], faces: Sequence[tuple[_Face, _Face]],
          stop: float) -> list[_Arm]:
    """Runs of stations passed in one direction, from an inlet in the wall or at an end.

    stop: part of its head that a stream wins back where it meets another and comes to rest.
    """
    largest = max(abs(f.m) for pair in faces for f in pair)
    out = []
    for sign in (1.0, -1.0):
        group: list[int] = []
        fed = False
        for i in range(len(own)) if sign > 0.0 else reversed(range(len(own))):
            near, far = faces[i] if sign > 0.0 else faces[i][::-1]
            if sign * near.m > STILL * largest:
                group.append(i)
                continue
            out += _arm(own, faces, group, fed, sign, stop)
            # an inlet in the wall feeds what follows; its own rise belongs to no arm
            fed = sign * far.m > STILL * largest
            group = [i] if fed else []
        out += _arm(own, faces, group, fed, sign, stop)
    return out


def _arm(own: Sequence[Station], faces: Sequence[tuple[_Face, _Face]], group: list[int],
         fed: bool, sign: float, stop: float) -> list[_Arm]:
    """The arm of a group of stations in flow order; `fed`: the first is an inlet's."""
    if len(group) <= fed:
        return []
    pairs = [faces[i] if sign > 0.0 else faces[i][::-1] for i in group]
    regain = 0.0
    for near, far in pairs[1 if fed else 0:]:
        regain += stop * near.h if far.m * sign < 0.0 else far.p - near.p
    friction = 0.0
    for (_, a), (b, _) in pairwise(pairs):
        friction += (a.p + a.h) - (b.p + b.h)
        regain += a.h - b.h
    start = pairs[0][1] if fed else pairs[0][0]
    return [_Arm(regain, friction, tuple(own[i] for i in group), fed, start)]


def _jet_pa(state: _State, plenum: Plenum) -> float:
    """Largest effect of an entry's jet on a mouth of this plenum, Pa, signed."""
    graph = state.model.built.graph
    edges = {d["name"]: (u, v, d) for u, v, d in graph.edges(data=True)}
    own = {f"runner {r.cylinder} mouth" for r in state.model.case.runners
           if r.plenum == plenum.name}
    effects = [0.0]
    for mouth, duct, c, _ in graph.graph["jets"]:
        if mouth in own:
            _, v, data = edges[duct]
            head = state.face(state.model.network.slot[v][0], state.flow(duct),
                              float(np.ravel(data["area_v_m2"])[0])).h
            effects.append(float(np.ravel(c)[0]) * head)
    return max(effects, key=abs)


def _header_numbers(state: _State, plenum: Plenum, arm: _Arm) -> tuple[float, float, float]:
    """m^2, K and u(0) of the continuous header that is most like an arm; NaN without mouths."""
    stations = arm.stations[1 if arm.fed else 0:]
    runners = [(s, c) for s in stations for c in s.runners]
    bores = {r.cylinder: r.diameter_m for r in state.model.case.runners}
    flows = np.array([state.flow(f"open end {c}") for _, c in runners])
    if not runners or arm.start.h <= 0.0 or np.any(flows <= 0.0):
        return np.nan, np.nan, np.nan
    first = arm.stations[0]
    areas = np.array([circle_m2(bores[c]) for _, c in runners])
    zeta = []
    for (station, _), m, area in zip(runners, flows, areas, strict=True):
        p = np.mean([f.p for f in state.faces(station.name)])
        zeta.append((p - state.pool_pa) / (0.5 * (m / area) ** 2 / state.density(float(p))))
    ratio = float(areas.sum()) / first.area_m2
    r = arm.regain_pa / arm.start.h
    diameter = float(plenum.hydraulic_diameter_m(first.x_m))
    viscosity = float(viscosity_Sutherland(state.model.case.conditions.ambient_temperature_k))
    factor = float(darcy(abs(arm.start.m) * diameter / (first.area_m2 * viscosity),
                         plenum.roughness_m / diameter))
    length = abs(stations[-1].x_m - first.x_m)
    scale = ratio**2 / float(np.mean(zeta))
    return r * scale, factor * length / diameter * scale, float(flows[0] / flows.mean())


def _words(plenum: str, regain: float, friction: float, near: bool, jet: float,
           arms: int) -> str:
    """One or two sentences for tables and reports."""
    where = f"plenum {plenum}" + (f" (mean of {arms} arms)" if arms > 1 else "")
    sums = f"regain {regain:+.0f} Pa, losses between the mouths {friction:.0f} Pa on the rig"
    if near:
        text = (f"{where}: regain and friction nearly cancel ({sums}); low confidence in which "
                "end gets more air.")
    elif regain > friction:
        text = f"{where}: regain wins ({sums}): more air away from the entry."
    else:
        text = f"{where}: friction wins ({sums}): more air near the entry."
    if abs(jet) > abs(regain - friction):
        text += (f" The entry jet shifts one mouth by {jet:+.0f} Pa, more than both together: near "
                 "the entry it decides.")
    return text
