"""Sets of injectors that share the fuel: what follows from their places, and what cannot be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from distrib.case.draft import Node, Report
from distrib.case.values import words

AT_CYLINDERS: Final = ("near valve", "runner")
"""Places at which a set feeds each cylinder by itself; fuel of the others divides as the air."""
_CLOSE: Final = 1e-9


def following_share(nodes: Sequence[Node]) -> float | None:
    """Share of the fuel that follows the air; None while a place or a share is not known."""
    if any(not node.known("place", "share") for node in nodes):
        return None
    return float(sum(n.get("share") for n in nodes if n.get("place") not in AT_CYLINDERS))


def check_stages(fuel: Node, engine: Node | None, report: Report) -> None:
    """Report what does not fit together between the sets, the injector and the fuel."""
    nodes = fuel.nodes.get("stages", [])
    if not nodes:
        return
    seen: set[str] = set()
    for node in nodes:
        _one(node, engine, report)
        name = node.get("name")
        if name is not None and name in seen:
            report(node.place("name"), f'"{name}" twice', "a name of its own for each set")
        seen.add(name)
    _shares(fuel, nodes, report)
    shared = fuel.node("injector")
    takers = [n for n in nodes if n.get("place") in (None, *AT_CYLINDERS)
              and n.node("injector") is None]
    if shared is not None and not takers:
        report(
            shared.path,
            "an injector that no set has",
            "a set near the valve or in the runner without an injector of its own",
            "leave [fuel.injector] out, or the injector of a set",
        )


def _one(node: Node, engine: Node | None, report: Report) -> None:
    """One set by itself."""
    place, count = node.get("place"), node.get("count")
    if place is None:
        return
    central = place not in AT_CYLINDERS
    if central and node.get("trimmed"):
        report(
            node.place("trimmed"),
            f'true with the place "{place}"',
            f"a trimmed set is at {words(AT_CYLINDERS)}",
            "this set feeds all cylinders at once, it cannot trim one",
        )
    if central and node.node("injector") is not None and not node.given("count"):
        report(node.place("count"), "nothing", "how many injectors feed all cylinders, such as 2")
    cylinders = engine.get("cylinders") if engine is not None else None
    if not central and count is not None and cylinders is not None and count % cylinders:
        report(
            node.place("count"),
            f"{count}",
            f"as many for each of {cylinders} cylinders: {cylinders} or {2 * cylinders}",
        )


def _shares(fuel: Node, nodes: Sequence[Node], report: Report) -> None:
    """Shares sum to one and agree with the fraction that the file may give."""
    shares = [node.get("share") for node in nodes]
    if any(share is None for share in shares):
        return
    total = sum(shares)
    if abs(total - 1.0) > _CLOSE:
        listed = " + ".join(f"{share:.6g}" for share in shares)
        read = listed if len(shares) == 1 else f"{listed} = {total:.6g}"
        report(nodes[-1].place("share"), read, "shares of all sets that sum to 1")
        return
    given, follows = fuel.get("air_following_fraction"), following_share(nodes)
    if given is None or follows is None or "air_following_fraction" not in fuel.places:
        return
    if abs(given - follows) > _CLOSE:
        report(
            fuel.place("air_following_fraction"),
            f"{given:g}",
            f"{follows:g}, the share of the sets in the plenum and before the throttle",
            "leave it out: it follows from the sets",
        )
