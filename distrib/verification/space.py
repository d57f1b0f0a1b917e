"""The own three-dimensional computation beside the engine figure: points, residuals, statistics.

`space_data/README.md` says what the set is and how far to trust it. It was computed, not measured.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any, Literal

import numpy as np

from distrib.answer.model_error import runner_mach
from distrib.build.engine import solve_engine
from distrib.case.read import read_text, read_tree
from distrib.case.schema import Case
from distrib.results import FloatArray
from distrib.unsteady.run import Options

DATA = resources.files("distrib.verification") / "space_data"
Kind = Literal["all", "side", "center"]
KINDS: tuple[Kind, ...] = ("all", "side", "center")
CELL_M = 0.01
"""Cells of the engine model here; halving them moves no figure of the set by more than 0.35 points,
and all but one point by less than 0.07."""
CLEAR_PERCENT = 1.0
"""Deviations of the reference beyond this have a sign to be met; its own doubt is 0.3 points."""


@dataclass(frozen=True)
class Reference:
    """One point of the set: deviations (N,) in percent, their scatter in time (N,), cell size.

    `rpm` is None for a rig point. The scatter is one standard deviation from cycle to cycle.
    """

    design: str
    rpm: float | None
    cell_mm: float
    deviation_percent: FloatArray
    scatter_percent: FloatArray


@dataclass(frozen=True)
class Pair:
    """A reference beside the engine figure (N,) of the same design and speed.

    `runner_mach`: Z of `runner_mach`, by which the error grows.
    """

    reference: Reference
    engine_percent: FloatArray
    runner_mach: float

    @property
    def kind(self) -> str:
        """Kind of entry."""
        return design(self.reference.design).entries[0].kind

    @property
    def residual_percent(self) -> FloatArray:
        """Reference minus engine figure, points (N,)."""
        return self.reference.deviation_percent - self.engine_percent


@dataclass(frozen=True)
class Statistics:
    """What the engine figure is worth over some points of the set.

    rms errors in points, of the engine figure and of "all even"; `clear` figures beyond 1 % and how
    many of them have the right `signs`; points whose `leanest` cylinder is the same, and how many
    of those where it `leads` by more than 1 point; `factor`: least squares f of reference = f x
    engine; `spread_ratio`: sum of the reference's spreads over the sum of ours.
    """

    points: int
    figures: int
    rms_percent: float
    even_rms_percent: float
    clear: int
    signs: int
    leanest: int
    leads: int
    leads_met: int
    factor: float
    spread_ratio: float


def design_names() -> tuple[str, ...]:
    """Names of all designs of the set."""
    return tuple(_changes())


def _changes() -> dict[str, dict[str, dict[str, Any]]]:
    return dict(json.loads((DATA / "designs.json").read_text("utf-8")))


@lru_cache(maxsize=32)
def design(name: str) -> Case:
    """The case of a design; KeyError for an unknown name."""
    tree = dict(read_text((DATA / "box.toml").read_text("utf-8"), "box.toml").tree)
    for table, values in _changes()[name].items():
        tree[table] = {k: v for k, v in (tree[table] | values).items() if v is not None}
    tree["title"] = name
    return read_tree(tree, f"{name} of the three-dimensional set")


def references(file: Literal["engine", "bench"]) -> tuple[Reference, ...]:
    """Every point of a file, in its order."""
    lines = (DATA / f"{file}.csv").read_text("utf-8").split()
    names = lines[0].split(",")
    groups: dict[tuple[str, str, str], list[tuple[float, float]]] = {}
    for line in lines[1:]:
        row = dict(zip(names, line.split(","), strict=True))
        groups.setdefault((row["design"], row.get("rpm", ""), row["cell_mm"]), []).append(
            (float(row["deviation_percent"]), float(row["scatter_percent"])))
    return tuple(Reference(name, float(rpm) if rpm else None, float(cell), *np.array(rows).T)
                 for (name, rpm, cell), rows in groups.items())


def finest(points: Iterable[Reference]) -> tuple[Reference, ...]:
    """Of points computed on several grids, those with the smallest cells."""
    best: dict[tuple[str, float | None], Reference] = {}
    for point in points:
        known = best.get((point.design, point.rpm))
        if known is None or point.cell_mm < known.cell_mm:
            best[point.design, point.rpm] = point
    return tuple(best.values())


@lru_cache(maxsize=4)
def pairs(cell_m: float = CELL_M, threads: int = 2) -> tuple[Pair, ...]:
    """The engine figure solved at every point of the set, grids of one point included.

    RuntimeError with the reason when a point does not repeat.
    """
    points = references("engine")
    out: dict[int, Pair] = {}
    for name in dict.fromkeys(p.design for p in points):
        own = {k: p for k, p in enumerate(points) if p.design == name}
        speeds = sorted({p.rpm for p in own.values() if p.rpm is not None})
        found = solve_engine(design(name), rpm=speeds, options=Options(cell_m=cell_m),
                             threads=threads)
        if not found.converged.all():
            raise RuntimeError(f"{name}: {'; '.join(r for r in found.reason if r)}")
        for k, point in own.items():
            rpm = float(point.rpm or np.nan)
            out[k] = Pair(point, found.deviation_percent[speeds.index(rpm)],
                          runner_mach(design(name), rpm))
    return tuple(out[k] for k in range(len(points)))


def best_pairs(kind: Kind = "all", cell_m: float = CELL_M) -> tuple[Pair, ...]:
    """Pairs on the finest grid of each point, of one kind of entry or of all."""
    chosen = {id(p) for p in finest(p.reference for p in pairs(cell_m))}
    return tuple(p for p in pairs(cell_m)
                 if id(p.reference) in chosen and kind in ("all", p.kind))


def statistics(chosen: Sequence[Pair]) -> Statistics:
    """Statistics over some pairs; see `Statistics`."""
    theirs = np.concatenate([p.reference.deviation_percent for p in chosen])
    ours = np.concatenate([p.engine_percent for p in chosen])
    clear = np.abs(theirs) > CLEAR_PERCENT
    same = np.array([np.argmax(p.reference.deviation_percent) == np.argmax(p.engine_percent)
                     for p in chosen])
    leads = np.array([np.diff(np.sort(p.reference.deviation_percent))[-1] > CLEAR_PERCENT
                      for p in chosen])
    return Statistics(
        points=len(chosen), figures=theirs.size,
        rms_percent=float(np.sqrt(np.mean((theirs - ours) ** 2))),
        even_rms_percent=float(np.sqrt(np.mean(theirs**2))),
        clear=int(clear.sum()), signs=int((theirs * ours > 0.0)[clear].sum()),
        leanest=int(same.sum()), leads=int(leads.sum()), leads_met=int((leads & same).sum()),
        factor=float(theirs @ ours / (ours @ ours)),
        spread_ratio=float(sum(np.ptp(p.reference.deviation_percent) for p in chosen)
                           / sum(np.ptp(p.engine_percent) for p in chosen)))
