"""A case while it is read: values that are known, values that are faulty, and where each stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final, Protocol

from distrib.case.fields import specs
from distrib.case.locate import Path
from distrib.case.tables import Table

FAULTY: Final = object()
"""Stands for a value that was given but could not be taken; it has been reported already."""


class Report(Protocol):
    """Takes one problem: where it stands, what was read, what is allowed, what to try."""

    def __call__(self, path: Path, read: str, allowed: str, hint: str = "") -> None: ...


@dataclass
class Node:
    """One table of the file while it is read: values by attribute, nested nodes, places."""

    table: Table
    path: Path
    values: dict[str, Any] = field(default_factory=dict)
    nodes: dict[str, list[Node]] = field(default_factory=dict)
    places: dict[str, Path] = field(default_factory=dict)

    def get(self, attribute: str) -> Any:
        """The value, or None when it is missing or faulty."""
        value = self.values.get(attribute)
        return None if value is FAULTY else value

    def given(self, attribute: str) -> bool:
        """True when the file or a default has set the attribute, faulty or not."""
        return attribute in self.values

    def known(self, *attributes: str) -> bool:
        """True when all attributes have sound values."""
        return all(self.get(attribute) is not None for attribute in attributes)

    def node(self, attribute: str) -> Node | None:
        """The nested node of a table that appears once."""
        found = self.nodes.get(attribute)
        return found[0] if found else None

    def place(self, attribute: str) -> Path:
        """Path of an attribute in the file, also when it is missing there."""
        if attribute in self.places:
            return self.places[attribute]
        spec = specs(self.table.model).get(attribute)
        return (*self.path, spec.key if spec else attribute)


@dataclass
class Draft:
    """The whole file while it is read."""

    top: Node
    tables: dict[str, list[Node]] = field(default_factory=dict)
    runners: list[Node] = field(default_factory=list)
    search: list[Any] = field(default_factory=list)
    assumed: list[tuple[str, str, str]] = field(default_factory=list)

    def one(self, key: str) -> Node | None:
        """The only node of a table key, or None."""
        found = self.tables.get(key)
        return found[0] if found else None

    def many(self, key: str) -> list[Node]:
        """All nodes of a table key."""
        return self.tables.get(key, [])

    def all_nodes(self) -> Iterator[Node]:
        """Every node with a place of its own, parents first; merged runners are left out."""
        stack = [node for nodes in self.tables.values() for node in nodes]
        while stack:
            node = stack.pop(0)
            yield node
            stack[:0] = [inner for nodes in node.nodes.values() for inner in nodes]


def where(path: Path) -> str:
    """Name of a place: ("runner", 2, "length") is 'runner[3].length'."""
    text = ""
    for step in path:
        text += f"[{step + 1}]" if isinstance(step, int) else (f".{step}" if text else step)
    return text
