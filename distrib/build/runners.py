"""Runner mouths and runners as edges of the flow graph."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from distrib.build.draws import Draws
from distrib.build.laws import LawBook
from distrib.build.pipes import bends_loss, circle_m2, friction, given, taper
from distrib.case.schema import Case, Plenum, Runner
from distrib.losses.junctions import BRANCH_LAWS, BranchCoefficients, branch_coefficients
from distrib.losses.registry import law
from distrib.network.graph import FlowGraph

MADE_MOUTH_SIGMA = 0.05
"""Relative 1-sigma of one mouth's loss against its equals: edge finish (own estimate)."""
PORT_SIGMA = 0.005
"""Relative 1-sigma of one port's flow against its equals; benches repeat to 0.5 to 1 % (common
practice, no source)."""
RE_NOMINAL = 1e5
"""Reynolds number at which mouth laws that ask for one are taken: they hardly vary with it."""
PIPE_WALL_OVER_D = 0.04
"""Wall over diameter of a re-entrant pipe when the case is silent: 1.5 to 2 mm on 42 mm."""


def mouth_coefficients(
    runner: Runner, plenum: Plenum, book: LawBook
) -> tuple[BranchCoefficients, BranchCoefficients, float, float]:
    """Branch coefficients for flow from the left and from the right, the correction of k_vv by
    mouth shape and walls, and its 1-sigma."""
    where = f"runner {runner.cylinder} mouth"
    psi = float(plenum.area_m2(runner.station_m)) / circle_m2(runner.diameter_m)
    radius = _radius_over_d(runner)
    name = book.choice.branch
    known = min(radius, 1.0)
    left = _branch(name, psi, runner.angle_deg, known)
    right = _branch(name, psi, 180.0 - runner.angle_deg, known)
    record = law(f"branch.{left.law}")
    book.note(record.name, record.source, record.weak)
    if left.flag == "extrapolated":
        book.outside(where, record.name, left.note)
    change, sigma = _shape(runner, book, where, left)
    return left, right, change, sigma


@lru_cache(maxsize=4096)
def _branch(name: str, psi: float, angle_deg: float, radius_over_d: float) -> BranchCoefficients:
    """Coefficients of a take-off; a study asks for the same ones over and over."""
    return branch_coefficients(name, psi, angle_deg, radius_over_d)


def family_sigma(psi: float, angle_deg: float, law_name: str,
                 radius_over_d: float) -> tuple[float, float]:
    """1-sigma of k_wv and of k_vv along the line on which the branch laws disagree.

    The laws differ most in how much of the stream's head a mouth catches, and those that catch more
    (k_wv more negative) lose more in the mouth (k_vv): from the static law to Bassett's. One draw
    moves both, k_wv up and k_vv down. Each is the largest distance of a law that represents this
    angle from the chosen one over 1.645, so that the 90 % band of this draw reaches it.
    """
    square = abs(angle_deg - 90.0) < 1.0
    names = BRANCH_LAWS if square else ("composite", "bassett", "idelchik")
    own = _branch(law_name, psi, angle_deg, radius_over_d)
    others = [_branch(n, psi, angle_deg, radius_over_d) for n in names]
    return (max(abs(o.k_wv - own.k_wv) for o in others) / 1.645,
            max(abs(o.k_vv - own.k_vv) for o in others) / 1.645)


def _radius_over_d(runner: Runner) -> float:
    if runner.mouth in ("rounded", "bell"):
        return runner.mouth_radius_m / runner.diameter_m
    return 0.0


EDGE_OF_BRANCH = {"composite": "rennels", "rennels": "rennels", "static": "idelchik"}
"""Entrance law that a branch law holds in its term of v^2; the others know the sharp mouth only."""


def _edge(runner: Runner, book: LawBook, where: str, branch: str) -> tuple[float, float]:
    """What a chosen entrance law changes at a flush mouth: its loss less that in the branch law."""
    if book.choice.entrance == "auto" or runner.mouth in ("re-entrant", "bevelled"):
        return 0.0, 0.0
    radius = _radius_over_d(runner)
    own = EDGE_OF_BRANCH.get(branch)
    k, sigma = book.value(where, book.choice.entrance, "entrance", radius_over_d=radius)
    held, _ = book.value(where, own or book.choice.entrance, "entrance",
                         radius_over_d=radius if own else 0.0)
    return k - held, sigma


def _shape(runner: Runner, book: LawBook, where: str,
           left: BranchCoefficients) -> tuple[float, float]:
    """What the mouth's shape and near walls add to k_vv, and the 1-sigma of that."""
    sharp, _ = book.value(where, "entrance.rennels", None, radius_over_d=0.0)
    k_vv = left.k_vv
    change, sigma = _edge(runner, book, where, left.law)
    if runner.mouth == "re-entrant":
        k, s = book.value(where, "auto", "entrance-reentrant", wall_over_d=PIPE_WALL_OVER_D)
        change, sigma = k - sharp, s
    elif runner.mouth == "bevelled":
        k, s = book.value(where, "auto", "entrance-bevelled", angle_deg=45.0,
                          length_over_d=max(runner.mouth_radius_m / runner.diameter_m, 1e-6))
        change, sigma = k - sharp, s
    if runner.wall_clearance_m is not None:
        factor, s = book.value(where, "shroud.wall", None,
                               clearance_over_d=runner.wall_clearance_m / runner.diameter_m)
        entrance = max(k_vv + change, 0.03)
        change += (factor - 1.0) * entrance
        sigma += s * entrance
    if runner.roof_clearance_m is not None and runner.roof_clearance_m < runner.diameter_m:
        rim = 1.0 + 2.0 * _radius_over_d(runner)
        k, s = book.value(where, "auto", "shroud",
                          clearance_over_d=runner.roof_clearance_m / runner.diameter_m,
                          mouth_over_d=rim)
        change += k
        sigma += s
    return change, sigma


