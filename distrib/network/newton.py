"""Damped Newton on lanes. It knows x, a residual and a Jacobian, and nothing of elements."""

from __future__ import annotations

from typing import Any, NamedTuple

from distrib.kernels import kernel
from distrib.network.lanes import LANES
from distrib.network.sparse import solve_lanes

_L = LANES


class Scratch(NamedTuple):
    """Work rows of one solve."""

    trial: Any  # slots of x
    residual: Any
    jacobian: Any
    step: Any
    right: Any
    damping: Any
    norm: Any


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
    for i in range(n):
        norm[i] = 0.0
    for k in range(rows):
        for i in range(n):
            value = abs(r[k * _L + i])
            norm[i] = norm[i] if value <= norm[i] else value
    for i in range(n):
        if not norm[i] < 1e300:
            norm[i] = 1e300


@kernel
def longest_step(x: Any, step: Any, floor: Any, n_p: int, shrink: float, damping: Any,
                 n: int) -> None:
    """Largest damping factor up to 1 that keeps x[k] + floor above `shrink` of itself."""
    for i in range(n):
        damping[i] = 1.0
    for k in range(n_p):
        for i in range(n):
            level = x[k * _L + i] + floor[i]
            room = (shrink - 1.0) * level
            delta = step[k * _L + i]
            cut = room / delta if delta < room else 1.0
            damping[i] = cut if cut < damping[i] else damping[i]


@kernel
def newton(evaluate: Any, ctx: Any, prog: Any, x: Any, floor: Any, n_p: int, options: Any,
           s: Any, status: Any, n: int) -> None:
    """Solve evaluate(ctx, x, r, jac) -> r = 0 on n lanes, in place.

    x, floor     unknowns as flat rows; the first n_p of them plus `floor` must stay positive
    status       (LANES,) out: iterations used where solved, negative where not
    A step is halved until the largest residual falls; after five halvings it is taken anyway.
    """
    rows = prog.pivot.shape[0]
    for i in range(n):
        status[i] = 0
    evaluate(ctx, x, s.residual, s.jacobian, n)
    largest(s.residual, s.norm, rows, n)
    for i in range(x.size):
        s.trial[i] = x[i]
    for iteration in range(options.limit):
        busy = False
        for i in range(n):
            if status[i] == 0 and s.norm[i] < options.tolerance:
                status[i] = iteration + 1
            if status[i] == 0:
                busy = True
        if not busy:
            break
        for i in range(rows * _L):
            s.right[i] = -s.residual[i]
        solve_lanes(prog, s.jacobian, s.right, s.step, n)
        longest_step(x, s.step, floor, n_p, options.shrink, s.damping, n)
        for tries in range(6):
            for k in range(rows):
                for i in range(n):
                    go = s.damping[i] if status[i] == 0 else 0.0
                    s.trial[k * _L + i] = x[k * _L + i] + go * s.step[k * _L + i]
            evaluate(ctx, s.trial, s.residual, s.jacobian, n)
            largest(s.residual, s.right, rows, n)
            retry = False
            for i in range(n):
                worse = s.right[i] > s.norm[i] * (1.0 - 1e-4 * s.damping[i])
                if status[i] == 0 and worse and s.norm[i] > options.tolerance and tries < 5:
                    s.damping[i] *= 0.5
                    retry = True
            if not retry:
                break
        for i in range(n):
            if status[i] == 0:
                s.norm[i] = s.right[i]
        for k in range(rows):
            for i in range(n):
                if status[i] == 0 and s.trial[k * _L + i] == s.trial[k * _L + i]:
                    x[k * _L + i] = s.trial[k * _L + i]
    for i in range(n):
        if status[i] == 0:
            status[i] = options.limit + 1 if s.norm[i] < options.tolerance else -1
