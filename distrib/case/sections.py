"""Cross-sections of a plenum: given once for the whole length, or as a list of sections."""

from __future__ import annotations

import math
from typing import Any

from distrib.case.design import Section
from distrib.case.draft import FAULTY, Node, Report
from distrib.case.fields import Spec
from distrib.case.locate import Path
from distrib.case.readers import read_value
from distrib.case.tables import SECTION_AT, SECTION_KEYS
from distrib.case.values import BadValueError, Context, nearest, show, words

_SHAPES = {
    "round": ("diameter",),
    "rectangle": ("width", "height"),
    "area": ("area", "perimeter"),
}
_KEYS = {spec.key: spec for spec in SECTION_KEYS}


def read_sections(node: Node, raw: dict[str, Any], context: Context, report: Report) -> None:
    """Set `shape` and `sections` of a plenum node; report what does not fit together."""
    here = {key: raw[key] for key in _KEYS if key in raw}
    listed = raw.get("sections")
    items: list[tuple[dict[str, Any], Path]]
    if listed is None:
        items = [(here, node.path)]
    else:
        if here:
            report(
                (*node.path, next(iter(here))),
                f"both sections and {', '.join(here)}",
                "either a list of sections, or the dimensions of a constant plenum",
            )
        good = isinstance(listed, list) and listed and all(isinstance(i, dict) for i in listed)
        if not good:
            report(
                (*node.path, "sections"), show(listed), "a list of tables with at and dimensions"
            )
            node.values["sections"] = FAULTY
            node.values.setdefault("shape", FAULTY)
            return
        items = [(item, (*node.path, "sections", i)) for i, item in enumerate(listed)]
    shape = _shape(node, [item for item, _ in items], report)
    found = [_section(shape, item, path, listed is None, context, report) for item, path in items]
    sound = [section for section in found if section is not None]
    node.values["sections"] = tuple(sound) if len(sound) == len(found) else FAULTY
    if len(sound) == len(found) and listed is not None:
        _check_order(node, sound, report)


def _shape(node: Node, items: list[dict[str, Any]], report: Report) -> str | None:
    """The shape, stated or read from the dimensions given."""
    if node.given("shape"):
        return str(node.get("shape")) if node.get("shape") else None
    keys = {key for item in items for key in item}
    for shape, needed in _SHAPES.items():
        if needed[0] in keys:
            node.values["shape"] = shape
            return shape
    node.values["shape"] = FAULTY
    report(
        node.path,
        "no dimensions of the section",
        "diameter, or width and height, or area and perimeter, or a list of sections",
    )
    return None


def _section(
    shape: str | None,
    item: dict[str, Any],
    path: Path,
    constant: bool,
    context: Context,
    report: Report,
) -> Section | None:
    if shape is None:
        return None
    wanted = _SHAPES[shape]
    values: dict[str, float] = {} if not constant else {"at": 0.0}
    fields: list[Spec] = [*([] if constant else [SECTION_AT]), *(_KEYS[key] for key in wanted)]
    sound = True
    for spec in fields:
        if spec.key not in item:
            if spec.key != "perimeter":
                sound = False
                report((*path, spec.key), "nothing", f'{spec.meaning}, such as "{spec.example}"')
            continue
        try:
            values[spec.key] = read_value(spec, item[spec.key], context)
        except BadValueError as bad:
            sound = False
            report((*path, spec.key), bad.read, bad.allowed, bad.hint)
    return (
        _made(shape, values)
        if _no_strangers(shape, item, path, constant, report) and sound
        else None
    )


def _no_strangers(
    shape: str, item: dict[str, Any], path: Path, constant: bool, report: Report
) -> bool:
    wanted = _SHAPES[shape] if constant else ("at", *_SHAPES[shape])
    good = True
    for key in item:
        if key in wanted:
            continue
        good = False
        hint = nearest(key, wanted) if key not in _KEYS else f"the shape is {shape}"
        report((*path, key), f'the key "{key}"', f"for shape {shape}: {words(wanted)}", hint)
    return good


def _made(shape: str, values: dict[str, float]) -> Section:
    at = values["at"]
    if shape == "round":
        d = values["diameter"]
        area = math.pi / 4 * d * d
        return Section(at_m=at, area_m2=area, perimeter_m=math.pi * d, diameter_m=d)
    if shape == "rectangle":
        w, h = values["width"], values["height"]
        return Section(at_m=at, area_m2=w * h, perimeter_m=2 * (w + h), width_m=w, height_m=h)
    area = values["area"]
    circle = 2.0 * math.sqrt(math.pi * area)
    return Section(at_m=at, area_m2=area, perimeter_m=values.get("perimeter", circle))


def _check_order(node: Node, found: list[Section], report: Report) -> None:
    place: Path = (*node.path, "sections")
    positions = [section.at_m for section in found]
    for i in range(1, len(positions)):
        if positions[i] <= positions[i - 1]:
            read = f"{positions[i] * 1000:.4g} mm after {positions[i - 1] * 1000:.4g} mm"
            report((*place, i, "at"), read, "positions that rise from section to section")
            return
    if positions[0] != 0.0:
        read = f"a first section at {positions[0] * 1000:.4g} mm"
        report((*place, 0, "at"), read, 'a first section at "0 mm", the cylinder-1 end')
    length = node.get("length_m")
    if length is not None and positions[-1] > length + 1e-9:
        read = f"a section at {positions[-1] * 1000:.4g} mm"
        report((*place, len(found) - 1, "at"), read, f"0 mm to {length * 1000:.4g} mm, the length")
