"""The commands `trims` and `fit` from the command line, with files that a tuner would have."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from distrib.calibration import service
from distrib.calibration.bench_model import BenchForward
from distrib.calibration.sheet import COLUMNS
from distrib.case.read import read_case
from distrib.case.schema import Case
from distrib.cli.app import main
from distrib.engine.rig import mass_flux
from distrib.results import Band, FloatArray, Shares, deviation_percent, spread_percent

from .logs import AIR, LOG_MAPPING, write_log
from .made import CASES, drawn_truth, made_forward

CASE = CASES / "inline4_side.toml"
SHARE = np.array([0.245, 0.25, 0.252, 0.253])


def _engine(case: Case, rpm: FloatArray, pressure: FloatArray) -> Shares:
    """A stand-in for the engine model: the pattern turns round above 5000 rpm."""
    share = np.where(rpm[:, None] > 5000.0, SHARE[::-1], SHARE)
    n = len(rpm)
    trapped = share * 4.0 * 1.0e-3
    return Shares(
        "engine", case.title, "hash", np.arange(1, 5), np.array([0.05, 0.15, 0.24, 0.34]),
        {"rpm": rpm, "charge_pressure_pa": pressure}, trapped * rpm[:, None] / 120.0, share,
        deviation_percent(share), spread_percent(share), np.ones(n, bool), np.zeros(n), ("",) * n,
        trapped_air_kg=trapped,
    )


@pytest.fixture
def _stand_in(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(service, "engine_solver", lambda *_: _engine)


def _run(args: Sequence[str | Path], capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    code = main([str(a) for a in args])
    out = capsys.readouterr()
    assert "Traceback" not in out.out + out.err
    return code, out.out, out.err


def run_json(
    args: Sequence[str | Path], folder: Path, capsys: pytest.CaptureFixture[str]
) -> tuple[int, Any, str]:
    """Exit code, the JSON of a command, what it remarked."""
    code, _, err = _run([*args, "--json", folder / "out.json"], capsys)
    return code, json.loads((folder / "out.json").read_text()), err


@pytest.mark.usefixtures("_stand_in")
def test_trims_writes_sheet_page_and_json(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = _run([
        "trims", CASE, "--rpm", "4000,6000", "--load", "1.2 bar gauge", "--csv",
        tmp_path / "s.csv", "--page", tmp_path / "s.html", "--json", tmp_path / "s.json",
        "--confirmed", "leaks,wiring",
    ], capsys)
    assert code == 0 and "trim" in out and "4000 rpm, 221 kPa absolute" in out
    assert "confirm first: injectors flow-matched" in err and "no leaks" not in err
    data = json.loads((tmp_path / "s.json").read_text())
    first = data["cells"][0]["cylinders"]
    assert [c["cylinder"] for c in first] == [1, 2, 3, 4]
    # richen-only, half of share over the mean, where that is more
    assert [c["trim_percent"] for c in first] == pytest.approx(
        (50.0 * np.maximum(4.0 * SHARE - 1.0, 0.0)).tolist())
    assert data["cells"][0]["charge_pressure_pa"] == pytest.approx(1.2e5 + 100800.0)
    assert any("cylinder 1: -2.0 % at rpm 4000 but +1.2 % at rpm 6000" in f
               for f in data["sign_flips"])
    assert "starting point before measurement" in " ".join(data["cautions"])
    assert (tmp_path / "s.html").read_text().startswith("<!doctype html>")
    assert (tmp_path / "s.csv").read_text().startswith("# distrib trim sheet 1")


@pytest.mark.usefixtures("_stand_in")
def test_total_pulse_and_duty_follow_from_the_injector(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = read_case(CASE)
    assert case.fuel.injector is not None
    code, out, _ = _run(["trims", CASE, "--rpm", "4000", "--on", "total pulse", "--volts", "14",
                         "--json", "-"], capsys)
    assert code == 0
    cell = json.loads(out)["cells"][0]
    shown = [c["trim_shown_percent"] / c["trim_percent"] for c in cell["cylinders"][2:]]
    flow = case.fuel.injector.static_flow_kg_s or (
        case.fuel.injector.static_flow_m3_s or np.nan) * 745.0
    flow *= np.sqrt(case.fuel.injector.rail_pressure_pa / case.fuel.injector.at_pressure_pa)
    volts, times = zip(*sorted(case.fuel.injector.dead_time_s), strict=True)
    dead = float(np.interp(14.0, volts, times))
    effective = 1.0e-3 / (case.fuel.lambda_target * 14.575) / flow
    assert shown == pytest.approx([effective / (effective + dead)] * 2, rel=1e-4)
    worst = effective * (1 + 0.5 * (4.0 * SHARE[3] - 1.0)) + dead
    assert cell["duty_max"] == pytest.approx(worst * 4000 / 120, rel=1e-4)
    assert cell["duty_cylinder"] == 4


@pytest.mark.usefixtures("_stand_in")
@pytest.mark.parametrize("kind, ratio, density", [
    # air by mass for 1 kg: atom balance with 20.946 % oxygen, 28.9647 kg/kmol (check rows afr.*);
    # densities: gasoline 745, ethanol 789.3, methanol 791.4; E85 by volume 9.800, 782.7
    ('"gasoline"', 14.575, 745.0),
    ('"ethanol-blend"\nethanol_volume_fraction = 0.85', 9.800, 782.7),
    ('"ethanol"', 9.005, 789.3), ('"methanol"', 6.4735, 791.4)])
def test_pulse_goes_with_the_fuel(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], kind: str, ratio: float, density: float
) -> None:
    """1 g of air at lambda 0.8 through 1050 cc/min at 3 bar, used at 4 bar, 0.95 ms dead."""
    path = tmp_path / "case.toml"
    path.write_text(CASE.read_text().replace('kind = "gasoline"', f"kind = {kind}"))
    code, out, _ = run_json(["trims", path, "--rpm", "4000", "--volts", "14"], tmp_path, capsys)
    assert code == 0
    fuel_kg = 1.0e-3 / (0.8 * ratio)
    flow = 1050e-6 / 60.0 * density * np.sqrt(4.0 / 3.0)
    worst = 1.0 + 0.5 * (4.0 * SHARE[3] - 1.0)
    assert out["cells"][0]["duty_max"] == pytest.approx(
        (fuel_kg / flow * worst + 0.95e-3) * 4000.0 / 120.0, rel=1e-3)
    assert any(f", {density:.0f} kg/m3; measured with a test fluid" in c for c in out["cautions"])


@pytest.mark.usefixtures("_stand_in")
@pytest.mark.parametrize(
    "args, message",
    [
        (["--policy", "sum-to-zero"], "on a prediction alone that is unsafe"),
        (["--policy", "richen"], "nearest: richen-only"),
        (["--load", "200 kPa"], "a pressure with gauge or absolute"),
        (["--rpm", "3000,fast"], '--rpm: read "fast"'),
        (["--rpm", "4000,3000"], "rising numbers"),
        (["--rpm", "nan"], "rising numbers"),
        (["--rpm", "3000,inf"], "rising numbers"),
        (["--on", "duty"], "allowed: fuel, effective pulse, total pulse"),
        (["--confirmed", "leak"], "nearest: leaks"),
        (["--fit", "{tmp}/none.json"], "No such file"),
        (["--fit", "{tmp}/bad.json"], "no valid JSON"),
        (["--fit", "{tmp}/empty.json"], "no discrepancy factor"),
        (["--filled", "{tmp}/none.csv"], "no such file"),
        (["--on", "total pulse", "--volts", "40"], "dead time"),
    ],
)
def test_trims_refuses(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], args: list[str], message: str
) -> None:
    (tmp_path / "bad.json").write_text("{")
    (tmp_path / "empty.json").write_text("{}")
    before = sorted(tmp_path.iterdir())
    code, _, err = _run(
        ["trims", CASE, "--csv", tmp_path / "s.csv", *(a.format(tmp=tmp_path) for a in args)],
        capsys)
    assert code == 2 and message in err, err
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.usefixtures("_stand_in")
def test_cruise_cells_carry_their_caution(capsys: pytest.CaptureFixture[str]) -> None:
    text = "idle and cruise: leave trims at zero or small"
    low = _run(["trims", CASE, "--load", "50 kPa absolute", "--json", "-"], capsys)
    high = _run(["trims", CASE, "--load", "2 bar absolute", "--json", "-"], capsys)
    assert low[0] == high[0] == 0
    assert text in low[1] and text not in high[1]


@pytest.mark.usefixtures("_stand_in")
@pytest.mark.parametrize("mode", ["paired", "batch"])
def test_trims_refuses_injection_that_cannot_trim(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], mode: str
) -> None:
    path = tmp_path / "case.toml"
    path.write_text(CASE.read_text().replace('injection = "sequential"', f'injection = "{mode}"'))
    code, _, err = _run(["trims", path], capsys)
    assert code == 2 and f"{mode} injection fires several injectors on one output" in err


@pytest.mark.usefixtures("_stand_in")
def test_filled_sheet_gives_next_trims_and_a_score(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "s.csv"
    assert _run(["trims", CASE, "--rpm", "4000", "--csv", path], capsys)[0] == 0
    lines = path.read_text().splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("cylinder,")) + 1
    target = read_case(CASE).fuel.lambda_target
    for c, factor in enumerate((0.98, 1.0, 1.02, 1.03)):
        row = lines[at + c].split(",")
        row[COLUMNS.index("trim_in_engine_percent")] = "0.5" if c == 3 else "0"
        row[COLUMNS.index("lambda_measured")] = f"{target * factor:.4f}"
        lines[at + c] = ",".join(row)
    path.write_text("\n".join(lines) + "\n")
    code, out, err = _run(["trims", CASE, "--filled", path, "--policy", "sum-to-zero", "--json",
                           "-"], capsys)
    assert code == 0, err
    cell = json.loads(out)["cells"][0]
    # mean 1.0075: the base map takes half of it, cylinders 3 and 4 half of what they are above it
    mean = (0.98 + 1.0 + 1.02 + 1.03) / 4.0
    expected = [0.0, 0.0, 50.0 * (1.02 / mean - 1.0),
                0.5 + 50.0 * 1.005 * (1.03 / mean - 1.0)]
    assert [c["trim_percent"] for c in cell["cylinders"]] == pytest.approx(expected, abs=0.01)
    assert cell["base_percent"] == pytest.approx(50.0 * (mean - 1.0), abs=0.01)
    assert [c["may_take_off"] for c in cell["cylinders"]] == [False] * 4
    assert "fuel comes off a cylinder only where" in err


def _bench_csv(path: Path, forward: BenchForward, truth: FloatArray) -> None:
    """A sheet in cfm whose effective areas are those of the model at `truth`."""
    area = np.exp(forward.predict(truth[None])[0])
    rho = 101325.0 / (287.05287 * 293.15)
    lines = ["invented sheet", "runner;setting;dp;flow"]
    for test, a in zip(forward.tests, area, strict=True):
        cfm = a * float(mass_flux(101325.0, 293.15, test.depression_pa)) / rho / 0.3048**3 * 60
        dp = test.depression_pa / 249.08891
        setting = "all" if test.configuration == "all-open" else "alone"
        lines.append(f"R{test.runner};{setting};{dp:.6f};{cfm:.6f}".replace(".", ","))
    path.write_text("\n".join(lines) + "\n")


BENCH_MAP = """
kind = "bench"
[file]
decimal = ","
[columns]
runner = { column = "runner" }
flow = { columns = ["flow"], unit = "cfm", reading = "actual" }
depression = { column = "dp", unit = "inH2O" }
configuration = { column = "setting", names = { "all" = "all-open", "alone" = "one-blocked" } }
[state]
barometer = "1013.25 hPa absolute"
temperature = "20 degC"
leak = "subtracted"
repeatability_percent = 0.1
"""


def test_fit_writes_a_calibrated_case_beside_the_original(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = tmp_path / "four.toml"
    original = CASE.read_text()
    case.write_text(original)
    forward = made_forward()
    truth = drawn_truth(forward, np.random.default_rng(12))
    _bench_csv(tmp_path / "bench.csv", forward, truth)
    (tmp_path / "map.toml").write_text(BENCH_MAP)
    code, out, err = _run([
        "fit", case, "--bench", tmp_path / "bench.csv", "--mapping", tmp_path / "map.toml",
        "--plot", tmp_path / "r.svg", "--json", tmp_path / "fit.json",
    ], capsys)
    assert code == 0, err
    assert case.read_text() == original
    made = read_case(tmp_path / "four.calibrated.toml")
    data = json.loads((tmp_path / "fit.json").read_text())["bench"]
    for number, (p, true) in enumerate(zip(data["parameters"], truth, strict=True)):
        assert p["band_90"][0] <= true <= p["band_90"][1], p
        if number < 4:
            assert made.runner(number + 1).loss.value == pytest.approx(p["value"], rel=1e-5)
    assert max(abs(o["residual_sigmas"]) for o in data["observations"]) < 1.0
    assert (tmp_path / "r.svg").read_text().startswith("<svg")
    assert "runner.3.loss" in out and "strength of the jet of entry" in err
    assert made.entries[0].jet is not None
    assert made.entries[0].jet.value == pytest.approx(data["parameters"][-1]["value"], rel=1e-5)
    code, _, err = _run(["fit", case, "--bench", tmp_path / "bench.csv", "--mapping",
                         tmp_path / "map.toml", "-o", case], capsys)
    assert code == 2 and "never written over" in err and case.read_text() == original


def test_fit_asks_for_its_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "map.toml").write_text(BENCH_MAP)
    for args, message in (
        ([], "--bench, --log or --swap"),
        (["--bench", "x.csv"], "no mapping of the bench"),
        (["--log", "x.csv", "--mapping", tmp_path / "map.toml"], "no mapping of the log"),
        (["--bench", "x.csv", "--mapping", tmp_path / "map.toml", "--mapping",
          tmp_path / "map.toml"], "two mappings of a bench"),
        (["--bench", tmp_path / "none.csv", "--mapping", tmp_path / "map.toml"], "no such file"),
    ):
        code, _, err = _run(["fit", CASE, *args], capsys)
        assert code == 2 and message in err, err
    assert [p.name for p in tmp_path.iterdir()] == ["map.toml"]


@pytest.mark.usefixtures("_stand_in")
def test_filled_sheet_on_total_pulse_is_converted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "s.csv"
    assert _run(["trims", CASE, "--rpm", "4000", "--on", "total pulse", "--volts", "14", "--csv",
                 path], capsys)[0] == 0
    lines = path.read_text().splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("cylinder,")) + 1
    target = read_case(CASE).fuel.lambda_target
    for c in range(4):
        row = lines[at + c].split(",")
        row[COLUMNS.index("total_pulse_ms")], row[COLUMNS.index("dead_time_ms")] = "2", "1"
        row[COLUMNS.index("trim_in_engine_percent")] = "1" if c == 0 else "0"
        row[COLUMNS.index("lambda_measured")] = f"{target * (1.02 if c == 1 else 1.0):.8g}"
        lines[at + c] = ",".join(row)
    path.write_text("\n".join(lines) + "\n")
    code, out, err = _run(["trims", CASE, "--filled", path, "--policy", "to-target", "--step",
                           "1", "--json", "-"], capsys)
    assert code == 0, err
    cell = json.loads(out)["cells"][0]["cylinders"]
    # +1 % on a 2 ms pulse with 1 ms dead is +2 % fuel: cylinder 1 is right with it, so its air is
    # 1.02; cylinder 2 is 2 % lean and needs +2 % fuel, +1 % as shown
    air = np.array([1.02, 1.02, 1.0, 1.0])
    assert [c["trim_percent"] for c in cell] == pytest.approx([2.0, 2.0, 0.0, 0.0], abs=1e-5)
    assert [c["trim_shown_percent"] for c in cell] == pytest.approx([1.0, 1.0, 0.0, 0.0], abs=1e-5)
    assert [c["measured_percent"] for c in cell] == pytest.approx(
        ((air / air.mean() - 1) * 100).tolist(), abs=1e-5)


def test_fit_log_finds_the_factor(tmp_path: Path, capsys: pytest.CaptureFixture[str],
                                  monkeypatch: pytest.MonkeyPatch) -> None:
    """The invented log holds AIR at 3000 rpm and its mirror at 5000; the model says half of it."""

    def half(case: Case, rpm: FloatArray, pressure: FloatArray) -> Shares:
        assert pressure.tolist() == [2.0e5, 2.0e5]
        made = _engine(case, rpm, pressure)
        air = np.where(rpm[:, None] > 4000.0, AIR[::-1], AIR)
        share = (1.0 + (air - 1.0) / 2.0) / 4.0
        band = Band(0.9, deviation_percent(share) - 2.0, deviation_percent(share) + 2.0,
                    share, share, rpm, rpm, 1, 0, 1)
        return replace(made, share=share, deviation_percent=deviation_percent(share), band=band)

    monkeypatch.setattr(service, "engine_solver", lambda *_: half)
    write_log(tmp_path / "log.csv")
    (tmp_path / "map.toml").write_text(LOG_MAPPING)
    code, out, err = _run(["fit", CASE, "--log", tmp_path / "log.csv", "--mapping",
                           tmp_path / "map.toml", "--json", tmp_path / "fit.json"], capsys)
    assert code == 0, err
    data = json.loads((tmp_path / "fit.json").read_text())["engine"]
    # twice the predicted pattern, drawn a little to the prior of 1
    assert data["discrepancy"] == pytest.approx(2.0, abs=0.15)
    assert data["band_90"][0] < 2.0 < data["band_90"][1]
    assert data["cells"][0]["measured_percent"] == pytest.approx(
        ((AIR - 1) * 100).tolist(), abs=1e-6)
    assert "equal exhaust temperature is not equal mixture" in err
    assert "warm-up, rows of the log: 100 left out" in err
    assert data["score"]["hits"] == 8 and "8 of 8 cylinders fell in their band" in err
    assert "measured" in out
    # the factor goes into the next prediction
    monkeypatch.setattr(service, "engine_solver", lambda *_: _engine)
    code, out, _ = _run(["trims", CASE, "--rpm", "4000", "--fit", tmp_path / "fit.json",
                         "--json", "-"], capsys)
    cell = json.loads(out)["cells"][0]["cylinders"]
    assert [c["deviation_percent"] for c in cell] == pytest.approx(
        (data["discrepancy"] * (SHARE * 4 - 1) * 100).tolist())


def test_log_gives_the_next_trims(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_log(tmp_path / "log.csv")
    (tmp_path / "map.toml").write_text(LOG_MAPPING)
    args = ["trims", CASE, "--log", tmp_path / "log.csv", "--mapping", tmp_path / "map.toml"]
    code, out, err = _run([*args, "--policy", "sum-to-zero", "--step", "1", "--json", "-"], capsys)
    assert code == 0, err
    cells = json.loads(out)["cells"]
    # read over target: AIR over trims 1.02, 1, 0.99, 1, mean 0.9975 (no matter of the base map).
    # 3000 rpm: cylinder 3 is 1.01 % lean and goes back to 0; 5000: cylinder 4 needs 3 %. The rich
    # ones keep their fuel: one log is one run
    for cell, air, trims in zip(cells, (AIR, AIR[::-1]), ([2.0, 0.0, 0.0, 0.0],
                                                          [2.0, 0.0, -1.0, 3.0]), strict=True):
        assert [c["trim_percent"] for c in cell["cylinders"]] == pytest.approx(trims, abs=1e-6)
        assert [c["measured_percent"] for c in cell["cylinders"]] == pytest.approx(
            ((air / air.mean() - 1) * 100).tolist(), abs=1e-6)
    assert "one log is one run" in out and "warm-up" in out
    # the pattern turns round between the two cells
    assert "cylinder 1: +3.0 % at rpm 3000 but -2.0 % at rpm 5000" in out
    code, _, err = _run(args[:4], capsys)
    assert code == 2 and "a log and its mapping" in err
    code, _, err = _run([*args, "--filled", tmp_path / "x.csv"], capsys)
    assert code == 2 and "one of both" in err
    (tmp_path / "map.toml").write_text(BENCH_MAP)
    code, _, err = _run(args, capsys)
    assert code == 2 and "the mapping of a bench sheet" in err


SWAP = """run,cylinder,lambda,injector,sensor,trim_percent
first,1,0.84,A,s1,0
first,2,0.80,B,s2,0
first,3,0.80,C,s3,0
first,4,0.80,D,s4,0
second,1,0.80,D,s1,0
second,2,0.84,A,s2,0
second,3,0.80,B,s3,0
second,4,0.80,C,s4,0
"""


def test_fit_swap_follows_the_injector(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "swap.csv"
    path.write_text(SWAP)
    code, out, err = _run(["fit", CASE, "--swap", path], capsys)
    assert code == 0 and "injector A" in out
    assert "injector A: -4.8 % follows the injector, gives less fuel" in err
    pairs = SWAP.replace("second,1,0.80,D", "second,1,0.80,B").replace(
        "second,2,0.84,A", "second,2,0.84,A").replace("second,3,0.80,B", "second,3,0.80,D")
    path.write_text(pairs)
    code, _, err = _run(["fit", CASE, "--swap", path], capsys)
    assert code == 2 and "{1, 2} and {3, 4}" in err and "cylinders 1 and 3 exchanged" in err


@pytest.mark.parametrize(
    "old, new, message",
    [
        ("first,1,0.84", "first,1,lean", 'column 3 "lambda": read "lean"'),
        ("first,1,", "first,9,", "a cylinder from 1 to 4"),
        ("A,s1,0", "A,s1,", "the trim that was active, 0 if none"),
        ("A,s1,0", "A,s1", "read 5 cells"),
        ("A,s1,0", ",s1,0", "a name or serial"),
        ("first,2,0.80,B", "first,2,0.80,A", 'injector "A" on 2 cylinders'),
        ("first,2,", "first,1,", "cylinder 1 2 times"),
        ("second,4,0.80,C", "second,4,0.80,E", "5 serials"),
        ("trim_percent", "trim", 'column "trim_percent": read no such column'),
    ],
)
def test_faulty_swap_sheets(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, message: str
) -> None:
    path = tmp_path / "swap.csv"
    path.write_text(SWAP.replace(old, new, 1))
    code, _, err = _run(["fit", CASE, "--swap", path], capsys)
    assert code == 2 and message in err, err
