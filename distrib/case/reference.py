"""Reference page of the case file in Markdown, made from the fields that the reader uses."""

from __future__ import annotations

from distrib.case.fields import Spec, specs
from distrib.case.schema import Case
from distrib.case.tables import Table, tables, top_specs
from distrib.case.template import example, meaning
from distrib.case.values import choices_of, span, words
from distrib.units import EXAMPLES, UNITS

_INTRO = """# The case file

One TOML file describes a design and its conditions. A quantity is text with a unit; a bare number
for a length, pressure, flow, temperature, angle or time is refused, and so is a pressure without
gauge or absolute. A decimal comma is read where it can mean one thing ("82,5 mm"); "1,250 mm" is
refused. Inch fractions are read: "2 7/8 in", "2-7/8 in", '3/4"'. x runs from the cylinder-1 end of
the plenum. What is left out and assumed is listed by `distrib check` and in every result.

A value is named by its table and key: `plenum.length`, `runner.3.length` (cylinder 3),
`plenum.sections.2.diameter` (second section), `plenum.left.length` (the plenum named left).
"""


def reference_page() -> str:
    """The page as Markdown text."""
    lines = [_INTRO, "## Units", "", "| kind | units | example |", "|---|---|---|"]
    for kind, units in UNITS.items():
        lines.append(f"| {kind} | {', '.join(units)} | {EXAMPLES[kind]} |")
    lines += ["", "## Keys before the first table", "", *_HEAD]
    for attribute, spec in top_specs().items():
        lines.append(_row(None, attribute, spec))
    for table in tables():
        lines += _table(table, ())
    return "\n".join(lines) + "\n"


_HEAD = ["| key | meaning | allowed | example | |", "|---|---|---|---|---|"]


def _table(table: Table, path: tuple[str, ...]) -> list[str]:
    name = ".".join((*path, table.key))
    form = {"one": f"[{name}]", "list": f"[[{name}]]", "either": f"[{name}] or [[{name}]]"}
    need = "required" if table.required else "may be left out"
    lines = ["", f"## `{form[table.repeat]}`", "", f"{table.meaning} ({need})", ""]
    if table.key == "search":
        return [
            *lines,
            '`"plenum.length" = { low = "400 mm", high = "480 mm" }` or `{ choices = [..] }`',
        ]
    lines += _HEAD
    for attribute, spec in specs(table.model).items():
        if not (table.key == "runners" and spec.key == "cylinder"):
            lines.append(_row(table, attribute, spec))
    lines += [_row(table, "", spec) for spec in table.extra]
    for child in table.children:
        lines += _table(child, (*path, table.key))
    return lines


def _row(table: Table | None, attribute: str, spec: Spec) -> str:
    model = table.model if table is not None else Case
    allowed = span(spec)
    if spec.kind == "choice":
        allowed = words(choices_of(model, attribute))
    need = ""
    if attribute and model.model_fields[attribute].is_required() and not spec.derived:
        need = "required"
    elif spec.why:
        need = f"assumed when left out: {spec.why}"
    text = meaning(None, spec)
    cells = [f"`{spec.key}`", text, allowed or spec.kind, f"`{example(spec)}`", need]
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"
