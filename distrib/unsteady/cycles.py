"""One run through its cycles: what is done between two calls of the time loop."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from distrib.results import FloatArray
from distrib.unsteady import tables as tb
from distrib.unsteady.group import Group
from distrib.unsteady.layout import Lane, cell_edges
from distrib.unsteady.reduce import summarise
from distrib.unsteady.result import UnsteadyResult, failed
from distrib.unsteady.setup import ToValve, UnsteadySetup
from distrib.unsteady.state import State, start_from, state_of

_AUDIT = [tb.ROW[f"lanes.{name}"] for name in tb.AUDIT]


@dataclass(frozen=True)
class Options:
    """How to solve. All defaults are own choices.

    `cell_m`: wanted cell length (each duct gets equal cells not longer than this, three at
    least). `cfl`: Courant number, below 1. The cycle repeats when between two cycles no cylinder's
    trapped fresh air moves by more than `tolerance` of the mean, and the mass stored in the whole
    system changes by less than `drift_tolerance` of the throughput (dead ends of a plenum warm up
    over very many cycles, with no effect on the cylinders; hence the second, wider limit).
    `trace_step_deg`: spacing of traces. `longest_deg`: upper limit of a step, crank degrees.
    """

    cell_m: float = 0.01
    cfl: float = 0.9
    tolerance: float = 2e-4
    drift_tolerance: float = 2e-3
    max_cycles: int = 60
    trace_step_deg: float = 2.0
    longest_deg: float = 1.0
    most_steps_per_cycle: int = 2_000_000

    @property
    def samples(self) -> int:
        """Rows of traces over one cycle."""
        return round(720.0 / self.trace_step_deg)


DEFAULT_OPTIONS = Options()


def stored(lane: Lane) -> tuple[float, float]:
    """Mass (kg) and total energy (J) inside ducts, finite volumes and cylinders."""
    inverse = lane.tables.grid[tb.INV_VOLUME - tb.INV_DX]
    real = inverse > 0.0
    size = 1.0 / inverse[real]
    mass = float(np.sum(lane.tables.cells[tb.RHO][real] * size))
    energy = float(np.sum(lane.tables.cells[tb.ENE][real] * size))
    finite = lane.row("tanks.finite") == 1.0
    return (mass + float(np.sum(lane.row("tanks.mass")[finite])),
            energy + float(np.sum(lane.row("tanks.energy")[finite])))


def audit_errors(lane: Lane, before: tuple[float, float],
                 after: tuple[float, float]) -> tuple[float, float]:
    """Unaccounted mass and energy since the audit was reset, over the throughput.

    before, after: what was `stored` then and is now.
    """
    mass, energy = after
    a = dict(zip(tb.AUDIT, lane.tables.lanes[_AUDIT, 0].tolist(), strict=True))
    dm = mass - before[0] - (a["mass_in"] - a["exhaust_mass"])
    de = energy - before[1] - (a["energy_in"] + a["heat"] - a["work"] + a["combustion"]
                               - a["exhaust_energy"])
    through_m = max(a["mass_throughput"], 1e-300)
    through_e = max(a["energy_throughput"] + abs(a["work"]) + abs(a["combustion"]), 1e-300)
    return dm / through_m, de / through_e


def explain(lane: Lane, status: int) -> str:
    """A status in words, with place and crank angle."""
    setup, t = lane.setup, float(lane.row("lanes.t")[0])
    when = f"at {t:.6g} s" if setup.rpm is None else f"at {6.0 * setup.rpm * t:.1f} deg"
    if status == tb.JUNCTION_FAILED:
        return f"a junction did not close {when}"
    if status == tb.TOO_MANY_STEPS:
        return f"more steps than allowed; stopped {when}"
    if status == tb.EMPTY_VOLUME:
        return f"a volume or cylinder ran empty {when}"
    cells = lane.tables.cells
    bad = ~((cells[tb.RHO] > 0.0) & (cells[tb.P] > 0.0) & np.isfinite(cells[tb.U]))
    for duct, first, count in zip(setup.ducts, lane.first, lane.count, strict=True):
        here = np.flatnonzero(bad[first:first + count])
        if here.size:
            edges = cell_edges(duct, int(count))
            x = 0.5 * (edges[here[0]] + edges[here[0] + 1])
            return (f"negative or undefined pressure or density in duct {duct.name} at "
                    f"x = {x:.4g} m, {when}")
    return f"undefined state at a duct end, {when}"


def valve_warnings(lane: Lane) -> tuple[str, ...]:
    """Where a valve's effective area exceeds the end of its duct, so that the port governs."""
    out = []
    for duct in lane.setup.ducts:
        for end, area in ((duct.left, duct.area_m2[0]), (duct.right, duct.area_m2[-1])):
            if isinstance(end, ToValve):
                over = lane.tables.areas[0, :, end.cylinder] * end.share > area
                if np.any(over):
                    deg = float(np.count_nonzero(over)) * 720.0 / over.size
                    out.append(f"{duct.name}: valve flow area exceeds the duct end for {deg:.0f} "
                               "deg; the duct end governs there")
    return tuple(out)


