"""Small flow problems with known answers, set up for the unsteady solver; used by
`distrib verify` and by the tests. Each returns plain numbers in the units of its source."""

from __future__ import annotations

import math

import numpy as np

from distrib.constants import R_DRY_AIR
from distrib.results import FloatArray
from distrib.unsteady.run import Options, cell_averages, run_time
from distrib.unsteady.setup import (
    Closed,
    Duct,
    End,
    Start,
    Throttle,
    ToJunction,
    ToThrottle,
    ToVolume,
    Transmissive,
    UnsteadySetup,
    Volume,
)
from distrib.verification.riemann import State, cell_means, simple_wave

SOUND_M_S = 343.2
SOUND_T_K = SOUND_M_S**2 / (1.4 * R_DRY_AIR)
P0_PA = 101325.0


def plain(name: str, length: float, area: float, left: End, right: End, **more: object) -> Duct:
    """A straight frictionless duct."""
    both = {"friction": False, **more}
    return Duct(name, np.array([0.0, length]), np.array([area, area]), left, right,
                **both)  # type: ignore[arg-type]


def tube(left: State, right: State, cells: int, at: float = 0.5) -> UnsteadySetup:
    """Riemann problem on 0..1, gas constant 1 (so T = p/rho)."""
    pairs = [(s[2], s[2] / s[0], s[1]) for s in (left, left, right, right)]
    p, t, u = (np.array(v) for v in zip(*pairs, strict=True))
    start = Start(np.array([0.0, at, at + 1e-12, 1.0]), p, t, u, np.zeros(4))
    return UnsteadySetup(
        ducts=(plain("tube", 1.0, 1.0, Transmissive(), Transmissive(), cells=cells, start=start),),
        gas_constant_j_kg_k=1.0, viscous=False, ambient_pressure_pa=1.0, ambient_temperature_k=1.0)


SOD: tuple[State, State, float] = ((1.0, 0.0, 1.0), (0.125, 0.0, 0.1), 0.2)
LAX: tuple[State, State, float] = ((0.445, 0.698, 3.528), (0.5, 0.0, 0.571), 0.13)


def tube_error(problem: tuple[State, State, float], cells: int) -> float:
    """Mean absolute error of density at the stated time."""
    left, right, time = problem
    _, rows = cell_averages(tube(left, right, cells), time)
    exact = cell_means(left, right, np.linspace(0.0, 1.0, cells + 1), 0.5, time)
    return float(np.abs(rows[0] - exact[0]).mean())


def sod_plateaus(cells: int = 400) -> tuple[float, ...]:
    """Star pressure, velocity and both densities of Sod's tube, read in mid plateau; shock speed
    from where density passes half its rise."""
    left, right, time = SOD
    x, rows = cell_averages(tube(left, right, cells), time)
    a = int(np.argmin(np.abs(x - (0.5 + 0.45 * time))))
    b = int(np.argmin(np.abs(x - (0.5 + 1.35 * time))))
    half = 0.5 * (rows[0, b] + right[0])
    k = int(np.flatnonzero(rows[0] > half)[-1])
    w = (rows[0, k] - half) / (rows[0, k] - rows[0, k + 1])
    front = x[k] + w * (x[k + 1] - x[k])
    return (float(rows[2, a]), float(rows[1, a]), float(rows[0, a]), float(rows[0, b]),
            float((front - 0.5) / time))


def simple_wave_error(cells: int, time: float = 0.25, height: float = 0.1) -> float:
    """Mean absolute density error of a smooth right-running pressure hump before it steepens."""
    def hump(x: FloatArray) -> FloatArray:
        return np.asarray(height * np.exp(-(((x - 0.35) / 0.08) ** 2)))

    fine = np.linspace(0.0, 1.0, 20001)
    rho, u, p = simple_wave(fine, 0.0, hump, 1.0, 1.0)
    start = Start(fine, p, p / rho, u, np.zeros_like(fine))
    setup = UnsteadySetup(
        ducts=(plain("tube", 1.0, 1.0, Transmissive(), Transmissive(), cells=cells, start=start),),
        gas_constant_j_kg_k=1.0, viscous=False, ambient_pressure_pa=1.0, ambient_temperature_k=1.0)
    _, rows = cell_averages(setup, time)
    edges = np.linspace(0.0, 1.0, cells + 1)
    points = edges[:-1, None] + np.diff(edges)[:, None] * (np.arange(40) + 0.5) / 40
    exact = simple_wave(points.ravel(), time, hump, 1.0, 1.0).reshape(3, cells, 40).mean(axis=2)
    return float(np.abs(rows[0] - exact[0]).mean())


