"""What results share: order of cylinders, profiles, sources, cautions, and what was assumed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from distrib.build.graph import BuiltGraph, runner_order
from distrib.case.change import case_hash
from distrib.case.geometry import distance_from_entry_m
from distrib.case.schema import Case
from distrib.results import (
    Assumed,
    FloatArray,
    ModelName,
    Profile,
    Shares,
    deviation_percent,
    spread_percent,
)

CAUTIONS = (
    "Estimate, not measured: verify every cylinder before load. An even prediction does not make "
    "it safe to lean out.",
    "More air at equal fuel burns lean; a cylinder that gets less air burns rich.",
    "Lean mixture under boost can destroy an engine at once: start rich and retarded, stop at the "
    "first lean sign.",
    "Injectors, leaks, sensors and compression cause lean cylinders more often than the manifold: "
    "check them first.",
    "Local law on road use and licensed practice for pressure tests come before anything here.",
)

MODEL_LIMITS: Mapping[ModelName, str] = {
    "bench": "steady rig, all open runners flowing together: several times larger than on the "
             "engine, never a fuel trim",
    "engine": "one-dimensional gas dynamics through the crank cycle, with cylinders, valves and "
              "firing order",
}


def assumed(case: Case, more: tuple[Assumed, ...] = ()) -> tuple[Assumed, ...]:
    """Everything that was assumed: what the reader of the case filled in, and `more`."""
    return tuple(Assumed(a.field, a.value, a.why) for a in case.assumed) + more


def shares_result(
    case: Case,
    model: ModelName,
    air_kg_s: FloatArray,
    conditions: Mapping[str, Any],
    converged: NDArray[np.bool_],
    mass_residual: FloatArray,
    reason: tuple[str, ...],
    built: BuiltGraph,
    profiles: tuple[Profile, ...],
    *,
    more_assumed: tuple[Assumed, ...] = (),
    drawing: NDArray[np.bool_] | None = None,
    **optional: Any,
) -> Shares:
    """Assemble a result from air flows (P, N); rows that did not converge become NaN.

    drawing (N,): cylinders that take part; the others (blocked on the rig) have no share and no
    deviation, and the even share is that of those that do.
    """
    air = np.where(converged[:, None], air_kg_s, np.nan)
    share = air / air.sum(axis=-1, keepdims=True)
    if drawing is None or bool(drawing.all()):
        deviation, spread = deviation_percent(share), spread_percent(share)
    else:
        share = np.where(drawing, share, np.nan)
        deviation = np.full(share.shape, np.nan)
        deviation[:, drawing] = deviation_percent(share[:, drawing])
        spread = spread_percent(share[:, drawing])
    points = air.shape[0]
    table = {k: np.broadcast_to(np.asarray(v, dtype=float), (points,)).copy()
             for k, v in conditions.items()}
    return Shares(
        model=model, title=case.title, case_hash=case_hash(case),
        cylinders=np.array(runner_order(case)),
        distance_from_entry_m=distance_from_entry_m(case), conditions=table, air_kg_s=air,
        share=share, deviation_percent=deviation, spread_percent=spread, converged=converged,
        mass_residual=mass_residual, reason=reason, profiles=profiles,
        assumed=assumed(case, more_assumed),
        sources=built.book.sources(), cautions=(f"Model {model}: {MODEL_LIMITS[model]}.",
                                                *CAUTIONS),
        warnings=built.book.warnings(), **optional,
    )
