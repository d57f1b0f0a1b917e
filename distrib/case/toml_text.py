"""Write a tree of plain values as TOML text."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def dumps(tree: Mapping[str, Any]) -> str:
    """TOML text of a tree: tables as headers, lists of tables as `[[...]]`, the rest inline.

    Raises TypeError for a value that TOML cannot hold.
    """
    lines: list[str] = []
    _table(tree, (), lines)
    return "\n".join(lines).strip("\n") + "\n"


def _table(table: Mapping[str, Any], path: tuple[str, ...], lines: list[str]) -> None:
    later: list[tuple[str, Any]] = []
    for key, value in table.items():
        if isinstance(value, Mapping) or _is_tables(value):
            later.append((key, value))
        else:
            lines.append(f"{_key(key)} = {_value(value)}")
    for key, value in later:
        name = ".".join(_key(step) for step in (*path, key))
        if isinstance(value, Mapping):
            lines += ["", f"[{name}]"]
            _table(value, (*path, key), lines)
        else:
            for item in value:
                lines += ["", f"[[{name}]]"]
                _table(item, (*path, key), lines)


def _is_tables(value: Any) -> bool:
    return (
        isinstance(value, list | tuple)
        and bool(value)
        and all(isinstance(item, Mapping) for item in value)
    )


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _text(key)


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(item) for item in value)}]"
    if isinstance(value, Mapping):
        inner = ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items())
        return f"{{ {inner} }}"
    raise TypeError(f"TOML cannot hold a {type(value).__name__}")
