"""Pressure at the injectors: ports of the engine figure, and what the trim sheet makes of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from distrib.answer.trims import AT_PORT, BESIDE_MOUTH
from distrib.build.engine import solve_engine
from distrib.calibration.gate import gate
from distrib.calibration.trim_table import predicted_table
from distrib.case.change import with_changes
from distrib.case.schema import Case
from distrib.results import FloatArray, Profile, Shares, at_point, deviation_percent, spread_percent
from distrib.unsteady.run import Options

from .made import demo_case

RPM = [1000.0, 2000.0]


def slow_pump() -> Case:
    """No overlap, intake closed at bottom dead centre, exhaust at charge pressure: air goes one
    way, as fast as the piston draws it."""
    case = demo_case()
    return with_changes(case, {
        "engine.exhaust_pressure": case.conditions.charge_pressure_pa,
        "engine.intake_valve.opens": "0 deg", "engine.intake_valve.closes": "0 deg",
        "engine.exhaust_valve.closes": "0 deg"})


def bernoulli_drop(case: Case, rpm: float) -> FloatArray:
    """Mean over the cycle of the dynamic head at each runner's end, closed form, Pa.

    The piston's displacement as speed in the runner, one stroke of four; no loss at all."""
    e, c = case.engine, case.conditions
    angle = np.radians(np.linspace(0.0, 180.0, 2001))
    ratio = 0.5 * e.stroke_m / e.rod_m
    turn = rpm * 2.0 * np.pi / 60.0
    piston = 0.5 * e.stroke_m * turn * (
        np.sin(angle) + 0.5 * ratio * np.sin(2.0 * angle)
        / np.sqrt(1.0 - (ratio * np.sin(angle)) ** 2))
    bores = np.array([r.end_diameter_m for r in case.runners])
    speed = piston[:, None] * (e.bore_m / bores) ** 2
    rho = c.charge_pressure_pa / (287.05 * c.charge_temperature_k)
    return np.asarray(0.25 * np.trapezoid(0.5 * rho * speed**2, angle, axis=0) / np.pi)


def test_port_pressure_of_a_slow_pump() -> None:
    """Below the charge by the dynamic head (Bernoulli) and the losses, of one to four heads on the
    mean of the cylinders (pressure waves set single ones apart by as much); grows with the square
    of speed but for the friction factor, which falls with Reynolds number, and the density."""
    case = slow_pump()
    found = solve_engine(case, rpm=RPM)
    assert found.converged.all()
    drop = case.conditions.charge_pressure_pa - found.extra["port_pressure_pa"]
    assert drop.shape == (2, 4)
    heads = drop.mean(axis=1) / np.array([bernoulli_drop(case, rpm) for rpm in RPM]).mean(axis=1)
    assert np.all((heads > 1.0) & (heads < 4.0)), heads
    assert drop[1].mean() / drop[0].mean() == pytest.approx(4.0, rel=0.15)


def test_a_point_that_does_not_repeat_has_no_port_pressure() -> None:
    found = solve_engine(demo_case(), rpm=[6000.0], options=Options(max_cycles=2))
    assert not found.converged.any()
    assert np.isnan(found.extra["port_pressure_pa"]).all()


def stand_in(case: Case, ports: FloatArray | None) -> Shares:
    """Even shares, a plenum whose static pressure rises by 4 kPa, and the ports' pressures."""
    share = np.full((1, 4), 0.25)
    x = np.array([r.station_m for r in case.runners])
    profile = Profile(case.plenums[0].name, x, 2e5 + np.array([[-2e3, -1e3, 1e3, 2e3]]),
                      np.zeros((1, 4)), np.ones(4))
    shares = Shares(
        "engine", case.title, "hash", np.arange(1, 5), x,
        {"rpm": np.array([6000.0]), "charge_pressure_pa": np.array([2e5])}, share * 0.2, share,
        deviation_percent(share), spread_percent(share), np.ones(1, bool), np.zeros(1), ("",),
        profiles=(profile,), trapped_air_kg=share * 4e-3)
    return shares if ports is None else replace(shares, extra={"port_pressure_pa": ports})


@pytest.mark.parametrize("at_port", [True, False])
def test_the_sheet_uses_the_ports_where_it_has_them(at_port: bool) -> None:
    case = demo_case()
    assert case.fuel.injector is not None
    ports = np.array([[1.8e5, 1.9e5, 1.9e5, 2.0e5]]) if at_port else None
    table = predicted_table(case, stand_in(case, ports), [6000.0], [2e5], gate(()),
                            policy="richen-only", step=0.5, on="fuel")
    away = np.array([-1e4, 0.0, 0.0, 1e4]) if at_port else np.array([-2e3, -1e3, 1e3, 2e3])
    flow = np.sqrt(case.fuel.injector.rail_pressure_pa - away)
    lam = table.lambda_equal_fuel[0, 0]
    # more fuel into the lower port: lambda goes with the inverse of the injector's flow
    assert lam * flow == pytest.approx(np.full(4, (lam * flow).mean()), rel=1e-12)
    said = " ".join(table.cautions)
    assert (AT_PORT in said, BESIDE_MOUTH in said) == (at_port, not at_port)


def test_sheet_of_one_speed_keeps_the_ports() -> None:
    """The trims of `shares` and `report`, cut from a sweep, are those of `trims` at that speed.

    Ports 0, 4, 8, 12 kPa above each other under 400 kPa: a few tenths of a percent of fuel."""
    from distrib.calibration import service
    from distrib.cli.report_data import trim_sheet

    case = demo_case()
    n = 2
    share = np.tile([0.245, 0.25, 0.252, 0.253], (n, 1))
    ports = np.array([2.0e5, 2.1e5])[:, None] + np.array([0.0, 4e3, 8e3, 12e3])
    sweep = Shares(
        "engine", case.title, "hash", np.arange(1, 5), np.array([0.05, 0.15, 0.24, 0.34]),
        {"rpm": np.array(RPM), "charge_pressure_pa": np.full(n, 2.2e5)}, share, share,
        deviation_percent(share), np.zeros(n), np.ones(n, bool), np.zeros(n), ("",) * n,
        trapped_air_kg=share * 4e-3, extra={"port_pressure_pa": ports})
    sheet = trim_sheet(case, at_point(sweep, 1))
    assert any(AT_PORT in c for c in sheet.cautions)
    alone = service.trims(case, rpm=[RPM[1]], solve=lambda *_: replace(
        sweep, **{name: getattr(sweep, name)[1:] for name in (
            "air_kg_s", "share", "deviation_percent", "spread_percent", "converged",
            "mass_residual", "reason", "trapped_air_kg")},
        conditions={k: v[1:] for k, v in sweep.conditions.items()},
        extra={"port_pressure_pa": ports[1:]}))
    assert [r.trim_percent for r in sheet.rows] == pytest.approx(alone.trim_shown[0, 0].tolist())
    even = service.trims(case, rpm=[RPM[1]], solve=lambda *_: replace(at_point(sweep, 1), extra={}))
    assert np.abs(alone.trim_shown - even.trim_shown).max() > 0.2
