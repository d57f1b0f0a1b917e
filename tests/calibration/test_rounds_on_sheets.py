"""Rounds on paper: sheets filled in, brought back, written anew, with what they carry along."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pytest

from distrib.calibration import service
from distrib.calibration.sheet_read import read_sheet
from distrib.case.read import read_case

from .logs import LOG_MAPPING, write_log
from .made import CASES
from .test_next_trims import engine, run

CASE = CASES / "inline4_side.toml"
RICH = (1.0, 1.0, 1.0, 0.96)
COOL = (830.0, 830.0, 830.0, 802.0)  # 7 K cooler for each percent


@pytest.fixture(autouse=True)
def _stand_in(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(service, "engine_solver", lambda *_: engine)


def rows_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(x for x in path.read_text().splitlines() if not x.startswith("#")))


def fill(
    path: Path, target: Path, cells: Mapping[float, Mapping[str, Sequence[object]]],
) -> Path:
    """Write `path` again as `target` with columns filled in at some speeds, by cylinder."""
    lines = path.read_text().splitlines()
    head = [x for x in lines if x.startswith("#")]
    rows = rows_of(path)
    for row in rows:
        for name, values in cells.get(float(row["rpm"]), {}).items():
            row[name] = str(values[int(row["cylinder"]) - 1])
    with target.open("w", newline="") as stream:
        stream.write("\n".join(head) + "\n")
        writer = csv.DictWriter(stream, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return target


def reading(
    ratio: Sequence[float] = RICH, trims: Sequence[float] = (0.0,) * 4,
    egt: Sequence[object] = COOL, knock: Sequence[object] = (0, 0, 0, 0),
) -> dict[str, Sequence[object]]:
    target = read_case(CASE).fuel.lambda_target
    return {"lambda_measured": [f"{target * r:.5f}" for r in ratio],
            "trim_in_engine_percent": list(trims), "egt_degc": list(egt), "knock": list(knock)}


def first_sheet(folder: Path, capsys: pytest.CaptureFixture[str], rpm: str = "4000") -> Path:
    path = folder / "s0.csv"
    assert run(["trims", CASE, "--rpm", rpm, "--csv", path], capsys)[0] == 0
    return path


def test_fuel_comes_off_after_two_sheets_that_agree(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Cylinder 4 is 4 % rich with an exhaust 28 K cooler: nothing after one run, half of 4 % off
    after two, and again nothing until a second run at that trim."""
    sheet = first_sheet(tmp_path, capsys)
    trims = [0.0] * 4
    wanted = [0.0, -2.0, -2.0]
    said = ["no second run yet", "lambda, exhaust and knock agree over two runs: take off",
            "needs a second run at this trim"]
    lam = list(RICH)
    for k in range(3):
        full = fill(sheet, tmp_path / f"f{k}.csv", {4000.0: reading(
            lam, trims, [k + (c if r == 1.0 else 830.0 - 700.0 * (1.0 - r))
                         for c, r in zip(COOL, lam, strict=True)])})
        kept = full.read_bytes()
        sheet = tmp_path / f"s{k + 1}.csv"
        code, out, err = run(["trims", CASE, "--filled", full, "--policy", "to-target", "--csv",
                              sheet, "--json", tmp_path / "n.json"], capsys)
        assert code == 0, err
        assert said[k] in " ".join(out.split()) and full.read_bytes() == kept
        cell = json.loads((tmp_path / "n.json").read_text())["cells"][0]["cylinders"]
        assert cell[3]["trim_percent"] == pytest.approx(wanted[k], abs=1e-9)
        assert [c["trim_percent"] for c in cell[:3]] == [0.0] * 3
        trims = [c["trim_percent"] for c in cell]
        lam[3] = 0.96 / (1.0 + trims[3] / 100.0)
    back = read_sheet(sheet)
    assert len(back.runs) == 3  # every run that was entered stands on the last sheet
    target = read_case(CASE).fuel.lambda_target
    assert back.runs[0].lambda_measured == pytest.approx(target * np.array(RICH), abs=1e-5)
    assert back.runs[1].egt_degc.tolist() == [c + 1.0 for c in COOL]
    assert back.runs[2].trim_percent.tolist() == [0.0, 0.0, 0.0, -2.0]
    assert set(back.runs[2].knock.tolist()) == {"0"}
    assert not np.isfinite(back.lambda_measured).any()  # blanks for the next run


