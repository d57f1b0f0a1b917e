"""Commented starter case: every field of the format, each with its meaning and origin."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from distrib.case.fields import Spec
from distrib.case.fields import specs as spec_map
from distrib.case.starters import STARTERS, Starter
from distrib.case.tables import Table, tables, top_specs
from distrib.case.toml_text import dumps
from distrib.case.values import choices_of, nearest, words
from distrib.errors import InputError, Problem

ENTRY_KINDS: Final = ("side", "center")
_OPTIONAL: Final = ("limits", "losses", "structure", "drawing", "review")
_COMMENT_AT: Final = 40
_WIDTH: Final = 100
_BARE_KINDS: Final = frozenset(
    {
        *("integer", "number", "boolean", "loss", "integers", "speeds", "texts", "lengths"),
        *("angles", "pairs", "lift table", "dead time"),
    }
)


def starter(layout: str, entry: str) -> str:
    """TOML text of a starter for a layout ("inline-3" ... "flat-6") and an entry (side, center).

    Raises InputError for an unknown layout or entry.
    """
    problems = []
    for where, word, known in (
        ("layout", layout, tuple(STARTERS)),
        ("entry", entry, ENTRY_KINDS),
    ):
        if word not in known:
            read = f'"{word}"' if word else "nothing"
            problems.append(
                Problem(where, read, words(known), nearest(word, known) if word else "")
            )
    if problems:
        raise InputError(problems)
    values = STARTERS[layout]
    lines = _head(values, entry)
    lines += _keys(None, top_specs().values(), _top(values, entry), "")
    tree = _tree(values, entry)
    for table in tables():
        lines += _table(table, tree, (), commented=table.key in _OPTIONAL)
    lines += _search(values, entry)
    return "\n".join(lines) + "\n"


def _head(values: Starter, entry: str) -> list[str]:
    return [
        f"# Starter case: {values.name}, {entry} entry. All figures are invented, replace them.",
        '# A quantity is text with a unit: "82.5 mm", "2 7/8 in", "1.2 bar gauge", "45 degC".',
        "# A pressure says gauge or absolute. Lines behind # are fields that may be left out.",
        "# x runs from the cylinder-1 end of the plenum. Check with: distrib check FILE",
        "",
    ]


def _top(values: Starter, entry: str) -> dict[str, Any]:
    return {
        "title": f"Starter: {values.name}, {entry} entry",
        "note": "invented figures; replace every one",
        "invented": True,
        "cylinder_1_end": "front",
        "view": "from above, front of the engine to the left",
        "use": "competition",
    }


def _tree(values: Starter, entry: str) -> dict[str, Any]:
    """Given values of all tables; what is not here stands in the starter as a comment."""
    return {
        "engine": _engine(values),
        "conditions": _conditions(values),
        "plenum": _plenums(values),
        "entry": _entries(values, entry),
        "runners": _shared(values),
        "runner": _own(values),
        "balance_tube": _tubes(values),
        "bench": {"depression": "28 inH2O", "head": "removed"},
        "fuel": {
            "kind": "gasoline",
            "lambda_target": 0.80 if values.boost_bar else 0.88,
            "injection": "sequential",
            "air_following_fraction": 0.0,
            "injector": {
                "static_flow": "850 cc/min" if values.boost_bar else "420 cc/min",
                "at_pressure": "3 bar",
                "rail_pressure": "3 bar",
                "dead_time": [[12.0, "1.25 ms"], [14.0, "0.95 ms"]],
            },
        },
        "uncertainty": {"samples": 1000, "seed": 1, "tolerance": "0.1 mm",
                        "charge_pressure_percent": 2, "charge_temperature_kelvin": 5},
    }


def _engine(v: Starter) -> dict[str, Any]:
    interval = f"{720 // len(v.firing_order)} deg"
    exhaust = f"{v.boost_bar * 1.15:.2f} bar gauge" if v.boost_bar else "0.1 bar gauge"
    return {
        "layout": v.layout,
        "bore": f"{v.bore_mm:g} mm",
        "stroke": f"{v.stroke_mm:g} mm",
        "rod": f"{v.rod_mm:g} mm",
        "port_length": f"{1.15 * v.bore_mm:.0f} mm",
        "compression_ratio": v.ratio,
        "firing_order": list(v.firing_order),
        "firing_intervals": [interval] * len(v.firing_order),
        "exhaust_pressure": exhaust,
        "intake_valve": _valve(v.intake_valve_mm, 0.30, "12 deg", "50 deg"),
        "exhaust_valve": _valve(v.exhaust_valve_mm, 0.33, "50 deg", "12 deg"),
        "port_flow": {
            "flow": f"{v.port_flow_cfm} cfm",
            "depression": "28 inH2O",
            "lift": f"{v.intake_valve_mm * 0.30:.1f} mm",
        },
    }


def _valve(diameter_mm: float, lift: float, opens: str, closes: str) -> dict[str, Any]:
    return {
        "count": 2,
        "diameter": f"{diameter_mm:g} mm",
        "max_lift": f"{diameter_mm * lift:.1f} mm",
        "opens": opens,
        "closes": closes,
        "stem_diameter": "6 mm",
        "discharge_coefficient": [[0.05, 0.7], [0.15, 0.68], [0.25, 0.62], [0.32, 0.57]],
    }


def _conditions(v: Starter) -> dict[str, Any]:
    charge = f"{v.boost_bar:g} bar gauge" if v.boost_bar else "101.3 kPa absolute"
    return {
        "rpm": list(v.rpm),
        "ambient_pressure": "101.3 kPa absolute",
        "ambient_temperature": "20 degC",
        "relative_humidity": "50 percent",
        "charge_pressure": charge,
        "charge_temperature": "45 degC" if v.boost_bar else "20 degC",
    }


def _plenums(v: Starter) -> list[dict[str, Any]] | dict[str, Any]:
    names = ("left", "right") if v.split else ("main",)
    shape = "round" if v.section[0][0] == "diameter" else "rectangle"
    made: list[dict[str, Any]] = [
        {
            "name": name,
            "length": f"{v.length_mm:g} mm",
            "shape": shape,
            "roughness": "0.02 mm",
            **dict(v.section),
        }
        for name in names
    ]
    return made if v.split else made[0]


def _entries(v: Starter, kind: str) -> list[dict[str, Any]] | dict[str, Any]:
    made = []
    for plenum in ("left", "right") if v.split else ("main",):
        where: dict[str, Any] = {"end": "cylinder-1"}
        if kind == "center":
            own = [
                x
                for x, row in zip(v.stations_mm, v.rows or (plenum,) * 9, strict=False)
                if not v.split or row == plenum
            ]
            middle = (min(own) + max(own)) / 2
            where = {"at": f"{middle:g} mm", "face": "top", "tilt": "0 deg", "aim": "90 deg"}
        made.append(
            {
                "name": f"{plenum} throttle" if v.split else "throttle",
                "plenum": plenum,
                "kind": kind,
                **where,
                "offset": "0 mm",
                "diameter": f"{v.throttle_mm:g} mm",
                "length": "150 mm",
                "roughness": "0.02 mm",
                "bends": [{"angle": "45 deg", "radius": f"{v.throttle_mm * 1.5:g} mm"}],
                "supply": {"length": "600 mm", "diameter": f"{v.throttle_mm * 0.9:.0f} mm",
                           "volume": "6 L"},
                "throttle": {
                    "bore": f"{v.throttle_mm:g} mm",
                    "shaft_diameter": "8 mm",
                    "plate_angle": "90 deg",
                    "closed_angle": "6 deg",
                    "shaft": "along",
                },
            }
        )
    return made if v.split else made[0]


def _shared(v: Starter) -> dict[str, Any]:
    plenum = {} if v.split else {"plenum": "main"}
    row = {} if v.rows else {"row": "single"}
    return {
        **plenum,
        "stations": [f"{x:g} mm" for x in v.stations_mm],
        **row,
        "face": "side",
        "length": f"{v.runner_length_mm:g} mm",
        "diameter": f"{v.runner_mm:g} mm",
        "end_diameter": f"{v.runner_mm - 1:g} mm",
        "mouth": "bell",
        "mouth_radius": "9 mm",
        "angle": "90 deg",
        "roughness": "0.02 mm",
        "flange_step": "0 mm",
        "bends": [{"angle": "60 deg", "radius": f"{v.runner_mm * 2:g} mm"}],
    }


def _own(v: Starter) -> list[dict[str, Any]]:
    key = "plenum" if v.split else "row"
    return [{"cylinder": i + 1, key: row} for i, row in enumerate(v.rows)]


def _tubes(v: Starter) -> list[dict[str, Any]]:
    if not v.split:
        return []
    middle = f"{v.center_mm:g} mm"
    return [
        {
            "from_plenum": "left",
            "from_at": middle,
            "to_plenum": "right",
            "to_at": middle,
            "diameter": "38 mm",
            "length": "420 mm",
        }
    ]


def _table(table: Table, tree: dict[str, Any], path: tuple[str, ...], commented: bool) -> list[str]:
    """Lines of one table and the tables in it."""
    if table.key == "search":
        return []
    given = tree.get(table.key)
    many = isinstance(given, list)
    items = given if many else [given]
    name = ".".join((*path, table.key))
    form = f"[[{name}]]" if many or table.repeat == "list" else f"[{name}]"
    lines: list[str] = []
    if not items or items == [None]:
        if not commented and (table.repeat == "list" or path or table.key == "balance_tube"):
            return _hint(table, form)
        items, commented = [{}], True
    for item in items:
        mark = "# " if commented else ""
        lines += ["", f"# {table.meaning}", f"{mark}{form}"]
        specs = [s for key in _own_keys(table) if (s := table.spec(key)) is not None]
        lines += _keys(table, specs, item or {}, mark)
        inline = {key: (item or {})[key] for key in ("bends",) if key in (item or {})}
        lines += [f"{key} = {_inline(value)}" for key, value in inline.items()]
        for child in table.children:
            if child.key not in ("bends", "sections"):
                lines += _table(child, item or {}, (*path, table.key), commented)
    return lines


def _own_keys(table: Table) -> list[str]:
    children = {child.key for child in table.children}
    keys = [key for key in table.names() if key not in children]
    if table.key == "runners":
        keys = [k for k in keys if k not in ("cylinder", "station", "stations")]
        keys.insert(1, "stations")
    if table.key == "plenum":
        front = ["name", "length", "shape", "diameter", "width", "height", "area", "perimeter"]
        keys = front + [key for key in keys if key not in front]
    return keys


def _hint(table: Table, form: str) -> list[str]:
    specs = [spec for key in table.names() if (spec := table.spec(key)) is not None]
    shown = ", ".join(f"{spec.key}" for spec in specs[:8])
    return ["", f"# {form}  # {table.meaning}: {shown}"]


def meaning(table: Table | None, spec: Spec) -> str:
    """What a field is, with the words it allows and what holds when it is left out."""
    parts = [spec.meaning]
    if table is not None and spec.kind == "choice":
        attribute = next((a for a, s in spec_map(table.model).items() if s is spec), None)
        parts.append(f"{words(choices_of(table.model, attribute))}" if attribute else "")
    if spec.derived:
        parts.append(f"left out: {spec.derived}")
    return "; ".join(part for part in parts if part)


def _keys(
    table: Table | None,
    specs: Iterable[Spec],
    given: dict[str, Any],
    mark: str,
) -> list[str]:
    """Key lines: given values, and what may be left out behind a comment mark."""
    own = len(given) <= 3 and "cylinder" in given
    lines = []
    for spec in specs:
        if spec.key in given:
            text = f"{spec.key} = {_inline(given[spec.key])}"
        elif own:
            continue
        else:
            text = (
                f"# {spec.key} = {example(spec)}" if not mark else f"{spec.key} = {example(spec)}"
            )
        remark = f"# {meaning(table, spec)}"
        line = f"{mark + text:<{_COMMENT_AT}}  {remark}"
        lines += [line] if len(line) <= _WIDTH else [remark, mark + text]
    return lines


def example(spec: Spec) -> str:
    """The example of a field as TOML."""
    bare = spec.kind in _BARE_KINDS
    quoted = not bare and not (spec.kind == "fraction" and " " not in spec.example)
    return f'"{spec.example}"' if quoted else spec.example


def _inline(value: Any) -> str:
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return f"[{', '.join(_inline(item) for item in value)}]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_inline(v)}" for k, v in value.items()) + " }"
    return dumps({"x": value}).removeprefix("x = ").strip()


def _search(v: Starter, entry: str) -> list[str]:
    name = "plenum.left.length" if v.split else "plenum.length"
    low, high = f"{v.length_mm:g} mm", f"{v.length_mm * 1.2:g} mm"
    return [
        "",
        "# ranges that `improve` may search: dotted names, low and high, or choices",
        "# [search]",
        f'# "{name}" = {{ low = "{low}", high = "{high}" }}',
        '# "runners.mouth" = { choices = ["rounded", "bell"] }',
    ]
