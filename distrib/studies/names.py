"""Names of uncertain inputs and of dimensions as a reader would say them."""

from __future__ import annotations

from typing import Final

LAWS: Final[dict[str, str]] = {
    "law.run": "pressure regained past each mouth",
    "law.friction": "wall roughness",
    "law.bend": "loss of the runner bends",
    "law.branch.mouth": "through-flow loss at the mouths",
    "law.branch.cross": "cross-flow loss at the mouths",
    "law.branch.family": "choice of the law for the mouths",
    "law.mouth.shape": "loss of the mouth shape",
    "law.expansion": "loss of widenings",
    "law.contraction": "loss of narrowings",
    "law.diffuser": "loss of the entry cone",
    "law.baffle": "loss of the baffle",
    "law.tube.mouth": "loss at the ends of the balance tubes",
    "conditions.charge_pressure": "charge pressure",
    "conditions.charge_temperature": "charge temperature",
    "law.end_correction": "end correction of the runners",
    "law.jet.side": "jet of the side entry",
    "law.jet.center": "jet of the center entry",
    "law.jet.ducted": "jet of the inner duct",
}
FAMILIES: Final[tuple[tuple[str, str], ...]] = (
    ("law.entry.", "loss of entry {}"),
    ("law.throw.", "way the plate of {} throws the stream"),
    ("law.flange.", "loss of the step at flange {}"),
    ("exhaust_pressure.", "exhaust pressure of cylinder {}"),
)
MADE: Final[dict[str, str]] = {
    "runner": "bore of runner {} as made",
    "mouth": "edge of mouth {} as made",
    "port": "port {} as cast",
}
PLURALS: Final = {"runners": "of the runners", "entries": "of the entries"}


def plain_name(name: str) -> str:
    """Name of an uncertain input or of a dimension in words.

    "law.branch.cross" is the cross-flow loss at the mouths, "made.runner.3.diameter" the bore of
    runner 3 as made, "runners.mouth_radius" the mouth radius of the runners. A name that is not
    known keeps its own words, with spaces for its dots.
    """
    if name in LAWS:
        return LAWS[name]
    for prefix, words in FAMILIES:
        if name.startswith(prefix):
            return words.format(name[len(prefix):])
    head, _, rest = name.partition(".")
    words = rest.replace(".", " ").replace("_", " ")
    if head == "supply":
        entry, _, what = rest.rpartition(".")
        return f"{what.replace('_', ' ')} of the pipe before entry {entry}"
    if head == "made":
        kind, _, which = rest.partition(".")
        return MADE[kind].format(which.split(".")[0]) if kind in MADE else f"{words} as made"
    if head == "law":
        return f"loss law {words}"
    if head == "given":
        return f"given {words}"
    if head in PLURALS and rest:
        return f"{words} {PLURALS[head]}"
    return f"{head} {words}".strip().replace("_", " ") if rest else name
