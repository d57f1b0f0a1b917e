"""Trim sheet out and back in, the gate, and the score of a prediction."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from distrib.calibration.gate import GATE, gate
from distrib.calibration.score import score
from distrib.calibration.sheet import COLUMNS, TrimTable, number, to_csv
from distrib.calibration.sheet_page import to_html
from distrib.calibration.sheet_read import read_sheet
from distrib.errors import InputError


def _table() -> TrimTable:
    shape = (2, 1, 4)
    deviation = np.array([[[-1.0, 0.2, 0.8, 0.0]], [[-3.5, 0.3, 3.2, 0.0]]])
    trim = np.full(shape, 0.5)
    trim[1, 0, 2] = np.nan
    return TrimTable(
        "Inline four, <side>", "abc123", "engine", "richen-only", "predicted", 0.5, "fuel",
        "gasoline", 0.82, (1, 2, 3, 4), np.array([0.05, 0.14, 0.23, 0.32]),
        np.array([4000.0, 6500.0]), np.array([2.3e5]), deviation, deviation - 1.0,
        deviation + 1.0, 0.9, np.array([[["even", "even", "even", "even"]],
                                       [["rich", "even", "lean", "even"]]]),
        0.82 * (1 + deviation / 100), deviation, trim, trim, np.zeros((2, 1)),
        np.full((2, 1), 0.5), np.full((2, 1), 0.7), np.full((2, 1), 3), gate(["wiring"]),
        ("lean_percent 3: common practice",), ("estimate, verify",), (),
    )


def _filled(text: str, **cells: str) -> str:
    """The sheet with some columns of the first data row filled in."""
    lines = text.splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("cylinder,")) + 1
    row = lines[at].split(",")
    for name, value in cells.items():
        row[COLUMNS.index(name)] = value
    lines[at] = ",".join(row)
    return "\n".join(lines) + "\n"


def test_sheet_reads_back(tmp_path: Path) -> None:
    text = _filled(to_csv(_table()), lambda_measured="0.824", trim_in_engine_percent="0.5",
                   egt_degc="910", notes="clean plug")
    path = tmp_path / "sheet.csv"
    path.write_text(text, encoding="utf-8")
    back = read_sheet(path)
    assert back.cylinder.tolist() == [1, 2, 3, 4] * 2
    assert back.rpm[[0, 4]].tolist() == [4000.0, 6500.0]
    assert back.pressure_pa[0] == pytest.approx(2.3e5)
    assert back.lambda_measured[0] == 0.824 and np.isnan(back.lambda_measured[1:]).all()
    assert back.deviation_percent[:4].tolist() == [-1.0, 0.2, 0.8, 0.0]
    assert back.heading["case"] == "abc123" and back.heading["lambda target"] == "0.82"
    assert np.isnan(back.trim_shown[6]) and back.entries.notes[0] == "clean plug"


def test_sheet_tells_the_full_need_and_reads_without_it(tmp_path: Path) -> None:
    """A sheet of before that column, or one from which it was struck, reads as well."""
    lines = to_csv(_table()).splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("cylinder,"))
    assert lines[at].endswith(",needed_percent,lambda_target")
    assert [line.split(",")[-2:] for line in lines[at + 1:at + 5]] == [
        ["-1.00", "0.82"], ["+0.20", "0.82"], ["+0.80", "0.82"], ["+0.00", "0.82"]]
    path = tmp_path / "sheet.csv"
    path.write_text("\n".join(
        line if i < at else line.rsplit(",", 2)[0] for i, line in enumerate(lines)) + "\n")
    assert len(read_sheet(path).cylinder) == 8


def test_sheet_saved_again_by_a_continental_spreadsheet(tmp_path: Path) -> None:
    lines = to_csv(_table()).splitlines()
    out = []
    for line in lines:
        out.append(line if line.startswith("#") else line.replace(",", ";").replace(".", ","))
    text = "\ufeff" + "\r\n".join(out) + "\r\n"
    path = tmp_path / "sheet.csv"
    path.write_text(text.replace("fuel;;;;;;;", "fuel;;;0,5;0,824;;;", 1), encoding="utf-8")
    back = read_sheet(path)
    assert back.lambda_measured[0] == pytest.approx(0.824)
    assert back.trim_in_engine_percent[0] == 0.5
    assert back.deviation_percent[:2].tolist() == [-1.0, 0.2]


@pytest.mark.parametrize(
    "cells, message",
    [
        ({"lambda_measured": "rich", "trim_in_engine_percent": "0"},
         'column 15 "lambda_measured": read "rich"'),
        ({"lambda_measured": "0.83"}, 'column 14 "trim_in_engine_percent": read a blank beside'),
        ({"lambda_measured": "12.1", "trim_in_engine_percent": "0"},
         "an air-fuel ratio? Divide by the scale"),
        ({"rpm": ""}, 'column 3 "rpm": read a blank'),
        ({"lambda_measured": "0,83", "trim_in_engine_percent": "0"}, "read 21 cells"),
        ({"cylinder": "1.5"}, 'column 1 "cylinder": read 1.5'),
        ({"trim_on": "effective pulse"}, '"effective pulse" as in the first row'),
        ({"trim_on": "duty"}, 'column 11 "trim_on": read "duty"'),
        ({"lambda_measured": "0.83", "trim_in_engine_percent": "1", "trim_on": "total pulse"},
         "a pulse longer than its dead time"),
    ],
)
def test_wrong_entries_are_named(tmp_path: Path, cells: dict[str, str], message: str) -> None:
    path = tmp_path / "sheet.csv"
    path.write_text(_filled(to_csv(_table()), **cells), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_sheet(path)
    assert message in str(caught.value)
    assert caught.value.problems[0].line is not None


def test_page_says_what_is_open_and_survives_markup() -> None:
    page = to_html(_table())
    assert "Inline four, &lt;side&gt;" in page and "<side>" not in page
    assert "Confirm before using any trim" in page
    assert page.count('class="box ticked"') == 1 and page.count('class="box"') == len(GATE) - 1
    assert "refused" in page and "less air at equal fuel: rich" in page
    assert "http" not in page


def test_gate() -> None:
    assert gate(["all"]).passed
    assert [i.key for i in gate(["leaks"]).confirmed] == ["leaks"]
    with pytest.raises(InputError, match="nearest: sensors"):
        gate(["sensor"])


def test_number_has_no_minus_zero() -> None:
    assert number(-0.01, 1, True) == "+0.0"
    assert number(float("nan")) == ""
    assert number(2.449, 1, True) == "+2.4"


def test_score_counts_hits_and_order() -> None:
    predicted = np.array([2.0, 1.0, 0.0, -3.0])
    measured = np.array([2.2, 0.5, 1.6, -4.3])
    found = score(predicted, measured, predicted - 1.0, predicted + 1.0, 0.9)
    assert found.leanest_right.all() and found.hits == 2 and found.expected == pytest.approx(3.6)
    assert found.hit.tolist() == [[True, True, False, False]]
    # one swapped pair of six: (5 - 1)/6
    assert found.order[0] == pytest.approx(4 / 6)
    # P(at most 2 of 4) at 0.9: 6 x 0.81 x 0.01 + 4 x 0.9 x 0.001 + 0.0001
    assert found.chance == pytest.approx(0.0523)
    assert found.statements[1] == "2 of 4 cylinders fell in their band; 3.6 should have"


def test_score_of_a_reversed_and_narrow_prediction() -> None:
    predicted = np.array([[2.0, 1.0, -1.0, -2.0]] * 3)
    found = score(predicted, -predicted, predicted - 0.1, predicted + 0.1, 0.9)
    assert np.all(found.order == -1.0) and not found.leanest_right.any()
    assert any("too narrow" in s for s in found.statements)


def test_true_band_is_hit_at_its_level() -> None:
    rng = np.random.default_rng(3)
    predicted = np.zeros((500, 4))
    z = norm.ppf(0.95)
    measured = rng.normal(0.0, np.hypot(1.0, 0.5), predicted.shape)
    found = score(predicted, measured, predicted - z, predicted + z, 0.9, 0.5)
    # 2000 observations: standard error 0.7 %
    assert found.hits / found.count == pytest.approx(0.9, abs=0.02)
    with pytest.raises(InputError, match="0 values"):
        score(predicted[0], predicted[0] * np.nan, predicted[0], predicted[0], 0.9)
