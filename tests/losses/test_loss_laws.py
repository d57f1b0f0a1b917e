"""Loss families live against fluids, limits that hold exactly, direction of every geometry."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from distrib.losses import area_change, bends, entrances, flange, perforated, throttle
from distrib.losses.registry import law

SAME_FORMULA_RTOL = 1e-9


def test_rennels_family_against_library() -> None:
    fit = pytest.importorskip("fluids.fittings")
    for r in (0.0, 0.01, 0.05, 0.2, 0.8):
        assert entrances.entrance_rounded_Rennels(r) == pytest.approx(
            fit.entrance_rounded(Di=1.0, rc=r, method="Rennels"), rel=SAME_FORMULA_RTOL)
    for s in (0.1, 0.36, 0.81):
        beta = float(np.sqrt(s))
        assert area_change.contraction_Rennels(s) == pytest.approx(
            fit.contraction_sharp(1.0, beta), rel=SAME_FORMULA_RTOL)
        assert area_change.contraction_round_Rennels(s, 0.1) == pytest.approx(
            fit.contraction_round(1.0, beta, rc=0.1 * beta), rel=SAME_FORMULA_RTOL)
        for angle in (10.0, 60.0, 150.0):
            assert area_change.contraction_conical_Rennels(s, angle, 0.02) == pytest.approx(
                fit.contraction_conical(1.0, beta, fd=0.02, angle=angle), rel=SAME_FORMULA_RTOL)
        for angle in (3.0, 15.0, 20.0, 25.0, 45.0, 60.0, 90.0, 180.0):
            assert area_change.diffuser_Rennels(s, angle, 0.02) == pytest.approx(
                fit.diffuser_conical(beta, 1.0, angle=angle, fd=0.02, method="Rennels"),
                rel=SAME_FORMULA_RTOL)
    for angle in (20.0, 60.0, 90.0, 180.0):
        for r in (0.6, 1.5, 5.0):
            assert bends.bend_Rennels(angle, r, 0.02) == pytest.approx(
                fit.bend_rounded(Di=1.0, angle=angle, fd=0.02, rc=r, method="Rennels"),
                rel=SAME_FORMULA_RTOL)
        assert bends.mitre_Rennels(min(angle, 150.0)) == pytest.approx(
            fit.bend_miter(min(angle, 150.0), method="Rennels"), rel=SAME_FORMULA_RTOL)


def test_bevels_angles_and_ito_against_library() -> None:
    fit = pytest.importorskip("fluids.fittings")
    for length in (0.02, 0.1, 0.4):
        for angle in (20.0, 45.0, 70.0):
            assert entrances.entrance_bevelled_Rennels(length, angle) == pytest.approx(
                fit.entrance_beveled(1.0, length, angle), rel=SAME_FORMULA_RTOL)
    for angle in (20.0, 60.0, 90.0):
        assert entrances.entrance_angled_Idelchik(angle) == pytest.approx(
            fit.entrance_angled(angle), rel=SAME_FORMULA_RTOL)
    for angle in (45.0, 70.0, 90.0, 140.0, 180.0):
        assert bends.bend_Ito(angle, 2.0, 1e5) == pytest.approx(
            fit.bend_rounded_Ito(Di=1.0, angle=angle, Re=1e5, rc=2.0), rel=SAME_FORMULA_RTOL)


@pytest.mark.parametrize("radius", np.linspace(0.005, 0.25, 15))
def test_default_rounded_mouth_lies_within_the_library_methods(radius: float) -> None:
    fit = pytest.importorskip("fluids.fittings")
    methods = ("Rennels", "Crane", "Miller", "Idelchik", "Harris", "Swamee")
    values = [fit.entrance_rounded(Di=1.0, rc=radius, method=m) for m in methods]
    ours = law("auto", "entrance").evaluate(radius_over_d=radius)
    assert min(values) - 1e-9 <= float(ours.value) <= max(values)
    assert all(abs(v - float(ours.value)) <= 2.0 * float(ours.sigma) for v in values)


@pytest.mark.parametrize("ratio,angle", [(1.5, 8), (2, 15), (2.5, 40), (3, 20), (4, 60)])
def test_default_diffuser_within_two_sigma_of_the_other_methods(ratio: float, angle: float) -> None:
    fit = pytest.importorskip("fluids.fittings")
    ours = law("auto", "diffuser").evaluate(area_ratio=1.0 / ratio, angle_deg=angle, friction=0.015)
    for method in ("Crane", "Idelchik", "Miller", "Hooper"):
        other = fit.diffuser_conical(1.0, ratio**0.5, angle=angle, fd=0.015, Re=1e5, method=method)
        assert abs(other - float(ours.value)) < 2.0 * float(ours.sigma), method


def test_no_change_no_loss() -> None:
    assert area_change.expansion_Borda(1.0) == 0.0
    assert area_change.contraction_Rennels(1.0) == pytest.approx(0.0, abs=1e-14)
    assert area_change.diffuser_Rennels(1.0, 10.0, 0.02) == pytest.approx(0.0, abs=1e-14)
    assert flange.flange_step(0.0) == pytest.approx(0.0, abs=1e-14)
    assert flange.flange_offset(0.0) == pytest.approx(0.0, abs=1e-14)
    assert perforated.sheet_Idelchik(1.0) == 0.0
    assert bends.mitre_Rennels(0.0) == 0.0


def test_a_step_against_the_flow_costs_more_than_one_with_it() -> None:
    step = np.linspace(0.01, 0.1, 10)
    assert np.all(flange.flange_step(step) > flange.flange_step(-step))


def test_nearby_roof_and_wall_cost() -> None:
    roof = entrances.shroud_roof([0.15, 0.3, 0.6, 1.0], 1.3)
    assert np.all(np.diff(roof) < 0.0)
    assert roof[-1] < 1e-3
    wall = entrances.shroud_wall([0.0, 0.5, 3.0])
    assert np.all(np.diff(wall) < 0.0)
    assert wall[-1] == pytest.approx(1.0, abs=1e-5)


def _open_area_by_integration(plate: float, closed: float, shaft: float) -> float:
    """Open fraction of a unit bore: bore minus the union of projected plate and shaft, by strips.

    Axis y runs along the shaft. The plate is an ellipse of half axes 1 (along the shaft) and k, cut
    by the bore; the shaft a strip of half width `shaft`, both centred.
    """
    k = np.cos(np.radians(plate)) / np.cos(np.radians(closed))
    count = 100_000
    theta = 0.5 * np.pi * (np.arange(count) + 0.5) / count
    half_bore = np.sin(theta)
    blocked = np.maximum(k * half_bore, np.minimum(shaft, half_bore))
    quarter = np.mean((half_bore - blocked) * np.sin(theta)) * 0.5 * np.pi
    return float(4.0 * quarter / np.pi)


@pytest.mark.parametrize("plate", [7.0, 20.0, 50.0, 75.0, 84.0, 90.0])
@pytest.mark.parametrize("shaft", [0.0, 0.1, 0.2])
def test_throttle_area_equals_the_integrated_geometry(plate: float, shaft: float) -> None:
    ours = float(throttle.open_fraction(plate, 5.0, shaft))
    assert ours == pytest.approx(_open_area_by_integration(plate, 5.0, shaft), abs=2e-6)


@settings(max_examples=60, deadline=None)
@given(closed=st.floats(0.0, 15.0), shaft=st.floats(0.0, 0.35))
def test_throttle_opens_monotonically_from_zero(closed: float, shaft: float) -> None:
    plate = np.linspace(closed, 90.0, 200)
    area = throttle.open_fraction(plate, closed, shaft)
    assert area[0] == pytest.approx(0.0, abs=1e-12)
    assert np.all(np.diff(area) >= -1e-12)
    assert np.all((area > -1e-12) & (area <= 1.0))


def test_throttle_refuses_a_plate_beyond_its_stop() -> None:
    with pytest.raises(ValueError, match="closed angle"):
        throttle.open_fraction(3.0, 5.0, 0.1)


def test_throttle_chokes() -> None:
    flow = throttle.mass_flow(0.2, 3e-3, 101325.0, 293.15, [0.9, 0.52, 0.2])
    assert flow[1] == flow[2] > flow[0]
