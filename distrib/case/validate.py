"""From the raw tree to a draft: every key and value looked at, every problem reported."""

from __future__ import annotations

from typing import Any

from distrib.case.design import Section
from distrib.case.draft import FAULTY, Draft, Node, Report
from distrib.case.fields import Spec, specs
from distrib.case.locate import Path
from distrib.case.parameters import search_ranges
from distrib.case.readers import read_value
from distrib.case.schema import Case, Limits
from distrib.case.sections import read_sections
from distrib.case.tables import STATIONS, Table, tables, top_specs
from distrib.case.values import (
    BadValueError,
    Context,
    choices_of,
    nearest,
    show,
    words,
)
from distrib.constants import P_STANDARD_PA

_TOP = Table("", "", Case, "keys before the first table")


class Validator:
    """Reads a raw tree into a `Draft`; problems go to `report`."""

    def __init__(self, tree: dict[str, Any], report: Report) -> None:
        self._tree = tree
        self._report = report
        self._context = Context(self._ambient())
        self._tables_misspelt: set[str] = set()

    def draft(self) -> Draft:
        """The draft of the whole tree."""
        draft = Draft(Node(_TOP, ()))
        self._keys(draft.top, self._tree, [spec.key for spec in top_specs().values()])
        self._fields(draft.top, self._tree, top_specs())
        for table in tables():
            if table.key == "search":
                draft.search = search_ranges(self._tree, self._context, self._report)
                continue
            draft.tables[table.key] = self._table(table, self._tree, ())
        self._merge_runners(draft)
        return draft

    def _ambient(self) -> float:
        """Outside pressure, read ahead because gauge pressures need it."""
        raw = self._tree.get("conditions")
        value = raw.get("ambient_pressure") if isinstance(raw, dict) else None
        table = next(t for t in tables() if t.key == "conditions")
        spec = table.spec("ambient_pressure")
        if value is None or spec is None:
            return P_STANDARD_PA
        try:
            return float(read_value(spec, value, Context()))
        except BadValueError:
            return P_STANDARD_PA

    def _table(self, table: Table, parent: dict[str, Any], path: Path) -> list[Node]:
        """All nodes of one table key under `parent`."""
        if table.key not in parent:
            if table.required and table.key not in self._tables_misspelt:
                kind = f"a table [{table.key}]: {table.meaning}"
                self._report((*path, table.key), "nothing", kind)
            return []
        raw = parent[table.key]
        own: Path = (*path, table.key)
        if isinstance(raw, dict):
            if table.repeat == "list":
                self._report(own, "a table", f"a list of tables: {_list_form(table, path)}")
                return []
            return [self._node(table, raw, own)]
        tables_only = isinstance(raw, list) and all(isinstance(item, dict) for item in raw)
        if raw == [] and table.required:
            tables_only = False
        if table.repeat == "one" or not tables_only:
            form = (
                _list_form(table, path)
                if table.repeat == "list"
                else f"[{'.'.join(map(str, own))}]"
            )
            self._report(own, show(raw), f"a table: {form}")
            return []
        return [self._node(table, item, (*own, i)) for i, item in enumerate(raw)]

    def _node(self, table: Table, raw: dict[str, Any], path: Path) -> Node:
        node = Node(table, path)
        self._keys(node, raw, table.names())
        fields = specs(table.model)
        if table.model is Limits:
            raw = self._limit_reasons(node, raw)
        self._fields(node, raw, fields)
        for child in table.children:
            if child.model is not Section and child.key in raw:
                node.nodes[child.attribute] = self._table(child, raw, path)
        if table.key == "plenum":
            read_sections(node, raw, self._context, self._report)
        if table.key == "runners":
            self._stations(node, raw)
        if table.key not in ("runners", "runner"):
            self._missing(node)
        return node

    def _keys(self, node: Node, raw: dict[str, Any], known: list[str]) -> None:
        if not node.path:
            known = known + [table.key for table in tables()]
        for key in raw:
            if key in known:
                continue
            hint = nearest(key, known)
            meant = hint.removeprefix('nearest: "').removesuffix('"')
            if not hint:
                hint = f"known here: {', '.join(known)}"
            elif meant not in raw:
                self._misspelt(node, meant)
            self._report((*node.path, key), f'the key "{key}"', "only known keys", hint)

    def _misspelt(self, node: Node, key: str) -> None:
        """Do not report as missing what stands there under a wrong name."""
        if not node.path:
            self._tables_misspelt.add(key)
        for attribute, spec in specs(node.table.model).items():
            if spec.key == key:
                node.values[attribute] = FAULTY

    def _fields(self, node: Node, raw: dict[str, Any], fields: dict[str, Spec]) -> None:
        for attribute, spec in fields.items():
            if spec.key in raw:
                self._value(node, attribute, spec, raw[spec.key], (*node.path, spec.key))
        if not node.path:
            self._missing(node)

    def _value(self, node: Node, attribute: str, spec: Spec, raw: Any, path: Path) -> None:
        context = self._context
        if spec.kind == "choice":
            context = Context(context.ambient_pa, choices_of(node.table.model, attribute))
        try:
            value = read_value(spec, raw, context)
        except BadValueError as bad:
            self._report(path, bad.read, bad.allowed, bad.hint)
            value = FAULTY
        node.places[attribute] = path
        if spec.kind == "injector flow" and value is not FAULTY:
            attribute = "static_flow_kg_s" if value.kind == "mass flow" else "static_flow_m3_s"
            value = value.value
        node.values[attribute] = value

    def _missing(self, node: Node) -> None:
        """Report required fields that the file leaves out and nothing can derive."""
        for attribute, spec in specs(node.table.model).items():
            needed = node.table.model.model_fields[attribute].is_required() and not spec.derived
            if needed and not node.given(attribute):
                self._report(
                    (*node.path, spec.key), "nothing", _wanted(node.table, attribute, spec)
                )

    def _limit_reasons(self, node: Node, raw: dict[str, Any]) -> dict[str, Any]:
        """Split `{ value = 4, reason = "why" }` of the limits into values and reasons."""
        flat: dict[str, Any] = {}
        reasons: list[tuple[str, str]] = []
        for key, item in raw.items():
            flat[key] = item
            if not isinstance(item, dict):
                continue
            for inner in item:
                if inner not in ("value", "reason"):
                    self._report(
                        (*node.path, key, inner),
                        f'the key "{inner}"',
                        "value and reason",
                        nearest(inner, ("value", "reason")),
                    )
            flat[key] = item.get("value")
            reason = item.get("reason")
            if not isinstance(reason, str) or not reason.strip():
                read = "nothing" if reason is None else show(reason)
                self._report((*node.path, key, "reason"), read, "text that says why")
            else:
                reasons.append((key, reason))
        node.values["reasons"] = tuple(reasons)
        return flat

    def _stations(self, node: Node, raw: dict[str, Any]) -> None:
        spec = node.table.spec("stations")
        if "stations" in raw and spec is not None:
            self._value(node, "stations", spec, raw["stations"], (*node.path, "stations"))

    def _merge_runners(self, draft: Draft) -> None:
        """Merge `[runners]`, its stations and every `[[runner]]` into one node per cylinder."""
        shared = draft.one("runners")
        listed: list[Any] = []
        if shared is not None:
            stations = shared.get("stations")
            listed = list(stations) if stations is not None else []
            if shared.given("cylinder"):
                self._report(
                    shared.place("cylinder"), "a cylinder", "no cylinder in what all runners share"
                )
        own = {node.get("cylinder"): node for node in draft.many("runner")}
        table = next(t for t in tables() if t.key == "runner")
        order = list(range(1, len(listed) + 1))
        nodes = draft.many("runner")
        order += [n.get("cylinder") for n in nodes if n.get("cylinder") not in order]
        for cylinder in order:
            merged = Node(table, ("runners",))
            if shared is not None:
                _copy(shared, merged)
            if isinstance(cylinder, int) and cylinder <= len(listed):
                merged.values["station_m"] = listed[cylinder - 1]
                merged.places["station_m"] = ("runners", "stations", cylinder - 1)
            if cylinder in own:
                _copy(own[cylinder], merged)
                merged.path = own[cylinder].path
            merged.values.pop("stations", None)
            merged.values.setdefault("cylinder", cylinder if cylinder is not None else FAULTY)
            if shared is not None and shared.values.get("stations") is FAULTY:
                merged.values.setdefault("station_m", FAULTY)
            draft.runners.append(merged)
        self._missing_in_runners(draft)

    def _missing_in_runners(self, draft: Draft) -> None:
        if not draft.runners:
            shared = draft.one("runners")
            if shared is not None and not shared.given("stations"):
                self._report(
                    ("runners", "stations"), "nothing",
                    f"{STATIONS.meaning}, such as {STATIONS.example}", "or a [[runner]] for each")
            elif shared is None and not {"runner", "runners"} & self._tables_misspelt:
                self._report(
                    ("runners",), "nothing",
                    "a table [runners] with what all runners share, and stations")
            return
        seen: set[str] = set()
        for node in draft.runners:
            if node.get("cylinder") is None:
                continue
            for attribute, spec in specs(node.table.model).items():
                needed = node.table.model.model_fields[attribute].is_required()
                if not needed or spec.derived or node.given(attribute):
                    continue
                in_all = all(not other.given(attribute) for other in draft.runners)
                path: Path = ("runners", spec.key) if in_all else (*node.path, spec.key)
                if in_all and attribute in seen:
                    continue
                seen.add(attribute)
                self._report(path, "nothing", _wanted(node.table, attribute, spec))


def _copy(source: Node, target: Node) -> None:
    for attribute, value in source.values.items():
        target.values[attribute] = value
        target.places[attribute] = source.place(attribute)
    for attribute, nodes in source.nodes.items():
        target.nodes[attribute] = nodes


def _wanted(table: Table, attribute: str, spec: Spec) -> str:
    """What a missing field should hold."""
    choices = choices_of(table.model, attribute)
    if choices:
        return f"{spec.meaning}: {words(choices)}"
    quoted = spec.kind not in ("integer", "number", "integers", "angles", "speeds", "fraction")
    example = f'"{spec.example}"' if quoted else spec.example
    return f"{spec.meaning}, such as {example}"


def _list_form(table: Table, path: Path) -> str:
    names = [str(step) for step in path if isinstance(step, str)] + [table.key]
    return f"[[{'.'.join(names)}]] or {table.key} = [{{ ... }}]"
