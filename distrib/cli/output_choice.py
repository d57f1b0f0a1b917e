"""One of a few words on the command line, with the nearest allowed one in the message."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

Text = TypeVar("Text", bound=str)


def choice(where: str, read: str, allowed: Sequence[Text]) -> Text:
    """The allowed word that equals `read`; InputError with the nearest one otherwise."""
    import difflib

    from distrib.errors import InputError, Problem

    for item in allowed:
        if item == read:
            return item
    near = difflib.get_close_matches(read, allowed, n=1, cutoff=0.4)
    raise InputError([Problem(where, f'"{read}"', ", ".join(allowed),
                              f"nearest: {near[0]}" if near else "")])
