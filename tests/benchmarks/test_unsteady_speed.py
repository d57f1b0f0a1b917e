"""Speed of the engine model: figures; the one assertion is a ratio within one run.

Run with `pytest tests/benchmarks/test_unsteady_speed.py --benchmark-only`. Ratios are measured
within one run, by turns, because clocks drift. `simulated_over_processor_N`: engine seconds per
processor second of N runs side by side. `threads_2_over_1`: throughput of two threads over one.
`against_pyclaw`: time at equal L1 error on Sod's tube over ours (skipped where clawpack is not
installed: it needs Fortran).
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "unsteady"))
from unsteady_designs import SIX, intake

from distrib.unsteady.group import Group
from distrib.unsteady.layout import build_lane, cell_counts
from distrib.unsteady.run import Options, run_many
from distrib.unsteady.setup import UnsteadySetup
from distrib.unsteady.tables import OK
from distrib.verification import unsteady_cases as cases

ROUNDS = 12
RPM = 6000.0


def several(width: int) -> tuple[Group, float]:
    """A group of equal runs after two cycles, and its period."""
    setup = intake(rpm=RPM, order=SIX, plenum_m=0.6)
    lane, period = build_lane(setup, cell_counts(setup, 0.01)), 120.0 / RPM
    group = Group(lane, width)
    for j in range(width):
        group.load(j, lane)
    one_turn(group, 2.0 * period)
    return group, period


def one_turn(group: Group, stop_s: float) -> float:
    """March all lanes to a time; processor seconds used."""
    for j in range(len(group.lanes)):
        group.go(j, stop_s, 10**7)
    start = time.thread_time()
    group.advance(0.9)
    assert all(group.state(j) == OK for j in range(len(group.lanes)))
    return time.thread_time() - start


def test_lanes_against_single_runs(benchmark):
    """Simulated seconds per processor second of one and of eight inline sixes, 10 mm cells."""
    groups = {width: several(width) for width in (1, 8)}
    period, best = groups[1][1], dict.fromkeys(groups, float("inf"))
    for cycle in range(3, 3 + ROUNDS):
        for width, (group, _) in groups.items():
            best[width] = min(best[width], one_turn(group, cycle * period))
    cells = groups[1][0].lanes[0].count.sum()
    for width, (group, _) in groups.items():
        steps = float(group.lanes[0].row("lanes.steps")[0]) / (2 + ROUNDS)
        benchmark.extra_info[f"simulated_over_processor_{width}"] = width * period / best[width]
        benchmark.extra_info[f"ns_per_cell_step_{width}"] = best[width] / (
            steps * width * cells) * 1e9
    benchmark.extra_info["lanes_over_single"] = 8.0 * best[1] / best[8]
    print(benchmark.extra_info)
    # measured 2 to 3 (own machine, shared); below 1.2 lanes would not be worth their code
    assert 8.0 * best[1] / best[8] > 1.2
    benchmark.pedantic(one_turn, args=(groups[8][0], (3 + ROUNDS) * period), rounds=1,
                       iterations=1)


def test_two_threads_over_one(benchmark):
    setups = [intake(rpm=r, order=SIX, plenum_m=0.6) for r in (3000.0, 4000.0, 5000.0, 6000.0) * 2]
    options = Options(cell_m=0.01, max_cycles=12)
    run_many(setups[:1], options)
    times: dict[int, list[float]] = {1: [], 2: []}
    for _ in range(5):
        for threads in (1, 2):
            start = time.perf_counter()
            results = run_many(setups, options, threads)
            times[threads].append(time.perf_counter() - start)
            assert len(results) == len(setups)
    ratio = statistics.median(times[1]) / statistics.median(times[2])
    benchmark.extra_info["threads_2_over_1"] = ratio
    benchmark.extra_info["cores"] = os.cpu_count()
    benchmark.pedantic(run_many, args=(setups, options, 2), rounds=1, iterations=1)


SCRIPT = """
import sys, time
t = time.perf_counter()
sys.path.insert(0, {path!r})
from unsteady_designs import SIX, intake
from distrib.unsteady.run import Options, solve
r = solve(intake(order=SIX, plenum_m=0.6), Options(cell_m=0.02))
assert r.converged
print(time.perf_counter() - t)
"""


@pytest.mark.parametrize("start", ["cold", "cached"])
def test_first_run(benchmark, start, tmp_path):
    """A fresh process up to its first result: with empty and with filled machine-code cache."""
    tests = str(Path(__file__).parents[1] / "unsteady")
    code = SCRIPT.format(path=tests)
    env = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}

    def once() -> float:
        done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True,
                              text=True, check=True, cwd=Path(__file__).parents[2])
        return float(done.stdout)

    if start == "cached":
        once()
    benchmark.extra_info["seconds_in_process"] = benchmark.pedantic(once, rounds=1, iterations=1)


def tube_seconds(setup: UnsteadySetup, stop: float, cfl: float = 0.9) -> tuple[float, float]:
    """Processor seconds and steps of one run of a tube."""
    group = Group(build_lane(setup, cell_counts(setup, 1.0)), 1)
    group.go(0, stop, 10**7)
    start = time.thread_time()
    group.advance(cfl)
    return time.thread_time() - start, float(group.lanes[0].row("lanes.steps")[0])


@pytest.mark.parametrize("cells", [100, 1000])
def test_sod_cell_steps(benchmark, cells):
    left, right, stop = cases.SOD
    setup = cases.tube(left, right, cells)
    values = []
    for _ in range(10):
        seconds, steps = tube_seconds(setup, stop, 0.85)
        values.append(seconds / (steps * cells) * 1e9)
    benchmark.extra_info["ns_per_cell_step"] = float(np.median(values[1:]))
    benchmark.extra_info["l1_density"] = cases.tube_error(cases.SOD, cells)
    benchmark.pedantic(tube_seconds, args=(setup, stop), rounds=3, iterations=1)


@pytest.mark.parametrize("cells", [100, 1000])
def test_sod_against_pyclaw_at_equal_error(benchmark, cells, tmp_path, monkeypatch):
    """Our time on the grid that gives pyclaw's error, by turns with pyclaw's time."""
    pytest.importorskip("clawpack", reason="clawpack needs a Fortran compiler to install")
    monkeypatch.chdir(tmp_path)  # pyclaw writes a log where it is imported
    from clawpack import pyclaw, riemann

    left, right, stop = cases.SOD
    from distrib.verification.riemann import cell_means

    exact = cell_means(left, right, np.linspace(0.0, 1.0, cells + 1), 0.5, stop)[0]

    def claw() -> tuple[float, float]:
        solver = pyclaw.ClawSolver1D(riemann.euler_with_efix_1D)
        solver.bc_lower[0] = solver.bc_upper[0] = pyclaw.BC.extrap
        solver.limiters = pyclaw.limiters.tvd.MC
        domain = pyclaw.Domain(pyclaw.Dimension(0.0, 1.0, cells, name="x"))
        state = pyclaw.State(domain, 3)
        state.problem_data.update(gamma=1.4, gamma1=0.4, efix=False)
        x = domain.grid.x.centers
        for row, (a, b) in enumerate(((1.0, 0.125), (0.0, 0.0), (2.5, 0.25))):
            state.q[row] = np.where(x < 0.5, a, b)
        control = pyclaw.Controller()
        control.solution = pyclaw.Solution(state, domain)
        control.solver, control.tfinal, control.num_output_times = solver, stop, 1
        control.output_format, control.verbosity = None, 0
        start = time.perf_counter()
        control.run()
        return time.perf_counter() - start, float(np.abs(state.q[0] - exact).mean())

    error = claw()[1]
    grid = round(0.6 * cells)
    while cases.tube_error(cases.SOD, grid) > error:
        grid += max(cells // 40, 1)
    setup = cases.tube(left, right, grid)

    def ours() -> float:
        return tube_seconds(setup, stop)[0]

    pairs = [(claw()[0], ours()) for _ in range(9)]
    benchmark.extra_info["against_pyclaw"] = statistics.median(a / b for a, b in pairs)
    benchmark.extra_info["our_cells"] = grid
    benchmark.extra_info["against_pyclaw_best"] = min(a for a, _ in pairs) / min(
        b for _, b in pairs)
    benchmark.pedantic(ours, rounds=3, iterations=1)
