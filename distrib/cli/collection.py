"""Collecting garbage less often while a command makes many objects that live to its end."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

OBJECTS: Final = 20_000
"""New objects before the youngest generation is looked through; Python's own figure is 700."""


@contextmanager
def seldom() -> Iterator[None]:
    """For the length of a `with` block, look for cycles of dead objects much less often.

    A report loads thousands of classes and makes figures of thousands of parts, which all live to
    its end: to look them through again and again takes a tenth of its time and frees nothing.
    The former setting comes back after the block.
    """
    import gc

    before = gc.get_threshold()
    gc.set_threshold(OBJECTS, 50, 50)
    try:
        yield
    finally:
        gc.set_threshold(*before)
