"""Compiled search for steady stretches of a log."""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.kernels import kernel


@kernel
def steady_stretches(
    time: Any, first: Any, second: Any, usable: Any, width_first: float, width_second: float,
    shortest: float, longest: float, out: Any,
) -> int:
    """Rows [start, stop) of stretches in which both signals stay within a full width.

    Sliding window with queues of the running extremes (each row enters and leaves once). A stretch
    is written to `out` (M, 2) when it reaches `longest`, or when it breaks after at least
    `shortest` seconds. An unusable row breaks. Returns how many were written.
    """
    n = time.shape[0]
    queues = np.empty((4, n), dtype=np.int64)
    head = np.zeros(4, dtype=np.int64)
    tail = np.zeros(4, dtype=np.int64)
    count = 0
    start = 0
    i = 0
    while i < n and count < out.shape[0]:
        if not usable[i]:
            if i > start and time[i - 1] - time[start] >= shortest:
                out[count, 0] = start
                out[count, 1] = i
                count += 1
            start = i + 1
            head[:] = 0
            tail[:] = 0
            i += 1
            continue
        for q in range(4):
            signal = first if q < 2 else second
            sign = 1.0 if q % 2 == 0 else -1.0
            while tail[q] > head[q] and sign * signal[queues[q, tail[q] - 1]] <= sign * signal[i]:
                tail[q] -= 1
            queues[q, tail[q]] = i
            tail[q] += 1
        broken = (
            first[queues[0, head[0]]] - first[queues[1, head[1]]] > width_first
            or second[queues[2, head[2]]] - second[queues[3, head[3]]] > width_second
        )
        full = time[i] - time[start] >= longest
        if broken and i > start and time[i - 1] - time[start] >= shortest:
            out[count, 0] = start
            out[count, 1] = i
            count += 1
            start = i
            head[:] = 0
            tail[:] = 0
            continue  # row i opens the next stretch
        if broken:
            start += 1
            for q in range(4):
                while tail[q] > head[q] and queues[q, head[q]] < start:
                    head[q] += 1
            if start <= i:
                for q in range(4):  # row i is queued again on the next pass
                    if tail[q] > head[q] and queues[q, tail[q] - 1] == i:
                        tail[q] -= 1
                continue
        if full:
            out[count, 0] = start
            out[count, 1] = i + 1
            count += 1
            start = i + 1
            head[:] = 0
            tail[:] = 0
        i += 1
    if n > start and count < out.shape[0] and time[n - 1] - time[start] >= shortest:
        out[count, 0] = start
        out[count, 1] = n
        count += 1
    return count
