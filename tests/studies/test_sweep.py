"""Sweeps of a case with a solver whose answers are known, and the command."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from distrib.case.read import read_case
from distrib.case.schema import Case
from distrib.errors import InputError
from distrib.studies.caseeval import changed_case
from distrib.studies.plan import parse_vary
from distrib.studies.runner import Interrupted
from distrib.studies.sweep import SweepOptions, sweep, sweep_study
from distrib.studies.table import read_table

CASES = Path(__file__).resolve().parents[2] / "cases"
FAKE = SweepOptions(solver="fake_solver:solve")


@pytest.fixture(scope="module")
def case() -> Case:
    return read_case(CASES / "inline4_side.toml")


def expected_spread(length: Any, rpm: Any, cylinders: int = 4) -> Any:
    step = np.asarray(length) * np.asarray(rpm) / 1e4
    mean = 1.0 + step * (cylinders - 1) / 2.0
    return 100.0 * step * (cylinders - 1) / mean


def test_grid_over_length_and_speed(case: Case, tmp_path: Path) -> None:
    outcome = sweep(case, ["conditions.rpm=2000:6000:2000", "plenum.length=380:420:10 mm"],
                    tmp_path / "t.csv", options=FAKE)
    table = read_table(tmp_path / "t.csv")
    assert outcome.points == 15 and outcome.failed == 3
    assert table["plenum.length_mm"].tolist() == [v for v in (380, 390, 400, 410, 420)
                                                  for _ in range(3)]
    assert table["conditions.rpm"].tolist() == [2000, 4000, 6000] * 5
    good = table["plenum.length_mm"] != 400.0
    np.testing.assert_allclose(
        table["spread_percent"][good],
        expected_spread(table["plenum.length_mm"] / 1e3, table["conditions.rpm"])[good], rtol=1e-12)
    assert np.isnan(table["spread_percent"][~good]).all()
    assert set(table["no_figure_because"][~good]) == {"a plenum of 400 mm is meant to fail"}
    assert set(table["leanest_cylinder"][good]) == {4.0}
    lean = 0.80 * (1.0 + table["deviation_percent_4"] / 100.0)  # lambda target of the case
    np.testing.assert_allclose(table["leanest_lambda"][good], lean[good], rtol=1e-12)


def test_every_speed_is_kept_as_it_finishes(
        case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A sweep over speed alone, stopped in its fourth speed, goes on with the fourth."""
    import fake_solver

    asked: list[list[float]] = []
    real = fake_solver.solve

    def stopped(case: Any, *, rpm: Any = None) -> Any:
        asked.append(list(rpm))
        if len(asked) == 4:
            raise KeyboardInterrupt
        return real(case, rpm=rpm)

    vary = ["conditions.rpm=1000:6000:1000"]
    sweep(case, vary, tmp_path / "whole.csv", options=FAKE)
    monkeypatch.setattr(fake_solver, "solve", stopped)
    with pytest.raises(Interrupted, match="stopped after 3 of 6 points"):
        sweep(case, vary, tmp_path / "t.csv", options=FAKE)
    outcome = sweep(case, vary, tmp_path / "t.csv", options=FAKE, resume=True)
    assert outcome.resumed == 3
    assert asked == [[1000.0], [2000.0], [3000.0], [4000.0], [4000.0], [5000.0], [6000.0]]
    assert (tmp_path / "t.csv").read_bytes() == (tmp_path / "whole.csv").read_bytes()


def test_the_cases_own_speeds_are_taken_when_none_are_varied(case: Case, tmp_path: Path) -> None:
    sweep(case, ["plenum.length=410,420 mm"], tmp_path / "t.csv", options=FAKE)
    table = read_table(tmp_path / "t.csv")
    assert table["conditions.rpm"].tolist() == list(case.conditions.rpm) * 2


def test_band_of_each_point_is_that_of_the_known_law(case: Case, tmp_path: Path) -> None:
    """Spread is 300 s/(1 + 1.5 s) with s = (1 + 0.1 z) L n/1e4, rising with z: its 5 % and 95 %
    quantiles are its values at z = -1.645 and +1.645. 2000 random draws: within 4 % of the width
    (standard error of such a quantile: 2.1/sqrt(2000) of sigma)."""
    options = SweepOptions(solver="fake_solver:solve", sampler="fake_solver:sampler",
                           band_samples=2000)
    sweep(case, ["plenum.length=410,420 mm", "conditions.rpm=2000,4000"], tmp_path / "t.csv",
          options=options)
    table = read_table(tmp_path / "t.csv")
    length, rpm = table["plenum.length_mm"] / 1e3, table["conditions.rpm"]
    ends = [expected_spread(length * (1.0 + 0.1 * z), rpm) for z in (-1.645, 1.645)]
    width = ends[1] - ends[0]
    assert (abs(table["spread_low_percent"] - ends[0]) < 0.04 * width).all()
    assert (abs(table["spread_high_percent"] - ends[1]) < 0.04 * width).all()


