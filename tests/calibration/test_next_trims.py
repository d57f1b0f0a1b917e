"""Next trims from measured data: what stands beside them, the sheet written again, what is refused.

The readings are made by hand from AIR, so every expected figure is arithmetic on AIR.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from distrib.calibration import service
from distrib.calibration.sheet import COLUMNS
from distrib.case.read import read_case
from distrib.case.schema import Case
from distrib.cli.app import main
from distrib.results import Band, FloatArray, Shares, deviation_percent, spread_percent

from .logs import AIR, LOG_MAPPING, lambda_rows, write_log
from .made import CASES

CASE = CASES / "inline4_side.toml"
PREDICTED = np.array([0.98, 1.0, 1.0, 1.02])


def engine(case: Case, rpm: FloatArray, pressure: FloatArray) -> Shares:
    """A stand-in for the engine model with a band of one percent either way."""
    n = len(rpm)
    share = np.tile(PREDICTED / 4.0, (n, 1))
    trapped = share * 4.0e-3
    deviation = deviation_percent(share)
    band = Band(0.9, deviation - 1.0, deviation + 1.0, share, share, rpm, rpm, 1, 0, 1)
    return Shares(
        "engine", case.title, "hash", np.arange(1, 5), np.array([0.05, 0.15, 0.24, 0.34]),
        {"rpm": rpm, "charge_pressure_pa": pressure}, trapped * rpm[:, None] / 120.0, share,
        deviation, spread_percent(share), np.ones(n, bool), np.zeros(n), ("",) * n, band=band,
        trapped_air_kg=trapped)


@pytest.fixture(autouse=True)
def _stand_in(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(service, "engine_solver", lambda *_: engine)


def run(args: Sequence[object], capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    code = main([str(a) for a in args])
    out = capsys.readouterr()
    assert "Traceback" not in out.out + out.err
    return code, out.out, out.err


def filled(
    folder: Path, capsys: pytest.CaptureFixture[str], air: dict[float, FloatArray],
    case: Path = CASE, extra: Sequence[str] = (),
) -> Path:
    """A sheet filled with lambda = target x air, no trims in the engine, at each of the speeds."""
    path = folder / "s.csv"
    path.unlink(missing_ok=True)
    speeds = ",".join(f"{rpm:g}" for rpm in air)
    code, _, err = run(["trims", case, "--rpm", speeds, "--csv", path, *extra], capsys)
    assert code == 0, err
    target = read_case(case).fuel.lambda_target
    lines = path.read_text().splitlines()
    at = next(i for i, x in enumerate(lines) if x.startswith("cylinder,")) + 1
    for k in range(at, len(lines)):
        row = lines[k].split(",")
        row[COLUMNS.index("trim_in_engine_percent")] = "0"
        row[COLUMNS.index("lambda_measured")] = repr(
            float(target * air[float(row[2])][int(row[0]) - 1]))
        lines[k] = ",".join(row)
    path.write_text("\n".join(lines) + "\n")
    return path


def table_of(path: Path) -> list[dict[str, str]]:
    """Rows of a sheet by column name."""
    return list(csv.DictReader(x for x in path.read_text().splitlines() if not x.startswith("#")))


def test_anchored_to_the_leanest_the_base_map_is_told_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Half step: base up by half of 3 % (AIR 1.03); nothing comes off without evidence."""
    path = filled(tmp_path, capsys, {4000.0: AIR})
    code, out, _ = run(["trims", CASE, "--filled", path, "--policy", "anchor-leanest", "--csv",
                        tmp_path / "next.csv", "--page", tmp_path / "next.html", "--json",
                        tmp_path / "next.json"], capsys)
    assert code == 0 and "raise the base map by 1.5 % first" in out
    cell = json.loads((tmp_path / "next.json").read_text())["cells"][0]
    assert cell["base_percent"] == pytest.approx(1.5) and not cell["base_fault"]
    assert [c["trim_percent"] for c in cell["cylinders"]] == [0.0] * 4
    assert {r["base_map_percent"] for r in table_of(tmp_path / "next.csv")} == {"+1.5"}
    assert "Raise the base map by 1.5 % first" in (tmp_path / "next.html").read_text()
    code, out, _ = run(["trims", CASE, "--rpm", "4000", "--policy", "anchor-leanest"], capsys)
    assert code == 0 and "raise the base map by 1.0 % first" in out  # half of 1.02


