"""Small designs for the tests of the build, given as the tree of a case file (invented)."""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.build.bench import solve_bench
from distrib.case.design import Plenum, Section
from distrib.case.entry import Entry
from distrib.case.read import read_tree
from distrib.case.schema import Case
from distrib.results import FloatArray

ORDERS = {3: [1, 3, 2], 4: [1, 3, 4, 2], 5: [1, 2, 4, 5, 3], 6: [1, 5, 3, 6, 2, 4]}
SIDE: dict[str, Any] = {"kind": "side", "end": "cylinder-1"}
CENTER: dict[str, Any] = {"kind": "center", "at": "195 mm", "face": "top", "aim": "90 deg"}
DUCTED: dict[str, Any] = {"kind": "ducted", "end": "cylinder-1", "at": "195 mm"}


def mm(metres: float) -> str:
    """A length as the file holds it."""
    return f"{float(metres) * 1e3!r} mm"


def entry(**fields: Any) -> dict[str, Any]:
    """An entry of 65 mm bore and 150 mm length with some fields replaced."""
    return {"diameter": "65 mm", "length": "150 mm", "offset": "0 mm", **fields}


def design(*, entries: list[dict[str, Any]] | None = None, cylinders: int = 4,
           runner: list[dict[str, Any]] | None = None, plenum: Any = None,
           losses: dict[str, str] | None = None, bench: dict[str, Any] | None = None,
           tubes: list[dict[str, Any]] | None = None, tolerance: str = "0.1 mm",
           **runners: Any) -> Case:
    """Inline engine, plenum of 390 mm and 80 mm bore, mouths symmetric about its middle."""
    span = np.linspace(0.054, 0.336, cylinders)
    tree: dict[str, Any] = {
        "title": "Test design", "invented": True, "cylinder_1_end": "front", "view": "from above",
        "use": "competition",
        "engine": {"layout": f"inline-{cylinders}", "bore": "86 mm", "stroke": "86 mm",
                   "compression_ratio": 10.0, "firing_order": ORDERS[cylinders]},
        "conditions": {"rpm": [6000]},
        "plenum": {"length": "390 mm", "diameter": "80 mm"} if plenum is None else plenum,
        "entry": entries if entries is not None else [entry(**SIDE)],
        "runners": {"stations": [mm(x) for x in span], "length": "300 mm", "diameter": "42 mm",
                    "mouth": "bell", "mouth_radius": "9 mm", **runners},
        "bench": {"depression": "2500 Pa", "head": "removed", **(bench or {})},
        "fuel": {"kind": "gasoline", "lambda_target": 0.9, "injection": "sequential"},
        "uncertainty": {"samples": 400, "seed": 3, "tolerance": tolerance},
    }
    if tree["runners"]["stations"] is None:
        del tree["runners"]["stations"]
    for key, value in (("runner", runner), ("losses", losses), ("balance_tube", tubes)):
        if value:
            tree[key] = value
    return read_tree(tree, "test.toml")


def shares(case: Case, **settings: Any) -> FloatArray:
    """Shares (N,) on the bench; the solve must have converged."""
    found = solve_bench(case, **settings)
    assert found.converged.all(), found.reason
    assert found.mass_residual.max() < 1e-9
    return np.asarray(found.share[0])


def flow(case: Case, **settings: Any) -> float:
    """Air of all cylinders on the bench, kg/s."""
    return float(solve_bench(case, **settings).air_kg_s[0].sum())


def spread(case: Case) -> float:
    """Largest less smallest deviation on the bench, percent."""
    return float(solve_bench(case).spread_percent[0])


def lean_to_far(case: Case) -> float:
    """Share-weighted mean station less the plain mean: above zero where the far end gets more."""
    at = np.array([case.runner(c).station_m for c in range(1, case.engine.cylinders + 1)])
    return float((shares(case) * at).sum() - at.mean())


def mirrored(case: Case) -> Case:
    """The mirror image: every cylinder keeps its number, everything moves to L - x."""
    length = {p.name: p.length_m for p in case.plenums}
    runners = tuple(
        r.model_copy(update={"station_m": length[r.plenum] - r.station_m,
                             "angle_deg": 180.0 - r.angle_deg}) for r in case.runners)
    tubes = tuple(
        t.model_copy(update={"from_at_m": length[t.from_plenum] - t.from_at_m,
                             "to_at_m": length[t.to_plenum] - t.to_at_m})
        for t in case.balance_tubes)
    return case.model_copy(update={
        "runners": runners, "balance_tubes": tubes,
        "plenums": tuple(_turned_plenum(p) for p in case.plenums),
        "entries": tuple(_turned_entry(e, length[e.plenum]) for e in case.entries)})


def _turned_plenum(plenum: Plenum) -> Plenum:
    ends = [s.at_m for s in plenum.sections] + [plenum.length_m]
    turned: list[Section] = []
    for i in reversed(range(len(plenum.sections))):
        section = plenum.sections[i]
        # a step's section begins where, seen from the other end, it used to stop
        at = ends[i + 1] if plenum.profile == "step" else section.at_m
        turned.append(section.model_copy(update={"at_m": plenum.length_m - at}))
    return plenum.model_copy(update={"sections": tuple(turned)})


def _turned_entry(e: Entry, length: float) -> Entry:
    other = {"cylinder-1": "far", "far": "cylinder-1", None: None}
    update: dict[str, Any] = {"end": other[e.end], "at_m": length - e.at_m,
                              "tilt_deg": -e.tilt_deg}
    if e.throttle is not None:
        update["throttle"] = e.throttle.model_copy(update={"throws": other[e.throttle.throws]})
    if e.baffle is not None and e.baffle.at_m is not None:
        update["baffle"] = e.baffle.model_copy(update={"at_m": length - e.baffle.at_m})
    return e.model_copy(update=update)
