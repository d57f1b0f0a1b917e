"""Runs side by side: the tables of several lanes, each filled from one run and filled again."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from distrib.unsteady import tables as tb
from distrib.unsteady.layout import Lane, recorded_cells

_T, _STOP, _STEPS, _STATE, _LONGEST, _MOST = (
    tb.ROW[f"lanes.{name}"] for name in ("t", "stop", "steps", "state", "longest", "most"))


class Group:
    """`width` lanes of runs that share the plan of `like`; `samples` rows of traces, 0 for none.

    A lane is idle until `load`. `lanes[j]` is the run in lane j, its tables views into the group's.
    """

    def __init__(self, like: Lane, width: int, samples: int = 0) -> None:
        self.plan = like.plan
        self.tables = tb.Tables(*(np.repeat(t, width, axis=-1) for t in like.tables))
        self.lanes = [self._view(like, j) for j in range(width)]
        self._clock()[_STATE] = tb.IDLE
        cell, pots = recorded_cells(like.setup, like).size, like.tables.pots.shape[1]
        self.record = tb.Record(
            cell=np.zeros((width, cell), dtype=np.int64), rows=np.zeros((width, 4, samples, cell)),
            cylinders=np.zeros((width, 2, samples, pots)), previous=np.zeros((width, 4, cell)),
            previous_cylinder=np.zeros((width, 2, pots)), clock=np.zeros((width, 4)))
        ends = self.tables.ends.shape[1] + 16
        self._work = np.zeros((tb.ROWS_OF[tb.W_BASE // tb.TABLE_STEP], ends))
        self._number = np.zeros(ends, dtype=np.int64)

    def _clock(self) -> np.ndarray:
        return self.tables.lanes

    def _view(self, lane: Lane, j: int) -> Lane:
        width = self.tables.lanes.shape[1]
        return replace(lane, tables=tb.Tables(*(t[..., j::width] for t in self.tables)))

    def load(self, j: int, lane: Lane) -> Lane:
        """Put a run into lane j, idle; returns it with its tables in the group."""
        for mine, new in zip(self.lanes[j].tables, lane.tables, strict=True):
            mine[...] = new
        self.lanes[j] = self._view(lane, j)
        self._clock()[_STATE, j] = tb.IDLE
        self.record.cell[j] = recorded_cells(lane.setup, lane)
        self.record.clock[j] = 0.0
        return self.lanes[j]

    def go(self, j: int, stop_s: float, most_steps: int, longest_s: float = math.inf) -> None:
        """Let lane j run to `stop_s`, in so many steps at most and none longer than `longest_s`."""
        clock = self._clock()
        clock[_STOP, j], clock[_MOST, j] = stop_s, clock[_STEPS, j] + most_steps
        clock[_LONGEST, j], clock[_STATE, j] = longest_s, tb.RUNNING

    def keep_traces(self, j: int, step_s: float) -> None:
        """Record lane j from now on, at equal times `step_s` apart."""
        now = self._clock()[_T, j]
        self.record.clock[j] = now, step_s, now, 0.0

    def state(self, j: int) -> int:
        """State of a lane, see `tables`."""
        return int(self._clock()[_STATE, j])

    def rest(self, j: int) -> None:
        """Leave lane j idle."""
        self._clock()[_STATE, j] = tb.IDLE

    def advance(self, cfl: float) -> None:
        """March until a lane has reached its stop time or failed."""
        from distrib.unsteady.march import march

        march(self.plan, self.tables, self.record, self._work, self._number, cfl,
              self.lanes[0].setup.viscous, bool(np.any(self.tables.grid[tb.HEAT - tb.INV_DX])))
