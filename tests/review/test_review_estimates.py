"""Plain estimates of the review against closed forms, tables and general-purpose libraries."""

from __future__ import annotations

import math

import pytest

from distrib.review import estimates


def test_engine_air_flow_of_the_worked_example() -> None:
    """2.0 L, 7000 rpm, VE 1, 250 kPa, 50 degC: 0.117 m3/s, 0.315 kg/s."""
    density = estimates.density_kg_m3(250e3, 323.15)
    flow = estimates.mass_flow_kg_s(density, 2.0e-3, 7000.0, 1.0)
    assert flow / density == pytest.approx(0.117, abs=5e-4)
    assert flow == pytest.approx(0.315, abs=1e-3)  # product of two rounded figures


@pytest.mark.parametrize(
    "mach,area_over_throat", [(0.1, 5.82183), (0.2, 2.96352), (0.5, 1.33984), (0.8, 1.03823)]
)
def test_mach_number_from_the_area_table(mach: float, area_over_throat: float) -> None:
    """A/A* of NACA Report 1135: the throat passes exactly the choked flow."""
    total_pa, total_k, throat = 101325.0, 293.15, math.pi / 4.0 * 0.02**2
    choked = 0.0751382  # kg/s through 20 mm, isentropic closed form
    got = estimates.mach_number(choked, throat * area_over_throat, total_pa, total_k)
    assert got == pytest.approx(mach, rel=1e-4)
    assert estimates.mach_number(1.01 * choked, throat, total_pa, total_k) == math.inf
    assert estimates.mach_number(-choked, throat * area_over_throat, total_pa, total_k) == got


@pytest.mark.parametrize(
    "angle,area_mm2",
    [(10, 32.2856), (20, 160.189), (45, 819.087), (60, 1404.04), (80, 2283.85), (90, 2348.86)],
)
def test_throttle_opening(angle: float, area_mm2: float) -> None:
    """Projected area by numerical integration of plate and shaft, 60 mm bore, 8 mm shaft."""
    fraction = estimates.open_fraction(0.060, 0.008, angle, 5.0)
    assert fraction * math.pi / 4.0 * 60.0**2 == pytest.approx(area_mm2, rel=1e-4)


def test_throttle_at_its_stop_is_closed() -> None:
    assert estimates.open_fraction(0.060, 0.008, 5.0, 5.0) == pytest.approx(0.0, abs=1e-12)
    assert estimates.open_fraction(0.060, 0.008, 2.0, 5.0) == 0.0


def test_throttle_loss_is_a_sudden_widening() -> None:
    fluids = pytest.importorskip("fluids")
    bore, fraction, density, flow = 0.07, 0.8, 2.7, 0.315
    loss = estimates.throttle_loss_pa(flow, bore, fraction, density, None)
    area = math.pi / 4.0 * bore**2
    jet = flow / (density * area * fraction)
    k = fluids.fittings.diffuser_sharp(Di1=bore * math.sqrt(fraction), Di2=bore)
    assert loss == pytest.approx(k * density / 2.0 * jet**2, rel=1e-9)
    assert estimates.throttle_loss_pa(flow, bore, fraction, density, 0.8) > loss


def test_dump_loss() -> None:
    fluids = pytest.importorskip("fluids")
    small, large, density, flow = 0.0038, 0.0079, 1.2, 0.1
    got = estimates.dump_loss_pa(flow, small, large, density)
    k = fluids.fittings.diffuser_sharp(Di1=math.sqrt(small), Di2=math.sqrt(large))
    assert got == pytest.approx(k * density / 2.0 * (flow / density / small) ** 2, rel=1e-9)


def test_cone_angle() -> None:
    assert estimates.cone_angle_deg(0.06, 0.08, 0.01) == pytest.approx(90.0)
    assert estimates.cone_angle_deg(0.08, 0.06, 0.01) == pytest.approx(90.0)


def test_valve_mach_index() -> None:
    assert estimates.mach_index(0.086, 0.033, 2, 17.2, 347.2) == pytest.approx(0.373831, rel=1e-5)


def test_resonator_speed() -> None:
    got = estimates.helmholtz_rpm(0.35, math.pi / 4 * 0.04**2, 499.557e-6, 10.5, 343.2)
    assert got == pytest.approx(5377.81, rel=1e-5)


def test_quarter_engine_speed() -> None:
    """One quarter-wave period per cycle at order 1: 120 c/(4 L) without end correction."""
    got = estimates.quarter_wave_rpm(0.35, 0.0, 343.2, 1.0)
    assert got == pytest.approx(120.0 * 245.143, rel=1e-5)
    longer = estimates.quarter_wave_rpm(0.35, 0.02, 343.2, 1.0)
    assert longer / got == pytest.approx(0.35 / (0.35 + 0.8216 * 0.02), rel=1e-9)


@pytest.mark.parametrize(
    "ratio,loss,percent", [(0.75, 1.5, 15.0), (1.0, 3.0, 13.0), (1.25, 1.5, 42.0)]
)
def test_rig_spread(ratio: float, loss: float, percent: float) -> None:
    """Worked values with regain 0.8; printed to the percent."""
    assert estimates.bench_spread_percent(ratio, 0.8, loss) == pytest.approx(percent, abs=0.5)


def test_pump_spread() -> None:
    """26 m/s at 50 degC: dynamic head 0.94 kPa of 250 kPa, 0.4 %."""
    mach = 26.0 / estimates.sound_speed_m_s(323.15)
    assert estimates.pump_spread_percent(mach) == pytest.approx(0.4, abs=0.05)
