"""Trims with several sets of injectors: what they act on, pulses and duty of each, and back.

The case of these tests: half of the fuel near the valve (trimmed), a fifth from two injectors in
every runner, three tenths from two injectors before the throttle. Air over the mean of the four
cylinders: 0.98, 1.00, 1.008, 1.012. Port fuel is 0.7 of all, so a trim of the near set has to be
0.7/0.5 = 1.4 times the change of the port fuel.
"""

from __future__ import annotations

import csv
import json
import re
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from distrib.build.fuel_sets import enlargement
from distrib.calibration import service
from distrib.calibration.sheet import COLUMNS, TrimTable, to_csv
from distrib.calibration.sheet_page import to_html
from distrib.case.read import read_case
from distrib.case.schema import Case
from distrib.cli.app import main
from distrib.errors import InputError
from distrib.fuelling import TrimError
from distrib.fuelling.lambda_ import air_from_lambda
from distrib.fuelling.trims import Basis
from distrib.results import FloatArray, Shares, deviation_percent, spread_percent

from .made import CASES

AIR = np.array([0.98, 1.0, 1.008, 1.012])
MEAN_AIR_KG = 1.0e-3
STOICHIOMETRIC = 14.575  # kg/kg, gasoline (check rows afr.*), held to 1e-4
SETS = """
[[fuel.stage]]
name = "lower"
place = "near valve"
share = 0.5

[fuel.stage.injector]
static_flow = "10 g/s"
at_pressure = "3 bar"
rail_pressure = "3 bar"
dead_time = "1 ms"

[[fuel.stage]]
name = "upper"
place = "runner"
share = 0.2
count = 8

[fuel.stage.injector]
static_flow = "4 g/s"
at_pressure = "3 bar"
rail_pressure = "12 bar"
dead_time = "0.8 ms"

[[fuel.stage]]
name = "shower"
place = "before throttle"
share = 0.3
count = 2

[fuel.stage.injector]
static_flow = "20 g/s"
at_pressure = "3 bar"
rail_pressure = "3 bar"
dead_time = "0.9 ms"
"""


def solve(case: Case, rpm: FloatArray, pressure: FloatArray) -> Shares:
    """A stand-in for the engine model: the same air at every point."""
    n = len(rpm)
    share = np.tile(AIR / 4.0, (n, 1))
    trapped = share * 4.0 * MEAN_AIR_KG
    return Shares(
        "engine", case.title, "hash", np.arange(1, 5), np.array([0.05, 0.15, 0.24, 0.34]),
        {"rpm": rpm, "charge_pressure_pa": pressure}, trapped * rpm[:, None] / 120.0, share,
        deviation_percent(share), spread_percent(share), np.ones(n, bool), np.zeros(n), ("",) * n,
        trapped_air_kg=trapped)


def written(folder: Path, sets: str = SETS) -> Path:
    """The demo case with sets instead of its injector, as a file."""
    lines = (CASES / "inline4_side.toml").read_text("utf-8").split("\n")
    start = next(i for i, x in enumerate(lines) if x.startswith("[fuel.injector]"))
    end = next(i for i in range(start + 1, len(lines)) if lines[i].startswith("["))
    kept = [x for x in lines[:start] if not x.startswith("air_following_fraction")]
    path = folder / "staged.toml"
    path.write_text("\n".join([*kept, sets, *lines[end:]]), "utf-8")
    return path


def staged(folder: Path, sets: str = SETS) -> Case:
    return read_case(written(folder, sets))


def sheet(case: Case, step: float = 1.0, on: Basis = "fuel", rpm: float = 6000.0) -> TrimTable:
    return service.trims(case, rpm=[rpm], step=step, on=on, solve=solve)


