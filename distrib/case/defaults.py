"""What the file leaves out: filled in, and written down as assumed with its reason."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Final

from distrib.case.draft import FAULTY, Draft, Node, where
from distrib.case.fields import Spec, default_of, specs
from distrib.case.schema import Bench, Limits, LossChoice, Uncertainty
from distrib.case.stages import AT_CYLINDERS, following_share
from distrib.case.tables import Table, tables
from distrib.constants import P_STANDARD_PA, T_STANDARD_K
from distrib.units import display, from_si

CYLINDERS: Final = {
    "inline-3": 3,
    "inline-4": 4,
    "inline-5": 5,
    "inline-6": 6,
    "v6": 6,
    "v8": 8,
    "flat-4": 4,
    "flat-6": 6,
}
ROD_RATIO: Final = 1.6
PORT_BORES: Final = 1.15
EXHAUST_ABOVE_AMBIENT_PA: Final = 5000.0
BOOST_MARGIN_PA: Final = 1000.0
"""Charge pressure above ambient from which an engine counts as boosted."""
WHY_LIMITS: Final = "common practice, no source; each can be given in [limits] with a reason"


def fill(draft: Draft) -> None:
    """Fill in every value that the file leaves out; list in `draft.assumed` what was assumed."""
    _whole_tables(draft)
    _engine_and_conditions(draft)
    _stages(draft)
    for node in draft.all_nodes():
        if node.table.key not in ("runners", "runner", "limits", "uncertainty", "losses"):
            _plain_defaults(draft, node)
    _entries(draft)
    _plenums(draft)
    _runners(draft)


def value_text(spec: Spec, value: Any) -> str:
    """A filled-in value as the file would write it."""
    kinds = {"absolute pressure": "pressure", "angles": "angle"}
    kind = kinds.get(spec.kind, spec.kind)
    if isinstance(value, tuple):
        if spec.kind == "pairs" and len(value) == 1:
            return f"{value[0][1]:g}"
        return ", ".join(value_text(spec, item) for item in value)
    if kind == "angle":
        return f"{value:g} deg"
    if kind == "length":
        return f"{from_si(value, 'length', 'mm'):.4g} mm"
    if kind == "depression":
        return f"{from_si(value, kind, 'inH2O'):.4g} inH2O"
    if kind in ("pressure", "temperature"):
        return display(value, kind)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _assume(draft: Draft, node: Node, attribute: str, value: Any) -> None:
    """Set a value and write it down when its field says why."""
    node.values[attribute] = value
    spec = specs(node.table.model)[attribute]
    if not spec.why:
        return
    why = f"{spec.derived}: {spec.why}" if spec.derived else spec.why
    draft.assumed.append((where(node.place(attribute)), value_text(spec, value), why))


def _plain_defaults(draft: Draft, node: Node) -> None:
    """Defaults of the model itself that are assumptions."""
    for attribute, spec in specs(node.table.model).items():
        if node.given(attribute) or not spec.why or spec.derived:
            continue
        if attribute in ("tilt_deg", "offset_m") and node.get("kind") != "center":
            continue
        if attribute == "profile" and len(node.get("sections") or ()) < 2:
            continue
        if node.table.model.model_fields[attribute].is_required():
            continue
        _assume(draft, node, attribute, default_of(node.table.model, attribute))


def _whole_tables(draft: Draft) -> None:
    """Tables of which every key has a default: made when missing; limits in one line each."""
    for key, model in (
        ("bench", Bench),
        ("limits", Limits),
        ("losses", LossChoice),
        ("uncertainty", Uncertainty),
    ):
        if not draft.many(key):
            table = _table(key)
            draft.tables[key] = [Node(table, (key,))]
        node = draft.one(key)
        if node is None or model is Bench:
            continue
        left_out = []
        for attribute, spec in specs(model).items():
            if not node.given(attribute):
                node.values[attribute] = default_of(model, attribute)
                left_out.append(f"{spec.key} {value_text(spec, node.values[attribute])}")
        if left_out and model is not LossChoice:
            why = WHY_LIMITS if model is Limits else "own choice"
            draft.assumed.append((key, ", ".join(left_out), why))


def _table(key: str) -> Table:
    return next(table for table in tables() if table.key == key)


def _set(draft: Draft, node: Node, attribute: str, make: Callable[[], Any]) -> None:
    """Derive a value unless it is given; what it needs may be missing: then it is faulty."""
    if node.given(attribute):
        return
    value = make()
    if value is None:
        node.values[attribute] = FAULTY
    else:
        _assume(draft, node, attribute, value)


def _engine_and_conditions(draft: Draft) -> None:
    engine, conditions = draft.one("engine"), draft.one("conditions")
    if conditions is not None:
        _conditions(draft, conditions)
    if engine is None:
        return
    layout = engine.get("layout")
    count = CYLINDERS.get(layout) if layout else None
    engine.values["cylinders"] = FAULTY if count is None else count
    stroke, bore = engine.get("stroke_m"), engine.get("bore_m")
    _set(draft, engine, "rod_m", lambda: None if stroke is None else ROD_RATIO * stroke)
    _set(draft, engine, "port_length_m", lambda: None if bore is None else PORT_BORES * bore)
    _set(
        draft,
        engine,
        "firing_intervals_deg",
        lambda: None if count is None else (720.0 / count,) * count,
    )
    ambient = conditions.get("ambient_pressure_pa") if conditions else None
    charge = conditions.get("charge_pressure_pa") if conditions else None
    boosted = conditions.get("boosted") if conditions else None

    def exhaust() -> float | None:
        if boosted is None or ambient is None or charge is None:
            return None
        return float(charge if boosted else ambient + EXHAUST_ABOVE_AMBIENT_PA)

    _set(draft, engine, "exhaust_pressure_pa", exhaust)


def _stages(draft: Draft) -> None:
    """Sets of injectors: which is trimmed, how many injectors, and the share that follows air."""
    fuel, engine = draft.one("fuel"), draft.one("engine")
    nodes = fuel.nodes.get("stages", []) if fuel is not None else []
    cylinders = engine.get("cylinders") if engine is not None else None
    for node in nodes:
        place = node.get("place")
        if not node.given("trimmed"):
            node.values["trimmed"] = FAULTY if place is None else place == "near valve"
        if not node.given("count") and place in AT_CYLINDERS:
            _set(draft, node, "count", lambda: cylinders)
    if fuel is None or not nodes or fuel.given("air_following_fraction"):
        return
    fraction = following_share(nodes)
    fuel.values["air_following_fraction"] = FAULTY if fraction is None else fraction


def _conditions(draft: Draft, node: Node) -> None:
    _set(draft, node, "ambient_pressure_pa", lambda: P_STANDARD_PA)
    _set(draft, node, "ambient_temperature_k", lambda: T_STANDARD_K)
    ambient = node.get("ambient_pressure_pa")
    _set(draft, node, "charge_pressure_pa", lambda: ambient)
    charge = node.get("charge_pressure_pa")
    if ambient is None or charge is None:
        node.values["boosted"] = FAULTY
    else:
        node.values["boosted"] = bool(charge > ambient + BOOST_MARGIN_PA)
    if node.get("boosted") is False:
        _set(draft, node, "charge_temperature_k", lambda: node.get("ambient_temperature_k"))


def _entries(draft: Draft) -> None:
    lengths = {p.get("name") or "main": p.get("length_m") for p in draft.many("plenum")}
    faces = {r.get("face") or "side" for r in draft.runners}
    single = len({r.get("row") or "single" for r in draft.runners}) == 1
    for node in draft.many("entry"):
        kind, end = node.get("kind"), node.get("end")
        if kind == "side" and not node.given("at_m"):
            length = lengths.get(node.get("plenum") or "main")
            known = end is not None and length is not None
            at = 0.0 if end == "cylinder-1" else length
            node.values["at_m"] = at if known else FAULTY
        if node.given("aim_deg"):
            continue
        if kind == "center" and node.get("face") is not None and len(faces) == 1:
            face = next(iter(faces))
            _assume(draft, node, "aim_deg", _aim(str(node.get("face")), face if single else "none"))
        else:
            node.values["aim_deg"] = 90.0


def _aim(entry_face: str, runner_face: str) -> float:
    opposite = {"top": "floor", "floor": "top", "back": "side", "side": "back"}
    if opposite[entry_face] == runner_face:
        return 0.0
    return 180.0 if entry_face == runner_face else 90.0


def _plenums(draft: Draft) -> None:
    for node in draft.many("plenum"):
        sections = node.get("sections")
        circle = [s for s in sections or () if _is_circle(s.area_m2, s.perimeter_m)]
        if node.get("shape") == "area" and circle:
            name = where((*node.path, "perimeter"))
            text = ", ".join(f"{section.perimeter_m * 1000:.4g} mm" for section in circle)
            draft.assumed.append(
                (name, text, "circle of the same area, where no perimeter is given")
            )


def _is_circle(area_m2: float, perimeter_m: float) -> bool:
    return abs(perimeter_m / (2.0 * math.sqrt(math.pi * area_m2)) - 1.0) < 1e-12


def _runners(draft: Draft) -> None:
    """Defaults of runners, written down once when the same for all."""
    table = _table("runner")
    for node in draft.runners:
        if not node.given("end_diameter_m"):
            node.values["end_diameter_m"] = node.get("diameter_m") or FAULTY
            node.places["end_diameter_m"] = ("@",)
    taken = [n for n in draft.runners if n.places.get("end_diameter_m") == ("@",)]
    if taken:
        spec = specs(table.model)["end_diameter_m"]
        draft.assumed.append((_runner_place(draft, taken, "end_diameter"), spec.derived, spec.why))
    for attribute, spec in specs(table.model).items():
        if not spec.why or spec.derived:
            continue
        bare = [node for node in draft.runners if not node.given(attribute)]
        if not bare:
            continue
        value = default_of(table.model, attribute)
        for node in bare:
            node.values[attribute] = value
        place = _runner_place(draft, bare, spec.key)
        draft.assumed.append((place, value_text(spec, value), spec.why))


def _runner_place(draft: Draft, nodes: list[Node], key: str) -> str:
    if len(nodes) == len(draft.runners):
        return f"runners.{key}"
    return f"runner {', '.join(str(n.get('cylinder')) for n in nodes)}: {key}"