def without_crank(setup: UnsteadySetup) -> bool:
    """Whether a setup cannot be solved cycle by cycle."""
    return setup.rpm is None or not setup.cylinders


@dataclass
class Cycles:
    """A run in lane j of a group: cycle after cycle until the cycle repeats, then, with `traces`,
    one more whose traces are kept. `index`: which run it is to the caller."""

    index: int
    lane: Lane
    options: Options
    traces: bool
    warnings: tuple[str, ...]
    cycle: int = 0
    repeated: bool = False
    before: tuple[float, float] | None = None
    last: FloatArray | None = None
    change: list[tuple[float, float]] = field(default_factory=list)
    errors: list[tuple[float, float]] = field(default_factory=list)

    def warm(self, state: State | None) -> None:
        """Start from the end of another run, if there is one."""
        if state is not None:
            start_from(self.lane, state)

    def begin(self, group: Group, j: int) -> None:
        """Let the next cycle run."""
        speed = 6.0 * float(self.lane.setup.rpm or math.nan)
        period = 720.0 / speed
        self.cycle += 1
        if self.before is None:
            self.before = stored(self.lane)
        self.lane.tables.lanes[_AUDIT] = 0.0
        self.lane.row("pots.through")[:] = 0.0
        self.lane.row("pots.back_flow")[:] = 0.0
        if self.repeated:
            group.keep_traces(j, period / self.options.samples)
        group.go(j, self.cycle * period, self.options.most_steps_per_cycle,
                 self.options.longest_deg / speed)

    def end(self, group: Group, j: int) -> UnsteadyResult | None:
        """What the cycle just run says: a result if it is the last one, else None."""
        o = self.options
        steps = int(self.lane.row("lanes.steps")[0])
        if group.state(j) != tb.OK:
            return self._failed(explain(self.lane, group.state(j)), steps)
        before, after = self.before or (0.0, 0.0), stored(self.lane)
        self.before = after
        self.errors.append(audit_errors(self.lane, before, after))
        now = self.lane.row("pots.fresh").copy()
        through = max(float(np.abs(self.lane.row("pots.through")).sum()), 1e-300)
        drift = abs(after[0] - before[0]) / through
        moved = (math.nan if self.last is None else float(np.max(np.abs(now - self.last)))
                 / max(float(np.mean(np.abs(now))), 1e-300))
        self.change.append((moved, drift))
        self.last = now
        again = moved <= o.tolerance and drift <= o.drift_tolerance
        if self.repeated or (again and not self.traces):
            return summarise(
                self.lane, group.record if self.repeated else None, j, o.cell_m, self.cycle, steps,
                np.asarray(self.errors), np.asarray(self.change), self.warnings,
                state_of(self.lane))
        self.repeated = again
        if again or self.cycle < o.max_cycles:
            return None
        return self._failed(
            f"the cycle did not repeat within {o.max_cycles} cycles: last change of trapped air "
            f"{moved:.2g} (allowed {o.tolerance:.2g}), of stored mass {drift:.2g} (allowed "
            f"{o.drift_tolerance:.2g})", steps)

    def _failed(self, reason: str, steps: int) -> UnsteadyResult:
        setup = self.lane.setup
        return failed(float(setup.rpm or math.nan), len(setup.cylinders), self.options.cell_m,
                      reason, self.cycle, steps, np.asarray(self.change), self.warnings)
