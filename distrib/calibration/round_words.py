"""What a round of measured trims says: the banner of the base map, the reason beside each trim."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from distrib.calibration.cell_words import cell_name, lambda_text, places
from distrib.fuelling import Round
from distrib.fuelling.lock import Bar, bar_words
from distrib.fuelling.trims import about_faults
from distrib.results import FloatArray

Texts = np.ndarray[Any, np.dtype[np.object_]]

LARGE_BASE_PERCENT: Final = 10.0
"""Base correction beyond which a fault is likelier than a map (common practice)."""
MEASURED_WORDS: Final = {
    "lean": "leaner than its target", "watch": "leaner than its target by little: watch",
    "rich": "richer than its target", "even": "near its target"}
"""The marks of a measured sheet: they are about the lambda read, not about air."""
EVIDENCE: Final = (
    "fuel comes off a cylinder only where lambda, exhaust and knock agree over two runs; bring the "
    "next sheet back with all three")


def stops(
    made: Round, rpm: FloatArray, pressure_pa: FloatArray, cylinders: Sequence[int]
) -> tuple[str, ...]:
    """For each cell the banner of a base map that is off its target; empty where it is not."""
    out = []
    for k, fault in enumerate(made.base_fault):
        if not fault:
            out.append("")
            continue
        off, goal = float(made.off_target_percent[k]), float(made.target[k])
        mean = goal * (1.0 + off / 100.0)
        side = "lean" if off > 0.0 else "rich"
        text = (f"STOP: the whole engine is {side} at {cell_name(rpm[k], pressure_pa[k])}. "
                f"Mean lambda {mean:.2f}, target {lambda_text(goal)}. "
                f"{_base_order(made, k, cylinders)}")
        if abs(off) > LARGE_BASE_PERCENT:
            text += " So much points to a fault first: fuel pressure, sensors, leaks, misfire."
        out.append(text)
    return tuple(out)


def _base_order(made: Round, k: int, cylinders: Sequence[int]) -> str:
    """What to do to the base map of a cell that is off."""
    move = float(made.trims.base_percent[k])
    limit = f"{made.limits.base_fault_percent:g} %"
    if move > 0.0:
        return (f"Add {_percent(move)} fuel on the base map, then measure again. No cylinder trims "
                f"are given until the base map is within {limit}.")
    if move < 0.0:
        return (f"All cylinders are rich, twice: take {_percent(move)} off the base map, then "
                f"measure again. No cylinder trims are given until the base map is within {limit}.")
    if made.trims.policy == "richen-only":
        return "Richen-only takes no fuel off."
    if made.lambda_off_percent[k].max() >= -made.limits.dead_band_percent:
        lean = cylinders[int(made.lambda_off_percent[k].argmax())]
        return f"The base map stays: cylinder {lean} is at its target or leaner."
    return "No fuel comes off the base map yet: see each cylinder for what bars it."


def _percent(value: float) -> str:
    size = abs(value)
    return f"{size:.0f} %" if size >= 10.0 else f"{size:.1f} %"


def reasons(made: Round) -> Texts:
    """Why each trim is what it is, (P, N), in few words."""
    out = np.full(made.held.shape, "", dtype=object)
    for k, c in np.ndindex(*out.shape):
        out[k, c] = _reason(made, k, c)
    return out


def _reason(made: Round, k: int, c: int) -> str:
    t, band = made.trims, made.limits.dead_band_percent
    off = float(made.lambda_off_percent[k, c])
    if not np.isfinite(made.run.lambda_read[k, c]):
        return "not read: stays"
    size = f"{abs(off):.1f} %"
    side = f"{size} leaner than target" if off > 0.0 else f"{size} richer than target"
    if t.base_percent[k] != 0.0 and (made.base_fault[k] or t.base_percent[k] < 0.0):
        return f"{side}: base map first"
    if t.refused[k]:
        return f"{side}: the cell waits, a need of {made.limits.refuse_percent:g} % is a fault"
    change = float(t.trim_percent[k, c] - made.run.trim_percent[k, c])
    stopped = f", stopped at {abs(t.trim_percent[k, c]):.3g} %" if t.capped[k, c] else ""
    step = "half step" if t.step == 0.5 else "full step" if t.step == 1.0 else f"step {t.step:g}"
    if abs(off) <= band or (off < 0.0 and made.lock.bar[k, c] == Bar.NOT_RICH):
        return f"within {band:g} % of target: stays"
    if change > 0.0:
        return f"{side}: add, {step}{stopped}"
    if change < 0.0:
        return f"{side}, {bar_words(0, np.nan)}: take off, {step}{stopped}"
    if off > 0.0:
        return f"{side}: the base map brings it" if t.base_percent[k] > 0.0 else (
            f"{side}: stays{stopped}")
    if t.policy == "richen-only":
        return f"{side}: richen-only takes nothing off"
    if made.lock.open[k, c]:
        return f"{side}: stays{stopped}"
    return f"{side}: stays, " + bar_words(
        int(made.lock.bar[k, c]), float(made.lock.exhaust_above_k[k, c]))


def round_cautions(
    made: Round, rpm: FloatArray, pressure_pa: FloatArray, cylinders: Sequence[int]
) -> list[str]:
    """Sentences about the whole round."""
    t, limits = made.trims, made.limits
    out = []
    rich = made.lambda_off_percent < -limits.dead_band_percent
    if np.any(rich & ~made.lock.open) and t.policy != "richen-only":
        out.append(EVIDENCE)
    knocked = places(made.run.knock > 0.0, rpm, pressure_pa, cylinders)
    if knocked:
        out.append(f"knock noted: {knocked}. Find its cause before anything else")
    trims = np.where(made.base_moved[:, None], 0.0, np.abs(t.needed_percent))
    if np.nanmax(trims, initial=0.0) > limits.measured_cap_percent or t.capped.any():
        out.append(f"a measured need or trim beyond {limits.measured_cap_percent:g} %: re-work of "
                   f"the metal rather than fuel ({limits.origin('measured_cap_percent')}); trims "
                   "stop there")
    return [*out, *about_faults(limits, bool(t.warned.any()), bool(t.refused.any()))]
