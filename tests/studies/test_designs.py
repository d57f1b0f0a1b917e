"""Cases under draws: pairing, sensitivity and search on the bench model and on known samplers."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fake_engine import faked, hill

from distrib.answer import answers
from distrib.answer.speeds import wanted_band
from distrib.build.draws import Draws
from distrib.case.change import case_hash, with_changes
from distrib.case.read import read_case
from distrib.case.schema import Case
from distrib.errors import InputError, NoSolution
from distrib.results import FloatArray
from distrib.studies.designs import compare_designs, compared, screen, sensitivity, swings
from distrib.studies.designsearch import Options, search_case, write_proposals
from distrib.studies.dimensions import dimension_effects, dimension_indices
from distrib.studies.plan import Dimension
from distrib.studies.ranges import (
    envelope_limit,
    present_design,
    search_dimensions,
    typed_value,
)
from distrib.studies.sampled import Sampled, given, sample, uncertain_names

CASES = Path(__file__).resolve().parents[2] / "cases"
KNOWN = "test_designs:known_sampler"


@pytest.fixture(scope="module")
def case() -> Case:
    return read_case(CASES / "inline4_center.toml")


def known_sampler(case: Case, rpm: FloatArray | None, draws: Draws, threads: int = 1) -> Sampled:
    """Spread in percent 100 (q1 + q2)/4 with q1 = 8 |W - 0.08| + 0.2 |z| and q2 = 2 |L - 0.4|/10.

    W is the plenum's width (air falls with it by 0.1 % a mm beyond 68 mm), L its length, z the draw
    of "law.known". Cylinder 1 gets the spread's excess, the last the lack of it.
    """
    plenum = case.plenums[0]
    width = plenum.sections[0].width_m
    assert width is not None
    z = np.atleast_1d(np.asarray(draws.z("law.known")))
    q = 8.0 * abs(width - 0.08) + 0.02 * np.abs(z) + 0.2 * abs(plenum.length_m - 0.4)
    count = 1 if rpm is None else rpm.size
    air = np.ones((z.size, count, 4)) * (1.0 - (width - 0.068))
    air[:, :, 0] *= 1.0 + q[:, None] / 2.0
    air[:, :, 3] *= 1.0 - q[:, None] / 2.0
    return Sampled(np.arange(1, 5), air)


def known_spread(width: float, length: float, z: Any) -> Any:
    return 100.0 * (8.0 * abs(width - 0.08) + 0.02 * np.abs(z) + 0.2 * abs(length - 0.4))


def test_same_seed_same_draw_of_the_same_name(case: Case) -> None:
    first, second = sample(case, "bench", samples=8), sample(case, "bench", samples=8)
    assert first.air_kg_s.tobytes() == second.air_kg_s.tobytes()
    assert first.air_kg_s.shape == (8, 1, 4)
    other = sample(case, "bench", samples=8, seed=2)
    assert not np.allclose(first.spread_percent, other.spread_percent)


def test_given_draws_of_zero_are_the_nominal_design(case: Case) -> None:
    names = uncertain_names(case, "bench")
    assert len(names) > 4 and len(set(names)) == len(names)
    from distrib.build.bench import solve_bench
    from distrib.studies.sampled import sample_bench

    nominal = solve_bench(case).spread_percent[0]
    zeros = sample_bench(case, None, given(names, np.zeros((3, len(names)))))
    np.testing.assert_allclose(zeros.spread_percent[:, 0], nominal, rtol=1e-9)
    one = np.zeros((2, len(names)))
    one[1, names.index("law.branch.cross")] = 1.0
    moved = sample_bench(case, None, given(names, one))
    assert abs(moved.spread_percent[1, 0] - nominal) > 1e-3


def test_a_design_cannot_be_told_from_itself_but_from_a_worse_one(case: Case) -> None:
    """Of two equal designs no draw differs: the chance is that of a tie."""
    def curve(case: Case, rpm: FloatArray) -> FloatArray:
        return hill({4: 9.0 if case.entries[0].kind == "side" else 1.0})(case, rpm)

    side = read_case(CASES / "inline4_side.toml")
    with faked(curve):
        found = compare_designs({"center": case, "again": case, "side": side}, draws=48)
    assert found.ranking() == ((1, ("center", "again")), (3, ("side",)))
    assert found.chance_overall[0, 1] == 0.5 and found.samples == 48
    again = case.model_copy(update={"conditions": case.conditions.model_copy(
        update={"rpm": (500.0, 700.0), "wanted_rpm": None})})
    with faked(curve), pytest.raises(InputError, match="speeds that all cases share"):
        compare_designs({"center": case, "slow": again}, draws=32)


def test_speeds_outside_the_wanted_band_do_not_count(case: Case) -> None:
    """Far worse where nobody wants torque, more even where it is wanted."""
    low, high = wanted_band(case)
    outside = min(case.conditions.rpm)
    assert outside < low - 400.0

    def curve(case: Case, rpm: FloatArray) -> FloatArray:
        side = case.entries[0].kind == "side"
        return (hill({4: 0.2 if side else 6.0}, 0.5 * (low + high), 300.0)(case, rpm)
                + hill({1: 12.0 if side else 0.2}, outside, 100.0)(case, rpm))

    side = read_case(CASES / "inline4_side.toml")
    with faked(curve):
        answers_of = dict(zip(("center", "side"), answers([case, side], draws=48), strict=True))
    found = compared(answers_of)
    assert found.ranking() == ((1, ("side",)), (2, ("center",)))
    everywhere = compared(answers_of, everywhere=True)
    assert everywhere.ranking() == ((1, ("center",)), (2, ("side",)))


def test_designs_that_share_no_solved_speed_are_not_compared(case: Case) -> None:
    with faked(hill({4: 2.0}, unsolved_rpm=(3000.0,))), pytest.raises(
            NoSolution, match="no speed gave a solution"):
        compare_designs({"a": case, "b": case}, rpm=[3000.0], draws=32)
    with faked(hill({4: 2.0}, unsolved_rpm=(3000.0,))):
        found = compare_designs({"a": case, "b": case}, rpm=[3000.0, 5000.0], draws=32)
    assert found.samples == 32 and found.chance.shape == (2, 2, 1)


def test_sensitivity_of_a_known_sampler_names_its_only_input(case: Case) -> None:
    found = sensitivity(case, KNOWN, base=64)
    assert found.inputs == ("law.known",)
    np.testing.assert_allclose(found.total[:, 0], 1.0, atol=0.01)  # 64 base samples
    effects = screen(case, KNOWN, paths=4)
    assert effects.size[0, 0] == pytest.approx(
        100.0 * 0.02 * abs(2.0 * 1 / 3 - 2.0) / (2 / 3), rel=1e-9)  # from -2/3 to +2: |z| by 4/3


def test_swings_of_the_known_sampler(case: Case) -> None:
    base, found = swings(case, KNOWN, reach=2.0)
    assert base == pytest.approx(known_spread(0.068, 0.39, 0.0))
    assert [s.name for s in found] == ["law.known"]
    assert found[0].spread_low_percent == pytest.approx(known_spread(0.068, 0.39, 2.0))
    assert found[0].spread_high_percent == pytest.approx(known_spread(0.068, 0.39, 2.0))


def test_bench_sensitivity_shares_add_up(case: Case) -> None:
    """First-order shares are near or below one in sum, and no total is below its first order
    beyond the width of its interval."""
    found = sensitivity(case, "bench", base=64)
    assert np.isfinite(found.total).all() and found.dropped == 0
    assert (found.total_high >= found.first_low - 0.02).all()
    assert found.first.sum(axis=0).max() < 1.3


def test_dimensions_are_searched_in_the_unit_they_are_typed_in(case: Case) -> None:
    mixed = with_changes(case, {"plenum.length": "15.5 in"})
    dimensions = search_dimensions(mixed)
    by_name = {d.name: d for d in dimensions}
    assert by_name["plenum.length"].unit == "mm" and by_name["plenum.length"].decimals is not None
    start = present_design(mixed, dimensions)
    assert start[dimensions.index(by_name["plenum.length"])] == pytest.approx(393.7, abs=1e-9)
    assert start[dimensions.index(by_name["plenum.width"])] == 68.0
    bare = case.model_copy(update={"search": ()})
    with pytest.raises(InputError, match="no ranges in this case"):
        search_dimensions(bare)


def test_typed_values_of_runners_and_tables(case: Case) -> None:
    assert typed_value(case, "plenum.width") == "68 mm"
    assert typed_value(case, "plenum.main.width") == "68 mm"
    assert typed_value(case, "runner.3.length") == "260 mm"  # shared
    own = with_changes(case, {"runner.3.length": "270 mm"})
    assert typed_value(own, "runner.3.length") == "270 mm"
    assert typed_value(own, "runner.2.length") == "260 mm"
    assert typed_value(case, "entry.throttle.bore") == "66 mm"
    assert typed_value(case, "conditions.relative_humidity") == "45 percent"


def test_envelope_texts() -> None:
    dims = (Dimension("plenum.length", "mm", bounds=(300.0, 500.0)),
            Dimension("runners.length", "mm", bounds=(200.0, 300.0)),
            Dimension("runners.angle", "deg", bounds=(60.0, 90.0)))
    limit = envelope_limit("plenum.length + 2 runners.length <= 950 mm", dims)
    assert limit.coefficients.tolist() == [1.0, 2.0, 0.0] and limit.most == 950.0
    lower = envelope_limit("-plenum.length <= -350 mm", dims)
    assert lower.excess(np.array([[300.0, 0.0, 0.0], [360.0, 0.0, 0.0]])).tolist() == [50.0, 0.0]
    assert envelope_limit("plenum.length - 0.5*runners.length <= 300 mm", dims
                          ).coefficients.tolist() == [1.0, -0.5, 0.0]
    for bad in ("plenum.length", "plenum.length <= wide", "plenum.volume <= 3 L",
                "plenum.length + runners.angle <= 500 mm", "3 4 plenum.length <= 500 mm"):
        with pytest.raises(InputError, match="--envelope"):
            envelope_limit(bad, dims)


@pytest.fixture(scope="module")
def searched(case: Case) -> Case:
    tree_case = with_changes(case, {"plenum.length": "420 mm"})
    keep = tuple(r for r in tree_case.search if r.parameter in ("plenum.length", "plenum.width"))
    assert len(keep) == 2
    return tree_case.model_copy(update={"search": keep})


def test_search_of_a_case_finds_the_known_optimum_and_writes_it(
        searched: Case, tmp_path: Path) -> None:
    """Optimum width 80 mm and length 400 mm. The width is worth 8*12 = 96 of 100 parts of the gain
    (8*0.012 against 0.2*0.02), so it is the one change that buys most."""
    options = Options(model=KNOWN, rpm=(3000.0, 5000.0), samples=16, evaluations=900)
    found, items = search_case(searched, options)
    z = np.asarray(Draws(16, 1).z("law.known"))
    best = {d.name: d.value(found.best[j]) for j, d in enumerate(found.dimensions)}
    assert best == {"plenum.length": "400.0 mm", "plenum.width": "80.0 mm"}
    assert found.start_spread_percent == pytest.approx(
        np.quantile(known_spread(0.068, 0.42, z), 0.9), rel=1e-9)
    assert [c.dimension for c in found.changes] == ["plenum.width"]
    assert items[0].label == "few changes"
    assert items[0].changes == (("plenum.width", "68.0 mm", "80.0 mm"),)
    paths = write_proposals(items, tmp_path, "demo")
    back = read_case(paths[0])
    assert case_hash(back) == case_hash(items[0].case)
    assert back.title.endswith("few changes") and "not measured" in back.note
    assert typed_value(back, "plenum.width") == "80.0 mm"


def test_dimensions_of_a_known_sampler_are_ranked(searched: Case) -> None:
    """Spread is 100 (8 |W - 0.08| + 0.2 |L - 0.4|), W 68 to 100 mm, L 380 to 480 mm. Variances of
    |x - c| for x even over [a, b]: E((x-c)^2) - E(|x-c|)^2; no joint effects, so first = total."""
    options = Options(model=KNOWN, rpm=(3000.0,))
    wide = tuple(r.model_copy(update={"low": 0.068, "low_text": "68 mm"})
                 if r.parameter == "plenum.width" else r for r in searched.search)
    searched = searched.model_copy(update={"search": wide})  # 64 mm is narrower than the entry
    found = dimension_indices(searched, options, base=256)
    assert found.dropped == 0

    def variance(a: float, b: float, c: float, factor: float) -> float:
        square = ((b - c) ** 3 + (c - a) ** 3) / 3.0 / (b - a)
        mean = ((b - c) ** 2 + (c - a) ** 2) / 2.0 / (b - a)
        return factor**2 * (square - mean**2)

    parts = {"plenum.width": variance(0.068, 0.1, 0.08, 8.0),
             "plenum.length": variance(0.38, 0.48, 0.4, 0.2)}
    expected = [parts[name] / sum(parts.values()) for name in found.inputs]
    np.testing.assert_allclose(found.total[:, 0], expected, atol=0.02)
    np.testing.assert_allclose(found.first[:, 0], expected, atol=0.05)
    effects = dimension_effects(searched, options, paths=6)
    length = effects.inputs.index("plenum.length")
    # two thirds of the range at a time: |380 or 413.3 - 400| to |446.7 or 480 - 400|
    ends = [(46.667 - 20.0) / 66.667, (80.0 - 13.333) / 66.667]
    assert 100.0 * 0.2 * 0.1 * ends[0] - 1e-3 <= effects.size[length, 0]
    assert effects.size[length, 0] <= 100.0 * 0.2 * 0.1 * ends[1] + 1e-3
    chosen = searched.model_copy(update={"search": (
        searched.search[0].model_copy(update={"parameter": "runners.mouth", "kind": "choice",
                                              "choices": ("bell", "sharp")}),)})
    with pytest.raises(InputError, match="use the screening"):
        dimension_indices(chosen, options)


def test_review_and_envelope_bound_the_proposals(searched: Case) -> None:
    options = Options(model=KNOWN, rpm=(3000.0,), samples=8, evaluations=500,
                      limits=("plenum.width <= 78 mm",))

    def review(case: Case) -> tuple[str, ...]:
        width = case.plenums[0].sections[0].width_m
        return ("too wide for the bay",) if width is not None and width > 0.0765 else ()

    found, items = search_case(searched, options, review)
    assert items
    for item in items:
        assert review(item.case) == ()
    width = next(j for j, d in enumerate(found.dimensions) if d.name == "plenum.width")
    assert found.best[width] == pytest.approx(76.5, abs=0.3)
    assert found.archive.points[:, width].max() <= 76.5  # refused designs were not even solved


def test_two_workers_search_alike_and_a_stopped_search_goes_on(
        searched: Case, tmp_path: Path) -> None:
    options = Options(model=KNOWN, rpm=(3000.0,), samples=4, evaluations=200)
    alone, _ = search_case(searched, options)
    count: list[int] = []

    def stop(n: int) -> None:
        count.append(n)
        if len(count) == 60:
            raise KeyboardInterrupt

    log = tmp_path / "search.log"
    two = dataclasses.replace(options, jobs=2)
    with pytest.raises(KeyboardInterrupt):
        search_case(searched, two, remember=log, told=stop)
    rest: list[int] = []
    found, _ = search_case(searched, two, remember=log, resume=True, told=rest.append)
    assert found.archive.points.tobytes() == alone.archive.points.tobytes()
    assert found.archive.spread.tobytes() == alone.archive.spread.tobytes()
    assert len(rest) == alone.evaluations - 60 and not log.exists()
