"""Junction coefficients: defaults are the better laws, angles act as momentum says, errors."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from distrib.errors import InputError
from distrib.losses import junctions, takeoff
from distrib.losses.measured import rms
from distrib.verification import tees


def test_default_laws_have_the_lowest_error_on_the_measured_tees() -> None:
    assert tees.best_branch() == junctions.BRANCH_DEFAULT
    assert tees.best_run() == junctions.RUN_DEFAULT
    for name in tees.BRANCH_SERIES:
        best = tees.branch_rms(junctions.BRANCH_DEFAULT, name)
        assert all(best <= tees.branch_rms(law, name) for law in junctions.BRANCH_LAWS)
    for name in tees.RUN_SERIES:
        best = tees.run_rms(junctions.RUN_DEFAULT, name)
        assert all(best <= tees.run_rms(law, name) for law in tees.RUN_NAMES)


def test_composite_predicts_angles_it_was_not_fitted_to() -> None:
    """The 45 and 120 degree series stay within the sigma of 0.09 although only 90 was fitted."""
    assert tees.branch_rms("composite", "tee_branch_45") < 0.09
    assert tees.branch_rms("composite", "tee_branch_120") < 0.09


def test_composite_constant_is_the_least_squares_value() -> None:
    points = tees.series("tee_branch_90")
    rest = points.y - 1.0 - junctions.mouth_vv_Rennels(1.0, 0.0) * points.x**2
    best = np.sum(rest * points.x) / np.sum(points.x**2)
    assert pytest.approx(best, abs=0.002) == junctions.COMPOSITE_WV


@settings(max_examples=60, deadline=None)
@given(psi=st.floats(1.0, 8.0), q=st.floats(0.05, 0.95))
@pytest.mark.parametrize("law", ["composite", "bassett", "idelchik"])
def test_leaning_with_the_flow_costs_less_than_against_it(law: str, psi: float, q: float) -> None:
    with_flow = junctions.branch_coefficients(law, psi, 60.0, 0.0).loss(q, psi)
    square = junctions.branch_coefficients(law, psi, 90.0, 0.0).loss(q, psi)
    against = junctions.branch_coefficients(law, psi, 120.0, 0.0).loss(q, psi)
    assert with_flow < square < against


def test_rounding_the_mouth_pays() -> None:
    loss = [float(junctions.branch_coefficients("auto", 3.0, 90.0, r).loss(0.3, 3.0))
            for r in (0.0, 0.05, 0.1, 0.3)]
    assert np.all(np.diff(loss) < 0.0)


def test_no_cross_flow_leaves_the_entrance() -> None:
    """Very large header: the branch loss on its own head is the sharp entrance, 0.57."""
    psi = 1e6
    k = junctions.branch_coefficients("rennels", psi, 90.0, 0.0)
    assert k.k_vv == pytest.approx(0.57, abs=2e-3)


def test_sigma_covers_all_families() -> None:
    for psi in (1.0, 2.25, 4.0, 8.0):
        for q in (0.25 / psi, 0.5 / psi, 1.0 / psi):
            ours = junctions.branch_coefficients("auto", psi, 90.0, 0.0)
            head = 1.0 + (q * psi) ** 2
            for value in junctions.branch_loss_families(psi, 90.0, q).values():
                assert abs(float(value) - float(ours.loss(q, psi))) <= 2.0 * ours.sigma * head


def test_two_sigma_of_the_run_law_hold_the_other_laws_where_points_do_not_decide() -> None:
    share = np.linspace(0.3, 1.0, 50)
    ours = junctions.run_coefficients("auto")
    for name in ("bassett", "idelchik"):
        gap = np.abs(junctions.run_coefficients(name).loss(share) - ours.loss(share))
        assert np.max(gap) <= 2.0 * ours.sigma


def test_idelchik_factor_has_no_jump() -> None:
    for psi in (2.0, 4.0):
        k = junctions.branch_coefficients("idelchik", psi, 90.0, 0.0)
        edge = k.loss([k.q1 - 1e-9, k.q1 + 1e-9], psi)
        assert edge[0] == pytest.approx(edge[1], rel=1e-6)


def test_static_regain_form() -> None:
    """K = (1-r)(1-q'^2) gives the static rise r (W1^2 - W2^2) on the head."""
    share = np.linspace(0.0, 0.95, 20)
    for r in (0.5, 1.0, 1.2):
        k = junctions.run_coefficients("regain", r).loss(share)
        static_rise = 1.0 - share**2 - k
        assert static_rise == pytest.approx(r * (1.0 - share**2))
        assert junctions.regain_factor(k, 1.0 - share) == pytest.approx(np.full(20, r))


@pytest.mark.parametrize("name", ["basset", "rennel", "compsite"])
def test_unknown_law_names_the_nearest(name: str) -> None:
    with pytest.raises(InputError, match=r"nearest: (bassett|rennels|composite)"):
        junctions.branch_coefficients(name, 2.0, 90.0, 0.0)


def test_errors_and_flags() -> None:
    with pytest.raises(InputError, match="factor"):
        junctions.run_coefficients("regain")
    with pytest.raises(InputError, match="angle 0 to 180"):
        junctions.branch_coefficients("auto", 2.0, 200.0, 0.0)
    assert junctions.branch_coefficients("rennels", 2.0, 60.0, 0.0).flag == "extrapolated"
    assert junctions.branch_coefficients("bassett", 2.0, 90.0, 0.1).flag == "extrapolated"
    assert junctions.branch_coefficients("auto", 2.0, 60.0, 0.1).flag == "inside"


def test_reattachment_correction_beats_the_chain_on_every_series() -> None:
    for name in tees.TAKEOFF_SERIES:
        chain = tees.takeoff_ratio("mcgreehan", name)
        ours = tees.takeoff_ratio("reattached", name)
        one = np.ones_like(chain)
        assert rms(ours, one) <= rms(chain, one)


def test_takeoff_without_cross_flow_is_the_plain_chain() -> None:
    inputs = (3e4, 0.1, 2.0)
    assert takeoff.cd_takeoff_reattached(*inputs, 0.0) == pytest.approx(
        takeoff.cd_length(*inputs))


def test_takeoff_refuses_what_has_no_meaning() -> None:
    with pytest.raises(ValueError, match="velocity-head ratio"):
        takeoff.static_basis_Rohde(1.0, 0.5)
    with pytest.raises(ValueError, match="shorter"):
        takeoff.cd_length(3e4, 0.4, 0.2)


def test_crossflow_loss_of_an_ideal_hole_is_the_lost_head() -> None:
    """Cd = 1 on the static basis: exactly the duct's dynamic head is not caught."""
    assert takeoff.crossflow_loss(1.0, 0.7) == pytest.approx(1.0)
