"""Run setups: to a time, or cycle after cycle until the cycle repeats; many side by side."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace

import numpy as np

from distrib.errors import InputError
from distrib.results import FloatArray
from distrib.unsteady import tables as tb
from distrib.unsteady.cycles import (
    DEFAULT_OPTIONS,
    Cycles,
    Options,
    audit_errors,
    explain,
    stored,
    valve_warnings,
    without_crank,
)
from distrib.unsteady.group import Group
from distrib.unsteady.layout import (
    Lane,
    all_ends,
    build_lane,
    cell_counts,
    cell_edges,
    valve_points,
    windows,
)
from distrib.unsteady.reduce import read_traces
from distrib.unsteady.result import Traces, UnsteadyResult, failed
from distrib.unsteady.setup import TakeOff, UnsteadySetup, problems
from distrib.unsteady.state import State

LANES = 8
"""Runs side by side in one thread."""
PORTION = 16
"""Runs for each lane in one portion of work, at most."""

__all__ = ["DEFAULT_OPTIONS", "LANES", "Options", "cell_averages", "run_many", "run_time", "solve"]


def _to_time(setup: UnsteadySetup, stop_s: float, samples: int,
             options: Options) -> tuple[Group, tuple[float, float]]:
    """A group of one lane after a run to `stop_s`, and what was stored at its start."""
    group = Group(build_lane(setup, cell_counts(setup, options.cell_m)), 1, samples)
    lane = group.load(0, group.lanes[0])
    before = stored(lane)
    if samples:
        group.keep_traces(0, stop_s / max(samples - 1, 1))
    group.go(0, stop_s, options.most_steps_per_cycle)
    group.advance(options.cfl)
    if group.state(0) != tb.OK:
        raise RuntimeError(explain(lane, group.state(0)))
    return group, before


def run_time(setup: UnsteadySetup, stop_s: float, samples: int, options: Options = DEFAULT_OPTIONS,
             ) -> tuple[Traces, tuple[float, float]]:
    """Solve from the start state to `stop_s` and return traces at `samples` equal times.

    Also the audit errors (mass, energy over throughput). For problems without a crank, though a
    crank is allowed. Raises InputError for a wrong setup and RuntimeError with the reason if the
    solution fails.
    """
    group, before = _to_time(setup, stop_s, samples, options)
    lane = group.lanes[0]
    return read_traces(lane, group.record, 0), audit_errors(lane, before, stored(lane))


def cell_averages(setup: UnsteadySetup, stop_s: float, options: Options = DEFAULT_OPTIONS,
                  duct: int = 0) -> tuple[FloatArray, FloatArray]:
    """State of one duct at `stop_s`: cell centres x (n,) and rows density, velocity, pressure,
    burned fraction (4, n). Raises RuntimeError with the reason if the solution fails."""
    lane = _to_time(setup, stop_s, 0, options)[0].lanes[0]
    edges = cell_edges(setup.ducts[duct], int(lane.count[duct]))
    here = slice(int(lane.first[duct]), int(lane.first[duct] + lane.count[duct]))
    rows = lane.tables.cells[[tb.RHO, tb.U, tb.P, tb.Y], here]
    return 0.5 * (edges[1:] + edges[:-1]), rows


def solve(setup: UnsteadySetup, options: Options = DEFAULT_OPTIONS,
          warm: State | None = None) -> UnsteadyResult:
    """Run cycles until the cycle repeats (see `Options.tolerance`), then one more with traces.

    Raises InputError for a wrong setup (every mistake listed, also a missing crank). A run that
    fails or does not repeat within `max_cycles` returns NaN numbers and the reason.
    """
    return run_many([setup], options, warm=warm)[0]


def _alike(setup: UnsteadySetup, counts: tuple[int, ...]) -> tuple[object, ...]:
    """What two setups must share to run side by side: how things are joined, numbers of cells."""
    joined = tuple((type(e), *(getattr(e, name, None) for name in (
        "volume", "junction", "throttle", "cylinder", "duct")),
        tuple(j for j, _ in e.jets) if isinstance(e, TakeOff) else None) for e in all_ends(setup))
    return (counts, joined, len(setup.volumes), setup.junctions, len(setup.throttles),
            len(setup.cylinders), setup.jets, setup.viscous, setup.record)


def _same_but_speed(a: UnsteadySetup, b: UnsteadySetup) -> bool:
    """Whether b is a with another speed (made by `replace`: all else is the same object)."""
    return all(getattr(a, f.name) is getattr(b, f.name) for f in fields(a) if f.name != "rpm")


def _check(setups: Sequence[UnsteadySetup]) -> None:
    """InputError with every mistake of the first wrong setup."""
    for k, setup in enumerate(setups):
        known = k > 0 and _same_but_speed(setups[k - 1], setup) and (setup.rpm or 0.0) > 0.0
        wrong = [] if known else problems(setup)
        if wrong:
            raise InputError(wrong)


class _Builder:
    """Lanes of alike setups; those that differ by speed only are built once."""

    def __init__(self, setups: Sequence[UnsteadySetup], counts: tuple[int, ...]) -> None:
        self.counts = counts
        self.window = windows(setups, counts)
        self.points = max(valve_points(s) for s in setups)
        self._last: tuple[UnsteadySetup, Lane, tuple[str, ...]] | None = None

    def __call__(self, setup: UnsteadySetup) -> tuple[Lane, tuple[str, ...]]:
        last = self._last
        if last is None or not _same_but_speed(last[0], setup):
            lane = build_lane(setup, self.counts, self.window, self.points)
            last = self._last = setup, lane, valve_warnings(lane)
        lane = replace(last[1], setup=setup)
        lane.row("lanes.degrees_per_s")[0] = 6.0 * float(setup.rpm or 0.0)
        return lane, last[2]


def _run_portion(
    wanted: Sequence[int], setups: Sequence[UnsteadySetup], options: Options, *, traces: bool,
    states: Sequence[State | None], counts: tuple[int, ...],
) -> Iterator[tuple[int, UnsteadyResult]]:
    """Solve alike setups side by side; a lane whose run is done takes the next one."""
    build = _Builder([setups[k] for k in wanted], counts)
    waiting = iter(wanted)
    group = Group(build(setups[wanted[0]])[0], min(LANES, len(wanted)),
                  options.samples if traces else 0)
    runs: dict[int, Cycles] = {}

    def take(j: int) -> None:
        k = next(waiting, None)
        if k is None:
            runs.pop(j, None)
            group.rest(j)
            return
        lane, warnings = build(setups[k])
        runs[j] = Cycles(k, group.load(j, lane), options, traces, warnings)
        runs[j].warm(states[k])
        runs[j].begin(group, j)

    for j in range(len(group.lanes)):
        take(j)
    while runs:
        group.advance(options.cfl)
        for j, run in tuple(runs.items()):
            if group.state(j) != tb.RUNNING:
                result = run.end(group, j)
                if result is None:
                    run.begin(group, j)
                else:
                    yield run.index, result
                    take(j)


def _portions(setups: Sequence[UnsteadySetup], cells: Mapping[int, tuple[int, ...]],
              threads: int) -> list[list[int]]:
    """Which of the setups that have `cells` go side by side; enough portions for all threads."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for k, count in cells.items():
        groups.setdefault(_alike(setups[k], count), []).append(k)
    out = []
    for members in groups.values():
        parts = min(len(members), max(threads, round(len(members) / (LANES * PORTION))))
        out += [list(map(int, p)) for p in np.array_split(members, parts)]
    return out