def nozzle(exit_ratio: float, throat_over_exit: float, cells: int = 120) -> tuple[float, float,
                                                                                  float]:
    """Steady flow from rest through a narrowing and widening duct to a space at `exit_ratio` of
    the total pressure: (p/p0 and Mach at the throat, flow number of the exit)."""
    x = np.linspace(0.0, 1.0, 401)
    exit_m2 = 1e-3
    throat = exit_m2 * throat_over_exit
    area = throat + (exit_m2 - throat) * (2.0 * x - 1.0) ** 2
    t0 = 300.0
    duct = Duct("nozzle", x, area, ToVolume(0), ToVolume(1), friction=False, cells=cells)
    setup = UnsteadySetup(
        ducts=(duct,), viscous=False, ambient_temperature_k=t0, ambient_pressure_pa=P0_PA,
        volumes=(Volume("before", None, P0_PA, t0), Volume("after", None, exit_ratio * P0_PA, t0)))
    xc, rows = cell_averages(setup, 0.15)
    k = int(np.argmin(np.interp(xc, x, area)))
    mach = rows[1] / np.sqrt(1.4 * rows[2] / rows[0])
    flow = float((rows[0] * rows[1] * np.interp(xc, x, area)).mean()) / exit_m2
    return (float(rows[2, k] / P0_PA), float(mach[k]),
            flow * math.sqrt(R_DRY_AIR * t0) / P0_PA)


def friction_pipe(friction_length: float, exit_pa: float, diameter_m: float = 0.04,
                  length_m: float = 0.4, cells: int = 60) -> tuple[float, float, float]:
    """Bell, pipe of f L/D = `friction_length`, space at `exit_pa`: Mach in and out, kg/s."""
    area = 0.25 * math.pi * diameter_m**2
    t0 = 300.0
    duct = plain("pipe", length_m, area, ToVolume(0), ToVolume(1), cells=cells,
                 losses=((0.0, length_m, friction_length),))
    setup = UnsteadySetup(
        ducts=(duct,), ambient_temperature_k=t0, ambient_pressure_pa=P0_PA,
        volumes=(Volume("before", None, P0_PA, t0), Volume("after", None, exit_pa, t0)))
    _, rows = cell_averages(setup, 0.2)
    mach = rows[1] / np.sqrt(1.4 * rows[2] / rows[0])
    return (float(1.5 * mach[0] - 0.5 * mach[1]), float(1.5 * mach[-1] - 0.5 * mach[-2]),
            float((rows[0] * rows[1]).mean() * area))


def choked_bore(bore_m: float = 0.02, area_ratio: float = 100.0) -> float:
    """Mass flow, kg/s, through a throttle between wide ducts with 0.3 of the pressure behind."""
    throat = 0.25 * math.pi * bore_m**2
    area = area_ratio * throat
    t0 = 293.15
    setup = UnsteadySetup(
        ducts=(plain("a", 0.2, area, ToVolume(0), ToThrottle(0), cells=10),
               plain("b", 0.2, area, ToThrottle(0), ToVolume(1), cells=10)),
        throttles=(Throttle("bore", throat),), viscous=False, ambient_temperature_k=t0,
        volumes=(Volume("before", None, P0_PA, t0), Volume("after", None, 0.3 * P0_PA, t0)))
    _, rows = cell_averages(setup, 0.5)
    return float((rows[0] * rows[1]).mean() * area)


def frequency(time: FloatArray, signal: FloatArray, guess_hz: float) -> float:
    """Frequency of the strongest sinusoid near `guess_hz` (within 10 %), by least squares."""
    def left_over(hz: float) -> float:
        w = 2.0 * np.pi * hz * time
        base = np.stack([np.cos(w), np.sin(w), np.ones_like(w)], axis=1)
        fit, *_ = np.linalg.lstsq(base, signal, rcond=None)
        return float(np.sum((signal - base @ fit) ** 2))

    low, high = 0.9 * guess_hz, 1.1 * guess_hz
    for _ in range(6):
        grid = np.linspace(low, high, 41)
        k = int(np.argmin([left_over(float(hz)) for hz in grid]))
        step = grid[1] - grid[0]
        low, high = grid[k] - step, grid[k] + step
    return float(0.5 * (low + high))


def quarter_wave(end_correction_m: float, length_m: float = 0.35, radius_m: float = 0.02,
                 cells: int = 35) -> float:
    """Fundamental frequency of a pipe closed at one end, c = 343.2 m/s, Hz."""
    total = length_m + end_correction_m
    x = np.linspace(0.0, total, 201)
    p = P0_PA + 100.0 * np.cos(0.5 * np.pi * x / total)
    start = Start(x, p, SOUND_T_K * (p / P0_PA) ** (2.0 / 7.0), 0.0 * x, 0.0 * x)
    duct = plain("pipe", length_m, math.pi * radius_m**2, Closed(),
                 ToVolume(0, 0.0, 0.0, end_correction_m), cells=cells, start=start)
    setup = UnsteadySetup(ducts=(duct,), volumes=(Volume("outside", None, P0_PA, SOUND_T_K),),
                      viscous=False, ambient_pressure_pa=P0_PA, ambient_temperature_k=SOUND_T_K)
    guess = SOUND_M_S / (4.0 * total)
    traces, _ = run_time(setup, 20.0 / guess, 2001)
    return frequency(traces.time_s, traces.left[2, :, 0], guess)


