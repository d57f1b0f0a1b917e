"""Line numbers of keys and tables in a TOML text; `tomllib` gives none.

The scanner runs over text that `tomllib` has accepted, so it only follows nesting: headers,
arrays of tables, dotted keys, strings of all four kinds, arrays and inline tables.
"""

from __future__ import annotations

import re

Path = tuple[str | int, ...]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_ESCAPES = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}


class Locator:
    """Line of each path, such as ("runner", 2, "length"); lists count from 0."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._pos = 0
        self._line = 1
        self._lines: dict[Path, int] = {}
        self._counts: dict[Path, int] = {}
        self._scan()

    def line(self, path: Path) -> int | None:
        """Line of `path`, or of the nearest table around it; None when nothing is known."""
        while path:
            if path in self._lines:
                return self._lines[path]
            path = path[:-1]
        return None

    def _scan(self) -> None:
        table: Path = ()
        while True:
            self._skip(" \t\r\n")
            if self._pos >= len(self._text):
                return
            if self._peek() == "[":
                table = self._header()
            else:
                self._pair(table)

    def _peek(self) -> str:
        return self._text[self._pos : self._pos + 1]

    def _step(self, count: int = 1) -> None:
        self._line += self._text.count("\n", self._pos, self._pos + count)
        self._pos += count

    def _skip(self, blanks: str) -> None:
        """Pass blanks and comments."""
        while self._pos < len(self._text):
            char = self._peek()
            if char == "#":
                end = self._text.find("\n", self._pos)
                self._step((end if end >= 0 else len(self._text)) - self._pos)
            elif char in blanks:
                self._step()
            else:
                return

    def _header(self) -> Path:
        array = self._text.startswith("[[", self._pos)
        line = self._line
        self._step(2 if array else 1)
        names = self._names()
        self._step(2 if array else 1)
        path: Path = ()
        for name in names[:-1]:
            path = self._into((*path, name))
        path = (*path, names[-1])
        if array:
            index = self._counts.get(path, 0)
            self._counts[path] = index + 1
            self._lines.setdefault(path, line)
            path = (*path, index)
        else:
            path = self._into(path)
        self._lines.setdefault(path, line)
        return path

    def _into(self, path: Path) -> Path:
        """The newest element when `path` is an array of tables."""
        return (*path, self._counts[path] - 1) if path in self._counts else path

    def _pair(self, table: Path) -> None:
        line = self._line
        names = self._names()
        path = table
        for name in names:
            path = (*path, name)
            self._lines.setdefault(path, line)
        self._skip(" \t")
        self._step()  # the equals sign
        self._skip(" \t")
        self._value(path)

    def _names(self) -> list[str]:
        names: list[str] = []
        while True:
            self._skip(" \t")
            char = self._peek()
            if char in "\"'" and char:
                names.append(self._string())
            else:
                found = _BARE.match(self._text, self._pos)
                if found is None:
                    raise ValueError(f"line {self._line}: no key")
                names.append(found.group())
                self._step(len(found.group()))
            self._skip(" \t")
            if self._peek() != ".":
                return names
            self._step()

    def _string(self) -> str:
        quote = self._peek()
        triple = self._text.startswith(quote * 3, self._pos)
        mark = quote * 3 if triple else quote
        self._step(len(mark))
        out: list[str] = []
        while not self._text.startswith(mark, self._pos):
            if quote == '"' and self._peek() == "\\":
                self._step()
                out.append(_ESCAPES.get(self._peek(), "?"))
            else:
                out.append(self._peek())
            self._step()
        self._step(len(mark))
        while triple and self._peek() == quote:  # up to two quotes may precede the closing mark
            self._step()
        return "".join(out)

    def _value(self, path: Path) -> None:
        char = self._peek()
        if char and char in "\"'":
            self._string()
        elif char == "[":
            self._array(path)
        elif char == "{":
            self._inline(path)
        else:
            while self._pos < len(self._text) and self._peek() not in ",]}#\n":
                self._step()

    def _array(self, path: Path) -> None:
        self._step()
        index = 0
        while True:
            self._skip(" \t\r\n,")
            if self._peek() == "]":
                self._step()
                return
            self._lines.setdefault((*path, index), self._line)
            self._value((*path, index))
            index += 1

    def _inline(self, path: Path) -> None:
        self._step()
        while True:
            self._skip(" \t\r\n,")
            if self._peek() == "}":
                self._step()
                return
            self._pair(path)
