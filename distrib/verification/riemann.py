"""Exact solution of the Riemann problem of an ideal gas, and of a simple wave before it steepens.

Independent of the unsteady solver; gamma is a parameter. Source: closed form (shock and rarefaction
functions as in Toro, Riemann Solvers and Numerical Methods for Fluid Dynamics (2009), chapter 4;
check row rie.sod).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
State = tuple[float, float, float]
"""density, velocity, pressure"""


@dataclass(frozen=True)
class Star:
    """Star region: pressure, velocity, densities left and right of the contact, wave speeds.

    `left` and `right` are the slowest and fastest edge of each outer wave (equal for a shock).
    """

    p: float
    u: float
    rho_left: float
    rho_right: float
    left: tuple[float, float]
    right: tuple[float, float]


def _side(p: float, state: State, gamma: float) -> tuple[float, float]:
    """Velocity change over one outer wave, and its derivative by p."""
    rho, _, pk = state
    c = np.sqrt(gamma * pk / rho)
    if p > pk:
        a, b = 2.0 / ((gamma + 1.0) * rho), (gamma - 1.0) / (gamma + 1.0) * pk
        root = np.sqrt(a / (p + b))
        return float((p - pk) * root), float(root * (1.0 - 0.5 * (p - pk) / (p + b)))
    g = (gamma - 1.0) / (2.0 * gamma)
    return (float(2.0 * c / (gamma - 1.0) * ((p / pk) ** g - 1.0)),
            float((p / pk) ** (-(gamma + 1.0) / (2.0 * gamma)) / (rho * c)))


def _outer(p: float, u: float, state: State, sign: float,
           gamma: float) -> tuple[float, tuple[float, float]]:
    """Density in the star region and edges of one outer wave (sign -1 left, +1 right)."""
    rho, uk, pk = state
    c = float(np.sqrt(gamma * pk / rho))
    if p > pk:
        m = (gamma - 1.0) / (gamma + 1.0)
        star = rho * (p / pk + m) / (m * p / pk + 1.0)
        speed = uk + sign * c * float(np.sqrt(
            (gamma + 1.0) / (2.0 * gamma) * p / pk + (gamma - 1.0) / (2.0 * gamma)))
        return star, (speed, speed)
    star = rho * (p / pk) ** (1.0 / gamma)
    tail = u + sign * c * (p / pk) ** ((gamma - 1.0) / (2.0 * gamma))
    head = uk + sign * c
    return star, (min(head, tail), max(head, tail))


def star_state(left: State, right: State, gamma: float = 1.4) -> Star:
    """Solve for the star region by Newton from the two-rarefaction value.

    States are (density, velocity, pressure). ValueError if the two sides part into vacuum.
    """
    cl, cr = (np.sqrt(gamma * s[2] / s[0]) for s in (left, right))
    du = right[1] - left[1]
    if 2.0 * (cl + cr) / (gamma - 1.0) <= du:
        raise ValueError("the states part into vacuum")
    g = (gamma - 1.0) / (2.0 * gamma)
    p = float(((cl + cr - 0.5 * (gamma - 1.0) * du)
               / (cl / left[2] ** g + cr / right[2] ** g)) ** (1.0 / g))
    for _ in range(100):
        fl, dl = _side(p, left, gamma)
        fr, dr = _side(p, right, gamma)
        new = max(p - (fl + fr + du) / (dl + dr), 1e-12 * p)
        if abs(new - p) <= 1e-15 * p:
            p = new
            break
        p = new
    fl, fr = _side(p, left, gamma)[0], _side(p, right, gamma)[0]
    u = 0.5 * (left[1] + right[1]) + 0.5 * (fr - fl)
    rho_left, edges_left = _outer(p, u, left, -1.0, gamma)
    rho_right, edges_right = _outer(p, u, right, 1.0, gamma)
    return Star(p, u, rho_left, rho_right, edges_left, edges_right)


def _fan(speed: FloatArray, state: State, sign: float, gamma: float) -> FloatArray:
    """State inside a rarefaction fan at x/t = speed: rows density, velocity, pressure."""
    rho, u, p = state
    c = np.sqrt(gamma * p / rho)
    k = 2.0 / (gamma + 1.0)
    ratio = k - sign * (gamma - 1.0) / ((gamma + 1.0) * c) * (u - speed)
    velocity = k * (-sign * c + 0.5 * (gamma - 1.0) * u + speed)
    density = rho * ratio ** (2.0 / (gamma - 1.0))
    return np.stack([density, velocity, p * ratio ** (2.0 * gamma / (gamma - 1.0))])


def sample(left: State, right: State, speed: FloatArray, gamma: float = 1.4) -> FloatArray:
    """Exact solution at x/t = speed (n,): rows density, velocity, pressure (3, n)."""
    star = star_state(left, right, gamma)
    s = np.asarray(speed, dtype=np.float64)

    def constant(state: State) -> FloatArray:
        return np.asarray(np.array(state)[:, None] * np.ones_like(s))

    out = np.where(s < star.u, constant((star.rho_left, star.u, star.p)),
                   constant((star.rho_right, star.u, star.p)))
    inside = (s > star.left[0]) & (s < star.left[1])
    out = np.where(inside, _fan(np.where(inside, s, star.left[0]), left, -1.0, gamma), out)
    inside = (s > star.right[0]) & (s < star.right[1])
    out = np.where(inside, _fan(np.where(inside, s, star.right[1]), right, 1.0, gamma), out)
    out = np.where(s <= star.left[0], constant(left), out)
    return np.asarray(np.where(s >= star.right[1], constant(right), out))


def cell_means(left: State, right: State, edges: FloatArray, at: float, time: float,
               gamma: float = 1.4, points: int = 200) -> FloatArray:
    """Averages of the exact solution over cells with `edges` (n + 1,), jump at `at`: (3, n).

    Density is the exact average to quadrature error; velocity and pressure are averaged likewise.
    """
    width = np.diff(edges)
    x = edges[:-1, None] + width[:, None] * (np.arange(points) + 0.5) / points
    values = sample(left, right, ((x - at) / time).ravel(), gamma)
    return np.asarray(values.reshape(3, width.size, points).mean(axis=2))


def simple_wave(x: FloatArray, time: float, velocity: Callable[[FloatArray], FloatArray],
                rho0: float, p0: float, gamma: float = 1.4) -> FloatArray:
    """Right-running isentropic wave into gas (rho0, p0) at rest, before it steepens into a shock.

    u = velocity(x - (u + c) t) with c = c0 + (gamma - 1)/2 u: solved by fixed-point and Newton-free
    bisection of the characteristic foot, which must lie within the range of x. Rows density,
    velocity, pressure.
    """
    c0 = float(np.sqrt(gamma * p0 / rho0))
    span = 0.5 * float(np.ptp(x)) + 10.0 * c0 * time
    low, high = x - span, x + span
    for _ in range(200):
        foot = 0.5 * (low + high)
        u = velocity(foot)
        beyond = foot + (c0 + 0.5 * (gamma + 1.0) * u) * time > x
        high = np.where(beyond, foot, high)
        low = np.where(beyond, low, foot)
    u = velocity(0.5 * (low + high))
    ratio = 1.0 + 0.5 * (gamma - 1.0) * u / c0
    return np.stack([rho0 * ratio ** (2.0 / (gamma - 1.0)), u,
                     p0 * ratio ** (2.0 * gamma / (gamma - 1.0))])
