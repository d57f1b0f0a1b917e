"""Entry jets: the limits that must hold, direction, symmetry, conservation of momentum."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from distrib.losses import jets

PLENUM = 5e-3
STATIONS = np.array([0.05, 0.15, 0.25, 0.35])


def _center(**changes: object) -> np.ndarray:
    inputs: dict[str, object] = {
        "at_m": 0.2, "distance_m": 0.09, "entry_diameter_m": 0.07, "mouth_diameter_m": 0.04,
        "reach_area_m2": 0.4 * 0.1}
    return jets.center_entry(STATIONS, **(inputs | changes)).c  # type: ignore[arg-type]


def test_no_jet_when_entry_equals_plenum() -> None:
    assert np.all(jets.side_entry(STATIONS, PLENUM, PLENUM).c == 0.0)
    reach = np.pi * 0.07**2 / 4.0
    assert np.all(_center(reach_area_m2=reach) == 0.0)
    assert np.all(jets.throttle_throw(0.5, 1.0, STATIONS, 0.08, PLENUM, PLENUM).c == 0.0)


def test_uniform_when_the_plenum_is_large() -> None:
    entry = 2e-3
    for factor in (1e2, 1e4):
        c = jets.side_entry(STATIONS, entry, entry * factor).c
        assert np.ptp(c) < 2.1 / factor
    far = _center(distance_m=50.0, reach_area_m2=1e4)
    assert np.max(np.abs(far)) < 1e-4


def test_borda_carnot_is_recovered_far_downstream() -> None:
    entry = 2e-3
    near, far = jets.side_entry([0.0, 1.0], entry, PLENUM).c
    assert near == pytest.approx(-float(jets.borda_rise(entry / PLENUM)))
    assert far == 0.0


def test_borda_rise_is_the_momentum_balance() -> None:
    """Static rise from momentum and from total pressure minus Borda-Carnot loss are the same."""
    beta = np.linspace(0.0, 1.0, 11)
    assert jets.borda_rise(beta) == pytest.approx(1.0 - beta**2 - (1.0 - beta) ** 2)


@settings(max_examples=60, deadline=None)
@given(beta=st.floats(0.02, 0.98), steps=st.floats(6.0, 14.0))
def test_side_entry_rises_along_the_plenum(beta: float, steps: float) -> None:
    x = np.linspace(0.0, 1.0, 50)
    jet = jets.side_entry(x, beta * PLENUM, PLENUM, mixing_steps=steps)
    assert np.all(np.diff(jet.c) >= 0.0)
    assert np.all(jet.c <= 0.0)
    assert np.all(jet.sigma >= 0.0)


def test_offset_towards_the_mouths_reattaches_sooner() -> None:
    toward = jets.side_entry(0.05, 1e-3, PLENUM, offset_m=0.01).c
    away = jets.side_entry(0.05, 1e-3, PLENUM, offset_m=-0.01).c
    assert toward > away


def test_center_jet_rams_what_it_faces_and_is_symmetric() -> None:
    c = _center()
    assert c[1] == pytest.approx(c[2])
    assert c[0] == pytest.approx(c[3])
    assert c[1] > c[0] > 0.0


def test_tilt_moves_the_ram_and_mirrors() -> None:
    right, left = _center(tilt_deg=25.0), _center(tilt_deg=-25.0)
    assert right[2] > right[1]
    assert right == pytest.approx(left[::-1])


def test_aim_away_from_the_mouths_rams_nothing() -> None:
    assert np.all(_center(aim_deg=120.0) == 0.0)
    assert np.all(_center(aim_deg=60.0) < _center(aim_deg=0.0))
    assert _center(aim_deg=90.0) == pytest.approx(np.zeros(4), abs=1e-12)


def test_offset_beside_the_row_weakens_the_ram() -> None:
    assert np.all(_center(offset_m=0.03) < _center())


@pytest.mark.parametrize("distance", [0.5, 3.0, 6.0, 12.0, 30.0])
def test_jet_momentum_is_conserved(distance: float) -> None:
    radius = np.linspace(0.0, 20.0, 200001)
    head = jets.jet_head_over_mouth(distance, radius, 1.0, 0.0)
    flux = np.trapezoid(head * 2.0 * np.pi * radius, radius)
    assert flux == pytest.approx(np.pi / 4.0, rel=1e-4)


@pytest.mark.parametrize("mouth", [0.2, 0.5, 1.0])
@pytest.mark.parametrize("offset", [0.0, 0.3])
def test_mean_over_the_mouth_against_integration(mouth: float, offset: float) -> None:
    """The closed approximation stays within 6 % of the disc integral of the Gaussian head."""
    node = (np.arange(400) + 0.5) / 400.0
    r, phi = np.meshgrid(mouth / 2.0 * np.sqrt(node), 2.0 * np.pi * node)
    x, y = offset + r * np.cos(phi), r * np.sin(phi)
    exact = np.mean(jets.jet_head_over_mouth(8.0, np.hypot(x, y), 1.0, 0.0))
    ours = jets.jet_head_over_mouth(8.0, offset, 1.0, mouth)
    assert ours == pytest.approx(exact, rel=0.06)


def test_throttle_throws_to_one_side_and_not_when_open() -> None:
    args = (0.05, 0.06, 2.5e-3, PLENUM)
    one = jets.throttle_throw(0.4, 1.0, *args).c
    other = jets.throttle_throw(0.4, -1.0, *args).c
    assert one > 0.0
    assert one == pytest.approx(-other)
    assert jets.throttle_throw(1.0, 1.0, *args).c == 0.0
    assert jets.throttle_throw(0.2, 1.0, *args).c > one


@pytest.mark.parametrize("fraction", [0.9, 0.7, 0.5, 0.4])
def test_baffle_flattens_every_jet(fraction: float) -> None:
    plain = jets.side_entry(STATIONS, 2e-3, PLENUM).c
    behind = jets.side_entry(STATIONS, 2e-3, PLENUM, baffle_open_fraction=fraction).c
    assert np.all(np.abs(behind) <= np.abs(plain))
    assert np.all(_center(baffle_open_fraction=fraction) < _center())


def test_no_baffle_changes_nothing() -> None:
    assert jets.baffle_factor(1.0) == 1.0


@pytest.mark.parametrize("call", [
    lambda: jets.side_entry(0.1, 6e-3, PLENUM), lambda: jets.side_entry(0.1, 0.0, PLENUM),
    lambda: _center(tilt_deg=85.0), lambda: jets.throttle_throw(0.0, 1.0, 0.1, 0.06, 1e-3, 5e-3)])
def test_impossible_entries_are_refused(call: object) -> None:
    with pytest.raises(ValueError):
        call()  # type: ignore[operator]
