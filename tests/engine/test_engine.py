"""Crank, valves, firing order and closed cycle against closed forms and check rows."""

from __future__ import annotations

import numpy as np
import pytest

from distrib import engine
from distrib.engine import closed, compiled, valves

# Printed digits of the check rows crank.*: five to six figures.
CRANK_RTOL = 1e-5


@pytest.mark.parametrize(
    "theta, travel_mm, speed",
    [
        (30, 7.3864, 17.0672), (60, 26.4339, 27.0416), (75, 38.0356, 28.2196),
        (90, 49.6182, 27.0177), (150, 81.8646, 9.95052),
    ],
)
def test_crank_rows(theta: float, travel_mm: float, speed: float) -> None:
    assert engine.piston_travel(theta, 0.086, 0.143) * 1e3 == pytest.approx(
        travel_mm, rel=CRANK_RTOL
    )
    assert engine.piston_speed(theta, 6000.0, 0.086, 0.143) == pytest.approx(speed, rel=CRANK_RTOL)


def test_displacement_row_and_swept_volume() -> None:
    assert engine.displacement(0.086, 0.086) * 1e6 == pytest.approx(499.557, rel=1e-5)
    v = engine.cylinder_volume(np.array([0.0, 180.0]), 0.086, 0.086, 0.143, 10.0)
    assert v[1] / v[0] == pytest.approx(10.0, rel=1e-12)
    assert v[1] - v[0] == pytest.approx(engine.displacement(0.086, 0.086), rel=1e-12)


def test_volume_rate_is_derivative() -> None:
    th = np.linspace(0.0, 720.0, 97)
    h = 1e-4
    numeric = (
        engine.cylinder_volume(th + h, 0.08, 0.09, 0.15, 9.0)
        - engine.cylinder_volume(th - h, 0.08, 0.09, 0.15, 9.0)
    ) / (2 * h)
    exact = engine.cylinder_volume_per_degree(th, 0.08, 0.09, 0.15)
    assert np.allclose(numeric, exact, rtol=1e-6, atol=1e-12)


def test_compiled_equals_source() -> None:
    from distrib.kernels import kernel

    @kernel
    def probe(t, table):  # type: ignore[no-untyped-def]
        return (
            compiled.cylinder_volume(t, 0.08, 0.09, 0.15, 9.0),
            compiled.cylinder_volume_per_degree(t, 0.08, 0.09, 0.15),
            compiled.cyclic_lookup(t, table),
        )

    table = np.sin(np.arange(360) * 2 * np.pi / 360) + 2.0
    for t in (-13.0, 0.0, 33.3, 359.9, 719.9999, 800.0):
        v, dv, y = probe(t, table)
        assert v == pytest.approx(engine.cylinder_volume(t, 0.08, 0.09, 0.15, 9.0), rel=1e-13)
        assert dv == pytest.approx(
            engine.cylinder_volume_per_degree(t, 0.08, 0.09, 0.15), rel=1e-12, abs=1e-20
        )
        grid = np.arange(361) * 2.0
        assert y == pytest.approx(np.interp(t % 720, grid, np.append(table, table[0])), rel=1e-13)


def test_air_flow_and_mach_rows() -> None:
    flow = engine.engine_air_flow(0.95, 1.184, 1998.23e-6, 6000.0)
    assert flow == pytest.approx(0.11238, rel=1e-5)
    z = engine.mach_index(86.0, 33.0, 17.2, 2, 0.45, 347.2)
    assert z == pytest.approx(0.373831, rel=1e-5)


def test_curtain_row() -> None:
    assert valves.curtain_area(9.5, 33.0) == pytest.approx(984.889, rel=1e-6)
    assert valves.curtain_area(0.25 * 33, 33.0) == pytest.approx(np.pi * 33**2 / 4, rel=1e-14)


def test_lift_profile_shape() -> None:
    th = np.linspace(0.0, 720.0, 720001)
    lift = engine.lift_profile(th, 350.0, 590.0, 0.01)
    assert lift.max() == pytest.approx(0.01, rel=1e-9)
    assert np.all(lift[(th < 350) | (th > 590)] == 0.0)
    inside = (th >= 350) & (th <= 590)
    assert lift[inside].mean() / 0.01 == pytest.approx(8 / 15, rel=1e-5)
    slope = np.gradient(lift, th)
    assert abs(slope[np.searchsorted(th, 350.0)]) < 1e-6 * 0.01 / 1e-3
    # events that wrap past 720 are the same curve, turned
    wrapped = engine.lift_profile(th, 680.0, 920.0, 0.01)
    assert np.interp(80.0, th, wrapped) == pytest.approx(0.01, rel=1e-9)


def test_lift_table_is_followed_without_overshoot() -> None:
    table = ((0.0, 0.0), (60.0, 0.004), (120.0, 0.009), (180.0, 0.009), (240.0, 0.0))
    th = np.linspace(350.0, 590.0, 2001)
    lift = engine.lift_profile(th, 350.0, 590.0, 0.02, table)
    for after, value in table:
        assert np.interp(350.0 + after, th, lift) == pytest.approx(value, abs=1e-12)
    assert lift.max() <= 0.009 + 1e-15 and lift.min() >= 0.0