@pytest.mark.parametrize("change, said", [
    ({"knock": (0, "light", 0, 0)}, "knock was noted at this cell: no fuel comes off"),
    ({"egt": (830.0, 830.0, 830.0, 840.0)}, "its exhaust is 10 K hotter than the others"),
    ({"egt": (830.0, 830.0, 830.0, 828.0)}, "not as cool as such a mixture makes it"),
    ({"egt": (830.0, "", 830.0, 802.0)}, "exhaust temperature not entered for every cylinder"),
    ({"knock": (0, "", 0, 0)}, "knock not entered for every cylinder"),
])
def test_what_bars_the_removal_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], change: dict[str, Sequence[object]],
    said: str,
) -> None:
    sheet = first_sheet(tmp_path, capsys)
    for k in range(2):
        full = fill(sheet, tmp_path / f"f{k}.csv",
                    {4000.0: reading(**change)})  # type: ignore[arg-type]
        sheet = tmp_path / f"s{k + 1}.csv"
        code, out, _ = run(["trims", CASE, "--filled", full, "--policy", "sum-to-zero", "--csv",
                            sheet, "--page", tmp_path / "p.html"], capsys)
        assert code == 0 and said in " ".join(out.split())
    assert said in " ".join((tmp_path / "p.html").read_text().split())
    assert said in sheet.read_text()
    assert {r["trim_percent"] for r in rows_of(sheet)} == {"+0.0"}


@pytest.mark.parametrize("policy", ["richen-only", "to-target", "sum-to-zero", "anchor-leanest"])
def test_a_lean_engine_stops_the_work_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], policy: str
) -> None:
    """Mean 1.25 of the target: 25 % on the base map. The cylinder that reads richest is still 19 %
    leaner than its target; nowhere does it say rich or lose fuel."""
    ratio = (1.19, 1.2625, 1.275, 1.2725)
    full = fill(first_sheet(tmp_path, capsys), tmp_path / "f.csv", {4000.0: reading(ratio)})
    code, out, _ = run(["trims", CASE, "--filled", full, "--policy", policy, "--csv",
                        tmp_path / "n.csv", "--page", tmp_path / "n.html", "--json",
                        tmp_path / "n.json"], capsys)
    assert code == 0 and out.startswith("STOP: the whole engine is lean at 4000 rpm")
    told = " ".join(out.split())
    assert "Add 25 % fuel on the base map" in told and "points to a fault first" in told
    made = json.loads((tmp_path / "n.json").read_text())
    assert made["stops"][0].startswith("STOP") and made["cells"][0]["base_fault"]
    assert [c["trim_percent"] for c in made["cells"][0]["cylinders"]] == [0.0] * 4
    rows = rows_of(tmp_path / "n.csv")
    assert {r["verdict"] for r in rows} == {"lean"}
    assert {r["trim_percent"] for r in rows} == {"+0.0"}
    target = read_case(CASE).fuel.lambda_target
    assert [float(r["lambda_read"]) for r in rows] == pytest.approx(
        [target * x for x in ratio], abs=1e-3)
    assert (tmp_path / "n.csv").read_text().splitlines()[1].startswith("# stop 1: STOP")
    page = (tmp_path / "n.html").read_text()
    assert page.index("STOP: the whole") < page.index("<table>") < page.index("Cautions")
    assert f"<td>{target * 1.19:.3f}</td>" in page


