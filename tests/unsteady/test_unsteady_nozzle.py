"""The boundary problems of duct ends, one by one, against isentropic relations."""

from __future__ import annotations

import math

import numpy as np
import pytest

from distrib.constants import R_DRY_AIR
from distrib.gas import isentropic as iso
from distrib.unsteady.nozzle import (
    entering,
    leaving,
    nozzle_flow,
    stagnant_ratio,
    throttled,
)

P, T = 101325.0, 293.15
RHO = P / (R_DRY_AIR * T)


def stagnation(p: float, v: float, r: float) -> tuple[float, float]:
    m2 = v * v / (1.4 * p / r)
    return p * (1.0 + 0.2 * m2) ** 3.5, p / (r * R_DRY_AIR) * (1.0 + 0.2 * m2)


@pytest.mark.parametrize("phi", [1.0, 0.9, 0.5, 0.1, 1e-3])
@pytest.mark.parametrize("space", [1.0e5, 0.9e5, 0.6e5, 0.3e5, 0.05e5])
def test_leaving_obeys_nozzle_and_engine(phi, space):
    v0 = 20.0
    pb, v, r = leaving(RHO, v0, P, stagnant_ratio(RHO, v0, P, space), phi, 0.0)
    p0, t0 = stagnation(pb, v, r)
    ratio = min(space / p0, 1.0)
    assert r * v == pytest.approx(phi * float(iso.mass_flux(p0, t0, ratio)), rel=1e-6)
    # the wave into the duct keeps entropy and the Riemann invariant
    assert pb / r**1.4 == pytest.approx(P / RHO**1.4, rel=1e-12)
    c0, c = math.sqrt(1.4 * P / RHO), math.sqrt(1.4 * pb / r)
    assert c + 0.2 * v == pytest.approx(c0 + 0.2 * v0, rel=1e-12)


@pytest.mark.parametrize("phi", [1.0, 0.9, 0.5, 0.1, 1e-3])
@pytest.mark.parametrize("space", [1.02e5, 1.2e5, 2.5e5])
@pytest.mark.parametrize("hot", [293.15, 1200.0])
def test_entering_obeys_nozzle_and_energy(phi, space, hot):
    v0 = 0.0
    pb, v, r = entering(RHO, v0, P, stagnant_ratio(RHO, v0, P, space), space, hot, phi, R_DRY_AIR,
                        0.0)
    assert v < 0.0
    ratio = min(pb / space, 1.0)
    assert -r * v == pytest.approx(phi * float(iso.mass_flux(space, hot, ratio)), rel=1e-6)
    _, t0 = stagnation(pb, v, r)
    assert t0 == pytest.approx(hot, rel=1e-10)
    c0 = math.sqrt(1.4 * P / RHO)
    assert pb == pytest.approx(P * (1.0 - 0.2 * v / c0) ** 7, rel=1e-9)


def test_supersonic_leaving_is_untouched():
    assert leaving(RHO, 400.0, P, stagnant_ratio(RHO, 400.0, P, 5e4), 1.0, 0.0) == (P, 400.0, RHO)


def test_strong_entering_is_sonic_and_passes_the_choked_flow():
    space = 40e5
    pb, v, r = entering(RHO, 0.0, P, stagnant_ratio(RHO, 0.0, P, space), space, T, 1.0, R_DRY_AIR,
                        0.0)
    assert abs(v) / math.sqrt(1.4 * pb / r) == pytest.approx(1.0, rel=1e-6)
    assert -r * v == pytest.approx(float(iso.mass_flux(space, T, 0.5)), rel=1e-6)


@pytest.mark.parametrize("guess", [1e-6, 3.0, 150.0, 330.0])
def test_any_guess_leads_to_the_same_flow(guess):
    for space in (9e4, 4e4):
        ratio = stagnant_ratio(RHO, 10.0, P, space)
        np.testing.assert_allclose(leaving(RHO, 10.0, P, ratio, 0.4, guess),
                                   leaving(RHO, 10.0, P, ratio, 0.4, 0.0), rtol=1e-10)
    for space in (1.1e5, 3e5):
        ratio = stagnant_ratio(RHO, 10.0, P, space)
        args = (RHO, 10.0, P, ratio, space, T, 0.4, R_DRY_AIR)
        np.testing.assert_allclose(entering(*args, -guess), entering(*args, 0.0), rtol=1e-10)


def test_no_pressure_difference_no_flow():
    for phi in (1.0, 0.3):
        ratio = stagnant_ratio(RHO, 0.0, P, P)
        p, v, _ = entering(RHO, 0.0, P, ratio, P, T, phi, R_DRY_AIR, 0.0)
        assert leaving(RHO, 0.0, P, ratio, phi, 0.0)[:2] == (pytest.approx(P, rel=1e-14), 0.0)
        assert (p, abs(v)) == (pytest.approx(P, rel=1e-14), 0.0)


def test_loss_is_a_throat():
    """At low speed a throat of phi = 1/sqrt(1 + K) loses K velocity heads."""
    k = 0.5
    pb, v, r = entering(RHO, 0.0, P, stagnant_ratio(RHO, 0.0, P, 1.001 * P), 1.001 * P, T,
                        1.0 / math.sqrt(1.0 + k), R_DRY_AIR, 0.0)
    p0, _ = stagnation(pb, v, r)
    assert 1.001 * P - p0 == pytest.approx(k * 0.5 * r * v * v, rel=0.01)


@pytest.mark.parametrize("ratio", [0.99, 0.95, 0.8, 0.528282])
def test_nozzle_flow_printed(ratio):
    printed = {0.99: 48.7185, 0.95: 106.552, 0.8: 194.186, 0.528282: 237.158}  # rows orif.*
    assert nozzle_flow(101325.0, 298.15, ratio * 101325.0, 287.053) == pytest.approx(
        printed[ratio], rel=1e-5)


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("back", [0.98, 0.8, 0.3])
@pytest.mark.parametrize("throat", [9e-4, 3e-4, 1e-5])
def test_throttle_balances(turned, back, throat):
    area = 1e-3
    high, low = (RHO, 5.0, P), (RHO * back, -5.0, P * back)
    a, b = (low, high) if turned else (high, low)
    pa, va, ra, pb, vb, rb, _ = throttled(*a, *b, area, area, throat, 0.0)
    assert ra * va == pytest.approx(-rb * vb, rel=1e-6)
    giver, taker = ((pb, vb, rb), pa) if turned else ((pa, va, ra), pb)
    p0, t0 = stagnation(*giver)
    assert giver[2] * giver[1] == pytest.approx(
        throat / area * float(iso.mass_flux(p0, t0, min(taker / p0, 1.0))), rel=1e-5)


def test_compiled_is_the_source():
    args = (RHO, 20.0, P, stagnant_ratio(RHO, 20.0, P, 9e4), 0.4, 0.0)
    np.testing.assert_allclose(leaving(*args), leaving.py_func(*args), rtol=1e-13)
