"""Strict reading of a small TOML file: every key asked for, every mistake kept with its line."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from distrib.case.guard import parse_toml, read_toml_text, strange_signs
from distrib.case.locate import Locator
from distrib.errors import InputError, Problem
from distrib.units import UnitError, parse


class Node:
    """One table of a TOML file. Readers return None after noting a problem; `close` notes keys
    that nobody asked for."""

    def __init__(self, data: Mapping[str, Any], at: tuple[str | int, ...], root: Root) -> None:
        self._data = data
        self._at = at
        self._root = root
        self._asked: set[str] = set()

    def __contains__(self, key: str) -> bool:
        return key in self._data

    def keys(self) -> tuple[str, ...]:
        """Keys present, in file order."""
        return tuple(self._data)

    def problem(self, key: str | None, read: str, allowed: str, hint: str = "") -> None:
        """Note a mistake at a key of this table (or at the table itself)."""
        at = self._at if key is None else (*self._at, key)
        where = ".".join(str(p) for p in at) or "file"
        self._root.problems.append(
            Problem(where, read, allowed, hint, self._root.file, self._root.locator.line(at),
                    "mapping")
        )

    def raw(self, key: str, needed: bool = False, example: str = "") -> Any:
        """The value as TOML gave it, or None; a missing needed key is a problem."""
        self._asked.add(key)
        if key not in self._data:
            if needed:
                self.problem(key, "nothing", example or "a value", "this key is needed")
            return None
        return self._data[key]

    def text(
        self, key: str, choices: Sequence[str] = (), needed: bool = False, example: str = ""
    ) -> str | None:
        """A text, one of `choices` if given."""
        value = self.raw(key, needed, example or ", ".join(choices))
        if value is None:
            return None
        if not isinstance(value, str) or not value.strip() or (choices and value not in choices):
            allowed = ", ".join(f'"{c}"' for c in choices) if choices else example or "a text"
            lower = {c.lower(): c for c in choices}
            near = difflib.get_close_matches(str(value).lower(), list(lower), n=1, cutoff=0.5)
            hint = f'nearest: "{lower[near[0]]}"' if near else ""
            self.problem(key, _shown(value), allowed, hint)
            return None
        return value

    def flag(self, key: str, needed: bool = False) -> bool | None:
        """true or false."""
        value = self.raw(key, needed, "true or false")
        if value is not None and not isinstance(value, bool):
            self.problem(key, _shown(value), "true or false")
            return None
        return value

    def number(
        self, key: str, low: float, high: float, needed: bool = False
    ) -> float | None:
        """A plain number between two limits, both allowed."""
        value = self.raw(key, needed, f"a number from {low:g} to {high:g}")
        if value is None:
            return None
        return self._checked_number(key, value, low, high)

    def _checked_number(self, key: str, value: Any, low: float, high: float) -> float | None:
        good = isinstance(value, int | float) and not isinstance(value, bool)
        if not good or not low <= value <= high:
            self.problem(key, _shown(value), f"a number from {low:g} to {high:g}")
            return None
        return float(value)

    def numbers(
        self, key: str, low: float, high: float, needed: bool = False
    ) -> tuple[float, ...] | None:
        """A list of plain numbers."""
        value = self.raw(key, needed, "a list of numbers")
        if value is None:
            return None
        if not isinstance(value, list) or not value:
            self.problem(key, _shown(value), "a list of numbers")
            return None
        out = [self._checked_number(key, v, low, high) for v in value]
        return None if None in out else tuple(v for v in out if v is not None)

    def integers(self, key: str, low: int, high: int, needed: bool = False
                 ) -> tuple[int, ...] | None:
        """A list of whole numbers, each once."""
        value = self.raw(key, needed, "a list of whole numbers")
        if value is None:
            return None
        ok = isinstance(value, list) and value and all(
            isinstance(v, int) and not isinstance(v, bool) and low <= v <= high for v in value
        )
        if not ok:
            self.problem(key, _shown(value), f"a list of whole numbers from {low} to {high}")
            return None
        if len(set(value)) != len(value):
            self.problem(key, _shown(value), "each number once")
            return None
        return tuple(value)

    def texts(
        self, key: str, needed: bool = False, repeated: bool = False
    ) -> tuple[str, ...] | None:
        """A list of texts, each once unless they may be `repeated`."""
        value = self.raw(key, needed, "a list of texts")
        if value is None:
            return None
        if not isinstance(value, list) or not value or not all(
            isinstance(v, str) and v.strip() for v in value
        ):
            self.problem(key, _shown(value), "a list of texts")
            return None
        if len(set(value)) != len(value) and not repeated:
            self.problem(key, _shown(value), "each name once")
            return None
        return tuple(value)

    def quantity(
        self, key: str, kind: str, needed: bool = False, ambient_pa: float | None = None
    ) -> float | None:
        """A text with a unit as SI; a gauge pressure needs the outside pressure."""
        value = self.raw(key, needed, f"a {kind} with its unit")
        if value is None:
            return None
        return self.as_quantity(key, value, kind, ambient_pa)

    def as_quantity(
        self, key: str, value: Any, kind: str, ambient_pa: float | None = None
    ) -> float | None:
        """SI value of one text, noting a problem at `key`."""
        if not isinstance(value, str):
            self.problem(key, _shown(value), f"a text with a unit ({kind})",
                         "a bare number does not say its unit")
            return None
        try:
            quantity = parse(value, kind)
        except UnitError as error:
            self.problem(key, error.read, error.allowed, error.hint)
            return None
        if quantity.reference == "gauge":
            if ambient_pa is None:
                self.problem(key, _shown(value), "an absolute pressure",
                             "a gauge pressure needs the barometer, which is not given")
                return None
            return quantity.absolute_pa(ambient_pa)
        return quantity.value

    def table(self, key: str, needed: bool = False, example: str = "") -> Node | None:
        """A nested table."""
        value = self.raw(key, needed, example or "a table")
        if value is None:
            return None
        if not isinstance(value, dict):
            self.problem(key, _shown(value), example or "a table { ... }")
            return None
        return Node(value, (*self._at, key), self._root)

    def close(self) -> None:
        """Note every key of this table that was not asked for, with the nearest known name."""
        for key in self._data:
            if key not in self._asked:
                near = difflib.get_close_matches(key, sorted(self._asked), n=1, cutoff=0.5)
                self.problem(
                    key, "unknown key", ", ".join(sorted(self._asked)),
                    f"nearest: {near[0]}" if near else "",
                )


class Root:
    """A TOML file: its text, where keys stand, and the problems found so far."""

    def __init__(self, path: Path) -> None:
        self.file = str(path)
        self.problems: list[Problem] = []
        try:
            text = read_toml_text(path)
            self.data: Mapping[str, Any] = parse_toml(text, self.file)
        except OSError as error:
            raise self._failure(error.strerror or "unreadable", "a readable TOML file") from None
        except UnicodeDecodeError:
            raise self._failure("text that is not UTF-8", "UTF-8 text") from None
        except tomllib.TOMLDecodeError as error:
            raise self._failure(f"no valid TOML: {error}", "TOML", _line_of(error, text)) from None
        self.locator = Locator(text)
        for place, sign in strange_signs(self.data):
            self.top().problem(".".join(map(str, place)), f"the sign {sign}",
                               "text without control signs")

    def _failure(self, read: str, allowed: str, line: int | None = None) -> InputError:
        return InputError([Problem("file", read, allowed, "", self.file, line, "file")])

    def top(self) -> Node:
        """The whole file as a table."""
        return Node(self.data, (), self)

    def check(self) -> None:
        """Raise InputError with everything noted so far, in file order."""
        if self.problems:
            ordered = sorted(self.problems, key=lambda p: (p.line is None, p.line or 0))
            raise InputError(ordered)


def _line_of(error: tomllib.TOMLDecodeError, text: str) -> int | None:
    """Line that the TOML reader names, the last one for "end of document"."""
    found = re.search(r"\(at line (\d+)", str(error))
    if found:
        return int(found.group(1))
    return text.count("\n") + 1 if "end of document" in str(error) else None


def _shown(value: Any) -> str:
    text = f'"{value}"' if isinstance(value, str) else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