def test_cells_that_are_not_complete_travel_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """3000 rpm complete; at 5000 cylinder 4 is missing: its entries stand on the next sheet in
    their own columns, ready to be completed, and 6000 rpm stays with its predicted air."""
    sheet = first_sheet(tmp_path, capsys, "3000,5000,6000")
    some = reading((1.0, 1.02, 1.0, 1.0))
    part = {name: [*values[:3], ""] for name, values in some.items()}
    full = fill(sheet, tmp_path / "f.csv", {3000.0: some, 5000.0: part})
    code, _, err = run(["trims", CASE, "--filled", full, "--csv", tmp_path / "n.csv"], capsys)
    assert code == 0 and "cylinders [4] are blank" in err
    rows = rows_of(tmp_path / "n.csv")
    assert [r["rpm"] for r in rows] == ["3000"] * 4 + ["5000"] * 4 + ["6000"] * 4
    assert [r["lambda_measured"] for r in rows[:4]] == [""] * 4
    assert [float(r["lambda_measured"]) for r in rows[4:7]] == [
        float(str(x)) for x in part["lambda_measured"][:3]]
    assert rows[7]["lambda_measured"] == "" and {r["run_1_notes"] for r in rows} == {""}
    assert [r["run_1_lambda_measured"] != "" for r in rows] == [True] * 4 + [False] * 8
    old = {(r["rpm"], r["cylinder"]): r for r in rows_of(sheet)}
    for row in rows[4:]:
        for name in ("deviation_percent", "low_percent", "high_percent", "trim_percent"):
            assert row[name] == old[row["rpm"], row["cylinder"]][name]
    # completed, it is one run of 5000 rpm: as if it had been entered at once
    done = fill(tmp_path / "n.csv", tmp_path / "g.csv", {5000.0: some})
    code, out, err = run(["trims", CASE, "--filled", done, "--json", "-"], capsys)
    assert code == 0, err
    cells = json.loads(out)["cells"]
    assert [c["rpm"] for c in cells] == [5000.0]
    assert cells[0]["cylinders"][1]["trim_percent"] == pytest.approx(1.0, abs=2e-3)