def add_mouth(flow: FlowGraph, case: Case, runner: Runner, plenum: Plenum, station: str,
              book: LawBook, draws: Draws) -> None:
    """Add the mouth edge of a runner, from its station to joint `runner N mouth`."""
    c = runner.cylinder
    joint = f"runner {c} mouth"
    made = made_diameter(case, runner, draws)
    area = circle_m2(runner.diameter_m * made)
    own = draws.factor(f"made.mouth.{c}", MADE_MOUTH_SIGMA)
    if runner.entry_loss is not None:
        k_vv = given(draws, f"given.runner.{c}.entry_loss", runner.entry_loss) * own
        flow.mouth(joint, station, joint, area, k_vv=k_vv, cylinder=c)
        return
    left, right, change, sigma = mouth_coefficients(runner, plenum, book)
    law_vv = draws.z("law.branch.mouth") * left.sigma + draws.z("law.mouth.shape") * sigma
    law_ww = draws.z("law.branch.cross") * left.sigma
    psi = float(plenum.area_m2(runner.station_m)) / circle_m2(runner.diameter_m)
    radius = min(_radius_over_d(runner), 1.0)
    family = draws.z("law.branch.family")
    from_left, vv = family_sigma(psi, runner.angle_deg, left.law, radius)
    from_right, _ = family_sigma(psi, 180.0 - runner.angle_deg, left.law, radius)
    k_vv = _floor((left.k_vv + change + law_vv - family * vv) * own)
    flow.mouth(
        joint, station, joint, area, k_ww=left.k_ww + law_ww, k_vv=k_vv,
        k_wv_left=left.k_wv + family * from_left, k_wv_right=right.k_wv + family * from_right,
        factor=(left.a0, left.a1, left.q1, left.a2), cylinder=c,
    )


def _floor(value: Any) -> Any:
    """A mouth cannot gain total pressure from still air: the sampled loss stays at 0.01 or more.

    Samples of a well rounded mouth would otherwise go negative; the floor is below every
    published figure for a bell (0.03)."""
    import numpy as np

    return np.maximum(value, 0.01)


def made_diameter(case: Case, runner: Runner, draws: Draws) -> Any:
    """Diameter as made over diameter as drawn."""
    spread = case.uncertainty.tolerance_m / runner.diameter_m
    return 1.0 + spread * draws.z(f"made.runner.{runner.cylinder}.diameter")


def add_runner(flow: FlowGraph, case: Case, runner: Runner, book: LawBook, draws: Draws) -> None:
    """Add the runner duct from joint `runner N mouth` to joint `port N`."""
    c = runner.cylinder
    where = f"runner {c}"
    made = made_diameter(case, runner, draws)
    d_u, d_v = runner.diameter_m * made, runner.end_diameter_m * made
    area_u, area_v = circle_m2(d_u), circle_m2(d_v)
    flow.joint(f"{where} mouth")
    flow.joint(f"port {c}")
    if runner.loss is not None:
        k = given(draws, f"given.runner.{c}.loss", runner.loss)
        flow.duct(where, f"{where} mouth", f"port {c}", area_u, area_v, k_v_forward=k, k_v_back=k,
                  cylinder=c, length_m=runner.length_m)
        return
    mean = 0.5 * (runner.diameter_m + runner.end_diameter_m)
    nominal, sigma = bends_loss(book, where, runner.bends, mean, runner.roughness_m)
    bends: Any = 0.0
    if nominal > 0.0:
        bends = nominal * draws.factor("law.bend", sigma / nominal)
    cone = taper(book, draws, where, circle_m2(runner.diameter_m), circle_m2(runner.end_diameter_m),
                 runner.length_m)
    step: Any = 0.0
    step_back: Any = 0.0
    if runner.flange_step_m != 0.0:
        ratio = runner.flange_step_m / runner.end_diameter_m
        step, s = book.value(where, "flange.step", None, step_over_d=ratio)
        step_back, _ = book.value(where, "flange.step", None, step_over_d=-ratio)
        scale = draws.factor(f"law.flange.{c}", s / step if step > 0.0 else 0.0)
        step, step_back = step * scale, step_back * scale
    book.value(where, "friction.blended", None, re=RE_NOMINAL,
               rel_rough=runner.roughness_m / mean)
    flow.duct(
        where, f"{where} mouth", f"port {c}", area_u, area_v,
        k_u_forward=cone[0] + 0.5 * bends, k_v_forward=cone[1] + 0.5 * bends + step,
        k_u_back=cone[2] + 0.5 * bends, k_v_back=cone[3] + 0.5 * bends + step_back,
        cylinder=c, length_m=runner.length_m,
        **friction(draws, runner.length_m, d_u, d_v, 0.5 * (area_u + area_v), runner.roughness_m,
                   case.conditions.charge_temperature_k),
    )