def test_lambda_is_right_after_the_trims_of_the_near_set(tmp_path: Path) -> None:
    """By hand: full step, richen-only, near set trimmed by y = 1.4 (a - 1) where that is above 0.

    Fuel of such a cylinder is 0.3 a + 0.2 + 0.5 (1 + y) = 0.3 a + 0.7 a, its lambda the target; the
    one with less air keeps its fuel and 0.98/(0.3 x 0.98 + 0.7) = 0.985915 of the target.
    """
    case = staged(tmp_path)
    table = sheet(case)
    y = table.trim_shown[0, 0] / 100.0
    assert y == pytest.approx(1.4 * np.maximum(AIR - 1.0, 0.0), abs=1e-12)
    fuel = 0.3 * AIR + 0.2 + 0.5 * (1.0 + y)
    assert AIR / fuel == pytest.approx([0.985915, 1.0, 1.0, 1.0], abs=1e-6)
    assert table.trim_percent[0, 0] == pytest.approx(100.0 * np.maximum(AIR - 1.0, 0.0), abs=1e-10)
    assert any("1.4 times the change of all fuel at the ports" in t for t in table.cautions)


def test_lambda_at_equal_fuel_follows_from_the_sets(tmp_path: Path) -> None:
    """By hand: a/(0.3 a + 0.7) of the target, 0.98/0.994 = 0.985915 at cylinder 1 and
    1.012/1.0036 = 1.008370 at cylinder 4; `distrib shares` says the same."""
    from distrib.report.tables import share_rows

    case = staged(tmp_path)
    assert case.fuel.air_following_fraction == pytest.approx(0.3)
    lam = sheet(case).lambda_equal_fuel[0, 0] / case.fuel.lambda_target
    assert lam[[0, 3]] == pytest.approx([0.985915, 1.008370], abs=1e-6)
    rows = share_rows(case, solve(case, np.array([6000.0]), np.array([2e5])))
    assert [r.lambda_equal_fuel / case.fuel.lambda_target for r in rows] == pytest.approx(
        (AIR / (0.3 * AIR + 0.7)).tolist(), rel=1e-12)


def test_pulse_and_duty_of_every_set(tmp_path: Path) -> None:
    """By hand, 1 g of air: fuel m = 1 g/(target x 14.575).

    lower: 0.5 m at 10 g/s, 1 ms dead; the richest is cylinder 4 with y = 1.4 x 0.012,
    duty ((1 + y) 0.5 m/10 + 1 ms) 6000/120. upper: two to a cylinder, 0.1 m each, at 4 g/s x
    sqrt(12/3) = 8 g/s, 0.8 ms dead, not trimmed. shower: two for four cylinders, 0.6 m each, at
    20 g/s, 0.9 ms dead. One pulse a cycle of 20 ms, hence pulse/20 ms.
    """
    case = staged(tmp_path)
    table = sheet(case)
    lower, upper, shower = table.sets
    m = 1.0 / (case.fuel.lambda_target * STOICHIOMETRIC)  # g
    pulses = [0.5 * m / 10.0 + 1e-3, 0.1 * m / 8.0 + 0.8e-3, 0.6 * m / 20.0 + 0.9e-3]
    found = [float(np.asarray(s.total_pulse_s)[0, 0]) for s in table.sets]
    assert found == pytest.approx(pulses, rel=1e-4)
    y = 1.4 * 0.012
    duties = [((1.0 + y) * 0.5 * m / 10.0 + 1e-3) / 0.020, pulses[1] / 0.020, pulses[2] / 0.020]
    assert [float(np.asarray(s.duty)[0, 0]) for s in table.sets] == pytest.approx(duties, rel=1e-4)
    assert [int(np.asarray(s.duty_cylinder)[0, 0]) for s in table.sets] == [4, 0, 0]
    assert table.duty is not None
    assert table.duty[0, 0] == pytest.approx(max(duties), rel=1e-4)
    assert not np.any(upper.trim_percent) and not np.any(shower.trim_percent)
    assert lower.trim_percent == pytest.approx(table.trim_shown)


