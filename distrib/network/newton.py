"""Damped Newton on lanes, by reverse communication.

It knows x, a residual and a Jacobian, and nothing of elements: the caller evaluates both at
`Scratch.trial` between two calls of `advance`.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from distrib.kernels import kernel
from distrib.network.sparse import solve_lanes
from distrib.vectors import LANES, add_product, copy, raise_to

_L = LANES
HALVINGS = 5
"""A step that does not lower the residual is halved this often, then taken."""


class Scratch(NamedTuple):
    """Work rows of one solve."""

    trial: Any  # slots of x
    residual: Any
    jacobian: Any
    step: Any
    right: Any
    damping: Any
    go: Any  # damping of the lanes that move
    norm: Any
    count: Any  # iterations, halvings


class Options(NamedTuple):
    """When to stop, and how far a step may go.

    tolerance    of the largest scaled residual
    limit        iterations at most
    shrink       smallest part to which a pressure may fall in one step
    """

    tolerance: float = 1e-12
    limit: int = 80
    shrink: float = 0.3


@kernel
def largest(r: Any, norm: Any, rows: int, n: int) -> None:
    """Largest absolute residual per lane; NaN counts as infinite."""
    for i in range(_L):
        norm[i] = 0.0
    for k in range(rows):
        # a NaN compares false with everything: it must not be lost to a later number
        raise_to(norm, 0, r, k * _L, 1e300)


@kernel
def longest_step(x: Any, step: Any, floor: Any, n_p: int, shrink: float, damping: Any,
                 n: int) -> None:
    """Largest damping factor up to 1 that keeps x[k] + floor above `shrink` of itself."""
    for i in range(_L):
        damping[i] = 1.0
    for k in range(n_p):
        for i in range(_L):
            level = x[k * _L + i] + floor[i]
            room = (shrink - 1.0) * level
            delta = step[k * _L + i]
            cut = room / delta if delta < room else 1.0
            damping[i] = cut if cut < damping[i] else damping[i]


@kernel
def propose(x: Any, s: Any, status: Any, rows: int, n: int) -> None:
    """Write x + damping * step into the trial rows; finished lanes stay where they are."""
    for i in range(_L):
        s.go[i] = s.damping[i] if status[i] == 0 else 0.0
    for k in range(rows):
        copy(s.trial, k * _L, x, k * _L)
        add_product(s.trial, k * _L, s.go, 0, s.step, k * _L, 1.0)


@kernel
def begin(x: Any, s: Any, status: Any, n: int) -> None:
    """Start a solve from x: the caller evaluates at `s.trial` and calls `advance` until False."""
    for i in range(x.size):
        s.trial[i] = x[i]
    s.count[0] = 0
    s.count[1] = 0
    for i in range(n):
        status[i] = 0


@kernel
def shorten(s: Any, status: Any, options: Any, n: int) -> bool:
    """Halve the step of lanes whose residual did not fall; True when one should be tried again."""
    retry = False
    for i in range(n):
        worse = s.right[i] > s.norm[i] * (1.0 - 1e-4 * s.damping[i])
        if status[i] == 0 and worse and s.right[i] > options.tolerance:
            s.damping[i] *= 0.5
            retry = True
    return retry


@kernel
def advance(prog: Any, x: Any, floor: Any, n_p: int, options: Any, s: Any, status: Any,
            n: int) -> bool:
    """One move of the solver after an evaluation at `s.trial`.

    x, floor     unknowns as flat rows; the first n_p of them plus `floor` must stay positive
    status       (LANES,) iterations used where solved, 0 while busy, negative where failed
    Returns True while `s.residual` and `s.jacobian` are wanted at a new `s.trial`. A step is
    halved until the largest residual falls; after HALVINGS it is taken anyway.
    """
    rows = prog.pivot.shape[0]
    largest(s.residual, s.right, rows, n)
    iteration = s.count[0]
    if iteration > 0 and s.count[1] < HALVINGS and shorten(s, status, options, n):
        s.count[1] += 1
        propose(x, s, status, rows, n)
        return True
    busy = False
    for i in range(n):
        if status[i] == 0:
            s.norm[i] = s.right[i]
            if s.norm[i] < options.tolerance:
                status[i] = iteration + 1
            else:
                busy = True
    for k in range(rows):
        for i in range(_L):
            x[k * _L + i] = s.trial[k * _L + i]
    if not busy or iteration >= options.limit:
        for i in range(n):
            if status[i] == 0:
                status[i] = -1
        return False
    for i in range(rows * _L):
        s.right[i] = -s.residual[i]
    solve_lanes(prog, s.jacobian, s.right, s.step, n)
    longest_step(x, s.step, floor, n_p, options.shrink, s.damping, n)
    propose(x, s, status, rows, n)
    s.count[0] = iteration + 1
    s.count[1] = 0
    return True
