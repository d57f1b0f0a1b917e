"""Which loss law acts where: the names of a case's [losses] made plain, or refused."""

from __future__ import annotations

from dataclasses import dataclass

from distrib.case.schema import LossChoice
from distrib.errors import InputError, Problem
from distrib.losses.junctions import BRANCH_LAWS, RUN_LAWS
from distrib.losses.nearest import nearest_names


@dataclass(frozen=True)
class Chosen:
    """Short law names by what they act on; "auto" lets the build choose.

    - branch: loss into a runner; run: loss of the plenum stream past it (a given regain wins).
    - friction: only the blended law, which is compiled into the network and the engine model.
    - entrance: mouth edge of sharp, rounded and bell mouths, instead of the branch law's own.
    - bend: every bend. expansion: "borda" takes every widening as a step, "rennels" and "crane"
      are diffuser laws (a step is Borda's in any case). contraction: every narrowing step; cones
      keep their own law.
    - throttle: "auto" takes a wide-open plate without contraction; "discharge" and "loss" use the
      plate's discharge law at every angle. baffle: perforated sheets.
    - jet: "none" leaves the jets of the entries out.
    """

    branch: str = "auto"
    run: str = "auto"
    friction: str = "auto"
    entrance: str = "auto"
    bend: str = "auto"
    expansion: str = "auto"
    contraction: str = "auto"
    throttle: str = "auto"
    baffle: str = "auto"
    jet: str = "auto"


ALLOWED: dict[str, tuple[str, ...]] = {
    "branch": BRANCH_LAWS,
    "run": tuple(name for name in RUN_LAWS if name != "regain"),
    "friction": ("blended",),
    "entrance": ("rennels", "idelchik", "swamee"),
    "bend": ("rennels", "ito", "swamee"),
    "expansion": ("borda", "rennels", "crane"),
    "contraction": ("rennels", "crane"),
    "throttle": ("discharge", "loss"),
    "baffle": ("idelchik", "contraction"),
    "jet": ("none",),
}
"""Names that act, by key of [losses]; "auto" is allowed everywhere."""
FAMILIES: dict[str, tuple[str, ...]] = {"expansion": ("expansion", "diffuser"),
                                        "baffle": ("sheet",)}
"""Families of the registry a key draws from, where they differ from the key's own name."""


def chosen(losses: LossChoice, file: str = "") -> Chosen:
    """The laws a case chooses; a name that would not act raises InputError, all at once.

    A full registry name ("bend.ito") is taken as well as the short one ("ito").
    """
    problems = []
    names: dict[str, str] = {}
    for key, allowed in ALLOWED.items():
        typed = str(getattr(losses, key))
        name = typed
        for family in FAMILIES.get(key, (key,)):
            name = name.removeprefix(f"{family}.")
        if name != "auto" and name not in allowed:
            near = nearest_names(name, ("auto", *allowed))
            hint = f"nearest: {', '.join(near)}" if near else ""
            problems.append(Problem(f"losses.{key}", repr(typed), ", ".join(("auto", *allowed)),
                                    hint, file, code="law"))
        names[key] = name
    if problems:
        raise InputError(problems)
    return Chosen(**names)
