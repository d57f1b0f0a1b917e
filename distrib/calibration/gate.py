"""What must be confirmed before a number may be used as a trim."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from distrib.errors import InputError, Problem


@dataclass(frozen=True)
class GateItem:
    """One thing to confirm, with its usual limit. All from common practice."""

    key: str
    text: str


GATE: Final = (
    GateItem("compression", "compression and leak-down even: compression within about 10 % of the "
             "highest; leak-down at most 10 % (competition) or 15 % (road)"),
    GateItem("injectors", "injectors flow-matched, dead time known"),
    GateItem("wiring", "each injector on its own cylinder: single-injector click or cut test"),
    GateItem("leaks", "no leaks: smoke or pressure test, injector seals and gasket included"),
    GateItem("fuel-pressure", "fuel pressure difference steady at full load"),
    GateItem("base-map", "base mixture safe, base ignition conservative, knock detection works"),
    GateItem("sensors", "sensors checked: free air, swapped, no leak at the bung"),
    GateItem("sequential", "sequential injection, true cylinder phase known"),
    GateItem("repeatable", "two runs agree within about 1 % per cylinder"),
)


@dataclass(frozen=True)
class Gate:
    """Which items are confirmed and which stand open."""

    confirmed: tuple[GateItem, ...]
    open: tuple[GateItem, ...]

    @property
    def passed(self) -> bool:
        """True when nothing stands open."""
        return not self.open


def gate(confirmed: Iterable[str]) -> Gate:
    """The gate with some items confirmed by key, or "all". InputError for an unknown key."""
    keys = {k.strip() for k in confirmed if k.strip()}
    known = [item.key for item in GATE]
    if "all" in keys:
        return Gate(GATE, ())
    wrong = sorted(keys - set(known))
    if wrong:
        problems = []
        for key in wrong:
            near = difflib.get_close_matches(key, known, n=1, cutoff=0.4)
            problems.append(Problem("confirmed", f'"{key}"', ", ".join([*known, "all"]),
                                    f"nearest: {near[0]}" if near else ""))
        raise InputError(problems)
    return Gate(
        tuple(i for i in GATE if i.key in keys), tuple(i for i in GATE if i.key not in keys)
    )
