"""Invented logs and bench sheets for the tests, with a known truth inside."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

LOG_MAPPING = """
kind = "log"

[channels]
time = { column = "Time", unit = "s" }
rpm = { column = "RPM", unit = "rpm" }
manifold_pressure = { column = "Boost", unit = "kPa gauge" }
coolant = { column = "ECT", unit = "degC" }
fuel_cut = { column = "Cut", cut_when = 1 }
lambda = { columns = ["L3", "L1", "L4", "L2"], cylinders = [3, 1, 4, 2], unit = "lambda" }

[state]
injection = "sequential"
barometer = "100 kPa absolute"
trims = { percent = [2.0, 0.0, -1.0, 0.0], cylinders = [1, 2, 3, 4], on = "fuel" }
closed_loop = { column = "CL", unit = "percent" }

[cells]
rpm = [3000, 5000]
pressure = ["100 kPa gauge"]
"""

AIR = np.array([1.03, 0.99, 1.00, 0.98])
TRIMS = np.array([2.0, 0.0, -1.0, 0.0])


@dataclass
class LogText:
    """How the invented log is written."""

    delimiter: str = ","
    decimal: str = "."
    metadata: tuple[str, ...] = ("Logger export", "Session;17")
    units: str | None = "s,rpm,kPa,degC,-,lambda,lambda,lambda,lambda,%"
    bom: bool = False
    encoding: str = "utf-8"
    newline: str = "\n"
    noise: float = 0.0
    extra_rows: list[str] = field(default_factory=list)


HEADER = "Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL"


def lambda_rows(noise: float = 0.0, seed: int = 0) -> list[list[float]]:
    """60 s at 20 Hz: 3000 rpm for 20 s, a ramp, 5000 rpm; delay 0.25 s; +1 % closed loop.

    lambda = 0.8 x air/(trim x correction): at 5000 rpm the pattern is mirrored.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for k in range(1200):
        t = 0.05 * k
        rpm = 3000.0 if t < 20.0 else min(3000.0 + (t - 20.0) * 200.0, 5000.0)
        late = t - 0.25
        air = AIR if (3000.0 if late < 20.0 else min(3000.0 + (late - 20.0) * 200.0, 5000.0)
                      ) < 4000.0 else AIR[::-1]
        lam = 0.8 * air / (1.0 + TRIMS / 100.0) / 1.01 * np.exp(rng.normal(0.0, noise, 4))
        coolant = 40.0 + t * 6.0
        rows.append([t, rpm, 100.0, min(coolant, 90.0), 0.0, *lam, 1.0])
    return rows


def write_log(path: Path, text: LogText | None = None, seed: int = 0) -> Path:
    """Write the invented log as a file."""
    how = text or LogText()
    lines = list(how.metadata)

    def line(cells: list[str]) -> str:
        return how.delimiter.join(c.replace(".", how.decimal) for c in cells)

    lines.append(HEADER.replace(",", how.delimiter))
    if how.units:
        lines.append(how.units.replace(",", how.delimiter))
    for row in lambda_rows(how.noise, seed):
        lines.append(line([f"{v:.10g}" for v in row]))
    lines.extend(how.extra_rows)
    body = how.newline.join(lines) + how.newline
    path.write_bytes((("\ufeff" if how.bom else "") + body).encode(how.encoding))
    return path


BENCH_MAPPING = """
kind = "bench"

[columns]
runner = { column = "runner", names = { "front" = 1 } }
flow = { columns = ["flow_1", "flow_2"], unit = "cfm", reading = "actual" }
depression = { column = "dp", unit = "inH2O" }
temperature = { column = "temp", unit = "degC" }
leak = { column = "leak" }
configuration = { column = "config", names = { "all" = "all-open", "single" = "one-blocked" } }

[state]
barometer = "1013.25 hPa absolute"
leak = "column"
"""

BENCH_TEXT = """date,2026-02-03
operator,none
runner,config,dp,temp,leak,flow_1,flow_2,notes
front,single,28",20,2,202,202,
#2,single,28,20,2,200,204,
cyl3,single,28in,20,2,203,,
R4,single,28,20,2,,,broken clamp
1,all,10,20,1,120,120,
2,all,10,20,1,122,122,
3,all,10,20,1,124,124,
4,all,10,20,1,126,126,
total,all,10,20,1,492,492,
"""
