"""The engine model under draws: the same names as the phased model, each doing what it says."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from distrib.build.draws import Draws, parts_of
from distrib.build.engine import solve_engine
from distrib.build.engine_draws import SAMPLE_CELL_M, engine_trapped
from distrib.build.engine_setup import CaseSetup, case_setup
from distrib.build.points import operating_points, solve_phased
from distrib.case.change import with_changes
from distrib.case.read import read_case
from distrib.case.schema import Case
from distrib.results import FloatArray, deviation_percent
from distrib.studies.sampled import GivenDraws, given, uncertain_names
from distrib.unsteady.run import Options

CASES = Path(__file__).resolve().parents[2] / "cases"


@pytest.fixture(scope="module")
def case() -> Case:
    return read_case(CASES / "inline4_side.toml")


def deviation(trapped: FloatArray) -> FloatArray:
    return deviation_percent(trapped / trapped.sum(axis=-1, keepdims=True))


def moved(case: Case, **draws: float) -> CaseSetup:
    """Setup with some names drawn by so many standard deviations ("made_runner_3_diameter")."""
    names = {name.replace("_", "."): np.array([z]) for name, z in draws.items()}
    return case_setup(case, 6000.0, draws=GivenDraws(samples=1, given=names))


CHARGE = {"conditions.charge_pressure", "conditions.charge_temperature"}


def test_engine_and_phased_draw_the_same_names(case: Case) -> None:
    """Waves draw the charge's conditions as well, which shares of the network do not follow."""
    assert set(uncertain_names(case, "engine")) - CHARGE == set(uncertain_names(case, "phased"))
    assert set(uncertain_names(case, "engine")) >= CHARGE


def test_shares_of_the_phased_model_do_not_follow_the_charge(case: Case) -> None:
    """Two standard deviations of both at the highest speed: less than a hundredth of a percent."""
    now = case.conditions
    plain, moved = (solve_phased(case, rpm=[max(now.rpm)], charge_pressure_pa=p,
                                 charge_temperature_k=t).deviation_percent
                    for p, t in ((now.charge_pressure_pa, now.charge_temperature_k),
                                 (1.04 * now.charge_pressure_pa, now.charge_temperature_k + 10.0)))
    assert np.abs(moved - plain).max() < 0.01


def test_charge_draws_are_those_of_the_case_so_changed(case: Case) -> None:
    """One standard deviation of each: 2 % of pressure, 5 K."""
    points = operating_points(case, [4500.0], None, None)
    drawn, nominal = engine_trapped(case, points, given(tuple(sorted(CHARGE)), np.ones((1, 2))))
    now = case.conditions
    typed = solve_engine(case, rpm=[4500.0], charge_pressure_pa=1.02 * now.charge_pressure_pa,
                       charge_temperature_k=now.charge_temperature_k + 5.0,
                       options=Options(cell_m=SAMPLE_CELL_M))
    assert typed.trapped_air_kg is not None
    np.testing.assert_allclose(drawn[0, 0], typed.trapped_air_kg[0], rtol=1e-9)
    assert np.abs(deviation(drawn[0, 0]) - deviation(nominal[0])).max() > 0.02


def test_a_draw_is_the_same_whatever_it_is_drawn_with() -> None:
    draws = Draws(5, 3)
    several = parts_of(draws, range(draws.samples + 1))
    whole = np.asarray(draws.z("law.run"))
    assert [float(one.z("law.run")[0]) for one in several] == whole.tolist()  # type: ignore[index]
    assert several[2].z("made.port.1").shape == (1,)  # type: ignore[union-attr]


def test_draws_change_what_they_name(case: Case) -> None:
    """A bore as made is its tolerance larger; a port passes 0.5 % more; friction is 10 % up."""
    plain = case_setup(case, 6000.0).setup
    ducts = {d.name: d for d in plain.ducts}
    wide = {d.name: d for d in moved(case, made_runner_3_diameter=1.0).setup.ducts}
    runner = next(r for r in case.runners if r.cylinder == 3)
    made = 1.0 + case.uncertainty.tolerance_m / runner.diameter_m
    np.testing.assert_allclose(wide["runner 3"].area_m2, ducts["runner 3"].area_m2 * made**2)
    assert wide["runner 2"].area_m2.tobytes() == ducts["runner 2"].area_m2.tobytes()
    port = moved(case, made_port_2=1.0).setup.cylinders
    np.testing.assert_allclose(port[1].intake_area_m2, 1.005 * plain.cylinders[1].intake_area_m2)
    assert port[0].intake_area_m2.tobytes() == plain.cylinders[0].intake_area_m2.tobytes()
    rough = moved(case, law_friction=1.0).setup.ducts
    assert [d.friction for d in rough] == pytest.approx([1.1] * len(rough))
    assert [d.friction for d in plain.ducts] == [1.0] * len(plain.ducts)


def test_friction_factor_scales_the_loss_of_a_pipe(case: Case) -> None:
    """More friction in every wall costs air at full flow, and none gains some."""
    points = operating_points(case, [6500.0], None, None)
    draws = given(("law.friction",), np.array([[-3.0], [0.0], [3.0]]))
    trapped, nominal = engine_trapped(case, points, draws)
    total = trapped[0].sum(axis=-1)
    assert total[0] > total[1] > total[2]
    np.testing.assert_array_equal(trapped[0, 1], nominal[0])


def test_wider_bore_of_all_runners_is_the_case_with_wider_runners(case: Case) -> None:
    """Two standard deviations on every bore against the case drawn so much wider, losses given so
    that they do not follow the bore. The end's bore grows by the same part."""
    case = with_changes(case, {"runners.entry_loss": 0.3, "runners.loss": 0.2})
    names = tuple(f"made.runner.{c}.diameter" for c in (1, 2, 3, 4))
    points = operating_points(case, [6500.0], None, None)
    drawn, nominal = engine_trapped(case, points, given(names, np.full((1, 4), 2.0)))
    bore, end = 1e3 * case.runners[0].diameter_m, 1e3 * case.runners[0].end_diameter_m
    made = 1.0 + 2e3 * case.uncertainty.tolerance_m / bore
    typed = {"runners.diameter": f"{bore * made:.9f} mm",
             "runners.end_diameter": f"{end * made:.9f} mm"}
    wider = solve_engine(with_changes(case, typed), rpm=[6500.0], options=Options(cell_m=0.02))
    change = drawn[0, 0].sum() / nominal[0].sum() - 1.0
    assert wider.trapped_air_kg is not None
    whole = wider.trapped_air_kg[0].sum() / nominal[0].sum() - 1.0
    assert abs(change) > 1e-4
    assert change == pytest.approx(whole, rel=1e-3)


def test_what_draws_change_hardly_depends_on_the_grid(case: Case) -> None:
    """Fine cells are those of a nominal run. Measured 0.05 of the scatter."""
    points = operating_points(case, [3500.0, 6500.0], None, None)
    scatter = []
    for cell in (0.01, SAMPLE_CELL_M):
        trapped, nominal = engine_trapped(case, points, Draws(8, 1), options=Options(cell_m=cell))
        scatter.append(deviation(trapped) - deviation(nominal)[:, None])
    rms = np.sqrt(((scatter[1] - scatter[0]) ** 2).mean())
    assert rms < 0.1 * scatter[0].std()


def test_threads_change_no_bit(case: Case) -> None:
    points = operating_points(case, [5000.0], None, None)
    one, two = (engine_trapped(case, points, Draws(3, 1), threads=n)[0] for n in (1, 2))
    assert one.tobytes() == two.tobytes()
