"""Regain against friction: sums that must hold, the closed form it comes from, and the words."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from bench_designs import CENTER, SIDE, design, entry, mirrored
from test_directions import FAR_APART, FULL, LONG, rough_and_long, split

from distrib.build.balance import NEAR, balance
from distrib.build.bench import solve_bench
from distrib.case.change import to_toml
from distrib.cli.app import main


def test_the_difference_is_the_static_pressure_change_along_the_plenum() -> None:
    """p_end - p_feed = regain - friction, from an independent reading of the profile."""
    for case in (design(), rough_and_long(), design(plenum={
            "length": "390 mm", "profile": "linear", "sections": [
                {"at": "0 mm", "diameter": "90 mm"}, {"at": "390 mm", "diameter": "60 mm"}]})):
        (found,) = balance(case)
        p = solve_bench(case).profiles[0].static_pressure_pa[0]
        assert found.regain_pa - found.friction_pa == pytest.approx(p[-1] - p[0], abs=1e-6)
        assert found.ratio == pytest.approx(found.friction_pa / found.regain_pa)


def test_bernoulli_recovers_the_whole_head() -> None:
    """Regain 1 and smooth short sections: the rise is the head at the feed (closed form), so that
    the continuous header's m^2 is AR^2/zeta."""
    case = design(entries=FULL, plenum={"length": "390 mm", "diameter": "80 mm", "regain": 1.0,
                                        "roughness": "0 mm"}, bench={"depression": "300 Pa"})
    (found,) = balance(case)
    profile = solve_bench(case).profiles[0]
    rho = profile.static_pressure_pa[0, 0] / (287.05 * case.conditions.ambient_temperature_k)
    head = 0.5 * rho * profile.velocity_m_s[0, 0] ** 2
    assert found.regain_pa == pytest.approx(head, rel=5e-3)
    assert found.winner == "regain"
    assert found.first_runner < 1.0


def test_no_regain_leaves_friction() -> None:
    case = design(entries=FULL, plenum=LONG | {"regain": 0.0}, stations=FAR_APART)
    (found,) = balance(case)
    # what is left is the stream speeding up as friction lowers its density
    assert abs(found.regain_pa) < 0.01 * found.friction_pa
    assert found.winner == "friction"
    assert "near the entry" in found.words


def test_between_the_two_lies_a_cancelling_case() -> None:
    """Raising the regain from none to full turns the winner once, through `near_cancelling`."""
    rows = [balance(rough_and_long(regain=r))[0] for r in np.linspace(0.0, 1.5, 31)]
    winners = [r.winner for r in rows]
    turn = winners.index("regain")
    assert winners == ["friction"] * turn + ["regain"] * (31 - turn)
    assert rows[turn].near_cancelling or rows[turn - 1].near_cancelling
    for row in rows:
        net = abs(row.regain_pa - row.friction_pa)
        assert row.near_cancelling == (net < NEAR * max(abs(row.regain_pa), row.friction_pa))
        assert ("low confidence" in row.words) == row.near_cancelling


def test_the_continuous_numbers_call_the_slope_at_the_feed() -> None:
    """u'(0) = m^2 - K/(2 u(0)): far from level, its sign is that of the first step of the shares
    (continuous header; four mouths are no continuum, so only clear cases are asked)."""
    for case, rising in ((design(losses={"jet": "none"}), True), (rough_and_long(), False)):
        (found,) = balance(case)
        level = 2.0 * found.m2 * found.first_runner
        assert (found.k < 0.5 * level) if rising else (found.k > 2.0 * level)
        share = solve_bench(case).share[0]
        assert (share[1] > share[0]) == rising


def test_a_center_entry_has_two_equal_arms_and_a_mirror_image_the_same_balance() -> None:
    case = design(entries=[entry(**CENTER)])
    (found,) = balance(case)
    (one_side,) = balance(design())
    assert found.arms == 2
    assert found.regain_pa < 0.5 * one_side.regain_pa, "half the flow: about a quarter of the head"
    for any_case in (design(), case, rough_and_long()):
        (here,), (there,) = balance(any_case), balance(mirrored(any_case))
        assert here.regain_pa == pytest.approx(there.regain_pa, rel=1e-6)
        assert here.friction_pa == pytest.approx(there.friction_pa, rel=1e-6)


def test_opposed_side_entries_and_two_plenums() -> None:
    twin = design(entries=[entry(name="a", **SIDE), entry(name="b", kind="side", end="far")])
    (found,) = balance(twin)
    assert found.arms == 2
    names = [b.plenum for b in balance(split([]))]
    assert names == ["left", "right"]


def test_shares_writes_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, out = tmp_path / "case.toml", tmp_path / "out.json"
    path.write_text(to_toml(design()), encoding="utf-8")
    assert main(["shares", str(path), "--model", "bench", "--json",
                 str(out)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "several times larger than on the engine" in said
    (row,) = json.loads(out.read_text(encoding="utf-8"))["balance"]
    assert row["winner"] == "regain"
    assert row["words"].startswith("plenum main: regain wins")
