"""Gas relations: against CoolProp and fluids over ranges, identities, inverses, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from distrib.gas import isentropic as iso
from distrib.gas import properties as air

DENSITY_RTOL = 2e-3
"""Ideal gas against real air to 2 bar: compressibility is 0.9984 at 260 K, 2 bar."""
VISCOSITY_RTOL = 8e-3
"""Sutherland against the library's reference equation, 250 to 350 K."""
HUMID_RTOL = 1e-3
"""Ideal mixture against the library's real humid air."""


@pytest.mark.parametrize("pressure", [60e3, 101325.0, 200e3])
@pytest.mark.parametrize("temperature", [260.0, 288.15, 320.0, 350.0])
def test_dry_air_against_library(pressure: float, temperature: float) -> None:
    coolprop = pytest.importorskip("CoolProp.CoolProp")
    state = (*("T", temperature), *("P", pressure), "Air")
    assert air.density(pressure, temperature) == pytest.approx(
        coolprop.PropsSI("D", *state), rel=DENSITY_RTOL)
    assert air.viscosity_Sutherland(temperature) == pytest.approx(
        coolprop.PropsSI("V", *state), rel=VISCOSITY_RTOL)
    assert air.speed_of_sound(temperature) == pytest.approx(
        coolprop.PropsSI("A", *state), rel=2e-3)


@pytest.mark.parametrize("humidity", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("celsius", [5.0, 20.0, 40.0])
def test_humid_air_against_library(humidity: float, celsius: float) -> None:
    humid = pytest.importorskip("CoolProp.HumidAirProp")
    t, p = celsius + 273.15, 101325.0
    ours = air.density(p, t, air.gas_constant(p, t, humidity))
    theirs = 1.0 / humid.HAPropsSI("Vha", "T", t, "P", p, "R", humidity)
    assert ours == pytest.approx(theirs, rel=HUMID_RTOL)


def test_humidity_lightens_the_air() -> None:
    dry, wet = air.gas_constant(101325.0, 303.15, [0.0, 1.0])
    assert wet > dry
    assert dry == pytest.approx(287.05287)


def test_standard_atmosphere_against_library() -> None:
    atmosphere = pytest.importorskip("fluids.atmosphere")
    other = atmosphere.ATMOSPHERE_1976(1500.0)
    p, t, rho = air.standard_atmosphere(other.H)
    assert p == pytest.approx(other.P, rel=1e-5)
    assert t == pytest.approx(other.T, rel=1e-6)
    assert rho == pytest.approx(other.rho, rel=2e-5)


def test_standard_atmosphere_refuses_the_stratosphere() -> None:
    with pytest.raises(ValueError, match="altitude"):
        air.standard_atmosphere(12000.0)


@settings(max_examples=60, deadline=None)
@given(mach=st.floats(1e-4, 0.999), gamma=st.floats(1.2, 1.67))
def test_inverses_come_back(mach: float, gamma: float) -> None:
    number = iso.flow_number_mach(mach, gamma)
    assert iso.mach_from_flow_number(number, gamma) == pytest.approx(mach, rel=1e-6, abs=1e-7)
    ratio = iso.pressure_ratio(mach, gamma)
    assert iso.mach_from_pressure_ratio(ratio, gamma) == pytest.approx(mach, rel=1e-5)
    assert iso.fanno_mach(iso.fanno_length(mach, gamma), gamma) == pytest.approx(mach, rel=1e-5)


@settings(max_examples=40, deadline=None)
@given(mach=st.floats(0.01, 0.99))
def test_flow_number_of_pressure_and_of_mach_agree(mach: float) -> None:
    by_mach = iso.flow_number_mach(mach)
    assert iso.flow_number(iso.pressure_ratio(mach)) == pytest.approx(by_mach, rel=1e-9)
    assert iso.flow_number_max() / by_mach == pytest.approx(iso.area_ratio(mach), rel=1e-9)


def test_isentropic_against_library() -> None:
    compressible = pytest.importorskip("fluids.compressible")
    for ratio in (0.95, 0.8, 0.6):
        total = compressible.isentropic_T_rise_compression(T1=300.0, P1=ratio, P2=1.0, k=1.4)
        mach = iso.mach_from_pressure_ratio(ratio)
        assert 300.0 / iso.temperature_ratio(mach) == pytest.approx(total, rel=1e-12)
    assert iso.critical_ratio(1.4) == pytest.approx(
        compressible.P_critical_flow(P=1.0, k=1.4), rel=1e-12)


def test_choked_flow_no_longer_feels_the_back_pressure() -> None:
    flux = iso.mass_flux(101325.0, 300.0, [0.5, 0.3, 0.0])
    assert np.ptp(flux) == 0.0
    assert flux[0] == pytest.approx(iso.mass_flux(101325.0, 300.0, iso.critical_ratio()))


def test_no_state_beyond_choking_is_nan_not_one() -> None:
    assert np.isnan(iso.mach_from_flow_number(iso.flow_number_max() * 1.001))


@pytest.mark.parametrize("call", [
    lambda: iso.flow_number(1.2), lambda: iso.mach_from_pressure_ratio(0.0),
    lambda: iso.mach_from_flow_number(-0.1), lambda: iso.fanno_mach(-1.0)])
def test_impossible_inputs_are_refused(call: object) -> None:
    with pytest.raises(ValueError):
        call()  # type: ignore[operator]


def test_small_differences_near_rest() -> None:
    """Incompressible limit: flux -> rho sqrt(2 dp/rho)."""
    p, t, dp = 101325.0, 293.15, 5.0
    rho = air.density(p, t)
    assert iso.mass_flux(p, t, 1.0 - dp / p) == pytest.approx(np.sqrt(2.0 * dp * rho), rel=1e-4)
