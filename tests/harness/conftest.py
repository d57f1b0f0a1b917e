"""How much of the harness is run, and children that report faults as JSON lines."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
ROOT = HERE.parents[1]


@pytest.fixture
def size(request: pytest.FixtureRequest) -> Callable[[int, int], range]:
    """size(full, least): the numbers to run, of `full` as many as --harness says."""
    part, first = request.config.getoption("--harness"), request.config.getoption("--harness-from")
    return lambda full, least: range(first, first + max(least, round(part * full)))


@pytest.fixture
def reported() -> Callable[..., dict[str, Any]]:
    """reported(script, *arguments): what a script of this folder counted; its faults fail."""

    def run(script: str, *arguments: object) -> dict[str, Any]:
        done = subprocess.run([sys.executable, str(HERE / script), *map(str, arguments)],
                              capture_output=True, text=True, env={**os.environ,
                                                                   "PYTHONPATH": str(ROOT)})
        assert done.returncode == 0, done.stderr[-3000:]
        lines = [json.loads(line) for line in done.stdout.splitlines()]
        faults = [f"{line['file']}: {line['fault']}" for line in lines if "fault" in line]
        assert not faults, "\n".join(faults[:20])
        counted: dict[str, Any] = lines[-1]
        print(counted)
        return counted

    return run
