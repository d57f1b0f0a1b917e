"""Which way the shares move when a design changes, on the bench.

Marks: [practice] common practice, no source; [momentum] computed from the momentum of the stream
(static regain of a dividing header, turning of the stream into a mouth).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from bench_designs import SIDE, design, entry, flow, lean_to_far, mirrored, shares, spread

from distrib.build.balance import balance
from distrib.build.bench import solve_bench
from distrib.case.schema import Case

NO_JET = {"jet": "none"}
FULL = [entry(kind="side", end="cylinder-1", diameter="80 mm")]
LONG: dict[str, Any] = {"length": "3000 mm", "diameter": "80 mm", "roughness": "1.5 mm"}
FAR_APART = ["100 mm", "1050 mm", "2000 mm", "2900 mm"]


def rough_and_long(**plenum: Any) -> Case:
    """Friction-dominated: 3 m of rough plenum between the first mouth and the last, low regain."""
    return design(entries=FULL, plenum=LONG | {"regain": 0.1} | plenum, stations=FAR_APART,
                  diameter="36 mm")


def tapered(to_mm: float, start: dict[str, Any], first: str, last: str, **more: Any) -> Case:
    """The same design narrowed from its bore at the first mouth to a bore at the last one."""
    plenum = {k: v for k, v in start.items() if k != "diameter"}
    plenum |= {"profile": "linear", "sections": [
        {"at": "0 mm", "diameter": start["diameter"]}, {"at": first, "diameter": start["diameter"]},
        {"at": last, "diameter": f"{to_mm} mm"}]}
    return design(entries=FULL, plenum=plenum, **more)


def test_regain_dominated_side_feed_gives_the_far_end_more() -> None:
    """[practice] and [momentum]."""
    case = design(losses=NO_JET)
    got = shares(case)
    assert np.all(np.diff(got) > 0.0)
    assert lean_to_far(mirrored(case)) == pytest.approx(-lean_to_far(case))
    assert balance(case)[0].winner == "regain"


def test_friction_dominated_feed_gives_the_near_end_more() -> None:
    """[practice] long and rough with a low regain: static pressure falls toward the dead end."""
    case = rough_and_long()
    assert np.all(np.diff(shares(case)) < 0.0)
    (found,) = balance(case)
    assert found.winner == "friction"
    assert not found.near_cancelling


def test_length_and_roughness_turn_regain_into_friction() -> None:
    """[momentum] the same mouths moved apart in a rougher plenum: the lean end moves inward."""
    leans = [lean_to_far(rough_and_long(roughness=r, regain=0.7)) for r in
             ("0 mm", "0.05 mm", "0.5 mm", "2 mm")]
    assert np.all(np.diff(leans) < 0.0)
    regains = [lean_to_far(rough_and_long(regain=r)) for r in (0.0, 0.3, 0.6, 0.9)]
    assert np.all(np.diff(regains) > 0.0)
    assert regains[0] < 0.0


def test_a_larger_area_ratio_makes_either_worse() -> None:
    """[momentum] both m^2 and K go with the square of mouths over plenum area."""
    for make in (lambda bore: design(entries=FULL, diameter=bore, mouth_radius="8 mm"),
                 lambda bore: design(entries=FULL, plenum=LONG | {"regain": 0.1},
                                     stations=FAR_APART, diameter=bore, mouth_radius="8 mm")):
        spreads = [spread(make(d)) for d in ("26 mm", "32 mm", "38 mm")]
        assert np.all(np.diff(spreads) > 0.0)


def test_taper_takes_regain_away() -> None:
    """[momentum] less regain: the spread falls where regain wins, and rises where friction does."""
    plain = {"length": "390 mm", "diameter": "80 mm"}
    cases = [tapered(d, plain, "54 mm", "336 mm", diameter="32 mm", mouth_radius="7 mm")
             for d in (80.0, 72.0, 64.0, 56.0, 48.0)]
    assert np.all(np.diff([spread(c) for c in cases]) < 0.0)
    assert np.all(np.diff([balance(c)[0].regain_pa for c in cases]) < 0.0)
    friction = [spread(tapered(d, LONG | {"regain": 0.1}, "100 mm", "2900 mm",
                               stations=FAR_APART, diameter="36 mm"))
                for d in (80.0, 72.0, 64.0)]
    assert np.all(np.diff(friction) > 0.0)


def test_a_restrictive_mouth_evens_the_shares_and_costs_flow() -> None:
    """[practice] a resistance in every lateral evens a header."""
    cases = [design(runner=[{"cylinder": c, "entry_loss": k} for c in (1, 2, 3, 4)])
             for k in (0.05, 0.5, 2.0)]
    assert np.all(np.diff([spread(c) for c in cases]) < 0.0)
    assert np.all(np.diff([flow(c) for c in cases]) < 0.0)
    shapes = [design(mouth=m, mouth_radius=r) for m, r in (
        ("bell", "9 mm"), ("rounded", "2 mm"), ("sharp", "0 mm"), ("re-entrant", "0 mm"))]
    assert np.all(np.diff([flow(c) for c in shapes]) < 0.0)


def test_leaning_one_mouth_with_the_stream_gives_it_more() -> None:
    """[momentum] below 90 degrees a stream from x = 0 turns less and keeps part of its head."""
    for cylinder in (1, 2, 3):
        got = [shares(design(runner=[{"cylinder": cylinder, "angle": f"{a} deg"}]))[cylinder - 1]
               for a in (120, 90, 60, 45)]
        assert np.all(np.diff(got) > 0.0)
    dead = [shares(design(entries=[entry(kind="side", end="far")],
                          runner=[{"cylinder": 3, "angle": f"{a} deg"}]))[2]
            for a in (120, 90, 60)]
    assert np.all(np.diff(dead) < 0.0), "from the far end the same lean turns the stream more"


def test_leaning_all_mouths_helps_where_the_stream_is_fast() -> None:
    """[momentum] the head that a lean mouth catches is largest at the first one."""
    near = [shares(design(angle=f"{a} deg"))[0] for a in (120, 90, 60, 45)]
    assert np.all(np.diff(near) > 0.0)


@pytest.mark.parametrize("worse", [
    {"length": "500 mm"}, {"diameter": "40 mm", "end_diameter": "40 mm"},
    {"bends": [{"angle": "90 deg", "radius": "45 mm"}]}, {"roughness": "0.5 mm"},
    {"end_diameter": "39 mm"}, {"flange_step": "1.5 mm"},
    {"mouth": "sharp", "mouth_radius": "0 mm"},
    {"wall_clearance": "1 mm"}, {"roof_clearance": "10 mm"}, {"loss": 1.5}, {"entry_loss": 1.0},
])
def test_a_longer_smaller_or_bent_runner_gets_less(worse: dict[str, Any]) -> None:
    """[practice] the other three get more, and all together less."""
    plain = design()
    case = design(runner=[{"cylinder": 2, **worse}])
    change = solve_bench(case).air_kg_s[0] / solve_bench(plain).air_kg_s[0] - 1.0
    assert change[1] < -1e-4
    assert np.all(np.delete(change, 1) > -1e-12)
    assert flow(case) < flow(plain)


def test_a_step_with_the_flow_costs_less_than_one_against_it() -> None:
    """[practice] a port larger than the runner is the lesser evil."""
    with_flow, against = (shares(design(runner=[{"cylinder": 2, "flange_step": f"{s} mm"}]))[1]
                          for s in (-1.5, 1.5))
    assert against < with_flow


def test_dead_length_does_not_change_the_bench() -> None:
    """[momentum] no flow beyond the last mouth: nothing is lost or won there."""
    cases = [design(plenum={"length": f"{n} mm", "diameter": "80 mm"}) for n in (390, 460, 600)]
    first = shares(cases[0])
    for case in cases[1:]:
        assert shares(case) == pytest.approx(first, abs=1e-12)


def test_a_step_down_speeds_the_stream_and_starves_what_lies_behind() -> None:
    """[momentum] narrower behind the step: higher speed, lower static pressure, less air."""
    def stepped(bore: float) -> Case:
        return design(entries=FULL, plenum={"length": "390 mm", "profile": "step", "sections": [
            {"at": "0 mm", "diameter": "80 mm"}, {"at": "195 mm", "diameter": f"{bore} mm"}]})

    behind = [shares(stepped(d))[2:].sum() for d in (80.0, 72.0, 64.0, 58.0)]
    assert np.all(np.diff(behind) < 0.0)
    assert shares(stepped(80.0)) == pytest.approx(shares(design(entries=FULL)), abs=1e-12)
    total = [flow(stepped(d)) for d in (80.0, 64.0, 58.0)]
    assert np.all(np.diff(total) < 0.0)


def split(tubes: list[dict[str, Any]]) -> Case:
    """Two plenums of three runners each, the second fed by a much smaller entry."""
    plenum = {"length": "300 mm", "diameter": "80 mm"}
    row = [{"cylinder": c, "plenum": "left" if c <= 3 else "right",
            "station": f"{60 + 90 * ((c - 1) % 3)} mm"} for c in range(1, 7)]
    return design(cylinders=6, plenum=[plenum | {"name": "left"}, plenum | {"name": "right"}],
                  entries=[entry(name="a", plenum="left", **SIDE),
                           entry(name="b", plenum="right", **SIDE) | {"diameter": "40 mm"}],
                  runner=row, stations=None, tubes=tubes)


def test_a_balance_tube_evens_two_plenums() -> None:
    """[practice] the larger the tube, the closer the two banks; an open one feeds the poorer."""
    gaps = []
    for bore in (0, 20, 40, 60):
        tubes = [{"from_plenum": "left", "from_at": "280 mm", "to_plenum": "right",
                  "to_at": "280 mm", "diameter": f"{bore} mm", "length": "150 mm"}]
        got = shares(split(tubes if bore else []))
        gaps.append(got[:3].sum() - got[3:].sum())
    assert gaps[0] > 0.05
    assert np.all(np.diff(gaps) < 0.0)
    assert gaps[-1] > 0.0
