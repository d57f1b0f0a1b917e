"""Twenty rounds on paper: sheets filled from a simulated engine, each made from the one before."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from fuelling.simulated import sound

from distrib.calibration import service
from distrib.calibration.sheet_read import read_sheet
from distrib.cli.app import main
from distrib.fuelling import MEASURED_POLICIES, Run
from distrib.fuelling.trims import Policy

from .made import CASES
from .test_next_trims import engine

CASE = CASES / "inline4_side.toml"
TARGET = 0.80
SPEEDS = ("3000", "5000")


def filled(sheet: Path, target: Path, run: Run) -> Path:
    """The sheet with the run's readings as a person would write them."""
    lines = sheet.read_text().splitlines()
    rows = list(csv.DictReader(x for x in lines if not x.startswith("#")))
    for row in rows:
        at = SPEEDS.index(row["rpm"]), int(row["cylinder"]) - 1
        row |= {"lambda_measured": f"{run.lambda_read[at]:.3f}",
                "trim_in_engine_percent": f"{run.trim_percent[at]:.1f}",
                "egt_degc": f"{run.exhaust_k[at] - 273.15:.0f}", "knock": "0"}
    with target.open("w", newline="") as stream:
        stream.write("\n".join(x for x in lines if x.startswith("#")) + "\n")
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return target


@pytest.mark.parametrize("policy", MEASURED_POLICIES)
def test_sheets_lead_to_the_target(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
    policy: Policy,
) -> None:
    """Base map 25 % lean, air 3 % apart, lambda noise 0.3 %: at the end no cylinder is off by more
    than the dead band and three standard deviations of a reading; richen-only leaves rich ones."""
    monkeypatch.setattr(service, "engine_solver", lambda *_: engine)
    simulated = sound(TARGET, np.array([[1.03, 0.99, 0.97, 1.01], [0.98, 1.02, 1.0, 1.0]]), 0.8,
                      np.random.default_rng(4))
    sheet = tmp_path / "s0.csv"
    assert main(["trims", str(CASE), "--rpm", ",".join(SPEEDS), "--csv", str(sheet)]) == 0
    capsys.readouterr()
    result = tmp_path / "r.json"
    for k in range(20):
        full = filled(sheet, tmp_path / f"f{k}.csv", simulated.read())
        sheet = tmp_path / f"s{k + 1}.csv"
        assert main(["trims", str(CASE), "--filled", str(full), "--policy", policy, "--csv",
                     str(sheet), "--json", str(result)]) == 0
        said = capsys.readouterr().out
        assert said.startswith("STOP: the whole engine is lean") == (k == 0)
        for p, cell in enumerate(json.loads(result.read_text())["cells"]):
            simulated.base[p] *= 1.0 + cell["base_percent"] / 100.0
            simulated.trim_percent[p] = [
                round(c["trim_shown_percent"], 1) for c in cell["cylinders"]]
    off = simulated.true_lambda() / TARGET - 1.0
    assert off.max() < 0.01 + 3.0 * 0.003
    if policy != "richen-only":
        assert off.min() > -0.01 - 3.0 * 0.003
    assert len(read_sheet(sheet).runs) == 20  # every run is still on the last sheet
