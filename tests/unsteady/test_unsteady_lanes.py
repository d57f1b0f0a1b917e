"""Runs side by side: as alone, in any company; warm starts; each coefficient of the mouth laws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from unsteady_designs import FOUR, SIX, intake, round_area

from distrib.kernels import kernel
from distrib.losses.junctions import BranchCoefficients, RunCoefficients
from distrib.unsteady import tables as tb
from distrib.unsteady.layout import build_lane, cell_counts
from distrib.unsteady.mouths import mouth_pushes, mouth_spaces
from distrib.unsteady.run import Options, run_many
from distrib.unsteady.setup import (
    Closed,
    Duct,
    TakeOff,
    Throttle,
    ToJunction,
    ToThrottle,
    ToVolume,
    UnsteadySetup,
    Volume,
)

COARSE = Options(cell_m=0.025)


def straight(name: str, length: float, diameter: float, left, right, **more) -> Duct:
    area = round_area(diameter)
    return Duct(name, np.array([0.0, length]), np.array([area, area]), left, right, **more)


def every_end(rpm: float = 5000.0, plate: float = 1.0) -> UnsteadySetup:
    """Two banks: a throttled entry pipe with a jet, entering plenum 1 sideways; a balance tube; a
    can; plenum 2 fed by a pipe with a hot wall from the open; runners on both. Invented."""
    base = intake(rpm=rpm, order=FOUR)
    law = (1.0, -0.4, 0.6, 1.0, -0.2, 0.8, 0.9)
    runners = [replace(d, left=TakeOff(2 + k % 2, 0.1 + 0.2 * (k // 2), 0.042, law, law,
                                       run=(0.1, 0.05, 0.1, 0.02), jets=((0, 0.3),)))
               for k, d in enumerate(base.ducts[2:])]
    ducts = (
        straight("snout", 0.15, 0.06, ToVolume(0, 0.1, 0.2, 0.01), ToThrottle(0)),
        straight("center entry", 0.1, 0.06, ToThrottle(0),
                 TakeOff(2, 0.2, 0.06, loss_out=0.2, join_cos=0.3)),
        straight("plenum 1", 0.4, 0.09, Closed(), ToVolume(1, 0.3, 0.1)),
        straight("plenum 2", 0.4, 0.08, ToJunction(0, True), Closed()),
        straight("feed", 0.2, 0.06, ToVolume(0, 0.05), ToJunction(0, True, 0.2, 0.4),
                 wall_temperature_k=350.0),
        straight("whistle", 0.1, 0.02, ToJunction(0, True, 0.5, 0.5), Closed()),
        straight("balance tube", 0.15, 0.03, TakeOff(2, 0.3, 0.03), TakeOff(3, 0.3, 0.03)),
        *runners)
    return replace(base, ducts=ducts, throttles=(Throttle("plate", plate * 1e-3),),
                   volumes=(*base.volumes, Volume("can", 5e-4, 101325.0, 293.15)),
                   jets=((1, "right"),), record=(2,))


def drawn(setup: UnsteadySetup, number: int) -> UnsteadySetup:
    """The setup with other bores, charge, mouths, losses and valve areas. Same numbers of cells."""
    pick = np.random.default_rng(number)

    def near() -> float:
        return float(1.0 + 0.03 * pick.standard_normal())

    def moved(end):
        if isinstance(end, TakeOff):
            return replace(end, at_m=end.at_m + 0.01 * float(pick.uniform(-1.0, 1.0)),
                           branch_left=tuple(near() * x for x in end.branch_left),
                           run=tuple(near() * x for x in end.run))
        return replace(end, loss_in=near() * end.loss_in) if hasattr(end, "loss_in") else end

    ducts = tuple(replace(d, area_m2=near() * d.area_m2, left=moved(d.left), right=moved(d.right))
                  for d in setup.ducts)
    p, t = near(), near()
    return replace(
        setup, ducts=ducts, ambient_pressure_pa=p * setup.ambient_pressure_pa,
        ambient_temperature_k=t * setup.ambient_temperature_k,
        volumes=tuple(replace(v, pressure_pa=p * v.pressure_pa, temperature_k=t * v.temperature_k)
                      for v in setup.volumes),
        cylinders=tuple(replace(c, intake_area_m2=near() * c.intake_area_m2,
                                exhaust_pressure_pa=near() * c.exhaust_pressure_pa)
                        for c in setup.cylinders))


DESIGNS = {
    "side entry": lambda: intake(order=SIX, plenum_m=0.6),
    "every kind of end": every_end,
    "throttled hard": lambda: every_end(plate=0.15),
}


@pytest.mark.parametrize("name", DESIGNS)
def test_lanes_equal_single_runs(name):
    """Ten runs of other numbers and speeds in eight lanes, so that two lanes are filled again."""
    nominal = DESIGNS[name]()
    counts = cell_counts(nominal, COARSE.cell_m)
    setups = [replace(drawn(nominal, k), rpm=3000.0 + 500.0 * k) for k in range(10)]
    options = replace(COARSE, max_cycles=4)
    several = run_many(setups, replace(options, tolerance=1.0, drift_tolerance=1.0), counts=counts)
    for setup, found in zip(setups, several, strict=True):
        alone = run_many([setup], replace(options, tolerance=1.0, drift_tolerance=1.0),
                         counts=counts)[0]
        assert found.converged and found.steps == alone.steps
        for field in ("trapped_air_kg", "trapped_temperature_k", "residual_fraction", "mach_peak"):
            np.testing.assert_allclose(getattr(found, field), getattr(alone, field), rtol=1e-10)
        np.testing.assert_allclose(found.traces.left, alone.traces.left, rtol=1e-10, atol=1e-7)
        assert np.abs(found.mass_error).max() < 1e-10 and np.abs(found.energy_error).max() < 1e-10


def test_company_and_threads_change_no_bit():
    nominal = every_end()
    setups = [replace(drawn(nominal, k), rpm=3000.0 + 700.0 * k) for k in range(10)]
    options = replace(COARSE, tolerance=1.0, drift_tolerance=1.0)
    counts = cell_counts(nominal, COARSE.cell_m)
    first = run_many(setups, options, counts=counts, traces=False)
    again = run_many(setups[::-1], options, threads=2, counts=counts, traces=False)[::-1]
    for a, b in zip(first, again, strict=True):
        np.testing.assert_array_equal(a.trapped_air_kg, b.trapped_air_kg)


def test_a_failed_run_says_why_and_leaves_its_neighbours_alone():
    good = [intake(rpm=r) for r in (4000.0, 5000.0, 6000.0)]
    bad = replace(good[0], cylinders=tuple(replace(c, closed_gain=1e-9, closed_rise_k=-5e4)
                                           for c in good[0].cylinders))
    options = replace(COARSE, tolerance=1.0, drift_tolerance=1.0)
    alone = run_many(good, options, traces=False)
    mixed = run_many([good[0], bad, good[1], bad, good[2]], options, traces=False)
    for k in (1, 3):
        assert not mixed[k].converged and "ran empty" in mixed[k].reason
        assert np.isnan(mixed[k].trapped_air_kg).all()
    for a, b in zip(alone, mixed[::2], strict=True):
        np.testing.assert_array_equal(a.trapped_air_kg, b.trapped_air_kg)


def test_progress_is_told_once_for_each_run():
    told: list[int] = []
    run_many([intake(rpm=r) for r in (4000.0, 5000.0, 6000.0)],
             replace(COARSE, tolerance=1.0, drift_tolerance=1.0), traces=False, on_done=told.append)
    assert sorted(told) == [0, 1, 2]


def test_warm_start_gives_the_same_in_fewer_cycles():
    nominal = intake(order=FOUR)
    counts = cell_counts(nominal, COARSE.cell_m)
    options = replace(COARSE, tolerance=1e-5, drift_tolerance=1e-4, max_cycles=150)
    last = run_many([nominal], options, traces=False)[0].final
    setups = [drawn(nominal, k) for k in range(4)]
    cold = run_many(setups, options, traces=False, counts=counts)
    warm = run_many(setups, options, traces=False, counts=counts, warm=last)
    for a, b in zip(cold, warm, strict=True):
        assert a.converged and b.converged
        # what is left of the way to the repeating cycle is several times the last change
        np.testing.assert_allclose(a.trapped_air_kg, b.trapped_air_kg, rtol=20 * options.tolerance)
    assert sum(r.cycles for r in warm) < sum(r.cycles for r in cold)


def test_start_from_another_grid_is_refused():
    done = run_many([intake()], replace(COARSE, tolerance=1.0, drift_tolerance=1.0), traces=False)
    with pytest.raises(ValueError, match="another grid"):
        run_many([intake(runner_m=0.6)], COARSE, warm=done[0].final)


@kernel
def _spaces(mouths, ends, lanes, n):
    mouth_spaces(mouths, ends, lanes, n)


@kernel
def _pushes(mouths, ends, lanes, n):
    mouth_pushes(mouths, ends, lanes, n)


BRANCH = (0.9, -0.6, 0.7, 1.1, -0.3, 0.8, 0.65)
RUN = (0.15, -0.1, 0.4, 0.35)
W, V, DENSITY, PRESSURE = 60.0, 45.0, 1.15, 1.0e5


def frozen(branch_left=BRANCH, branch_right=BRANCH, run=RUN, from_left=W, from_right=0.0, v=V):
    """Tables of one take-off in two lanes, alike, with given state under the mouth; its numbers
    under names, branch share included."""
    setup = intake(order=(1,))
    mouth = replace(setup.ducts[2].left, branch_left=branch_left, branch_right=branch_right,
                    run=run)
    setup = replace(setup, ducts=(*setup.ducts[:2], replace(setup.ducts[2], left=mouth)))
    lane = build_lane(setup, cell_counts(setup, 0.025))
    t = tb.Tables(*(np.repeat(table, 2, axis=-1) for table in lane.tables))
    row = {name: getattr(t, name.partition(".")[0])[tb.ROW[name]] for name in tb.ROW}
    for name, value in {
        "mouths.p": PRESSURE, "mouths.d": DENSITY, "mouths.w": W * W, "mouths.h": 3e5,
        "mouths.from_left": from_left, "mouths.from_right": from_right, "mouths.v": v,
        "lanes.dt": 1e-5,
    }.items():
        row[name][...] = value
    _spaces(t.mouths, t.ends, t.lanes, 2)
    share = v * row["ends.area"][0] / ((from_left + from_right) * row["mouths.header"][0])
    return t, row, share


def met_loss(row, v=V):
    """Total pressure lost into the branch, Pa, when gas enters with velocity v."""
    given, throat = row["ends.given"][0], row["ends.fin"][0]
    return (PRESSURE + 0.5 * DENSITY * W * W - given
            + 0.5 * DENSITY * v * v * (1.0 / throat**2 - 1.0))


@pytest.mark.parametrize("changed", range(7))
@pytest.mark.parametrize("factor_side", ["low", "high"])
@pytest.mark.parametrize("turned", [False, True])
def test_each_branch_coefficient_acts_as_in_its_law(changed, factor_side, turned):
    branch = list(BRANCH)
    _, _, share = frozen()
    branch[5] = 2.0 * share if factor_side == "low" else 0.5 * share
    branch[changed] *= 1.0 if changed == 5 else 1.3
    sides = {"branch_right" if turned else "branch_left": tuple(branch),
             "from_left": 0.0 if turned else W, "from_right": W if turned else 0.0}
    _, row, share = frozen(**sides)
    law = BranchCoefficients("law", branch[0], branch[1], branch[2], *branch[3:])
    ratio = row["mouths.header"][0] / row["ends.area"][0]
    expected = float(law.loss(share, ratio)) * 0.5 * DENSITY * W * W
    assert met_loss(row) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("changed", range(4))
@pytest.mark.parametrize("turned", [False, True])
def test_each_run_coefficient_acts_as_in_its_law(changed, turned):
    run = list(RUN)
    run[changed] *= 1.5
    t, row, share = frozen(run=tuple(run), from_left=0.0 if turned else W,
                           from_right=W if turned else 0.0)
    row["ends.state"][...] = 1.0
    row["ends.vb"][...], row["ends.db"][...], row["ends.m"][...] = -V, DENSITY, -V * DENSITY
    _pushes(t.mouths, t.ends, t.lanes, 2)
    loss = float(RunCoefficients("law", *run, sigma=0.1).loss(1.0 - share))
    force = loss * 0.5 * DENSITY * W * W * row["mouths.header"][0]
    sign = 1.0 if turned else -1.0
    assert row["mouths.push"][0] == pytest.approx(sign * force * 1e-5, rel=1e-9)
    assert row["mouths.v"][0] == pytest.approx(V, rel=1e-12)


def test_gas_that_joins_brings_its_momentum():
    t, row, _ = frozen()
    row["ends.state"][...] = -1.0
    row["mouths.join_cos"][...] = 0.4
    row["ends.vb"][...], row["ends.db"][...], row["ends.m"][...] = V, DENSITY, V * DENSITY
    _pushes(t.mouths, t.ends, t.lanes, 2)
    force = DENSITY * V * V * row["ends.area"][0] * 0.4
    assert row["mouths.push"][0] == pytest.approx(force * 1e-5, rel=1e-12)
