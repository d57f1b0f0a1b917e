"""Random designs on the steady rig, as its own process: FIRST LAST.

What is checked here uses neither the equations nor the figures of the solver's own checks: flows
are added up at the nodes of the graph, pressures are held against those of the two ends, and a
deeper depression must not draw less air.
"""

from __future__ import annotations

import json
import sys
import time
import traceback

import numpy as np
from random_designs import design

from distrib.build.bench import bench_model, run_bench, solve_bench
from distrib.case.schema import Case
from distrib.errors import InputError

DEPRESSIONS = (0.0001, 0.025, 0.07, 0.3, 0.5)
"""Of the ambient pressure: from a breath to the deepest that is accepted, with ends that choke."""
MASS = 1e-10
"""Of the air that enters: the project's own requirement."""
ROUND_OFF = 1e-9
"""Relative: pressures are found to 1e-12 of their scale, flows at 1e-10."""


def main(first: int, last: int) -> None:
    counts = {"designs": 0, "points": 0, "refused": 0, "faults": 0}
    slowest = 0.0
    for number in range(first, last):
        case = design(number)
        start = time.process_time()
        faults = []
        try:
            faults = check(case)
        except InputError as error:
            faults = [f"refused: {str(error)[:300]}"]
            counts["refused"] += 1
        except Exception:
            faults = [" | ".join(traceback.format_exc().strip().splitlines()[-4:])]
        slowest = max(slowest, time.process_time() - start)
        counts["designs"] += 1
        counts["points"] += len(DEPRESSIONS)
        counts["faults"] += bool(faults)
        for fault in faults:
            print(json.dumps({"file": str(number), "fault": fault}), flush=True)
    print(json.dumps({**counts, "slowest_s": slowest}))


def check(case: Case) -> list[str]:
    """Everything wrong with the solution of one design; empty when all is well."""
    ambient = case.conditions.ambient_pressure_pa
    wanted = ambient * np.array(DEPRESSIONS)
    model = bench_model(case, depression_pa=wanted)
    found = run_bench(model)
    shares = solve_bench(case, depression_pa=wanted)
    faults = [f"at {d:.0f} Pa: {why}" for d, good, why in
              zip(wanted, shares.converged, shares.reason, strict=True) if not good]
    if faults or not found.solved.all():
        return faults or ["solved alone, but not as a result"]
    good = np.full(wanted.shape, True)
    network = model.network
    flows = {d["name"]: found.x[network.n_pressures + network.flow[d["name"]]][good]
             for _, _, d in model.built.graph.edges(data=True)}
    faults += _mass(model.built.graph, flows)
    pressures = found.x[:network.n_pressures] + found.p_reference
    if not np.isfinite(pressures).all() or pressures.min() <= 0.0:
        faults.append(f"a pressure of {pressures.min():.3g} Pa")
    # nothing in the rig does work: nowhere can the air stand above the pressure it comes from
    if pressures.max() > ambient * (1.0 + ROUND_OFF):
        faults.append(f"{pressures.max():.2f} Pa inside, {ambient:.2f} Pa outside")
    air = shares.air_kg_s[shares.converged]
    total = air.sum(axis=1)
    if (total <= 0.0).any():
        faults.append(f"no air is drawn: {total}")
    if (np.diff(total) < -ROUND_OFF * total[1:]).any():
        faults.append(f"a deeper depression draws less: {total}, {np.diff(total) / total[1:]}")
    if np.abs(shares.share[shares.converged].sum(axis=1) - 1.0).max() > ROUND_OFF:
        faults.append("shares do not sum to one")
    limit = _choked_kg_s(case)
    if (total > limit * (1.0 + ROUND_OFF)).any():
        faults.append(f"{total.max():.4f} kg/s through holes that choke at {limit:.4f} kg/s")
    return faults


def _mass(graph: object, flows: dict[str, object]) -> list[str]:
    """Nodes at which the flows do not add up to nothing."""
    balance: dict[object, object] = {}
    entering = 0.0
    for up, down, data in graph.edges(data=True):  # type: ignore[attr-defined]
        flow = np.asarray(flows[data["name"]])
        balance[up] = balance.get(up, 0.0) - flow
        balance[down] = balance.get(down, 0.0) + flow
        for node, sign in ((up, 1.0), (down, -1.0)):
            if graph.nodes[node]["kind"] == "reservoir":  # type: ignore[attr-defined]
                entering = entering + np.maximum(sign * flow, 0.0)
    return [f"{np.abs(left / entering).max():.2e} of the air is lost at {node}"
            for node, left in balance.items()
            if graph.nodes[node]["kind"] != "reservoir"  # type: ignore[attr-defined]
            and (np.abs(left) > MASS * entering).any()]


def _choked_kg_s(case: Case) -> float:
    """Most air that the ends of the runners can pass, all of them choked without any loss.

    Isentropic flow of dry air at Mach 1, A p0 sqrt(gamma/(R T0)) (2/(gamma+1))^3 with gamma 1.4
    (any text on gas dynamics). Moist air has a larger gas constant and passes less.
    """
    gamma, gas = 1.4, 287.05
    per_area = (case.conditions.ambient_pressure_pa
                * np.sqrt(gamma / (gas * case.conditions.ambient_temperature_k))
                * (2.0 / (gamma + 1.0)) ** 3)
    return float(per_area * sum(0.25 * np.pi * r.end_diameter_m ** 2 for r in case.runners))


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
