"""Every coefficient is uncertain: each draw moves the result, given ones by their own sigma, and
the band holds the branch laws that disagree."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from bench_designs import CENTER, SIDE, design, entry
from test_directions import split
from test_loss_choices import everything

from distrib.build.band import bench_with_band
from distrib.build.bench import bench_model, solve_bench
from distrib.build.draws import NOMINAL, Draws
from distrib.build.graph import build_graph
from distrib.build.pipes import given
from distrib.case.design import Given
from distrib.case.schema import Case
from distrib.losses.junctions import BRANCH_LAWS, RUN_LAWS
from distrib.studies.sampled import GivenDraws, uncertain_names


def moved(case: Case, name: str) -> float:
    """Largest relative change of any cylinder's air when one draw goes to plus one sigma."""
    draws = GivenDraws(samples=2, given={name: np.array([0.0, 1.0])})
    air = solve_bench(case, draws=draws).air_kg_s
    return float(np.abs(air[1] / air[0] - 1.0).max())


def given_losses() -> Case:
    return design(
        entries=[entry(**SIDE, loss={"value": 1.0, "sigma": 0.2})],
        plenum={"length": "390 mm", "diameter": "80 mm", "regain": {"value": 0.8, "sigma": 0.1}},
        runner=[{"cylinder": 1, "loss": {"value": 0.5, "sigma": 0.1}},
                {"cylinder": 2, "entry_loss": {"value": 0.3, "sigma": 0.05}}])


def tubed() -> Case:
    return split([{"from_plenum": "left", "from_at": "280 mm", "to_plenum": "right",
                   "to_at": "280 mm", "diameter": "40 mm", "length": "150 mm", "loss": 0.5}])


def thrown() -> Case:
    return design(
        entries=[entry(**CENTER | {"aim": "30 deg"}, throttle={
            "bore": "65 mm", "plate_angle": "40 deg", "shaft": "across"})],
        runner=[{"cylinder": 2, "mouth": "re-entrant", "mouth_radius": "0 mm",
                 "flange_step": "1 mm", "wall_clearance": "5 mm"}])


CASES = {"everything": everything, "given": given_losses, "tube": tubed, "thrown": thrown}
FAMILIES = {
    "everything": ("law.run", "law.friction", "law.expansion", "law.diffuser", "law.bend",
                   "law.branch.mouth", "law.branch.cross", "law.branch.family", "law.baffle",
                   "law.entry.entry", "law.jet.side", "made.mouth.1", "made.runner.3.diameter"),
    "given": ("given.entry.entry.loss", "given.plenum.main.regain", "given.runner.1.loss",
              "given.runner.2.entry_loss", "law.jet.side"),
    "tube": ("law.tube.mouth", "given.balance tube 1"),
    "thrown": ("law.jet.center", "law.throw.entry", "law.flange.2", "law.mouth.shape"),
}


@pytest.mark.parametrize(("case", "name"), [(c, n) for c, ns in FAMILIES.items() for n in ns])
def test_each_draw_moves_the_air(case: str, name: str) -> None:
    made = CASES[case]()
    assert name in uncertain_names(made)
    assert moved(made, name) > 1e-5


def test_nothing_moves_that_is_not_drawn() -> None:
    assert moved(everything(), "law.of.nothing") == 0.0
    nominal = solve_bench(everything()).air_kg_s[0]
    still = solve_bench(everything(), draws=GivenDraws(samples=2)).air_kg_s
    assert np.allclose(still, nominal, rtol=1e-8)


@pytest.mark.parametrize(("name", "value", "sigma"), [
    ("given.entry.entry.loss", 1.0, 0.2), ("given.runner.1.loss", 0.5, 0.1),
    ("given.runner.2.entry_loss", 0.3, 0.05), ("given.plenum.main.regain", 0.8, 0.1)])
