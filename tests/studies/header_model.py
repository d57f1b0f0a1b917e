"""A friction-free header with a known optimum, for the search."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

PORTS = 6


def header(first_area: NDArray[np.float64], ratio: NDArray[np.float64]
           ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Spread in percent and total flow (n,) of a tapered header, ports of area 1 and Cd 1.

    Bernoulli along the header (no friction, no take-off loss): head 1 = p + W^2, port flow
    sqrt(p), so all ports are equal exactly when W is the same everywhere. Section i carries
    (N - i)/N of the flow when they are, so the areas must fall linearly to 1/N of the first:
    the optimum is ratio = 1/N with spread 0, whatever the first area is. The flow into the header
    is found by bisection on the flow past the last port being zero.
    """
    n = PORTS
    area = first_area[:, None] * (1.0 + (ratio[:, None] - 1.0) * np.arange(n) / (n - 1.0))

    def march(inflow: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        flow, ports = inflow.copy(), np.empty((inflow.size, n))
        for i in range(n):
            pressure = np.maximum(1.0 - (np.maximum(flow, 0.0) / area[:, i]) ** 2, 0.0)
            ports[:, i] = np.sqrt(pressure)
            flow = flow - ports[:, i]
        return flow, ports

    low, high = np.zeros(area.shape[0]), np.minimum(area[:, 0], float(n))
    for _ in range(60):
        middle = (low + high) / 2.0
        over = march(middle)[0] > 0.0
        high, low = np.where(over, middle, high), np.where(over, low, middle)
    ports = march((low + high) / 2.0)[1]
    share = ports / ports.sum(axis=1, keepdims=True)
    return 100.0 * n * np.ptp(share, axis=1), ports.sum(axis=1)
