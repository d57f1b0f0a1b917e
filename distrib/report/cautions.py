"""What every report says about its own limits, and what a careful shop or tuner is told."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

STANDING_NOTE: Final = (
    "Estimate, not measured: check every cylinder before load. An even prediction does not "
    "make it safe to lean out.")

READING: Final = (
    "At equal fuel the cylinder with MORE air burns lean and the cylinder with LESS air (starved) "
    "burns rich. Trim: percent change of one cylinder's fuel, + adds.")

MODELS: Final[dict[str, str]] = {
    "bench": "bench: all runners open to one depression, steady, as on a flow bench; "
             "overstates what an engine does",
    "engine": "engine: one-dimensional gas dynamics through the cycle, with the engine's own "
              "cylinders, valves and firing order: the answer",
}

NOT_CLAIMED: Final = (
    "Not covered: swirl, fuel film, charge temperature by cylinder, knock, exhaust side. Injectors "
    "that differ by 1 to 3 %, or leaks at one runner, can outweigh what is shown here (orders "
    "of magnitude from memory).",
    "Not every hot cylinder is lean: cooling, residual gas and ignition timing also heat it "
    "(common practice).",
)

PRESSURE: Final = (
    "A plenum under boost is a pressure vessel made by hand, and gas stores far more energy than "
    "water. Prove strength with water, part off the engine; use air only to look for leaks, at low "
    "pressure, with regulator and relief valve, in steps, behind a shield, nobody in line with "
    "lid, plugs or hose (common practice).",
    "A backfire can burst a sheet plenum: full-penetration seams, and a relief panel that points "
    "away from people, fuel and hot parts (common practice).",
    "Keep hands off belts when air is let into an engine: pressure can turn it (common practice).",
)

LAW: Final[dict[str, str]] = {
    "road": "Road use: check the local law on intake and emission parts before fitting.",
    "competition": "Meant for competition; check the rules, and the local law before road use.",
}

BENCH: Final = (
    "The rig shows a larger spread than the engine: use it to check the metal and to fit the laws, "
    "never as a fuel trim. With one runner open at a time the plenum hardly matters; all open "
    "shows its regain.")

TUNER_GATES: Final = (
    "compression and leak-down even over the cylinders",
    "injectors flow-matched, dead time known, wiring order proved by a click or cut test",
    "no leaks at runners, injector seals and flange (smoke or pressure)",
    "fuel pressure difference steady at full load",
    "base mixture and ignition safe, knock detection working",
    "mixture sensors checked: free air, swapped, no leak at the boss",
    "injection sequential with the true cylinder phase known",
    "two runs agree within about 1 % for every cylinder",
)

TUNER_RULES: Final = (
    "Boost low first, then in steps. Stop at the first lean reading, knock or falling fuel "
    "pressure.",
    "After each change measure again; move injectors, then sensors, to see what a reading follows.",
    "Idle and cruise: leave trims at zero or small.",
    "A trim beyond 8 %, or one whose sign flips between neighbouring speeds, points to a fault or "
    "to the metal, not to the map (common practice).",
)

SHOP_ORDER: Final = (
    "Survey the head: port centres, port shape and angle, studs, clearances.",
    "Tack on a thick jig or a spare head; weld alternately from side to side.",
    "Dress every drop-through inside; no step that faces the flow above 0.5 mm (0.02 in).",
    "Machine head flange and throttle face after welding.",
    "Clean: no swarf, oxide or cleaner residue left inside.",
    "Leak test, then proof test as the drawing says; write both down.",
    "Flow bench: every runner, three repeats, leak subtracted, depression and temperature noted.",
)

_THIN = re.compile(r"^thin evidence \((.+?)\): (.+)$")


def in_order(said: Iterable[str]) -> tuple[str, ...]:
    """Cautions and doubts of results as sentences, each once; laws of thin evidence in one line."""
    thin: dict[str, dict[str, None]] = {}
    out: dict[str, None] = {}
    for text in said:
        found = _THIN.match(text)
        if found is None:
            out[text if text.endswith(".") else f"{text}."] = None
        else:
            thin.setdefault(found[1], {}).update(dict.fromkeys(found[2].split(", ")))
    lines = (f"Laws on thin evidence ({kind}): {', '.join(names)}. Measure before you lean on them."
             for kind, names in thin.items())
    return tuple(f"{text[:1].upper()}{text[1:]}" for text in (*out, *lines))
