"""Nearest names, for errors that name what was probably meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest_names(name: str, allowed: Iterable[str], count: int = 3) -> tuple[str, ...]:
    """The allowed names most like `name`, best first; empty when none is similar."""
    lowered = {a.lower(): a for a in allowed}
    close = difflib.get_close_matches(name.lower(), list(lowered), n=count, cutoff=0.5)
    return tuple(lowered[c] for c in close)
