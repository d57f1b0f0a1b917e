"""Read a case file: TOML text to a checked, frozen `Case`, or every problem at once."""

from __future__ import annotations

import copy
import hashlib
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path as FilePath
from typing import Any

from pydantic import ValidationError

from distrib.case.defaults import fill
from distrib.case.draft import FAULTY, Draft, Node, where
from distrib.case.guard import MOST_BYTES, parse_toml, strange_signs
from distrib.case.locate import Locator, Path
from distrib.case.plausible import check_plausible
from distrib.case.schema import Assumption, Case
from distrib.case.topology import check_topology
from distrib.case.validate import Validator
from distrib.errors import InputError, Problem
from distrib.files import read_limited

_AT_LINE = re.compile(r"\s*\(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)")
_SYNTAX_HINTS = (
    ("Cannot overwrite a value", "the key stands twice; keep one"),
    ("Cannot declare", "the table stands twice; keep one"),
    ("Invalid value", "text with a unit goes in quotes"),
    ("Expected newline or end of document after a statement", "text with a unit goes in quotes"),
    ("Invalid statement", "a line is key = value, or a [table]"),
    ("Expected '=' after a key", "a line is key = value; a key has no spaces"),
    ("Unterminated", "a quote or bracket is not closed, here or above"),
    ("Unclosed", "a quote or bracket is not closed, here or above"),
    ("Illegal character", "a quote is not closed on its line, or a strange character stands there"),
)


def read_case(path: str | FilePath) -> Case:
    """Read and check a case file; raises InputError with every problem, each with its line."""
    name = str(path)
    try:
        data = read_limited(path, MOST_BYTES)
    except FileNotFoundError:
        raise InputError(
            [Problem("file", "nothing", "a case file that exists", file=name)]
        ) from None
    except IsADirectoryError:
        raise InputError([Problem("file", "a folder", "a case file", file=name)]) from None
    except OSError as error:
        reason = error.strerror or "an error"
        raise InputError(
            [Problem("file", reason, "a case file that can be read", file=name)]
        ) from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(
            [
                Problem(
                    "file",
                    f"the byte 0x{data[error.start]:02x}",
                    "text in UTF-8",
                    "save the file as UTF-8",
                    name,
                    line,
                )
            ]
        ) from None
    return read_text(text, name)


def read_text(text: str, path: str = "case") -> Case:
    """Read and check a case given as TOML text; `path` names it in messages."""
    text = text.replace("\r\n", "\n")
    try:
        tree = parse_toml(text, path)
    except tomllib.TOMLDecodeError as error:
        raise InputError([_syntax_problem(str(error), text, path)]) from None
    return _read(tree, Locator(text), path, hashlib.sha256(text.encode()).hexdigest())


def read_tree(tree: Mapping[str, Any], path: str = "") -> Case:
    """Read and check a case given as a tree of what TOML would give; problems have no line."""
    return _read(copy.deepcopy(dict(tree)), None, path, "")


def _read(tree: dict[str, Any], locator: Locator | None, file: str, sha256: str) -> Case:
    problems: dict[Problem, None] = {}

    def report(path: Path, read: str, allowed: str, hint: str = "") -> None:
        line = locator.line(path) if locator is not None else None
        problems.setdefault(Problem(where(path) or "file", read, allowed, hint, file, line))

    for place, sign in strange_signs(tree):
        report(place, f"the sign {sign}", "text without control signs", "remove it")

    draft = Validator(tree, report).draft()
    fill(draft)
    check_topology(draft, report)
    check_plausible(draft, report)
    if not problems:
        try:
            return _case(draft, tree, file, sha256)
        except ValidationError as error:
            for item in error.errors():
                place = tuple(step for step in item["loc"] if isinstance(step, str | int))
                report(place, str(item.get("input"))[:60], item["msg"])
    raise InputError(sorted(problems, key=lambda p: p.line if p.line is not None else 0))


def _case(draft: Draft, tree: dict[str, Any], file: str, sha256: str) -> Case:
    fields = _plain(draft.top)
    for key in ("engine", "conditions", "bench", "fuel", "limits", "losses", "uncertainty"):
        node = draft.one(key)
        fields[key] = _plain(node) if node is not None else None
    for key in ("structure", "drawing"):
        node = draft.one(key)
        if node is not None:
            fields[key] = _plain(node)
    fields["plenums"] = [_plain(node) for node in draft.many("plenum")]
    fields["entries"] = [_plain(node) for node in draft.many("entry")]
    fields["review"] = [_plain(node) for node in draft.many("review")]
    fields["balance_tubes"] = [_plain(node) for node in draft.many("balance_tube")]
    runners = sorted(draft.runners, key=lambda node: node.get("cylinder"))
    fields["runners"] = [_plain(node) for node in runners]
    fields["search"] = draft.search
    fields["assumed"] = [Assumption(field=f, value=v, why=w) for f, v, w in draft.assumed]
    return Case.model_validate({**fields, "path": file, "sha256": sha256, "tree": tree})


def _plain(node: Node) -> dict[str, Any]:
    """The values of a node and its children as pydantic takes them."""
    plain = {name: value for name, value in node.values.items() if value is not FAULTY}
    for attribute, nodes in node.nodes.items():
        if nodes and nodes[0].table.repeat == "list":
            plain[attribute] = [_plain(inner) for inner in nodes]
        elif nodes:
            plain[attribute] = _plain(nodes[0])
    return plain


def _syntax_problem(message: str, text: str, file: str) -> Problem:
    found = _AT_LINE.search(message)
    lines = text.split("\n")
    if found is None or found["line"] is None:
        line = len(text.rstrip("\n").split("\n"))
    else:
        line = int(found["line"])
    what = _AT_LINE.sub("", message)
    shown = lines[line - 1].strip() if 0 < line <= len(lines) else ""
    shown = shown if len(shown) <= 60 else shown[:57] + "..."
    what = re.sub(r"\('([^']*)',\)", r"[\1]", what)
    hint = next((hint for start, hint in _SYNTAX_HINTS if what.startswith(start)), "")
    allowed = f"TOML ({what[:1].lower()}{what[1:]})"
    return Problem("syntax", shown or "an empty line", allowed, hint, file, line, code="syntax")