def test_targets_over_speed_and_pressure(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Linear in both: at 4000 rpm and 200 kPa between 0.90, 0.80 (3000) and 0.88, 0.78 (5000) it is
    the mean of all four, 0.84. The sheet carries it, and what is read is held against it."""
    table = tmp_path / "targets.csv"
    table.write_text("rpm / kPa absolute;150;250\n3000;0,90;0,80\n5000;0,88;0,78\n")
    args = ["--load", "200 kPa absolute", "--rpm", "4000"]
    code, _, err = run(["trims", CASE, *args, "--targets", table, "--csv", tmp_path / "s.csv"],
                       capsys)
    assert code == 0, err
    rows = rows_of(tmp_path / "s.csv")
    assert {r["lambda_target"] for r in rows} == {"0.84"}
    plain = tmp_path / "p.csv"
    assert run(["trims", CASE, *args, "--csv", plain], capsys)[0] == 0
    target = read_case(CASE).fuel.lambda_target
    for row, other in zip(rows, rows_of(plain), strict=True):
        assert float(row["lambda_equal_fuel"]) / 0.84 == pytest.approx(
            float(other["lambda_equal_fuel"]) / target, abs=2e-3)
    full = fill(tmp_path / "s.csv", tmp_path / "f.csv", {4000.0: {
        "lambda_measured": [0.84, 0.84, 0.8652, 0.84], "trim_in_engine_percent": [0, 0, 0, 0]}})
    code, out, _ = run(["trims", CASE, "--filled", full, "--json", "-"], capsys)
    cell = json.loads(out)["cells"][0]
    assert code == 0 and cell["lambda_target"] == 0.84
    assert cell["cylinders"][2]["trim_percent"] == pytest.approx(1.5)  # half of 3 %
    for arguments, said in (
        (["--rpm", "6000", "--load", "200 kPa absolute"], "a cell at 6000 rpm"),
        (["--filled", full], "correct its column lambda_target"),
    ):
        code, _, err = run(["trims", CASE, *arguments, "--targets", table], capsys)
        assert code == 2 and said in err


@pytest.mark.parametrize("text, said", [
    ("", "an empty file"), ("rpm,150\n3000,0.8\n", 'corner: read "rpm"'),
    ("rpm / kPa absolute,150\n3000,12\n", 'lambda: read "12"'),
    ("rpm / kPa absolute,150,100\n3000,0.8,0.8\n", "rising numbers"),
    ("rpm / kPa absolute,150\n3000,0.8,0.9\n", "read 3 cells"),
    ("rpm / kPa absolute\n3000\n", "at least one pressure"),
    ("rpm / kPa absolute,150\n", "then pressures; below it speeds"),
    ("rpm / kPa absolute,15 psi\nx,0.8\n", 'rpm: read "x"'),
])
def test_faulty_tables_of_targets(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, said: str
) -> None:
    (tmp_path / "t.csv").write_text(text)
    code, _, err = run(["trims", CASE, "--targets", tmp_path / "t.csv", "--csv",
                        tmp_path / "s.csv"], capsys)
    assert code == 2 and said in err and not (tmp_path / "s.csv").exists()


def test_a_log_goes_on_to_the_sheet_as_the_first_run(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = LOG_MAPPING.replace("[state]", """egt = { columns = ["E1", "E2", "E3", "E4"], \
cylinders = [1, 2, 3, 4], unit = "degC" }
knock = { columns = ["K1", "K2", "K3", "K4"], cylinders = [1, 2, 3, 4] }

[state]""")
    (tmp_path / "map.toml").write_text(text)
    body = write_log(tmp_path / "log.csv").read_text().splitlines()
    at = next(i for i, x in enumerate(body) if x.startswith("Time,"))
    lines = [body[at] + ",E1,E2,E3,E4,K1,K2,K3,K4"] + [
        x + ",830,831,832,833,0,0,0," + ("3" if 18.0 < float(x.split(",")[0]) < 18.2 else "0")
        for x in body[at + 2:]]
    (tmp_path / "log.csv").write_text("\n".join(lines) + "\n")
    code, _, err = run(["trims", CASE, "--log", tmp_path / "log.csv", "--mapping",
                        tmp_path / "map.toml", "--csv", tmp_path / "n.csv"], capsys)
    assert code == 0, err
    assert "knock noted: cylinder 4 at 3000 rpm, 200 kPa" in err
    back = read_sheet(tmp_path / "n.csv")
    assert back.runs[0].egt_degc[:4] == pytest.approx([830.0, 831.0, 832.0, 833.0])
    assert back.runs[0].knock.tolist() == ["0", "0", "0", "noted", "0", "0", "0", "0"]
    assert back.runs[0].trim_percent[:4].tolist() == [2.0, 0.0, -1.0, 0.0]
    assert re.search(r"^# caution \d+: one log is one run", (tmp_path / "n.csv").read_text(), re.M)


@pytest.mark.parametrize("entry, said", [
    ({"egt_degc": ["1560"] * 4}, "degrees Fahrenheit, or an open probe?"),
    ({"run_1_lambda_measured": ["12"] * 4}, 'run_1_lambda_measured": read 12'),
    ({"run_1_trim_in_engine_percent": [""] * 4}, "read a blank beside a measured lambda"),
    ({"lambda_target": ["14.7"] * 4}, "lambda from 0.5 to 1.3"),
    ({"lambda_target": ["0.8", "0.8", "0.8", "0.9"]}, "one for the cell"),
])
def test_wrong_entries_of_the_new_columns(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], entry: dict[str, Sequence[object]],
    said: str,
) -> None:
    full = fill(first_sheet(tmp_path, capsys), tmp_path / "f.csv", {4000.0: reading()})
    assert run(["trims", CASE, "--filled", full, "--csv", tmp_path / "n.csv"], capsys)[0] == 0
    bad = fill(tmp_path / "n.csv", tmp_path / "b.csv", {4000.0: {**reading(), **entry}})
    code, _, err = run(["trims", CASE, "--filled", bad], capsys)
    assert code == 2 and said in err, err


def test_a_filled_sheet_is_never_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By no output option, also where the sheet is not the one that was read; a sheet whose entries
    all stand on the new one may be."""
    sheet = first_sheet(tmp_path, capsys)
    assert run(["trims", CASE, "--rpm", "4000", "--csv", sheet], capsys)[0] == 0  # still blank
    full = fill(sheet, tmp_path / "f.csv", {4000.0: reading()})
    kept = full.read_bytes()
    for option in ("--csv", "--page", "--json"):
        code, _, err = run(["trims", CASE, "--rpm", "4000", option, full], capsys)
        assert code == 2 and "a filled sheet is never written over" in err
    other = tmp_path / "other.csv"
    other.write_bytes(kept.replace(b",0,", b",0,", 1))
    for option in ("--csv", "--page", "--json"):
        code, _, err = run(["trims", CASE, "--filled", other, option, full], capsys)
        # as a sheet to come it holds the very same entries, so nothing is lost by --csv
        assert code == (0 if option == "--csv" else 2), err
        full.write_bytes(kept)
    fill(other, other, {4000.0: {"lambda_measured": ["0.81", "0.82", "0.83", "0.8"]}})
    code, _, err = run(["trims", CASE, "--filled", other, "--csv", full], capsys)
    assert code == 2 and "a trim sheet with 4 rows of entries" in err
    broken = tmp_path / "broken.csv"
    broken.write_bytes(kept.replace(b"0.8", b"0.8x"))
    code, _, err = run(["trims", CASE, "--rpm", "4000", "--csv", broken], capsys)
    assert code == 2 and "entries that cannot be read" in err
    assert full.read_bytes() == kept
    # next.csv carries its runs: made again from the same sheet it may be replaced, not by less
    after = tmp_path / "next.csv"
    for policy in ("to-target", "richen-only"):
        assert run(["trims", CASE, "--filled", full, "--policy", policy, "--csv", after],
                   capsys)[0] == 0
    code, _, err = run(["trims", CASE, "--rpm", "4000", "--csv", after], capsys)
    assert code == 2 and "4 rows of entries" in err


def test_tables_of_each_cylinder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Speeds down, pressures across; cylinder 2 is 2 % lean at 3000 rpm: half of it is 1 %."""
    path = tmp_path / "s.csv"
    loads = ["--load", "150 kPa absolute", "--load", "200 kPa absolute"]
    assert run(["trims", CASE, "--rpm", "3000,5000", *loads, "--csv", path, "--tables",
                tmp_path / "first"], capsys)[0] == 0
    made = sorted(p.name for p in (tmp_path / "first").iterdir())
    assert made == ["base_map.csv", "target.csv", *(f"trim_cylinder_{c}.csv" for c in range(1, 5))]
    full = fill(path, tmp_path / "f.csv", {3000.0: reading((1.0, 1.02, 1.0, 1.0))})
    code, _, err = run(["trims", CASE, "--filled", full, "--tables", tmp_path / "t"], capsys)
    assert code == 0, err
    rows = list(csv.reader((tmp_path / "t" / "trim_cylinder_2.csv").read_text().splitlines()))
    assert rows[0] == ["rpm / kPa absolute", "150", "200"]
    assert rows[1] == ["3000", "+1.0", "+1.0"] and rows[2][0] == "5000"
    lam = list(csv.reader((tmp_path / "t" / "lambda_cylinder_2.csv").read_text().splitlines()))
    target = read_case(CASE).fuel.lambda_target
    assert lam[1][1:] == [f"{1.02 * target:.3f}"] * 2 and lam[2][1:] == ["", ""]
    # the table of targets is read back as such
    code, _, err = run(["trims", CASE, "--rpm", "4000", "--load", "180 kPa absolute", "--targets",
                        tmp_path / "t" / "target.csv", "--json", "-"], capsys)
    assert code == 0, err
    code, _, err = run(["trims", CASE, "--rpm", "4000", "--load", "180 kPa absolute", "--targets",
                        tmp_path / "t" / "target.csv", "--tables", tmp_path / "t"], capsys)
    assert code == 2 and "what was read is never written over" in err


def log_with(path: Path, last: float, egt: float, knock: str = "0") -> Path:
    """A minute at 3000 and 5000 rpm: cylinder 4 at `last` x target with its exhaust at `egt`."""
    target = read_case(CASE).fuel.lambda_target
    lines = ["Time,RPM,Boost,ECT,Cut,L1,L2,L3,L4,CL,E1,E2,E3,E4,K1,K2,K3,K4"]
    for k in range(600):
        rpm = 3000 if k < 300 else 5000
        lines.append(f"{0.1 * k:.1f},{rpm},100,90,0,{target},{target},{target},"
                     f"{target * last:.6f},0,830,830,830,{egt},0,0,0,{knock}")
    path.write_text("\n".join(lines) + "\n")
    return path


def test_two_logs_are_two_runs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """4 % rich in both with a cooler exhaust: half of it comes off; not with one log alone, nor
    with a knock in the first. Three logs travel as three runs."""
    text = LOG_MAPPING.replace("[state]", """egt = { columns = ["E1", "E2", "E3", "E4"], \
cylinders = [1, 2, 3, 4], unit = "degC" }
knock = { columns = ["K1", "K2", "K3", "K4"], cylinders = [1, 2, 3, 4] }

[state]""").replace("percent = [2.0, 0.0, -1.0, 0.0]", "percent = [0, 0, 0, 0]")
    (tmp_path / "map.toml").write_text(text)
    first, second = (log_with(tmp_path / f"{k}.csv", 0.96, egt) for k, egt in zip(
        "ab", (802.0, 801.0), strict=True))
    noisy = log_with(tmp_path / "n.csv", 0.96, 802.0, "4")
    for logs, off in (([first], 0.0), ([first, second], -2.0), ([noisy, second], 0.0),
                      ([first, first], 0.0)):
        args = [x for log in logs for x in ("--log", log)]
        code, out, err = run(["trims", CASE, *args, "--mapping", tmp_path / "map.toml", "--policy",
                              "to-target", "--json", "-"], capsys)
        assert code == 0, err
        for cell in json.loads(out)["cells"]:
            assert [c["trim_percent"] for c in cell["cylinders"]] == pytest.approx(
                [0.0, 0.0, 0.0, off], abs=1e-9)
    args = [x for log in (noisy, first, second) for x in ("--log", log)]
    code, _, err = run(["trims", CASE, *args, "--mapping", tmp_path / "map.toml", "--csv",
                        tmp_path / "s.csv"], capsys)
    assert code == 0 and "b.csv: mapped" not in err, err
    back = read_sheet(tmp_path / "s.csv")
    assert [set(r.notes.tolist()) for r in back.runs] == [{"n.csv"}, {"a.csv"}, {"b.csv"}]
    for option in ("--csv", "--page", "--json"):
        code, _, err = run(["trims", CASE, *args, "--mapping", tmp_path / "map.toml", option,
                            first], capsys)
        assert code == 2 and "what was read is never written over" in err


def test_picture_of_what_was_measured(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A panel of lambda for every cylinder, and one of the exhaust; every cell and window in it."""
    from distrib.calibration.logged import next_from_log
    from distrib.calibration.mapping import read_log_mapping
    from distrib.report.trim_plots import trim_figure

    text = LOG_MAPPING.replace("[state]", """egt = { columns = ["E1", "E2", "E3", "E4"], \
cylinders = [1, 2, 3, 4], unit = "degC" }

[state]""")
    (tmp_path / "map.toml").write_text(text)
    log = log_with(tmp_path / "l.csv", 0.96, 802.0)
    args = ["trims", CASE, "--log", log, "--mapping", tmp_path / "map.toml", "--plot"]
    for kind in ("svg", "png", "pdf"):
        assert run([*args, tmp_path / f"p.{kind}"], capsys)[0] == 0
        assert (tmp_path / f"p.{kind}").stat().st_size > 2000
    code, _, err = run([*args, tmp_path / "p.bmp", "--csv", tmp_path / "n.csv"], capsys)
    assert code == 2 and ".svg, .png or .pdf" in err and not (tmp_path / "n.csv").exists()
    code, _, err = run(["trims", CASE, "--plot", tmp_path / "q.svg"], capsys)
    assert code == 2 and "without measured data" in err
    found = next_from_log(read_case(CASE), [log], read_log_mapping(tmp_path / "map.toml"),
                          "to-target", 0.5)
    axes = [ax for ax in trim_figure(found).axes if ax.get_visible()]
    assert len(axes) == 8
    assert found.windows is not None
    for c in range(4):
        drawn = {line.get_label(): line for line in axes[c].get_lines()}
        assert drawn["200 kPa absolute"].get_ydata() == pytest.approx(found.lambda_read[:, c])
        assert drawn["window"].get_xdata() == pytest.approx(found.windows.rpm)
        assert axes[c].get_ylim() == axes[0].get_ylim()