def test_minimum_area_is_continuous_and_has_closed_limits() -> None:
    d, stem, w = 0.033, 0.006, 0.0015
    joint = w / (np.sin(np.pi / 4) * np.cos(np.pi / 4))
    a = valves.minimum_area(np.array([joint * (1 - 1e-9), joint * (1 + 1e-9)]), d, stem, 45.0, w)
    assert a[0] == pytest.approx(a[1], rel=1e-7)
    low = valves.minimum_area(1e-6, d, stem, 45.0, w)
    assert low == pytest.approx(np.pi * 1e-6 * np.cos(np.pi / 4) * (d - 2 * w), rel=1e-3)
    assert valves.minimum_area(0.02, d, stem, 45.0, w) == pytest.approx(
        np.pi / 4 * (d**2 - stem**2), rel=1e-12
    )


def _valve() -> engine.ValveFlow:
    opens, closes = engine.intake_events(12.0, 52.0)
    return engine.ValveFlow(2, 0.033, 0.006, opens, closes, 0.0095)


def test_bench_flow_scales_discharge_to_measured_area() -> None:
    valve = _valve()
    rho, p = 1.2041, 101325.0
    scale = engine.discharge_scale_from_bench(valve, 0.13, 6974.49, 0.009, rho, p)
    from dataclasses import replace

    scaled = replace(valve, scale=scale)
    area = float(scaled.effective_area_at_lift_m2(0.009))
    # textbook compressible nozzle, written independently through the Mach number
    mach = np.sqrt(2 / 0.4 * ((p / (p - 6974.49)) ** (0.4 / 1.4) - 1))
    t = 293.15 / (1 + 0.2 * mach**2)
    velocity = mach * np.sqrt(1.4 * p / rho * t / 293.15)
    density = rho * (t / 293.15) ** 2.5
    assert area * velocity * density == pytest.approx(0.13 * rho, rel=1e-10)


def test_bench_area_tends_to_incompressible() -> None:
    small = engine.bench_effective_area(0.01, 1.0, 1.2, 101325.0)
    assert small == pytest.approx(0.01 / np.sqrt(2 / 1.2), rel=1e-5)
    with pytest.raises(ValueError, match="not subsonic"):
        engine.bench_effective_area(0.01, 60000.0, 1.2, 101325.0)


def test_ideal_velocity_at_28_inches() -> None:
    # row bench.v28: 107.632 m/s at 1.2041 kg/m3; an area of 1 m2 passes that many m3/s
    area = engine.bench_effective_area(107.632, 6974.49, 1.2041, 1e9)
    assert area == pytest.approx(1.0, rel=1e-5)


def test_uneven_firing_and_bad_orders() -> None:
    offsets = engine.tdc_offsets_deg((1, 6, 5, 4, 3, 2), (90, 150, 90, 150, 90, 150))
    assert offsets.tolist() == [0.0, 570.0, 480.0, 330.0, 240.0, 90.0]
    with pytest.raises(ValueError, match="cylinder 2 stands 0 times"):
        engine.tdc_offsets_deg((1, 3, 3))
    with pytest.raises(ValueError, match="sum is 720"):
        engine.tdc_offsets_deg((1, 3, 2), (240, 240, 230))


@pytest.mark.parametrize("layout", sorted(engine.COMMON_ORDERS))
def test_common_orders_are_possible(layout: str) -> None:
    for order in engine.COMMON_ORDERS[layout]:
        n = len(order)
        assert engine.order_problems(order, n) == ()
        offsets = engine.tdc_offsets_deg(order)
        fired = [c + 1 for c in np.argsort(offsets)]
        assert tuple(fired) == order
        assert np.allclose(np.diff(np.sort(offsets)), 720.0 / n)


def test_closed_cycle_limits() -> None:
    # isentropic up and down without fuel returns to the start
    model = engine.ClosedCycle(compression_exponent=1.4, expansion_exponent=1.4)
    p, t = engine.state_at_exhaust_opening(1e5, 350.0, 5e-4, 5e-5, 5e-4, 0.0, 1.0, model)
    assert p == pytest.approx(1e5, rel=1e-12) and t == pytest.approx(350.0, rel=1e-12)
    # ideal Otto: heat at constant volume, same exponent, T4 - T1 = q/cv r^(1-k)
    mass = 1e5 * 5e-4 / (287.05287 * 350.0)
    q = closed.heat_released(0.9 * mass, 0.85, model) / mass
    _, t4 = engine.state_at_exhaust_opening(
        1e5, 350.0, 5e-4, 5e-5, 5e-4, 0.9 * mass, 0.85, model
    )
    assert t4 - 350.0 == pytest.approx(q / model.burned_cv_j_kg_k * 10.0 ** (-0.4), rel=1e-12)


def test_closed_cycle_magnitude_and_pressure_trace() -> None:
    mass = 1e5 * 5e-4 / (287.05287 * 350.0)
    p, t = engine.state_at_exhaust_opening(1e5, 350.0, 5e-4, 5e-5, 4.4e-4, 0.92 * mass)
    # full unboosted charge: 3.5 to 6 bar and 1200 to 1700 K (handbook magnitudes, from memory)
    assert 3.5e5 < p < 6e5 and 1200 < t < 1700
    trace = engine.closed_pressure(np.array([600.0, 60.0]), np.array([4e-4, 2e-4]), 1e5, 5e-4, p,
                                   4.4e-4)
    assert trace[0] == pytest.approx(1e5 * 1.25**1.32, rel=1e-12)
    assert trace[1] == pytest.approx(p * 2.2**1.28, rel=1e-12)


def test_lean_heat_is_limited_by_fuel_and_rich_by_air() -> None:
    model = engine.ClosedCycle()
    base = engine.heat_released(1e-3, 1.0, model)
    assert engine.heat_released(1e-3, 0.8, model) == pytest.approx(base, rel=1e-14)
    assert engine.heat_released(1e-3, 1.25, model) == pytest.approx(base / 1.25, rel=1e-14)