def helmholtz(volume_m3: float, diameter_m: float, length_m: float, guess_hz: float,
              cells: int = 20) -> float:
    """Frequency of a neck with a volume behind it, c = 343.2 m/s, Hz."""
    p1 = P0_PA + 100.0
    neck = plain("neck", length_m, 0.25 * math.pi * diameter_m**2, ToVolume(0), ToVolume(1),
                 cells=cells)
    setup = UnsteadySetup(
        ducts=(neck,), viscous=False, ambient_pressure_pa=P0_PA, ambient_temperature_k=SOUND_T_K,
        volumes=(Volume("outside", None, P0_PA, SOUND_T_K),
                 Volume("bulb", volume_m3, p1, SOUND_T_K * (p1 / P0_PA) ** (2.0 / 7.0))))
    traces, _ = run_time(setup, 15.0 / guess_hz, 1501)
    return frequency(traces.time_s, traces.right[2, :, 0], guess_hz)


def junction(areas: tuple[float, ...], total: bool = False,
             cell_m: float = 0.01) -> tuple[float, float]:
    """Reflection and transmission of a small pressure pulse that comes in duct 0 of a junction.

    Ratios of the pulses' integrals over x, which the limiter does not touch.
    """
    x = np.linspace(0.0, 1.0, 2001)
    pulse = 50.0 * np.exp(-(((x - 0.5) / 0.08) ** 2))
    p = P0_PA + pulse
    u = 5.0 * SOUND_M_S * ((p / P0_PA) ** (1.0 / 7.0) - 1.0)
    start = Start(x, p, SOUND_T_K * (p / P0_PA) ** (2.0 / 7.0), u, 0.0 * x)
    ducts = [plain("0", 1.0, areas[0], Transmissive(), ToJunction(0, total), start=start)]
    ducts += [plain(str(k), 1.0, a, ToJunction(0, total), Transmissive())
              for k, a in enumerate(areas[1:], 1)]
    setup = UnsteadySetup(ducts=tuple(ducts), junctions=1, viscous=False, ambient_pressure_pa=P0_PA,
                      ambient_temperature_k=SOUND_T_K)
    whole = 50.0 * 0.08 * math.sqrt(math.pi)
    out = [float((cell_averages(setup, 1.0 / SOUND_M_S, Options(cell_m=cell_m), k)[1][2]
                  - P0_PA).sum()) * cell_m / whole for k in (0, 1)]
    return out[0], out[1]


RIG_P_PA = 1e5
RIG_STATIONS = ((0, 3.15), (1, 0.52), (2, 0.48))
"""Duct and position of the transducers of the shock-tube rig."""


def shock_rig(friction: bool, cell_m: float = 0.02) -> tuple[FloatArray, FloatArray]:
    """The three-pipe rig of William-Louis et al. (1998): time ms (S,), gauge kPa at the three
    transducers (3, S). 10 mm bore, 0.53 m of pipe 1 at 1.15 bar, open ends unflanged."""
    area = 0.25 * math.pi * 0.01**2
    t0, gas = 283.5690633, 8.314462618 / 0.029
    cut = np.array([0.0, 0.53, 0.53 + 1e-9, 3.63])
    start = Start(cut, np.array([1.15e5, 1.15e5, RIG_P_PA, RIG_P_PA]), np.full(4, t0),
                  np.zeros(4), np.zeros(4))
    free = ToVolume(0, 0.0, 0.0, 0.6133 * 0.005)
    ducts = (
        plain("1", 3.63, area, Closed(), ToJunction(0), friction=friction, start=start),
        plain("2", 2.595, area, ToJunction(0), free, friction=friction),
        plain("3", 1.725, area, ToJunction(0), free, friction=friction))
    setup = UnsteadySetup(
        ducts=ducts, junctions=1, volumes=(Volume("room", None, RIG_P_PA, t0),),
        ambient_pressure_pa=RIG_P_PA, ambient_temperature_k=t0, gas_constant_j_kg_k=gas,
        viscous=friction, record=(0, 1, 2))
    traces, _ = run_time(setup, 0.031, 1551, Options(cell_m=cell_m))
    out = []
    for duct, x in RIG_STATIONS:
        xs, rows = traces.along[duct]
        k = int(np.searchsorted(xs, x))
        w = (x - xs[k - 1]) / (xs[k] - xs[k - 1])
        out.append(((1.0 - w) * rows[2, :, k - 1] + w * rows[2, :, k] - RIG_P_PA) / 1e3)
    return traces.time_s * 1e3, np.stack(out)


def rig_plateaus(friction: bool = False) -> tuple[float, float, float, float, float]:
    """Incident, transmitted (side, straight), reflected plateau kPa; arrival at pipe 1, ms."""
    ms, p = shock_rig(friction)

    def mean(pipe: int, low: float, high: float) -> float:
        return float(p[pipe][(ms > low) & (ms < high)].mean())

    arrival = float(ms[np.argmax(p[0] > 0.5 * 6.74)])
    return (mean(0, 8.6, 10.3), mean(1, 11.2, 13.0), mean(2, 11.2, 13.0), mean(0, 12.4, 13.6),
            arrival)
