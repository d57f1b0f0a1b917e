"""Which equation of which element is to blame when a solve fails, in words."""

from __future__ import annotations

import numpy as np

from distrib.network.compiled import Network
from distrib.network.solve import Solution


def describe(network: Network, found: Solution, case: int) -> str:
    """One sentence on case number `case` of a batch that did not converge."""
    worst = int(found.worst[case])
    size = float(found.residual[case])
    name = network.equations[worst] if worst < len(network.equations) else "unknown equation"
    kind = "no finite value" if not np.isfinite(size) or size > 1e200 else (
        f"scaled residual {size:.1e}")
    near = _near_choking(network, case)
    hint = f"; {near}" if near else ""
    return f"not solved: equation '{name}' is the worst ({kind}){hint}"


def _near_choking(network: Network, case: int) -> str:
    scalars = network.params.scalars[:, case]
    if scalars[2] > 0.4 * scalars[0]:
        return (f"the pressure difference {scalars[2] / 1e3:.1f} kPa is above the choking ratio of "
                f"{scalars[0] / 1e3:.1f} kPa")
    return ""
