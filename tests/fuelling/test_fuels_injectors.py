"""Stoichiometry, mixtures and injectors against check rows and hand arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from distrib import fuelling as f
from distrib.fuelling import fuels, injectors

# Check rows afr.* state 1e-4 (atomic weights abridged to three decimals).
AFR_RTOL = 1e-4


@pytest.mark.parametrize(
    "carbon, hydrogen, oxygen, printed",
    [
        (8, 18, 0, 15.1319), (1, 1.85, 0, 14.575), (2, 6, 1, 9.00492),
        (3, 8, 0, 15.6796), (1, 4, 0, 17.2393), (0, 2, 0, 34.2984),
    ],
)
def test_stoichiometric_ratio_rows(
    carbon: float, hydrogen: float, oxygen: float, printed: float
) -> None:
    fuel = fuels.Composition("x", carbon, hydrogen, oxygen, 1.0, 1.0)
    assert fuel.stoichiometric_afr == pytest.approx(printed, rel=AFR_RTOL)


def test_e85_row_and_blend_ends() -> None:
    e85 = f.blend(0.85)
    assert e85.ethanol_mass_fraction == pytest.approx(0.857217, rel=AFR_RTOL)
    assert e85.stoichiometric_afr == pytest.approx(9.80024, rel=AFR_RTOL)
    assert f.blend(0.0).stoichiometric_afr == f.fuel("gasoline").stoichiometric_afr
    assert f.blend(1.0).stoichiometric_afr == pytest.approx(f.fuel("ethanol").stoichiometric_afr)
    with pytest.raises(ValueError, match="0 to 1"):
        f.blend(85.0)


def test_methanol_by_hand() -> None:
    # CH3OH + 1.5 O2: 1.5/0.20946 x 28.9647/32.042
    assert f.fuel("methanol").stoichiometric_afr == pytest.approx(
        1.5 / 0.20946 * 28.9647 / 32.042, rel=1e-5
    )


def test_gasoline_scale_reading_of_ethanol_is_not_its_afr() -> None:
    gasoline, e85 = f.fuel("gasoline"), f.blend(0.85)
    lam = f.lambda_from_afr(11.76, gasoline)
    assert lam == pytest.approx(11.76 / 14.575, rel=1e-4)
    true_afr = f.afr_from_lambda(lam, e85)
    assert true_afr == pytest.approx(lam * 9.80024, rel=1e-4)
    assert f.fuel_mass(true_afr, lam, e85) == pytest.approx(1.0, rel=1e-12)
    assert f.lambda_from_afr(11.76, 14.7) == pytest.approx(0.8, rel=1e-12)


def test_three_percent_more_air_is_lean() -> None:
    # worked example: 0.80 -> 0.824 (AFR 11.76 -> 12.11 on a 14.7 scale); +5 % -> 0.840
    air = np.array([1.03, 0.99, 0.99, 0.99])
    lam = f.lambda_at_equal_fuel(air, 0.80)
    assert lam[0] == pytest.approx(0.824, abs=5e-4)
    assert lam[0] * 14.7 == pytest.approx(12.11, abs=0.01)
    assert f.lambda_at_equal_fuel(np.array([1.05, 0.95]), 0.8)[0] == pytest.approx(0.84)
    assert lam[1] < 0.80


def test_air_following_fuel_halves_the_spread_and_reverses() -> None:
    air = np.array([1.04, 0.96])
    assert np.allclose(f.lambda_at_equal_fuel(air, 1.0, air_following_fraction=1.0), 1.0)
    lam = f.lambda_at_equal_fuel(air, 1.0, air_following_fraction=0.5)
    assert lam[0] == pytest.approx(1.04 / 1.02)
    new = f.port_fuel_factor(lam, 0.5)
    again = air / (0.5 * air + 0.5 * new)
    assert np.allclose(again, 1.0, rtol=1e-14)
    assert np.isinf(f.port_fuel_factor(1.5, 0.7))  # 0.7 x 1.5 is above 1: nothing left to trim
    with pytest.raises(ValueError, match="leaves no fuel"):
        f.port_fuel_factor(1.5, 1.0)
    with pytest.raises(ValueError, match="0 to 1"):
        f.lambda_at_equal_fuel(air, 1.0, air_following_fraction=85.0)


def test_needed_multiplier_corrects_air_and_injector() -> None:
    air, inj = np.array([1.02, 0.98, 1.0]), np.array([0.99, 1.0, 1.01])
    fuel = inj * f.needed_multiplier(air, inj)
    assert np.allclose(fuel / air, (fuel / air)[0], rtol=1e-14)


def test_injector_root_law_row() -> None:
    assert injectors.flow_at_pressure(440.0, 3e5, 4e5) == pytest.approx(508.068, rel=1e-5)
    assert np.isnan(injectors.flow_at_pressure(440.0, 3e5, -1.0))


def test_port_factors_follow_port_pressure() -> None:
    factors = f.port_factors(3e5, 2e5, np.array([2.0e5, 1.9e5]))
    assert factors.mean() == pytest.approx(1.0, rel=1e-14)
    assert factors[1] / factors[0] == pytest.approx(np.sqrt(3.1 / 3.0), rel=1e-14)


def test_dead_time_table() -> None:
    table = ((12.0, 1.2e-3), (14.0, 0.9e-3))
    assert f.dead_time(table, 13.0) == pytest.approx(1.05e-3)
    assert f.dead_time(((13.5, 1e-3),), 9.0) == pytest.approx(1e-3)
    with pytest.raises(ValueError, match="given from 12 to 14 V; asked at 9 to 9"):
        f.dead_time(table, 9.0)
    with pytest.raises(ValueError, match="not given"):
        f.dead_time((), 12.0)
    with pytest.raises(ValueError, match="stands twice"):
        f.dead_time(((12.0, 1.0), (12.0, 2.0)), 12.0)


def test_duty_at_richest_trimmed_cylinder() -> None:
    inj = f.InjectorSet(0.0126, 3e5, ((14.0, 1e-3),))
    # by hand: 1.0 g air, lambda 0.8, AFR 14.575: 85.76 mg; /12.6 g/s = 6.807 ms; +5 %; +1 ms
    check = f.check_duty(1e-3, 0.8, 14.575, np.array([[0.0, 5.0, 2.0]]), 7000.0, inj, 3e5, 14.0,
                         0.85)
    by_hand = (1e-3 / (0.8 * 14.575) / 0.0126 * 1.05 + 1e-3) * 7000 / 120
    assert check.worst[0] == pytest.approx(by_hand, rel=1e-12)
    assert check.worst_cylinder_index[0] == 1
    assert not check.over[0]
    assert f.check_duty(2e-3, 0.8, 14.575, np.zeros((1, 3)), 7000.0, inj, 3e5, 14.0, 0.85).over[0]


def test_stages() -> None:
    near = f.Stage("near the valve", 0.5, False, True)
    far = f.Stage("upper, untrimmed", 0.2, False, False)
    plenum = f.Stage("plenum", 0.3, True, False)
    sets = (near, far, plenum)
    assert f.air_following_share(sets) == pytest.approx(0.3)
    assert f.trim_of_stage(2.0, sets) == pytest.approx(2.0 * 0.7 / 0.5)
    with pytest.raises(ValueError, match=r"sum to 0\.8"):
        f.air_following_share((near, plenum))
    with pytest.raises(ValueError, match="no port injector set"):
        f.trim_of_stage(2.0, (f.Stage("plenum", 1.0, True, True),))