def test_next_sheet_on_total_pulse_keeps_its_pulse(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = filled(tmp_path, capsys, {4000.0: AIR}, extra=["--on", "total pulse", "--volts", "14"])
    first = [x.split(",") for x in path.read_text().splitlines() if not x.startswith("#")]
    code, _, err = run(["trims", CASE, "--filled", path, "--csv", tmp_path / "next.csv"], capsys)
    assert code == 0, err
    second = [x.split(",") for x in (tmp_path / "next.csv").read_text().splitlines()
              if not x.startswith("#")]
    at = [COLUMNS.index(n) for n in ("trim_on", "total_pulse_ms", "dead_time_ms")]
    assert [[r[k] for k in at] for r in second[1:]] == [[r[k] for k in at] for r in first[1:]]
    assert second[1][at[0]] == "total pulse" and float(second[1][at[1]]) > 0.0


def test_prediction_is_scored_and_the_reading_has_its_own_scatter(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Predicted -2, 0, 0, +2 with one percent either way; measured -3.2, 0, 1.1, 2.1 about their
    mean: 1.2 off is inside hypot(1, 1.645 x 0.5) = 1.295, 1.1 as well."""
    air = np.array([0.968, 1.0, 1.011, 1.021])
    path = filled(tmp_path, capsys, {4000.0: air})
    code, out, err = run(["trims", CASE, "--filled", path, "--json", "-"], capsys)
    assert code == 0
    score = json.loads(out)["score"]
    assert score["hits"] == 4 and score["expected"] == pytest.approx(3.6)
    assert "leanest cylinder named right at 1 of 1 points" in err
    assert "4 of 4 cylinders fell in their band; 3.6 should have" in err
    assert "scatter by 0.5 % themselves" in err
    path = filled(tmp_path, capsys, {4000.0: np.array([0.966, 1.0, 1.013, 1.021])})
    assert json.loads(run(["trims", CASE, "--filled", path, "--json", "-"], capsys)[1]
                      )["score"]["hits"] == 2


def test_pattern_that_turns_over_and_large_needs_are_re_work(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wide = np.array([1.06, 0.98, 0.98, 0.98])
    path = filled(tmp_path, capsys, {3000.0: wide, 5000.0: AIR[::-1]})
    code, _, err = run(["trims", CASE, "--filled", path, "--policy", "sum-to-zero", "--step", "1"],
                       capsys)
    assert code == 0
    assert "a measured need or trim beyond 5 %: re-work of the metal" in err
    assert "capped: cylinder 1 at 3000 rpm, " in err
    assert "cylinder 1: +6.0 % at rpm 3000 but -2.0 % at rpm 5000" in err
    assert "a pattern that turns over between cells" in err


def test_limits_set_in_the_case_are_recorded_with_their_reason(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = tmp_path / "case.toml"
    case.write_text(CASE.read_text() + '\n[limits]\nduty_max = 0.3\n'
                    'measured_cap_percent = { value = 2, reason = "first outing" }\n')
    told = "measured_cap_percent is 2 instead of 5: first outing"
    code, _, err = run(["trims", case, "--rpm", "4000", "--volts", "14", "--csv",
                        tmp_path / "p.csv"], capsys)
    assert code == 0 and told in err and told in (tmp_path / "p.csv").read_text()
    path = filled(tmp_path, capsys, {12000.0: AIR}, case, ["--volts", "14"])
    assert "above 30 % (set in the case: no reason given)" in run(
        ["trims", case, "--rpm", "12000", "--volts", "14"], capsys)[2]
    code, out, err = run(["trims", case, "--filled", path, "--policy", "sum-to-zero", "--step", "1",
                          "--json", "-"], capsys)
    assert code == 0 and told in err
    made = json.loads(out)
    assert made["cells"][0]["cylinders"][0]["trim_percent"] == pytest.approx(2.0)
    assert "measured_cap_percent 2: set in the case: first outing" in made["limits"]


def test_duty_with_the_next_trims(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """On the sheet 6 ms with 1 ms dead at 18000 rpm, 6.667 ms a cycle: cylinder 1 with +3 % has
    1 + 5 x 1.03 = 6.15 ms, 92 %; anchored, all fuel is right for it: the same."""
    path = filled(tmp_path, capsys, {18000.0: AIR}, extra=["--volts", "14"])
    lines = path.read_text().splitlines()
    pulse, dead = COLUMNS.index("total_pulse_ms"), COLUMNS.index("dead_time_ms")
    for k in range(len(lines) - 4, len(lines)):
        row = lines[k].split(",")
        row[pulse], row[dead] = "6", "1"
        lines[k] = ",".join(row)
    path.write_text("\n".join(lines) + "\n")
    for policy in ("sum-to-zero", "anchor-leanest"):
        code, out, err = run(["trims", CASE, "--filled", path, "--policy", policy, "--step", "1",
                              "--json", "-"], capsys)
        assert code == 0
        duty = [c["duty"] for c in json.loads(out)["cells"][0]["cylinders"]]
        assert duty[0] == pytest.approx(6.15e-3 * 18000 / 120)
        assert "injector duty 92 % with the next trims at cylinder 1, 18000 rpm" in err
    lines = [",".join("" if k in (pulse, dead) else cell for k, cell in enumerate(x.split(",")))
             if x[0].isdigit() else x for x in lines]
    path.write_text("\n".join(lines) + "\n")
    assert "was not checked: the sheet holds no pulse" in run(
        ["trims", CASE, "--filled", path], capsys)[2]


def log_files(folder: Path, mapping: str = LOG_MAPPING) -> list[object]:
    (folder / "map.toml").write_text(mapping)
    return ["--log", write_log(folder / "log.csv"), "--mapping", folder / "map.toml"]


def test_log_tells_counts_spread_and_what_was_taken_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Trims -1 to +2 % and a correction of 1 % stand in the log; readings are free of noise."""
    code, out, err = run(["trims", CASE, *log_files(tmp_path)], capsys)
    assert code == 0 and "windows" in out and "samples" in out and "spread" in out
    assert "confirm first: no leaks" in err
    assert "trims active while logging taken out: -1.0 to +2.0 %" in err
    assert "closed-loop correction active while logging taken out: +1.0 to +1.0 %" in err
    assert "was not checked: the mapping names no pulse channel" in err
    code, out, _ = run(["trims", CASE, *log_files(tmp_path), "--confirmed", "all", "--json", "-"],
                       capsys)
    made = json.loads(out)
    assert made["to_confirm"] == []
    for cell in made["cells"]:
        for one in cell["cylinders"]:
            assert one["windows"] >= 2 and one["samples"] >= 100 * one["windows"] - 10
            assert one["spread_lambda"] < 1e-9
    code, out, _ = run(["fit", CASE, *log_files(tmp_path), "--plot", tmp_path / "r.svg", "--json",
                        tmp_path / "f.json"], capsys)
    assert code == 0 and "windows" in out and "spread: largest minus smallest window" in out
    found = json.loads((tmp_path / "f.json").read_text())["engine"]
    assert [p["name"] for p in found["parameters"]][:2] == ["discrepancy", "offset.1"]
    assert len(found["observations"]) == 8 and found["cells"][0]["windows"][0] >= 2
    assert "3000 rpm 200 kPa, cyl. 1" in (tmp_path / "r.svg").read_text()


def test_pulses_of_a_log_give_the_duty(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """20 ms logged at 5000 rpm (24 ms a cycle). At full step the pattern is AIR reversed over its
    mean: cylinder 4 goes from 0 to +3 %, at most 20.6 ms or 86 %."""
    text = LOG_MAPPING.replace("[state]", 'pulse = { columns = ["P"], cylinders = [4], unit = "ms" '
                               "}\n\n[state]")
    (tmp_path / "map.toml").write_text(text)
    (tmp_path / "log.csv").write_text("Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL,P\n" + "\n".join(
        ",".join(f"{v:.8g}" for v in [*row, 20.0]) for row in lambda_rows()) + "\n")
    code, out, err = run(["trims", CASE, "--log", tmp_path / "log.csv", "--mapping",
                          tmp_path / "map.toml", "--policy", "sum-to-zero", "--step", "1",
                          "--json", "-"], capsys)
    assert code == 0
    last = json.loads(out)["cells"][1]["cylinders"][3]
    assert last["duty"] == pytest.approx(20e-3 * 1.03 * 5000 / 120, rel=1e-6)
    assert "injector duty 86 % with the next trims at cylinder 4, 5000 rpm" in err


def test_exhaust_probes_and_other_channels(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Cylinder 2's probe is open (1371 degC) up to 10 s; exhaust pressure from 150 to 152 kPa."""
    text = LOG_MAPPING.replace("[state]", """egt = { columns = ["E1", "E2", "E3", "E4"], \
cylinders = [1, 2, 3, 4], unit = "degC" }
exhaust_pressure = { column = "EP", unit = "kPa absolute" }
gear = { column = "G" }

[state]""")
    (tmp_path / "map.toml").write_text(text)
    lines = ["Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL,E1,E2,E3,E4,EP,G"]
    for k, row in enumerate(lambda_rows()):
        egt = [850.0, 1371.0 if k < 200 else 900.0, 840.0, 830.0]
        lines.append(",".join(f"{v:.8g}" for v in [*row, *egt, 150.0 + 2.0 * (k > 600), 4]))
    (tmp_path / "log.csv").write_text("\n".join(lines) + "\n")
    code, out, err = run(["trims", CASE, "--log", tmp_path / "log.csv", "--mapping",
                          tmp_path / "map.toml", "--json", "-"], capsys)
    assert code == 0
    assert "exhaust temperature of an open probe, cylinder 2: 200 left out" in err
    assert "exhaust pressure in the windows: 150 to 152 kPa absolute" in err
    assert "mapped, without a part in the clean-up: gear" in err
    first = json.loads(out)["cells"][0]["cylinders"]
    assert [c["exhaust_temperature_k"] for c in first] == pytest.approx(
        [1123.15, 1173.15, 1113.15, 1103.15])


def test_blank_trims_at_the_start_of_a_log_are_listed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = LOG_MAPPING.replace(
        "percent = [2.0, 0.0, -1.0, 0.0], cylinders = [1, 2, 3, 4]",
        'columns = ["T1", "T2", "T3", "T4"], cylinders = [1, 2, 3, 4], unit = "percent"')
    (tmp_path / "map.toml").write_text(text)
    lines = ["Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL,T1,T2,T3,T4"]
    for k, row in enumerate(lambda_rows()):
        trims = ["2", "0", "-1" if k < 900 else "-120", "" if k < 500 else "0"]
        lines.append(",".join([*(f"{v:.8g}" for v in row), *trims]))
    (tmp_path / "log.csv").write_text("\n".join(lines) + "\n")
    code, out, err = run(["fit", CASE, "--log", tmp_path / "log.csv", "--mapping",
                          tmp_path / "map.toml", "--json", "-"], capsys)
    assert code == 0
    assert "window without a known trim or correction, cylinder 4: " in out
    assert "window with a trim or correction that cannot be, cylinder 3: " in out
    windows = [c["windows"] for c in json.loads(out)["engine"]["cells"]]
    assert windows[0][3] == 0 and windows[0][0] > 0 and windows[1][3] > 0
    code, _, err = run(["trims", CASE, "--log", tmp_path / "log.csv", "--mapping",
                        tmp_path / "map.toml"], capsys)
    assert code == 0  # up to 45 s all is known, and 5000 rpm is reached at 30 s
    assert "3000 rpm, 200 kPa: no reading of cylinders 4, the cell is not used" in err


def test_a_log_with_fewer_sensors_than_cylinders(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Three sensors on four cylinders: no trims, but the factor can be fitted from three."""
    three = LOG_MAPPING.replace('columns = ["L3", "L1", "L4", "L2"], cylinders = [3, 1, 4, 2]',
                                'columns = ["L3", "L1", "L4"], cylinders = [3, 1, 4]')
    code, _, err = run(["trims", CASE, *log_files(tmp_path, three)], capsys)
    assert code == 2 and "no reading of cylinders 2" in err
    code, out, err = run(["fit", CASE, *log_files(tmp_path, three), "--json", "-"], capsys)
    assert code == 0, err
    measured = json.loads(out)["engine"]["cells"][0]["measured_percent"]
    kept = AIR[[0, 2, 3]]
    assert measured[1] is None and [measured[k] for k in (0, 2, 3)] == pytest.approx(
        (100.0 * (kept / kept.mean() - 1.0)).tolist(), abs=1e-6)
    five = LOG_MAPPING.replace("cylinders = [3, 1, 4, 2], unit", "cylinders = [3, 1, 4, 5], unit"
                               ).replace("cylinders = [1, 2, 3, 4], on", "cylinders = [1, 5, 3, 4],"
                                         " on")
    for command in ("trims", "fit"):
        code, _, err = run([command, CASE, *log_files(tmp_path, five)], capsys)
        assert code == 2 and "read cylinders 5; allowed: cylinders of the case: 1, 2, 3, 4" in err


def test_factor_of_another_model_or_case(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = log_files(tmp_path)
    assert run(["fit", CASE, *files, "--json", tmp_path / "f.json"], capsys)[0] == 0
    args = ["trims", CASE, "--rpm", "4000", "--fit", tmp_path / "f.json"]
    code, _, err = run(args, capsys)
    assert code == 0 and "another state of this case" not in err
    old = json.loads((tmp_path / "f.json").read_text())
    old["engine"]["model"] = "other"
    (tmp_path / "g.json").write_text(json.dumps(old))
    code, _, err = run([*args[:-1], tmp_path / "g.json"], capsys)
    assert code == 2 and "a factor of the model other; allowed: one of the engine figure" in err
    other = tmp_path / "other.toml"
    other.write_text(re.sub(r'\nbore = "[^"]*"', '\nbore = "80 mm"', CASE.read_text(), count=1))
    code, _, err = run(["trims", other, *args[2:]], capsys)
    assert code == 0 and "was fitted to another state of this case" in err


@pytest.mark.parametrize("option, value", [
    ("--rpm", "3000"), ("--load", "2 bar absolute"), ("--on", "fuel"), ("--volts", "14"),
    ("--draws", "30"), ("--fit", "f.json")])
def test_options_of_a_prediction_are_refused_beside_measured_data(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], option: str, value: str
) -> None:
    path = filled(tmp_path, capsys, {4000.0: AIR})
    for data in (["--filled", path], log_files(tmp_path)):
        code, _, err = run(["trims", CASE, *data, option, value], capsys)
        assert code == 2 and f"{option}: read it beside measured data" in err


def test_nothing_that_was_read_is_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = filled(tmp_path, capsys, {4000.0: AIR})
    (tmp_path / "link.csv").symlink_to(path)
    files = log_files(tmp_path)
    kept = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    for args in (
        ["trims", CASE, "--filled", path, "--csv", path],
        ["trims", CASE, "--filled", path, "--page", tmp_path / "link.csv"],
        ["trims", CASE, *files, "--json", tmp_path / "map.toml"],
        ["fit", CASE, *files, "--json", tmp_path / "log.csv"],
        ["fit", CASE, *files, "--plot", tmp_path / "map.toml"],
    ):
        code, _, err = run(args, capsys)
        assert code == 2 and "what was read is never written over" in err
    code, _, err = run(["trims", CASE, "--rpm", "4000", "--csv", tmp_path / "a", "--page",
                        tmp_path / "a"], capsys)
    assert code == 2 and "another file than that of --csv" in err
    code, _, err = run(["trims", CASE, "--rpm", "4000", "--csv", tmp_path], capsys)
    assert code == 2 and "a folder" in err
    code, _, err = run(["trims", CASE, "--rpm", "4000", "--csv", path / "x.csv"], capsys)
    assert code == 2 and "a file in a folder to write in" in err
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == kept


def test_batch_logs_are_no_ground_for_trims(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    batch = LOG_MAPPING.replace('injection = "sequential"', 'injection = "batch"')
    code, _, err = run(["trims", CASE, *log_files(tmp_path, batch)], capsys)
    assert code == 2 and "batch injection fires several injectors on one output" in err
    code, _, err = run(["fit", CASE, *log_files(tmp_path, batch)], capsys)
    assert code == 0 and "the log was taken with batch injection" in err


def test_band_turns_over_with_a_negative_factor() -> None:
    """Factor -2, certain: a deviation of 1 with -0.5 and +0.2 about it becomes -2, from -2.4 to -1.
    """
    case = read_case(CASE)
    share = (1.0 + np.array([1.0, -1.0, 0.0, 0.0]) / 100.0) / 4.0
    made = engine(case, np.array([4000.0]), np.array([2e5]))
    deviation = deviation_percent(share[None])
    band = Band(0.9, deviation - 0.5, deviation + 0.2, share, share, share, share, 1, 0, 1)
    table = service.trims(case, rpm=[4000.0], discrepancy=(-2.0, 1e-9), solve=lambda *_: replace(
        made, share=share[None], deviation_percent=deviation, band=band))
    first = [float(a[0, 0, 0]) for a in (
        table.low_percent, table.deviation_percent, table.high_percent)]
    assert first == pytest.approx([-2.4, -2.0, -1.0], abs=1e-6)
