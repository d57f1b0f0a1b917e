"""Take-off from a duct with cross-flow: published chain and Rohde's measured holes."""

from __future__ import annotations

from functools import partial

from distrib.losses import takeoff
from distrib.verification import tees
from distrib.verification.published import Published

CHAIN = "McGreehan and Schotsch (1988)"
ROHDE = "Rohde, Richards and Metger, NASA TN D-5467 (1969)"
POINTS = {(1e4, 0.0, 1.0, 0.0): 0.784789, (3e4, 0.1, 3.0, 0.0): 0.889453,
          (3e4, 0.0, 1.0, 0.5): 0.770368, (1e5, 0.2, 2.0, 0.0): 0.944158}
PRINTED = {(1e4, 0.0, 1.0, 0.0): 0.785, (3e4, 0.1, 3.0, 0.0): 0.889, (3e4, 0.0, 1.0, 0.5): 0.770}
WEAK, STRONG = 0.16, 0.32
"""Allowed relative error below and above U1/Vi 0.4: twice the scatter of 8 and 16 %."""


def _chain(point: tuple[float, float, float, float]) -> float:
    return float(takeoff.cd_takeoff(*point))


def _selected(name: str, strong: bool) -> tuple[float, ...]:
    crossflow, _ = tees.takeoff_points(name)
    ratio = tees.takeoff_ratio("reattached", name)
    return tuple(float(v) for v in ratio[(crossflow >= 0.4) == strong])


def _ones(name: str, strong: bool) -> tuple[float, ...]:
    crossflow, _ = tees.takeoff_points(name)
    return (1.0,) * int(((crossflow >= 0.4) == strong).sum())


def _measured(name: str, strong: bool) -> Published:
    word, allowed = ("strong", STRONG) if strong else ("weak", WEAK)
    return Published(
        f"takeoff.measured.{name}.{word}", ROHDE, f"discharge coefficient over the measured one, "
        f"{word} cross-flow (points read off the figures by a third party)", _ones(name, strong),
        "twice the scatter of hole data: 8 % below U1/Vi 0.4, 16 % beyond; reading error 0.03",
        partial(_selected, name, strong), "takeoff", "measured", atol=allowed)


CHECKS = (
    *(Published("takeoff.chain." + ".".join(f"{v:g}" for v in point), CHAIN,
                "Re, r/d, L/d, U1/Vi as in the id; chain evaluated outside the project", (value,),
                "the length factor is 1.0005 at zero length; the outside run takes it as 1 for a "
                "sharp hole", partial(_chain, point), "takeoff", "computed outside", rtol=2e-4)
      for point, value in POINTS.items()),
    *(Published("takeoff.printed." + ".".join(f"{v:g}" for v in point), CHAIN,
                "worked value printed to three digits", (value,), "three digits printed",
                partial(_chain, point), "takeoff", "published", atol=6e-4)
      for point, value in PRINTED.items()),
    *(_measured(name, strong) for name in tees.TAKEOFF_SERIES for strong in (False, True)),
)
