"""One input at a time: the same figures as solving the changed case, names in words."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from fake_engine import faked, hill

from distrib.build.bench import solve_bench
from distrib.case.change import with_changes
from distrib.case.read import read_case
from distrib.case.schema import Case
from distrib.errors import NoSolution
from distrib.studies.designs import swings
from distrib.studies.matters import HEADS, PART, Effect, Matters, band_speeds, what_matters
from distrib.studies.names import plain_name
from distrib.studies.sampled import uncertain_names

CASES = Path(__file__).parents[2] / "cases"


@pytest.fixture(scope="module")
def case() -> Case:
    return read_case(CASES / "inline5_side.toml")


@pytest.fixture(scope="module")
def found(case: Case) -> Matters:
    return what_matters(case, "bench")


def effect(found: Matters, name: str) -> Effect:
    return next(e for e in found.effects if e.name == name)


def test_dimension_does_what_the_changed_case_does(case: Case, found: Matters) -> None:
    wide = effect(found, "plenum diameter")
    for typed, spread, leanest in (
            ("76 mm", wide.spread_low_percent, wide.lambda_low),
            ("110 mm", wide.spread_high_percent, wide.lambda_high)):
        air = solve_bench(with_changes(case, {"plenum.diameter": typed})).air_kg_s[0]
        over = air / air.mean()
        assert spread == pytest.approx(100.0 * np.ptp(over), rel=1e-6)
        # all fuel by the ports, equal: lambda follows the air of the cylinder
        assert leanest == pytest.approx(0.80 * over.max(), rel=1e-6)
    assert "76 mm / 110 mm, now 82 mm" in wide.change


def test_laws_and_tolerances_move_as_their_draws_do(case: Case, found: Matters) -> None:
    base, rows = swings(case, "bench", reach=2.0)
    assert found.spread_percent == pytest.approx(base)
    for row in rows:
        same = effect(found, plain_name(row.name))
        assert same.spread_low_percent == pytest.approx(row.spread_low_percent)
        assert same.spread_high_percent == pytest.approx(row.spread_high_percent)
        assert same.group == ("made" if row.name.startswith("made.") else "law")


def test_what_is_drawn_of_engine_and_charge_is_no_loss_law(case: Case) -> None:
    heads = {name.partition(".")[0] for name in uncertain_names(case, "engine")}
    assert heads >= {"law", "made", "conditions", "exhaust_pressure", "wall"}
    assert set(HEADS) & heads == {"law", "made"}


def test_widest_stands_first_and_a_one_sided_effect_counts_from_the_design(
    found: Matters,
) -> None:
    reaches = [e.reach_percent(found.spread_percent) for e in found.effects]
    assert reaches == sorted(reaches, reverse=True)
    both_up = Effect("x", "law", "", 12.0, 12.1, 0.9, 0.9)
    assert both_up.reach_percent(5.0) == pytest.approx(7.1)


def test_case_without_marked_ranges_moves_its_usual_dimensions(case: Case) -> None:
    bare = case.model_copy(update={"search": ()})
    dims = what_matters(bare, "bench").of("dimension")
    assert {"plenum diameter", "diameter of the runners", "entry diameter"} <= {
        d.name for d in dims}
    assert all(f"+{100 * PART:g} %" in d.change for d in dims)
    wide = next(d for d in dims if d.name == "plenum diameter")
    narrow = with_changes(case, {"plenum.diameter": 0.082 * (1 - PART)})
    assert wide.spread_low_percent == pytest.approx(float(solve_bench(narrow).spread_percent[0]))


def test_engine_figure_is_the_default_and_takes_the_largest_spread_of_the_wanted_band(
    case: Case,
) -> None:
    """Cylinder 5 has 4 % more at 5000 rev/min, one of six speeds from 4500 to 7000; a standard
    deviation of a cylinder's draw is 0.5 points, and a mean of all is taken off."""
    assert band_speeds(case) == (4500.0, 5000.0, 5500.0, 6000.0, 6500.0, 7000.0)
    with faked(hill({5: 4.0}, 5000.0), 0.5):
        found = what_matters(case, reach=2.0)
    assert found.model == "engine"
    assert found.spread_percent == pytest.approx(5.0, rel=1e-6)
    assert found.leanest_lambda == pytest.approx(0.80 * 1.04, rel=1e-6)
    most = effect(found, "loss law cylinder 4")
    # its air moves by -1 and +1 point of the mean, which moves by a fifth of that
    for spread, moved in ((most.spread_low_percent, -1.0), (most.spread_high_percent, 1.0)):
        assert spread == pytest.approx((5.0 + moved) / (1.0 + moved / 500.0), rel=1e-6)
    assert most.group == "law"


def test_design_without_engine_solution_is_said(case: Case) -> None:
    with faked(hill({5: 4.0}, unsolved_rpm=(5000.0,))), pytest.raises(
            NoSolution, match="engine model gives no solution for the design itself"):
        what_matters(case)


@pytest.mark.parametrize("model", ["bench", "engine"])
@pytest.mark.parametrize("name", ["inline4_side", "inline4_center", "inline5_center"])
def test_every_uncertain_input_has_a_name_in_words(name: str, model: str) -> None:
    names = uncertain_names(read_case(CASES / f"{name}.toml"), model)
    said = [plain_name(n) for n in names]
    assert len(set(said)) == len(names)
    assert not [s for s in said if "." in s or "_" in s or s.startswith("loss law")]


@pytest.mark.parametrize(("name", "words"), [
    ("law.branch.cross", "cross-flow loss at the mouths"),
    ("law.entry.throttle", "loss of entry throttle"),
    ("made.runner.3.diameter", "bore of runner 3 as made"),
    ("made.port.2", "port 2 as cast"),
    ("exhaust_pressure.3", "exhaust pressure of cylinder 3"),
    ("supply.front.throttle.length", "length of the pipe before entry front.throttle"),
    ("intake_valve.opens", "intake valve opens"),
    ("given.runner.4.loss", "given runner 4 loss"),
    ("runners.mouth_radius", "mouth radius of the runners"),
    ("runner.3.end_diameter", "runner 3 end diameter"),
    ("law.new.thing", "loss law new thing"),
    ("x1", "x1")])
def test_names_in_words(name: str, words: str) -> None:
    assert plain_name(name) == words
