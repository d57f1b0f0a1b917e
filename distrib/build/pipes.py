"""Numbers of pipes: friction, bends, area changes, flange, for runners, entries and tubes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from distrib.build.draws import Draws
from distrib.build.laws import LawBook
from distrib.case.schema import Bend, Given
from distrib.gas.properties import viscosity_Sutherland
from distrib.losses.friction import darcy

ROUGH_SIGMA = 0.10
"""Relative 1-sigma of wall friction where the roughness is guessed."""

SLIM_DEG = 5.0
"""Full cone angle below which a cone loses hardly more than wall friction (laws end there)."""


def circle_m2(diameter_m: Any) -> Any:
    """Area of a circle."""
    return 0.25 * math.pi * diameter_m * diameter_m


def bends_loss(
    book: LawBook, where: str, bends: Sequence[Bend], diameter_m: float, roughness_m: float
) -> tuple[float, float]:
    """Sum of bend losses on the velocity head, friction along the bend taken out; and 1-sigma.

    The friction factor that the bend law asks for is taken at Re 1e5, where bends are measured.
    """
    total = 0.0
    variance = 0.0
    friction = float(darcy(1e5, roughness_m / diameter_m))
    for bend in bends:
        if bend.angle_deg <= 0.0:
            continue
        ratio = bend.radius_m / diameter_m
        more = {"auto": {"friction": friction}, "rennels": {"friction": friction},
                "ito": {"re": 1e5}, "swamee": {}}[book.choice.bend]
        k, sigma = book.value(where, book.choice.bend, "bend", angle_deg=bend.angle_deg,
                              radius_over_d=ratio, **more)
        if "friction" in more:
            k -= friction * math.radians(bend.angle_deg) * ratio
        total += max(k, 0.0)
        variance += sigma
    return total, variance


def uncertain(draws: Draws, name: str, value: float, sigma: float) -> Any:
    """A loss coefficient that cannot go below zero, with its draw.

    A relative 1-sigma below one half makes a lognormal factor; a larger one is added and cut at 0.
    """
    if sigma <= 0.0:
        return value
    if sigma < 0.5 * value:
        return value * draws.factor(name, sigma / value)
    return np.maximum(value + sigma * draws.z(name), 0.0) if draws.samples else value


def widening(book: LawBook, draws: Draws, where: str, ratio: float) -> Any:
    """Loss of a sudden widening on the head of its narrow side; ratio narrow over wide area."""
    return uncertain(draws, "law.expansion",
                     *book.value(where, "borda", "expansion", area_ratio=ratio))


def narrowing(book: LawBook, draws: Draws, where: str, ratio: float) -> Any:
    """Loss of a sudden narrowing on the head of its narrow side; ratio narrow over wide area."""
    return uncertain(draws, "law.contraction",
                     *book.value(where, book.choice.contraction, "contraction", area_ratio=ratio))


def taper(
    book: LawBook, draws: Draws, where: str, from_m2: float, to_m2: float, length_m: float
) -> tuple[Any, Any, Any, Any]:
    """Loss of a gradual area change for flow u to v and v to u: (k_u+, k_v+, k_u-, k_v-).

    Widening loses on the head of the narrow end (diffuser by cone angle, Borda-Carnot for a step);
    narrowing loses on the head of the narrow end (conical or sharp contraction).
    """
    if abs(from_m2 / to_m2 - 1.0) < 1e-9:
        return 0.0, 0.0, 0.0, 0.0
    narrow, wide = min(from_m2, to_m2), max(from_m2, to_m2)
    ratio = narrow / wide
    d_narrow, d_wide = 2.0 * math.sqrt(narrow / math.pi), 2.0 * math.sqrt(wide / math.pi)
    if length_m <= 0.01 * d_narrow:
        out = widening(book, draws, where, ratio)
        into = narrowing(book, draws, where, ratio)
    else:
        angle = 2.0 * math.degrees(math.atan2(0.5 * (d_wide - d_narrow), length_m))
        if angle < SLIM_DEG:
            return 0.0, 0.0, 0.0, 0.0
        factor = float(darcy(1e5, 1e-4))
        if book.choice.expansion == "borda":
            out = widening(book, draws, where, ratio)
        else:
            k, sigma = book.value(where, book.choice.expansion, "diffuser", area_ratio=ratio,
                                  angle_deg=angle, **_diffuser_inputs(book, factor))
            # wall friction of the cone is booked by the duct itself; Crane's law has none in it
            half = math.radians(angle) / 2.0
            wall = 0.125 * factor * (1.0 - ratio * ratio) / math.sin(half)
            k -= 0.0 if book.choice.expansion == "crane" else wall
            out = uncertain(draws, "law.diffuser", max(k, 0.0), sigma)
        into = uncertain(draws, "law.contraction",
                         *book.value(where, "contraction.conical", None, area_ratio=ratio,
                                     angle_deg=angle, friction=factor))
    if from_m2 < to_m2:
        return out, 0.0, into, 0.0
    return 0.0, into, 0.0, out


def _diffuser_inputs(book: LawBook, factor: float) -> dict[str, float]:
    return {} if book.choice.expansion == "crane" else {"friction": factor}


def stall_remark(book: LawBook, where: str, narrow_m2: float, wide_m2: float,
                 length_m: float) -> None:
    """Warn where a widening lies beyond the stall line: its stream leaves one wall.

    Which wall is chance, so the shares behind it can lean either way; no loss law holds that.
    """
    if wide_m2 <= narrow_m2 * (1.0 + 1e-9) or length_m <= 0.0:
        return
    d_narrow, d_wide = 2.0 * math.sqrt(narrow_m2 / math.pi), 2.0 * math.sqrt(wide_m2 / math.pi)
    angle = 2.0 * math.degrees(math.atan2(0.5 * (d_wide - d_narrow), length_m))
    line, _ = book.value(where, "diffuser-stall.line", None, length_over_d=length_m / d_narrow)
    if angle > line:
        book.remark(where, f"widens by {angle:.0f} deg full angle, the stall line is at "
                           f"{line:.0f} deg: the stream may cling to one wall, either way")


def friction(
    draws: Draws, length_m: Any, d_u_m: Any, d_v_m: Any, area_m2: Any, roughness_m: float,
    temperature_k: float,
) -> dict[str, Any]:
    """Keyword numbers of wall friction of a duct between hydraulic diameters d_u and d_v."""
    mean = 0.5 * (d_u_m + d_v_m)
    rough = draws.factor("law.friction", ROUGH_SIGMA)
    viscosity = float(viscosity_Sutherland(temperature_k))
    return {
        "friction_u": 0.5 * length_m / d_u_m * rough,
        "friction_v": 0.5 * length_m / d_v_m * rough,
        "rel_rough": roughness_m / mean,
        "re_per_flow": mean / (area_m2 * viscosity),
        "darcy": -1.0,
    }


def given(draws: Draws, name: str, value: Given, default_sigma: float = 0.1) -> Any:
    """A loss coefficient given in the case, with its own or 10 % uncertainty."""
    sigma = value.sigma if value.sigma is not None else default_sigma * abs(value.value)
    return value.value + sigma * draws.z(name)
