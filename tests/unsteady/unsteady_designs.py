"""Invented engine intakes for the tests of the unsteady solver; no measured object."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from distrib.engine.firing import tdc_offsets_deg
from distrib.engine.valves import ValveFlow, exhaust_events, intake_events
from distrib.unsteady.cylinders import make_cylinders
from distrib.unsteady.setup import (
    Closed,
    Duct,
    TakeOff,
    ToJunction,
    ToValve,
    ToVolume,
    UnsteadySetup,
    Volume,
)

FOUR = (1, 3, 4, 2)
SIX = (1, 5, 3, 6, 2, 4)


def round_area(diameter_m: float) -> float:
    return 0.25 * np.pi * diameter_m**2


def intake(rpm: float = 6000.0, order: tuple[int, ...] = FOUR, runner_m: float = 0.35,
           runner_d: float = 0.042, plenum_m: float = 0.4, plenum_d: float = 0.09,
           closes: float = 60.0, pressure_pa: float = 101325.0, back_pa: float = 105e3,
           entry: str = "left", lengths: dict[int, float] | None = None) -> UnsteadySetup:
    """Entry pipe, plenum with runners in line, cylinder 1 at x = 0; `entry` "left" or "right"."""
    n = len(order)
    opens_i, closes_i = intake_events(15.0, closes)
    opens_e, closes_e = exhaust_events(55.0, 15.0)
    valves = (ValveFlow(2, 0.034, 0.006, opens_i, closes_i, 0.0095),
              ValveFlow(2, 0.029, 0.006, opens_e, closes_e, 0.009))
    cylinders = make_cylinders(tdc_offsets_deg(order), 0.086, 0.086, 0.143, 10.5, *valves, back_pa)
    area, wide, narrow = round_area(runner_d), round_area(plenum_d), round_area(0.07)
    dump = (1.0 - narrow / wide) ** 2
    pipe = Duct("entry", np.array([0.0, 0.25]), np.array([narrow, narrow]), ToVolume(0, 0.05),
                ToJunction(0, True, dump, 0.3))
    side, wall = ToJunction(0, True), Closed()
    plenum = Duct("plenum", np.array([0.0, plenum_m]), np.array([wide, wide]),
                  side if entry == "left" else wall, wall if entry == "left" else side)
    runners = tuple(
        Duct(f"runner {k + 1}", np.array([0.0, length]), np.array([area, area]),
             TakeOff(1, plenum_m * (k + 0.5) / n, runner_d), ToValve(k), roughness_m=1e-5)
        for k, length in ((k, (lengths or {}).get(k + 1, runner_m)) for k in range(n)))
    return UnsteadySetup(
        ducts=(pipe, plenum, *runners),
        volumes=(Volume("outside", None, pressure_pa, 293.15),), junctions=1,
        cylinders=cylinders, rpm=rpm, ambient_pressure_pa=pressure_pa, record=(1,))


def single(rpm: float, runner_m: float = 0.35, closes: float = 60.0) -> UnsteadySetup:
    """One cylinder with a runner that begins in the open."""
    setup = intake(rpm=rpm, order=(1,), closes=closes)
    runner = replace(setup.ducts[2], x_m=np.array([0.0, runner_m]),
                     left=ToVolume(0, 0.05, 0.0, 0.6133 * 0.021))
    return replace(setup, ducts=(runner,), junctions=0, record=())


def mirrored(setup: UnsteadySetup) -> UnsteadySetup:
    """The same metal seen from the other side: plenum axis and cylinders reversed."""
    pipe, plenum, *runners = setup.ducts
    cylinders = tuple(reversed(setup.cylinders))
    n = len(cylinders)
    flipped = replace(plenum, left=plenum.right, right=plenum.left)
    turned = []
    for k, duct in enumerate(reversed(runners)):
        mouth = duct.left
        assert isinstance(mouth, TakeOff)
        turned.append(replace(
            duct, left=replace(mouth, at_m=plenum.length_m - mouth.at_m,
                               branch_left=mouth.branch_right, branch_right=mouth.branch_left),
            right=ToValve(k)))
    assert len(turned) == n
    return replace(setup, ducts=(pipe, flipped, *turned), cylinders=cylinders)