def test_a_given_value_moves_by_its_own_sigma(name: str, value: float, sigma: float) -> None:
    """One sigma of the draw is the same as giving value + sigma in the case."""
    draws = GivenDraws(samples=1, given={name: np.array([1.0])})
    drawn = solve_bench(given_losses(), draws=draws).share[0]
    tree: dict[str, Any] = {"entry": 1.0, "regain": 0.8, "loss": 0.5, "mouth": 0.3}
    key = {"given.entry.entry.loss": "entry", "given.plenum.main.regain": "regain",
           "given.runner.1.loss": "loss", "given.runner.2.entry_loss": "mouth"}[name]
    tree[key] = value + sigma
    other = design(entries=[entry(**SIDE, loss=tree["entry"])],
                   plenum={"length": "390 mm", "diameter": "80 mm", "regain": tree["regain"]},
                   runner=[{"cylinder": 1, "loss": tree["loss"]},
                           {"cylinder": 2, "entry_loss": tree["mouth"]}])
    assert drawn == pytest.approx(solve_bench(other).share[0], abs=1e-9)


def test_a_given_value_without_sigma_has_a_tenth() -> None:
    draws = GivenDraws(samples=1, given={"x": np.array([2.0])})
    assert given(draws, "x", Given(value=3.0)) == pytest.approx(3.6)
    assert given(draws, "x", Given(value=3.0, sigma=0.0)) == pytest.approx(3.0)
    assert given(NOMINAL, "x", Given(value=3.0)) == 3.0


def test_equal_names_meet_equal_draws_in_different_designs() -> None:
    """The same law is off by as much in both designs, whatever else is drawn and in which order."""
    draws = Draws(50, seed=7)
    one = build_graph(design(), draws).graph
    two = build_graph(design(entries=[entry(**CENTER)], cylinders=5, diameter="38 mm"), draws).graph
    runs = [next(d["run"] for _, d in g.nodes(data=True) if d["kind"] == "station")
            for g in (one, two)]
    assert np.array_equal(runs[0][0], runs[1][0])
    assert runs[0][0].std() > 0.0
    assert np.array_equal(draws.z("law.run"), Draws(50, seed=7).z("law.run"))
    assert not np.array_equal(draws.z("law.run"), draws.z("law.friction"))
    assert not np.array_equal(draws.z("law.run"), Draws(50, seed=8).z("law.run"))
    repeated = Draws(50, seed=7, repeat=2).z("law.run")
    assert np.array_equal(repeated[:50], repeated[50:])


DESIGNS: dict[str, dict[str, Any]] = {
    "bell": {}, "sharp": {"mouth": "sharp", "mouth_radius": "0 mm"},
    "six slim": {"cylinders": 6, "diameter": "32 mm", "mouth_radius": "7 mm"},
    "wide": {"plenum": {"length": "390 mm", "diameter": "110 mm"}},
    "center": {"entries": [entry(**CENTER | {"aim": "0 deg"})]},
    "lean": {"angle": "60 deg"},
}


@pytest.mark.parametrize("name", DESIGNS)
def test_the_band_holds_every_branch_and_run_law(name: str) -> None:
    """Each law that represents the angle (only three know one that is not square) gives shares
    inside the 90 % band of the default."""
    found = bench_with_band(design(**DESIGNS[name]), samples=1500, seed=1)
    band = found.band
    assert band is not None
    assert band.failed == 0
    square = name != "lean"
    laws = [("branch", n) for n in BRANCH_LAWS if square or n in ("composite", "bassett",
                                                                  "idelchik")]
    laws += [("run", n) for n in RUN_LAWS if n != "regain"]
    for key, law in laws:
        other = solve_bench(design(**DESIGNS[name], losses={key: law})).deviation_percent
        outside = (other < band.low_percent) | (other > band.high_percent)
        assert not outside.any(), (key, law, other, band.low_percent, band.high_percent)


def test_batch_of_samples_equals_one_by_one() -> None:
    """Samples do not see each other: the same draw alone gives the same air."""
    case = thrown()
    names = uncertain_names(case)
    rng = np.random.default_rng(4)
    points = {n: rng.standard_normal(5) for n in names}
    batch = solve_bench(case, draws=GivenDraws(samples=5, given=points)).air_kg_s
    for i in range(5):
        alone = GivenDraws(samples=1, given={n: z[i:i + 1] for n, z in points.items()})
        assert solve_bench(case, draws=alone).air_kg_s[0] == pytest.approx(batch[i], rel=1e-7)
    assert bench_model(case, draws=Draws(5)).network.batch == 5