def run_many(
    setups: Sequence[UnsteadySetup], options: Options = DEFAULT_OPTIONS, threads: int = 1, *,
    traces: bool = True, warm: State | Sequence[State | None] | None = None,
    counts: tuple[int, ...] | None = None, on_done: Callable[[int], None] | None = None,
) -> tuple[UnsteadyResult, ...]:
    """Solve many designs, draws or speeds side by side; results in the order of `setups`.

    Setups that are joined alike and have the same numbers of cells share the SIMD lanes of one
    thread, each with its own time step; `threads` such groups run at a time. Numbers depend
    neither on the threads nor on the company. Without `traces` the last cycle is left out, with
    the stations and Mach numbers that need it. `warm`: state to start from
    (`UnsteadyResult.final`), one for all or one for each. `counts`: cells of each duct
    (`layout.cell_counts` of a nominal design), so that draws of slightly other lengths share its
    grid. `on_done(k)`: called, from any thread, when setup k is solved.
    """
    states = list(warm) if isinstance(warm, Sequence) else [warm] * len(setups)
    if len(states) != len(setups):
        raise ValueError(f"{len(states)} start states for {len(setups)} setups")
    _check(setups)
    found: dict[int, UnsteadyResult] = {}
    for k, s in enumerate(setups):
        if without_crank(s):
            found[k] = failed(math.nan, len(s.cylinders), options.cell_m, "no crank: a setup for "
                              "`solve` needs rpm and cylinders")
    cells = {k: counts or cell_counts(s, options.cell_m)
             for k, s in enumerate(setups) if k not in found}
    portions = _portions(setups, cells, threads)

    def run(portion: Sequence[int]) -> None:
        for k, result in _run_portion(portion, setups, options, traces=traces, states=states,
                                      counts=cells[portion[0]]):
            found[k] = result
            if on_done is not None:
                on_done(k)

    if threads <= 1 or len(portions) < 2:
        for portion in portions:
            run(portion)
    else:
        with ThreadPoolExecutor(max_workers=threads) as pool:
            list(pool.map(run, portions))
    return tuple(found[k] for k in range(len(setups)))
