"""The one decorator for compiled kernels, so that every kernel is compiled alike."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

F = TypeVar("F", bound=Callable[..., Any])


def kernel(function: F) -> F:
    """Compile with numba: cached on disk, without the interpreter lock, IEEE division.

    The uncompiled source stays reachable as `.py_func`. Contraction to fused multiply-add is the
    only liberty taken with arithmetic.
    """
    from numba import njit

    compiled: F = njit(
        cache=True, nogil=True, error_model="numpy", fastmath={"contract"}
    )(function)
    return compiled


def inline(function: F) -> F:
    """Compile a small function that is always inlined into the kernels that call it."""
    from numba import njit

    compiled: F = njit(
        cache=True, nogil=True, error_model="numpy", fastmath={"contract"}, forceinline=True
    )(function)
    return compiled
