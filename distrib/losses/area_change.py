"""Sudden and gradual changes of area.

`area_ratio` is always small over large area, in (0, 1]. Expansions and diffusers stand on the head
of the small (inlet) end, contractions on the head of the small (outlet) end.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def _f(x: ArrayLike) -> FloatArray:
    return np.asarray(x, dtype=np.float64)


def expansion_Borda(area_ratio: ArrayLike) -> FloatArray:
    """Sudden expansion, Borda-Carnot: (1 - s)^2 on the inlet head (closed form)."""
    return np.asarray((1.0 - _f(area_ratio)) ** 2)


def contraction_Rennels(area_ratio: ArrayLike) -> FloatArray:
    """Sudden sharp contraction, outlet head (Rennels and Hudson 2012, ch. 10); 0.57 at s = 0."""
    s = _f(area_ratio)
    beta5 = s**2.5
    jet = 1.0 + 0.622 * (1.0 - 0.215 * s - 0.785 * beta5)
    return np.asarray(0.0696 * (1.0 - beta5) * jet**2 + (jet - 1.0) ** 2)


def contraction_Crane(area_ratio: ArrayLike) -> FloatArray:
    """Sudden sharp contraction, outlet head: 0.5 (1 - s) (Crane TP-410)."""
    return np.asarray(0.5 * (1.0 - _f(area_ratio)))


def contraction_round_Rennels(area_ratio: ArrayLike, radius_over_d: ArrayLike) -> FloatArray:
    """Contraction with edge radius r over outlet diameter, outlet head (Rennels and Hudson 2012).

    r/D 0 to 1.
    """
    s, r = _f(area_ratio), _f(radius_over_d)
    beta, beta5 = np.sqrt(s), s**2.5
    edge = (1.0 - 0.30 * np.sqrt(r) - 0.70 * r) ** 4
    jet = 1.0 + 0.622 * edge * (1.0 - 0.215 * s - 0.785 * beta5)
    return np.asarray(0.0696 * (1.0 - 0.569 * r) * (1.0 - np.sqrt(r) * beta) * (1.0 - beta5)
                      * jet**2 + (jet - 1.0) ** 2)


def contraction_conical_Rennels(area_ratio: ArrayLike, angle_deg: ArrayLike,
                                friction: ArrayLike) -> FloatArray:
    """Conical contraction of full angle, outlet head (Rennels and Hudson 2012); f Darcy.

    angle_deg 5 to 180; includes the cone's wall friction.
    """
    s, half = _f(area_ratio), np.radians(_f(angle_deg)) / 2.0
    beta5 = s**2.5
    jet = 1.0 + 0.622 * (2.0 * half / np.pi) ** 0.8 * (1.0 - 0.215 * s - 0.785 * beta5)
    wall = _f(friction) * (1.0 - s * s) / (8.0 * np.sin(half))
    return np.asarray(wall + 0.0696 * np.sin(half) * (1.0 - beta5) * jet**2 + (jet - 1.0) ** 2)


def diffuser_Rennels(area_ratio: ArrayLike, angle_deg: ArrayLike,
                     friction: ArrayLike) -> FloatArray:
    """Conical diffuser, total-pressure loss on the inlet head (Rennels and Hudson 2012, ch. 11).

    angle_deg full cone angle, above 0 to 180; friction Darcy f of the cone. Above 60 degrees a
    free jet: no wall friction.
    """
    s, angle = _f(area_ratio), _f(angle_deg)
    half = np.radians(angle) / 2.0
    core, wall = (1.0 - s) ** 2, 0.125 * _f(friction) * (1.0 - s * s) / np.sin(half)
    beta4, slender = s * s, s < 0.25
    attached = 8.30 * np.tan(np.minimum(half, np.radians(10.0))) ** 1.75
    mid = np.clip(angle, 20.0, 60.0)
    stalled = (1.366 * np.sqrt(np.sin(2.0 * np.pi * (mid - 15.0) / 180.0)) - 0.170
               - np.where(slender, 3.28 * (0.0625 - beta4) * np.sqrt(0.025 * (mid - 20.0)), 0.0))
    wide = np.sqrt(np.maximum(angle - 60.0, 0.0) / 120.0)
    jet = np.where(slender, 1.205 - 3.28 * (0.0625 - beta4) - 12.8 * s**3 * wide,
                   1.205 - 0.20 * wide)
    k = np.where(angle <= 20.0, attached * core + wall,
                 np.where(angle <= 60.0, stalled * core + wall, jet * core))
    return np.asarray(k)


def diffuser_Crane(area_ratio: ArrayLike, angle_deg: ArrayLike) -> FloatArray:
    """Conical diffuser, inlet head: 2.6 sin(angle/2) (1 - s)^2 to 45, then Borda (Crane)."""
    s, angle = _f(area_ratio), _f(angle_deg)
    factor = np.where(angle <= 45.0, 2.6 * np.sin(np.radians(np.minimum(angle, 45.0)) / 2.0), 1.0)
    return np.asarray(factor * (1.0 - s) ** 2)


def diffuser_recovery(area_ratio: ArrayLike, loss: ArrayLike) -> FloatArray:
    """Static recovery Cp = 1 - s^2 - K of a diffuser, on the inlet head (closed form)."""
    return np.asarray(1.0 - _f(area_ratio) ** 2 - _f(loss))


def diffuser_angle_deg(area_ratio: ArrayLike, length_over_d: ArrayLike) -> FloatArray:
    """Full cone angle from area ratio and length over inlet diameter, degrees (closed form)."""
    growth = 1.0 / np.sqrt(_f(area_ratio)) - 1.0
    return np.asarray(2.0 * np.degrees(np.arctan2(growth, 2.0 * _f(length_over_d))))


def diffuser_stall_angle_deg(length_over_d: ArrayLike) -> FloatArray:
    """Full cone angle above which a diffuser tends to stall (lopsided exit stream), degrees.

    17.2 (L/D)^(-1/2), L/D 1 to 20: through the angle of best recovery at fixed length of Sovran and
    Klomp (1967) at L/D 2.33 (11.26 degrees; stall begins just above it), slope -1/2 of the log-log
    map from memory. 1-sigma 25 %. A warning line, not a loss.
    """
    return np.asarray(17.2 / np.sqrt(_f(length_over_d)))