def test_duty_over_its_limit_names_the_set(tmp_path: Path) -> None:
    """Lower set: m = 85.8 mg at lambda 0.8, 0.5 m/10 g/s + 1 ms = 5.3 ms; 20000 rpm: 6 ms a cycle:
    88 % before any trim, above 85 %. The upper set, 1.9 ms, is at 31 %,
    the shower, 3.5 ms, at 58 %."""
    table = sheet(staged(tmp_path), rpm=20000.0)
    over = [t for t in table.cautions if t.startswith("injector duty")]
    assert len(over) == 1
    assert over[0].startswith("injector duty of set lower ")
    assert "at cylinder 4, 20000 rpm" in over[0]


def test_percent_on_total_pulse_is_that_of_each_trimmed_set(tmp_path: Path) -> None:
    """By hand: both port sets trimmed, so y = a - 1, or 0, on fuel; on total pulse y x (t - d)/t
    with the pulse t and dead time d of each set."""
    sets = SETS.replace("count = 8", "count = 8\ntrimmed = true")
    case = staged(tmp_path, sets)
    assert enlargement(case) == pytest.approx(1.0)
    table = sheet(case, on="total pulse")
    m = 1.0 / (case.fuel.lambda_target * STOICHIOMETRIC)
    y = 100.0 * np.maximum(AIR - 1.0, 0.0)
    for item, on, dead in ((table.sets[0], 0.05 * m, 1e-3), (table.sets[1], 0.0125 * m, 0.8e-3)):
        assert item.trim_percent[0, 0] == pytest.approx(y * on / (on + dead), rel=1e-4)
    assert table.trim_shown == pytest.approx(table.sets[0].trim_percent)
    assert any("the trims shown are those of set lower" in t for t in table.cautions)


def test_one_set_for_all_is_the_same_as_none(tmp_path: Path) -> None:
    """A single set near the valve with the case's injector gives the sheet of the plain case."""
    one = '\n[[fuel.stage]]\nname = "all"\nplace = "near valve"\nshare = 1.0\n'
    plain_text = (CASES / "inline4_side.toml").read_text("utf-8")
    path = tmp_path / "one.toml"
    path.write_text(plain_text + one, "utf-8")
    single = service.trims(read_case(path), rpm=[4000.0], on="total pulse", volts=14.0, solve=solve)
    plain = service.trims(read_case(CASES / "inline4_side.toml"), rpm=[4000.0], on="total pulse",
                          volts=14.0, solve=solve)
    assert plain.sets == ()
    assert np.array_equal(single.trim_shown, plain.trim_shown)
    assert np.array_equal(np.asarray(single.duty), np.asarray(plain.duty))
    assert np.array_equal(single.lambda_equal_fuel, plain.lambda_equal_fuel)
    assert "set_" not in to_csv(plain) and "Injector sets" not in to_html(plain)


@pytest.mark.parametrize(
    ("old", "new", "kind", "message"),
    [
        ('place = "near valve"', 'place = "runner"', TrimError, "no port injector set is trimmed"),
        ('dead_time = "1 ms"', "", InputError, "set lower: no injector with dead time"),
    ],
)
def test_refusals(tmp_path: Path, old: str, new: str, kind: type[Exception], message: str) -> None:
    case = staged(tmp_path, SETS.replace(old, new))
    with pytest.raises(kind, match=message):
        sheet(case, on="total pulse")


def test_a_set_without_data_is_said_not_to_be_checked(tmp_path: Path) -> None:
    table = sheet(staged(tmp_path, SETS.replace('dead_time = "0.9 ms"', "")))
    assert ("injector duty of set shower was not checked: the case gives no injector with dead "
            "time for it") in table.cautions
    assert table.sets[2].duty is None
    assert table.duty is not None


