"""Sentences about the cells of a trim sheet: where a cap was met, where a pattern turns over."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from distrib.fuelling import Limits, Trims

NAMED: Final = 6
"""Places named in one sentence; the rest is counted."""
NEED_WORDS: Final = (
    "Need: fuel at the ports over the mean for equal lambda, all of it; trim: what to set")
NEED_MEASURED: Final = (
    "Need: the trim that brings the cylinder to its target, all of it; trim: what to set")
TURNS_OVER: Final = (
    "a pattern that turns over between cells is served by no single percent: where measurements "
    "repeat it, re-work of the metal (common practice)"
)


def cell_name(rpm: float, pressure_pa: float) -> str:
    """A cell in words."""
    return f"{rpm:g} rpm, {pressure_pa / 1e3:.4g} kPa"


def lambda_text(value: float) -> str:
    """A target lambda with two decimals, or three where it has them."""
    text = f"{value:.3f}"
    return text[:-1] if text.endswith("0") else text


def places(mask: Any, rpm: Any, pressure_pa: Any, cylinders: Sequence[int]) -> str:
    """Where `mask` (P, N) is true: cells of speed and pressure (P,) with their cylinders, in words;
    empty where it is true nowhere."""
    out = []
    for k in np.flatnonzero(np.any(mask, axis=1)):
        who = [cylinders[int(c)] for c in np.flatnonzero(mask[k])]
        named = f"cylinder{'s' if len(who) > 1 else ''} {', '.join(map(str, who))}"
        out.append(f"{named} at {cell_name(rpm[k], pressure_pa[k])}")
    more = f"; and {len(out) - NAMED} further cells" if len(out) > NAMED else ""
    return "; ".join(out[:NAMED]) + more


def about_cells(
    trims: Trims, limits: Limits, rpm: Any, pressure_pa: Any, cylinders: Sequence[int],
    flips: Sequence[str],
) -> list[str]:
    """Where the trims were capped, warned of or refused, what limits were set in the case, and what
    a pattern that turns over means. Cells (P,) in the order of the trims."""
    far = (np.abs(trims.needed_percent) >= limits.refuse_percent) & trims.refused[:, None]
    out = []
    for mask, text in (
        (trims.capped, "capped"), (trims.warned & ~trims.refused[:, None], "to look for a fault"),
        (far, "refused for a need of its own"),
    ):
        where = places(mask, rpm, pressure_pa, cylinders)
        if where:
            out.append(f"{text}: {where}")
    out += [f"limit set in the case: {text}" for text in limits.overridden()]
    if flips:
        out.append(TURNS_OVER)
    return out


def raise_base(base_percent: float) -> str:
    """What is to be done to the base map before the trims of a cell; empty for nothing."""
    if not abs(base_percent) >= 0.05:
        return ""
    if base_percent > 0.0:
        return f"raise the base map by {base_percent:.1f} % first, then measure again"
    return f"take {-base_percent:.1f} % off the base map first, then measure again"
