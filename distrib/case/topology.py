"""Checks across fields that need no physics: names, stations, mouths, entries, tubes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

from distrib.case.design import Section
from distrib.case.draft import Draft, Node, Report
from distrib.case.values import nearest, words

_EPS_M = 1e-6


def check_topology(draft: Draft, report: Report) -> None:
    """Report what does not fit together in the metal."""
    _unique_names(draft, report)
    _cylinders(draft, report)
    _names_exist(draft, report)
    _all_fed(draft, report)
    for node in draft.runners:
        _mouth_inside(draft, node, report)
        _mouth_shape(node, report)
    _mouths_apart(draft, report)
    for node in draft.many("entry"):
        _entry_kind(draft, node, report)
        _entry_size(draft, node, report)
        _throttle(node, report)
    for node in draft.many("balance_tube"):
        _tube(draft, node, report)
    _volumes(draft, report)
    _drawing(draft, report)


def plenum_of(draft: Draft, name: str | None) -> Node | None:
    """The plenum node of a name."""
    return next((p for p in draft.many("plenum") if (p.get("name") or "main") == name), None)


def section_at(plenum: Node, x_m: float) -> Section | None:
    """Section of a plenum at x, interpolated in its linear dimensions; None while unknown."""
    sections: tuple[Section, ...] | None = plenum.get("sections")
    if not sections:
        return None
    before = [s for s in sections if s.at_m <= x_m + _EPS_M] or [sections[0]]
    after = [s for s in sections if s.at_m >= x_m - _EPS_M] or [sections[-1]]
    a, b = before[-1], after[0]
    if a is b or a.at_m == b.at_m or plenum.get("profile") == "step":
        return a
    part = (x_m - a.at_m) / (b.at_m - a.at_m)

    def mix(p: float | None, q: float | None) -> float | None:
        return None if p is None or q is None else p + part * (q - p)

    root = math.sqrt(a.area_m2) + part * (math.sqrt(b.area_m2) - math.sqrt(a.area_m2))
    return Section(
        at_m=x_m,
        area_m2=root * root,
        perimeter_m=a.perimeter_m + part * (b.perimeter_m - a.perimeter_m),
        width_m=mix(a.width_m, b.width_m),
        height_m=mix(a.height_m, b.height_m),
        diameter_m=mix(a.diameter_m, b.diameter_m),
    )


def mm(value_m: float) -> str:
    """A length for a message."""
    return f"{value_m * 1000:.4g} mm"


def _wall(section: Section, face: str) -> float:
    """Size of the wall that a hole on `face` sits in, across the axis."""
    if section.width_m is not None and section.height_m is not None:
        return section.height_m if face in ("side", "back") else section.width_m
    return section.diameter_m or math.sqrt(4.0 * section.area_m2 / math.pi)


def _unique_names(draft: Draft, report: Report) -> None:
    for key, usual in (("plenum", "main"), ("entry", "entry")):
        seen: dict[str, Node] = {}
        for node in draft.many(key):
            name = node.get("name") or usual
            if name in seen:
                report(node.place("name"), f'the name "{name}" again', f"one name per {key}")
            seen[name] = node


def _cylinders(draft: Draft, report: Report) -> None:
    engine = draft.one("engine")
    count = engine.get("cylinders") if engine else None
    found = [node.get("cylinder") for node in draft.runners]
    for node in draft.many("runner"):
        cylinder = node.get("cylinder")
        if cylinder is None and not node.given("cylinder"):
            report((*node.path, "cylinder"), "nothing", "the cylinder that this runner feeds")
        if cylinder is not None and count is not None and cylinder > count:
            report(node.place("cylinder"), f"cylinder {cylinder}", f"1 to {count}")
    own = [node.get("cylinder") for node in draft.many("runner")]
    for index, cylinder in enumerate(own):
        if cylinder is not None and cylinder in own[:index]:
            node = draft.many("runner")[index]
            report(node.place("cylinder"), f"cylinder {cylinder} again", "one runner per cylinder")
    shared = draft.one("runners")
    listed = shared.get("stations") if shared else None
    if count is None or not draft.runners:
        return
    if shared is not None and listed is not None and len(listed) > count:
        read = f"{len(listed)} stations"
        report(shared.place("stations"), read, f"{count} stations, one per cylinder")
    missing = [c for c in range(1, count + 1) if c not in found]
    if missing and None not in found:
        text = ", ".join(map(str, missing))
        path = shared.path if shared is not None else draft.runners[0].path
        report(path, f"no runner for cylinder {text}", "a station or a [[runner]] per cylinder")


def _names_exist(draft: Draft, report: Report) -> None:
    if not draft.many("plenum"):
        return
    names = [p.get("name") or "main" for p in draft.many("plenum")]
    uses = [(node, "plenum") for node in [*draft.many("entry"), *draft.runners]]
    for node in draft.many("balance_tube"):
        uses += [(node, "from_plenum"), (node, "to_plenum")]
    reported = set()
    for node, attribute in uses:
        usual = "main" if attribute == "plenum" else None
        name = node.get(attribute) or (None if node.given(attribute) else usual)
        place = node.place(attribute)
        if name is None or name in names or (place, name) in reported:
            continue
        reported.add((place, name))
        report(place, f'"{name}"', f"the name of a plenum: {words(names)}", nearest(name, names))


def _all_fed(draft: Draft, report: Report) -> None:
    """Every plenum must be reached from an entry, directly or through balance tubes."""
    if not draft.many("entry"):
        return
    fed = {e.get("plenum") or "main" for e in draft.many("entry")}
    tubes = [(t.get("from_plenum"), t.get("to_plenum")) for t in draft.many("balance_tube")]
    for _ in tubes:
        for a, b in tubes:
            fed |= {b} if a in fed else set()
            fed |= {a} if b in fed else set()
    for node in draft.many("plenum"):
        name = node.get("name") or "main"
        if name not in fed:
            allowed = "an entry or a balance tube from a plenum that has one"
            report(node.path, f'no air for the plenum "{name}"', allowed)


def _stations(draft: Draft) -> Iterator[tuple[Node, Node, float, float]]:
    """Runner, its plenum, station and mouth diameter of all runners where all are known."""
    for node in draft.runners:
        plenum = plenum_of(draft, node.get("plenum") or "main")
        if plenum is not None and node.known("station_m", "diameter_m"):
            yield node, plenum, node.get("station_m"), node.get("diameter_m")


def _mouth_inside(draft: Draft, node: Node, report: Report) -> None:
    for runner, plenum, x, d in _stations(draft):
        if runner is not node:
            continue
        length = plenum.get("length_m")
        if length is None:
            return
        if x - d / 2 < -_EPS_M or x + d / 2 > length + _EPS_M:
            read = f"a mouth from {mm(x - d / 2)} to {mm(x + d / 2)}"
            report(node.place("station_m"), read, f"inside the plenum, 0 mm to {mm(length)}")
            return
        section = section_at(plenum, x)
        face = node.get("face") or "side"
        if section is not None and d > _wall(section, face) + _EPS_M:
            read = f"{mm(d)} on a wall of {mm(_wall(section, face))}"
            allowed = "a mouth not larger than the plenum wall it sits in"
            report(node.place("diameter_m"), read, allowed)


def _mouth_shape(node: Node, report: Report) -> None:
    mouth, radius = node.get("mouth"), node.get("mouth_radius_m")
    if mouth in ("rounded", "bevelled", "bell") and not node.given("mouth_radius_m"):
        report(node.place("mouth_radius_m"), "nothing", f'a radius, the mouth is "{mouth}"')
    elif mouth in ("rounded", "bevelled", "bell") and radius == 0.0:
        hint = 'without a radius the mouth is "sharp"'
        report(node.place("mouth_radius_m"), "0 mm", "a radius above zero", hint)
    elif mouth in ("sharp", "re-entrant") and radius:
        report(
            node.place("mouth_radius_m"),
            mm(radius),
            f'no radius, the mouth is "{mouth}"',
            'a mouth with a radius is "rounded", "bevelled" or "bell"',
        )


def _mouths_apart(draft: Draft, report: Report) -> None:
    groups: dict[tuple[str, str, str], list[tuple[float, float, Node]]] = {}
    for node, plenum, x, d in _stations(draft):
        key = (
            plenum.get("name") or "main",
            node.get("row") or "single",
            node.get("face") or "side",
        )
        groups.setdefault(key, []).append((x, d, node))
    for members in groups.values():
        members.sort(key=lambda member: member[0])
        for (xa, da, a), (xb, db, b) in pairwise(members):
            if xb - xa < (da + db) / 2 - _EPS_M:
                pair = f"cylinders {a.get('cylinder')} and {b.get('cylinder')}"
                report(
                    b.place("station_m"),
                    f"mouths of {pair} {mm(xb - xa)} apart",
                    f"at least {mm((da + db) / 2)} apart, the mouths must not overlap",
                )


def _entry_kind(draft: Draft, node: Node, report: Report) -> None:
    kind = node.get("kind")
    plenum = plenum_of(draft, node.get("plenum") or "main")
    length = plenum.get("length_m") if plenum else None
    at = node.get("at_m")
    if kind in ("side", "ducted") and not node.given("end"):
        allowed = f"the end that a {kind} entry comes from: {words(('cylinder-1', 'far'))}"
        report(node.place("end"), "nothing", allowed)
    if kind == "center" and node.given("end"):
        report(node.place("end"), f'"{node.get("end")}"', "no end for a center entry, it has at")
    if kind in ("center", "ducted") and not node.given("at_m"):
        report(node.place("at_m"), "nothing", 'an axial position, such as "215 mm"')
    if kind == "center" and not node.given("face"):
        allowed = f"the wall it sits on: {words(('top', 'back', 'floor'))}"
        report(node.place("face"), "nothing", allowed)
    if kind == "side" and "at_m" in node.places and at is not None:
        allowed = "no position for a side entry, its end says where it is"
        report(node.place("at_m"), mm(at), allowed)
    elif at is not None and length is not None and not 0 <= at <= length + _EPS_M:
        report(node.place("at_m"), mm(at), f"inside the plenum, 0 mm to {mm(length)}")


def _entry_size(draft: Draft, node: Node, report: Report) -> None:
    plenum = plenum_of(draft, node.get("plenum") or "main")
    diffuser = node.node("diffuser")
    d, attribute, owner = node.get("diameter_m"), "diameter_m", node
    wide = diffuser.get("exit_diameter_m") if diffuser else None
    if d is not None and wide is not None and diffuser is not None:
        if wide <= d:
            report(
                diffuser.place("exit_diameter_m"),
                f"{mm(wide)} after {mm(d)}",
                "a diffuser that widens",
            )
        d, attribute, owner = max(wide, d), "exit_diameter_m", diffuser
    at, kind = node.get("at_m"), node.get("kind")
    if plenum is None or d is None or at is None or kind is None:
        return
    section = section_at(plenum, at)
    if section is None:
        return
    if kind == "center":
        room, what = _wall(section, node.get("face") or "top"), "the plenum wall it sits in"
        length = plenum.get("length_m")
        inside = length is not None and 0 <= at <= length
        if inside and (at - d / 2 < -_EPS_M or at + d / 2 > length + _EPS_M):
            read = f"an entry from {mm(at - d / 2)} to {mm(at + d / 2)}"
            report(node.place("at_m"), read, f"inside the plenum, 0 mm to {mm(length)}")
    else:
        room, what = math.sqrt(4.0 * section.area_m2 / math.pi), "the circle of the plenum section"
    if d > room + _EPS_M:
        read = f"{mm(d)} on {mm(room)}"
        report(owner.place(attribute), read, f"an entry not larger than {what}")


def _throttle(node: Node, report: Report) -> None:
    throttle = node.node("throttle")
    if throttle is None:
        return
    bore, shaft = throttle.get("bore_m"), throttle.get("shaft_diameter_m")
    if bore is not None and shaft is not None and shaft >= 0.5 * bore:
        report(throttle.place("shaft_diameter_m"), mm(shaft), f"below half the bore of {mm(bore)}")
    plate, closed = throttle.get("plate_angle_deg"), throttle.get("closed_angle_deg")
    if plate is not None and closed is not None and plate <= closed:
        report(
            throttle.place("plate_angle_deg"),
            f"{plate:g} deg",
            f"above the closed angle of {closed:g} deg: a closed throttle passes nothing",
        )
    entry = node.get("diameter_m")
    if bore is not None and entry is not None and not 0.4 * entry <= bore <= 2.0 * entry:
        report(
            throttle.place("bore_m"),
            f"a bore of {mm(bore)} in an entry of {mm(entry)}",
            f"{mm(0.4 * entry)} to {mm(2.0 * entry)}",
        )


def _tube(draft: Draft, node: Node, report: Report) -> None:
    if node.known("from_plenum", "to_plenum") and node.get("from_plenum") == node.get("to_plenum"):
        report(node.place("to_plenum"), f'"{node.get("to_plenum")}" at both ends', "two plenums")
    for end in ("from", "to"):
        plenum = plenum_of(draft, node.get(f"{end}_plenum"))
        at, d = node.get(f"{end}_at_m"), node.get("diameter_m")
        length = plenum.get("length_m") if plenum else None
        if at is None or length is None or plenum is None:
            continue
        if at > length + _EPS_M:
            place = node.place(f"{end}_at_m")
            report(place, mm(at), f"inside the plenum, 0 mm to {mm(length)}")
            continue
        section = section_at(plenum, at)
        if section is not None and d is not None:
            room = math.sqrt(4.0 * section.area_m2 / math.pi)
            if d > room + _EPS_M:
                read = f"{mm(d)} on {mm(room)}"
                report(node.place("diameter_m"), read, "a tube not larger than the plenum section")


def _volumes(draft: Draft, report: Report) -> None:
    from distrib.case.geometry import section_volume_m3

    for node in draft.many("plenum"):
        sections, length, volume = node.get("sections"), node.get("length_m"), node.get("volume_m3")
        if sections and length is not None and volume is not None:
            swept = section_volume_m3(sections, length, node.get("profile") or "linear")
            if volume < swept * (1 - 1e-6):
                report(
                    node.place("volume_m3"),
                    f"{volume * 1000:.4g} L",
                    f"at least {swept * 1000:.4g} L, the sections times the length",
                )


def _drawing(draft: Draft, report: Report) -> None:
    drawing = draft.one("drawing")
    if drawing is None:
        return
    lengths = [p.get("length_m") for p in draft.many("plenum") if p.get("length_m") is not None]
    for attribute in ("pressure_tap_at_m", "temperature_sensor_at_m"):
        at = drawing.get(attribute)
        if at is not None and lengths and at > max(lengths):
            allowed = f"inside the plenum, 0 mm to {mm(max(lengths))}"
            report(drawing.place(attribute), mm(at), allowed)
    for service in drawing.nodes.get("services", []):
        on_runner = service.get("place") == "runner"
        if on_runner and not service.given("cylinder"):
            report(service.place("cylinder"), "nothing", "the cylinder, it is on a runner")
        if service.get("place") is not None and not on_runner and service.given("cylinder"):
            read = f"cylinder {service.get('cylinder')}"
            report(service.place("cylinder"), read, "no cylinder, it is not on a runner")