def test_exhaust_pressure_follows_the_charge_unless_it_is_varied_too(case: Case) -> None:
    ratio = case.engine.exhaust_pressure_pa / case.conditions.charge_pressure_pa
    more = changed_case(case, {"conditions.charge_pressure": "0.6 bar gauge"})
    charge = case.conditions.ambient_pressure_pa + 0.6e5
    assert more.conditions.charge_pressure_pa == pytest.approx(charge, rel=1e-12)
    assert more.engine.exhaust_pressure_pa == pytest.approx(ratio * charge, rel=1e-12)
    both = changed_case(case, {"conditions.charge_pressure": "0.6 bar gauge",
                               "engine.exhaust_pressure": "1.9 bar absolute"})
    assert both.engine.exhaust_pressure_pa == pytest.approx(1.9e5, rel=1e-12)
    same = changed_case(case, {"plenum.length": "410 mm"})
    assert same.engine.exhaust_pressure_pa == case.engine.exhaust_pressure_pa


def test_a_point_that_does_not_converge_keeps_its_reason(case: Case, tmp_path: Path) -> None:
    outcome = sweep(case, ["conditions.rpm=2000,3000"], tmp_path / "t.csv", options=FAKE)
    table = read_table(tmp_path / "t.csv")
    assert outcome.failed == 1
    assert table["no_figure_because"].tolist() == ["", "meant not to converge"]
    assert np.isnan(table["air_kg_s"][1]) and not np.isnan(table["air_kg_s"][0])


def test_bench_has_no_speed(case: Case, tmp_path: Path) -> None:
    options = SweepOptions(model="bench", solver="fake_solver:solve", options=(("slope", 2.0),))
    sweep(case, ["plenum.length=410,420 mm"], tmp_path / "t.csv", options=options)
    table = read_table(tmp_path / "t.csv")
    np.testing.assert_allclose(table["spread_percent"], expected_spread([0.82, 0.84], 1e4))
    with pytest.raises(InputError, match="a bench has none"):
        sweep_study(case, ["conditions.rpm=2000,3000"], options)


def test_sample_is_seeded_and_two_workers_give_the_same_bytes(case: Case, tmp_path: Path) -> None:
    options = SweepOptions(solver="fake_solver:solve", sample=40, seed=3, chunk=6)
    vary = ["plenum.length=410:450 mm", "runners.mouth=bell,sharp", "conditions.rpm=2000,4000"]
    sweep(case, vary, tmp_path / "a.csv", options=options)
    sweep(case, vary, tmp_path / "b.csv", options=options, jobs=2)
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()
    table = read_table(tmp_path / "a.csv")
    assert table["point"].size == 80 and set(table["runners.mouth"]) == {"bell", "sharp"}
    assert table["plenum.length_mm"].min() > 410.0 and table["plenum.length_mm"].max() < 450.0


def test_refused_values_are_rows_and_wrong_names_are_errors(case: Case, tmp_path: Path) -> None:
    outcome = sweep(case, ["plenum.length=330,420 mm", "conditions.rpm=2000,4000"],
                    tmp_path / "t.csv", options=FAKE)  # the last runner stands beyond 330 mm
    table = read_table(tmp_path / "t.csv")
    assert outcome.failed == 2 and "" not in table["no_figure_because"][:2].tolist()
    with pytest.raises(InputError) as caught:
        sweep_study(case, ["runners.lenght=1,2 mm", "plenum.length=350,400",
                           "runners.mouth=bell,shapr"], FAKE)
    said = str(caught.value)
    assert 'nearest: "length"' in said and "without a unit" in said and 'nearest: "sharp"' in said
    with pytest.raises(InputError, match="there is only one plenum"):
        sweep_study(case, ["plenum.left.length=400,420 mm"], FAKE)
    with pytest.raises(InputError, match="varied twice"):
        sweep_study(case, ["plenum.length=1,2 mm", "plenum.length=1,2 mm"], FAKE)
    with pytest.raises(InputError, match="at least one name=values"):
        sweep_study(case, [], FAKE)


def test_identity_follows_the_design_not_its_title(case: Case) -> None:
    vary = [parse_vary("plenum.length=410,420 mm")]
    first = sweep_study(case, vary, FAKE).full_identity()
    longer = case.model_copy(update={"bench": case.bench})
    assert sweep_study(longer, vary, FAKE).full_identity() == first
    from distrib.case.change import with_changes

    other = with_changes(case, {"runners.length": "250 mm"})
    assert sweep_study(other, vary, FAKE).full_identity() != first