def test_sheet_page_and_text_show_the_sets(tmp_path: Path) -> None:
    table = sheet(staged(tmp_path))
    line = "lower, near valve, 50 % of the fuel, takes the trims"
    text = to_csv(table)
    assert f"# set 1: {line}" in text
    rows = list(csv.DictReader(x for x in text.splitlines() if not x.startswith("#")))
    assert rows[3]["set_1_trim_percent"] == rows[3]["trim_percent"] == "+1.7"  # 1.4 x 1.2
    assert rows[3]["set_2_trim_percent"] == "+0.0"
    assert rows[0]["set_3_dead_time_ms"] == "0.900"
    page = to_html(table)
    assert f"<li>{line}</li>" in page
    assert "<td>all</td>" not in page and "(all)</td>" in page and "(cylinder 4)</td>" in page


def run(args: Sequence[str | Path], capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    code = main([str(a) for a in args])
    out = capsys.readouterr()
    return code, out.out, out.err


def filled(
    folder: Path, case: Path, trims: FloatArray, capsys: pytest.CaptureFixture[str],
    air: FloatArray = AIR, lean: float = 1.04,
) -> Path:
    """A sheet filled with what an engine of that air reads with `trims` (percent) on the near set,
    its base map 4 % lean: lambda = 1.04 x target x a/(0.3 a + 0.2 + 0.5 (1 + y))."""
    path = folder / "s.csv"
    assert run(["trims", case, "--rpm", "4000", "--csv", path], capsys)[0] == 0
    lines = path.read_text().splitlines()
    at = next(i for i, x in enumerate(lines) if x.startswith("cylinder,")) + 1
    target = read_case(case).fuel.lambda_target
    for c in range(4):
        row = lines[at + c].split(",")
        lam = lean * target * air[c] / (0.3 * air[c] + 0.2 + 0.5 * (1.0 + trims[c] / 100.0))
        row[COLUMNS.index("trim_in_engine_percent")] = repr(float(trims[c]))
        row[COLUMNS.index("lambda_measured")] = repr(float(lam))
        lines[at + c] = ",".join(row)
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.mark.parametrize("trims", [np.zeros(4), np.array([0.0, 2.9, 4.0, 4.6])])
def test_a_filled_sheet_gives_the_air_back(
    tmp_path: Path, trims: FloatArray, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Closed form: the readings are made from AIR, so AIR must come back, whatever trims were in
    and however far the base map is off. It is 4 % lean: with no trims in, that comes first."""
    monkeypatch.setattr(service, "engine_solver", lambda *_: solve)
    case = written(tmp_path)
    path = filled(tmp_path, case, trims, capsys)
    code, out, err = run(["trims", case, "--filled", path, "--policy", "sum-to-zero", "--step", "1",
                          "--json", "-"], capsys)
    assert code == 0, err
    cell = json.loads(out)["cells"][0]["cylinders"]
    assert [c["measured_percent"] for c in cell] == pytest.approx(
        (100.0 * (AIR - 1.0)).tolist(), abs=1e-9)
    assert [c["trim_shown_percent"] for c in cell] == pytest.approx(trims.tolist(), abs=1e-9)
    assert "those of set lower, 1.4 times" in err
    found = json.loads(out)["cells"][0]
    lam = 1.04 * AIR / (0.3 * AIR + 0.2 + 0.5 * (1.0 + trims / 100.0))
    if not trims.any():
        assert found["base_fault"] and "STOP: the whole engine is lean" in found["stop"]
        assert found["base_percent"] == pytest.approx(100.0 * (lam.mean() - 1.0), abs=1e-9)


def test_a_lean_cylinder_is_helped_through_the_sets(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand: air 1.04, base map right: lambda 1.04/(0.3 x 1.04 + 0.7) = 1.0277 of the target;
    its port fuel has to rise by 4 %, the near set by 1.4 times that, 5.6 %."""
    monkeypatch.setattr(service, "engine_solver", lambda *_: solve)
    case = written(tmp_path)
    air = np.array([0.96, 1.0, 1.0, 1.04])
    path = filled(tmp_path, case, np.zeros(4), capsys, air, 1.0)
    code, out, err = run(["trims", case, "--filled", path, "--policy", "to-target", "--step", "1",
                          "--json", "-"], capsys)
    assert code == 0, err
    cell = json.loads(out)["cells"][0]["cylinders"]
    assert cell[3]["trim_percent"] == pytest.approx(4.0, abs=1e-9)
    assert cell[3]["trim_shown_percent"] == pytest.approx(5.6, abs=1e-9)
    assert [c["trim_percent"] for c in cell[:3]] == [0.0, 0.0, 0.0]


def test_air_from_lambda_limits() -> None:
    """No fuel that follows: lambda x fuel. A half: a = k l/(2 - k l) with k for a mean of one; for
    readings of air 0.9 and 1.1, l = a/(0.5 a + 0.5) = 0.947368 and 1.047619, air comes back."""
    lam = np.array([0.9, 1.1]) / (0.5 * np.array([0.9, 1.1]) + 0.5)
    assert lam == pytest.approx([0.947368, 1.047619], abs=1e-6)
    assert air_from_lambda(1.0, 0.8 * lam, 0.5) == pytest.approx([0.9, 1.1], rel=1e-12)
    assert air_from_lambda(np.array([1.0, 1.02]), lam) == pytest.approx(lam * [1.0, 1.02])
    some = air_from_lambda(1.0, np.array([np.nan, *lam]), 0.5)
    assert np.isnan(some[0]) and some[1:] == pytest.approx([0.9, 1.1], rel=1e-12)
    with pytest.raises(ValueError, match="leaves no fuel to trim"):
        air_from_lambda(1.0, lam, 1.0)


def test_commands_print_and_write_the_sets(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(service, "engine_solver", lambda *_: solve)
    case = written(tmp_path)
    code, out, _ = run(["trims", case, "--rpm", "6000", "--json", tmp_path / "s.json"], capsys)
    assert code == 0
    assert "Injector sets, pulse before any trim" in out and "before throttle" in out
    data = json.loads((tmp_path / "s.json").read_text())
    assert [s["follows_air"] for s in data["injector_sets"]] == [False, False, True]
    sets = data["cells"][0]["sets"]
    assert [s["duty_cylinder"] for s in sets] == [4, None, None]
    assert sets[0]["trim_percent"] == [
        c["trim_shown_percent"] for c in data["cells"][0]["cylinders"]]
    assert max(len(x) for x in out.splitlines()) <= 100


@pytest.mark.parametrize("columns", [60, 200])
def test_on_a_terminal_nothing_is_wider_than_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
    columns: int,
) -> None:
    """At 60 columns what matters stays whole: cylinder, air, trim (half of 1.4 x 1.2), mark,
    pulse and duty of a set;
    what was left out is said. At 200 nothing is."""
    monkeypatch.setattr(service, "engine_solver", lambda *_: solve)
    monkeypatch.setenv("COLUMNS", str(columns))
    case = written(tmp_path)
    for stream in (sys.stdout, sys.stderr):
        monkeypatch.setattr(stream, "isatty", lambda: True, raising=False)
    code, styled, err = run(["trims", case, "--rpm", "6000"], capsys)
    out = re.sub(r"\x1b\[[0-9;]*m", "", styled)
    assert code == 0
    assert [x for x in (out + err).splitlines() if len(x) > columns] == []
    assert all(word in out for word in ("cyl.", "air (%)", "trim (%)", "mark", "duty (%)", "+0.8"))
    assert ("left out for lack of width" in out) == (columns == 60)
    assert ("before throttle" in out) == (columns == 200)


def test_a_log_gives_the_air_back_through_the_sets(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The log's engine (AIR of `logs`) with half of its fuel near the valve and half before the
    throttle. By hand, from its lambda l at equal port fuel with trims out: k l = a/(0.5 a + 0.5),
    so a = 0.5 k l/(1 - 0.5 k l) spreads twice as far as l to first order; y = a - 1 at full step.
    """
    sets = SETS[:SETS.index("\n[[fuel.stage]]\nname = \"upper\"")] + \
        SETS[SETS.index("\n[[fuel.stage]]\nname = \"shower\""):].replace("0.3", "0.5")
    case = written(tmp_path, sets)
    log, mapping = CASES / "measured/inline4_log.csv", CASES / "measured/inline4_log.toml"
    plain = run(["trims", CASES / "inline4_side.toml", "--log", log, "--mapping", mapping,
                 "--policy", "sum-to-zero", "--step", "1", "--json", "-"], capsys)
    both = run(["trims", case, "--log", log, "--mapping", mapping, "--policy", "sum-to-zero",
                "--step", "1", "--json", "-"], capsys)
    assert plain[0] == both[0] == 0, plain[2] + both[2]
    for a, b in zip(json.loads(plain[1])["cells"], json.loads(both[1])["cells"], strict=True):
        lam = np.array([c["lambda_measured"] for c in a["cylinders"]])
        assert lam == pytest.approx([c["lambda_measured"] for c in b["cylinders"]])
        now = np.array([c["measured_percent"] for c in a["cylinders"]]) / 100.0 + 1.0
        now = now / lam  # port fuel of each cylinder, up to a factor: what the log's trims were
        now = now * 2.0 / now.sum() * 2.0
        air = np.array([c["measured_percent"] for c in b["cylinders"]]) / 100.0 + 1.0
        k_lam = air / (0.5 * air + 0.5 * now)
        assert k_lam / k_lam.mean() == pytest.approx(lam / lam.mean(), rel=2e-3)
        assert air.mean() == pytest.approx(1.0, abs=1e-12)


def test_check_tells_the_sets(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    case = written(tmp_path)
    code, out, _ = run(["check", case, "--json", tmp_path / "c.json"], capsys)
    assert code == 0 and "Injector sets" in out and "30 % follows the air" in out
    sizes = json.loads((tmp_path / "c.json").read_text())["files"][0]["sizes"]
    assert [(s["name"], s["count"]) for s in sizes["injector_sets"]] == [
        ("lower", 4), ("upper", 8), ("shower", 2)]
    assert sizes["air_following_fraction"] == pytest.approx(0.3)
    code, out, _ = run(["check", CASES / "inline4_side.toml"], capsys)
    assert "Injector sets" not in out and "all at the ports" in out


def test_review_judges_the_set_that_is_open_longest(tmp_path: Path) -> None:
    """By hand: fuel m of a cylinder is its air over lambda x 14.575. lower 0.5 m/10 g/s + 1 ms
    against upper 0.1 m/8 g/s + 0.8 ms and shower 0.6 m/20 g/s + 0.9 ms: lower is open longest."""
    from distrib.review.run import review

    case = staged(tmp_path)
    made = solve(case, np.array([7500.0]), np.array([2.2e5]))
    found = review(case, [made]).finding("injector-duty")
    air_g = 1000.0 * float(made.air_kg_s[0].sum()) / 4.0 * 120.0 / 7500.0
    m = air_g / (case.fuel.lambda_target * STOICHIOMETRIC)
    expected = 100.0 * (0.5 * m / 10.0 + 1e-3) * 7500.0 / 120.0
    assert found.value == pytest.approx(expected, rel=1e-4)
    assert "injector of set lower open" in found.text
    lacking = staged(tmp_path, SETS.replace('count = 2\n\n[fuel.stage.injector]\nstatic_flow = '
                     '"20 g/s"\nat_pressure = "3 bar"\nrail_pressure = "3 bar"\n'
                     'dead_time = "0.9 ms"\n', ""))
    found = review(lacking, [made]).finding("injector-duty")
    assert found.verdict == "missing" and "of set shower" in found.text
    untrimmed = staged(tmp_path, SETS.replace("share = 0.5", "share = 0.5\ntrimmed = false"))
    assert review(untrimmed, [made]).finding("injection-mode").verdict == "ask"
    assert review(case, [made]).finding("injection-mode").verdict == "ok"
