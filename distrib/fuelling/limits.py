"""Limits of verdicts and trims: value, origin, and whether somebody changed it and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType
from typing import Final

ORIGIN: Final[Mapping[str, str]] = MappingProxyType(
    {
        "lean_percent": "common practice",
        "watch_percent": "common practice",
        "rich_percent": "common practice",
        "richen_cap_percent": "design choice from common practice: predicted, adding fuel",
        "prediction_cap_percent": "design choice from common practice: beyond it measure first",
        "measured_cap_percent": "common practice: beyond it the metal is changed",
        "warn_percent": "common practice: trims of 8 % and more point to a fault",
        "refuse_percent": "design choice from common practice: fault or re-work of the metal",
        "duty_max": "common practice, 80 to 90 %",
        "base_fault_percent": "design choice: twice what two runs repeat to",
        "dead_band_percent": "common practice: two runs agree within about 1 %",
        "exhaust_repeat_k": "design choice from common practice",
        "exhaust_slope_k": "from memory: 5 to 8 K cooler for 1 % richer, rich of lambda 1",
        "lean_chance": "design choice",
        "watch_chance": "design choice",
    }
)


@dataclass(frozen=True)
class Limits:
    """Limits in percent of deviation or trim; `reasons` says why a default was replaced.

    `base_fault_percent` is how far the mean lambda of a cell may lie off its target before the base
    map comes first, `dead_band_percent` what a lambda must be off to move a trim. A port's exhaust
    repeats to `exhaust_repeat_k` and is cooler by at least `exhaust_slope_k` for 1 % richer.
    """

    lean_percent: float = 3.0
    watch_percent: float = 1.5
    rich_percent: float = -3.0
    richen_cap_percent: float = 5.0
    prediction_cap_percent: float = 3.0
    measured_cap_percent: float = 5.0
    warn_percent: float = 8.0
    refuse_percent: float = 10.0
    duty_max: float = 0.85
    base_fault_percent: float = 2.0
    dead_band_percent: float = 1.0
    exhaust_repeat_k: float = 5.0
    exhaust_slope_k: float = 5.0
    lean_chance: float = 0.5
    watch_chance: float = 0.1
    reasons: Mapping[str, str] = field(default_factory=dict)

    def overridden(self) -> tuple[str, ...]:
        """One sentence for every limit that differs from the default."""
        out = []
        for item in fields(self):
            if item.name == "reasons":
                continue
            value = getattr(self, item.name)
            if value != item.default:
                why = self.reasons.get(item.name, "no reason given")
                out.append(f"{item.name} is {value:g} instead of {item.default:g}: {why}")
        return tuple(out)

    def origin(self, name: str) -> str:
        """Where a limit comes from; an override names its reason."""
        if name in self.reasons:
            return f"set in the case: {self.reasons[name]}"
        if getattr(self, name) != getattr(DEFAULT_LIMITS, name):
            return "set in the case: no reason given"
        return ORIGIN[name]


DEFAULT_LIMITS: Final = Limits()


def limits(reasons: Mapping[str, str] | None = None, **values: float) -> Limits:
    """Limits with some values replaced; unknown names raise TypeError."""
    return replace(DEFAULT_LIMITS, reasons=dict(reasons or {}), **values)
