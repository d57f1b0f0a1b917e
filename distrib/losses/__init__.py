"""Loss laws: pure, vectorised, each on a stated area, each with source, range and uncertainty.

The families live in one file each; `registry` lists them by name. `law`, `laws` and `families`
are reached from here too, and loaded when first used: nothing runs at import.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from distrib.losses.registry import families as families
    from distrib.losses.registry import law as law
    from distrib.losses.registry import laws as laws

__all__ = ["families", "law", "laws"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'distrib.losses' has no attribute {name!r}")
    from distrib.losses import registry

    return getattr(registry, name)
