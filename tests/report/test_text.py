"""Digits, tables, palette: what a figure may say and whether everybody can read it."""

from __future__ import annotations

import csv
import io
import itertools

import designs
import fakes
import numpy as np
import pytest

from distrib.fuelling.verdict import WORDS
from distrib.report import numbers, palette, tables
from distrib.report.grid import Column, Table, fit_columns, plain_text, to_csv
from distrib.report.planview import ranges


@pytest.mark.parametrize(("half", "places"), [
    (2.3, 0), (1.2, 1), (1.99, 1), (2.0, 0), (0.4, 1), (0.2, 1), (0.19, 2), (0.04, 2), (0.001, 2),
    (12.0, 0), (None, 1), (float("nan"), 1), (0.0, 1)])
def test_digits_follow_the_band(half: float | None, places: int) -> None:
    assert numbers.decimals_for(half) == places


def test_signs_and_missing_values() -> None:
    assert numbers.signed(2.46, 1) == "+2.5"
    assert numbers.signed(-0.04, 1) == "0.0"
    assert numbers.signed(-2.0, 0) == "-2"
    assert numbers.plain(float("nan"), 1) == "-"
    assert numbers.interval(-1.04, 2.5, 1) == "-1.0 to +2.5"
    assert numbers.interval(None, 2.5, 1) == "-"
    assert numbers.both(0.0254) == "25.4 mm (1.00 in)"
    assert numbers.both(0.072) == "72 mm (2.83 in)"
    assert numbers.significant(0.012345) == "0.0123"
    assert numbers.significant(1234.5) == "1230"


def test_cylinder_lists() -> None:
    assert ranges([3, 1, 2, 5, 4]) == "1-5"
    assert ranges([1, 3, 5, 7]) == "1, 3, 5, 7"
    assert ranges([1, 2]) == "1, 2"


@pytest.mark.parametrize(("half", "deviation"), [(2.3, "+2"), (0.9, "+2.0"), (0.15, "+2.00")])
def test_share_table_shows_no_more_than_the_band_justifies(half: float, deviation: str) -> None:
    case = designs.case()
    # the fake bands widen from cylinder to cylinder; 1.2 is the middle factor
    flat = fakes.shares(case, deviation=(-2.0, -1.0, 0.0, 1.0, 2.0), half=half / 1.2)
    table = tables.share_table(case, flat)
    column = [c.name for c in table.columns].index("deviation")
    assert table.rows[-1][column] == deviation


def test_share_table_says_which_way_lean_goes() -> None:
    case = designs.case()
    table = tables.share_table(case, fakes.shares(case, deviation=(-7.2, -4.4, -0.9, 4.1, 8.4)))
    assert table.rows[0][-1] == "R rich: less air"
    assert table.rows[-1][-1] == "L lean: more air"
    assert [row[1] for row in table.rows] == ["43", "129", "215", "301", "387"]
    notes = " ".join(table.notes)
    assert WORDS["lean"] in notes and WORDS["rich"] in notes
    lambdas = [float(row[5]) for row in table.rows]
    assert np.mean(lambdas) == pytest.approx(case.fuel.lambda_target, abs=5e-3)
    assert lambdas[-1] > case.fuel.lambda_target > lambdas[0]


def test_rig_figures_have_neither_verdict_nor_lambda_nor_trim() -> None:
    case = designs.case()
    trims = dict.fromkeys(range(1, 6), 0.5)
    table = tables.share_table(case, fakes.shares(case, "bench"), trims=trims)
    assert [c.name for c in table.columns] == [
        "cyl.", "from entry", "share", "deviation", "90 % band"]
    assert [float(row[3]) for row in table.rows] == pytest.approx(
        fakes.by_cylinder(5, "bench"), abs=0.05)
    assert table.notes[-1] == tables.RIG_NOTE


def test_narrow_terminal_keeps_what_matters_and_says_what_it_left_out() -> None:
    case = designs.v8_case()
    table = tables.share_table(case, fakes.shares(case), trims=dict.fromkeys(range(1, 9), 0.5))
    narrow = fit_columns(table, 55)
    names = [c.name for c in narrow.columns]
    assert names == ["cyl.", "from entry", "deviation", "trim", "verdict"]
    assert narrow.notes[-1] == "left out for lack of width: share, 90 % band, lambda"
    body = plain_text(narrow).splitlines()[1:4 + len(narrow.rows)]
    assert max(len(line) for line in body) <= 55
    assert fit_columns(table, 200) == table


def test_point_without_solution_is_said_and_not_shown_as_numbers() -> None:
    import dataclasses

    case = designs.case()
    bad = dataclasses.replace(fakes.shares(case), converged=np.array([False]),
                              reason=("runner 3: choked",))
    table = tables.share_table(case, bad)
    assert table.rows == ()
    assert "no solution at this point: runner 3: choked" in table.notes[0]


def test_csv_reads_back() -> None:
    table = Table("t", (Column("a", "mm"), Column("b")), (("1", "x, \"y\""), ("-", "-")))
    rows = list(csv.reader(io.StringIO(to_csv(table))))
    assert rows == [["a (mm)", "b"], ["1", "x, \"y\""], ["", ""]]


def test_findings_stand_gravest_first_with_overrides() -> None:
    table = tables.findings_table(fakes.findings())
    assert [row[0] for row in table.rows] == ["change", "missing", "ask"]
    assert table.rows[0][1].endswith("[area-ratio]") and "from memory" in table.rows[0][3]
    assert table.notes == ("1 change, 1 missing, 1 ask, 1 ok",)
    passed = tables.passed_table(fakes.findings())
    assert len(passed.rows) == 1
    assert "changed in the case: longer runs" in passed.rows[0][1]


def test_rig_figures_beside_an_engine_model_carry_no_verdict() -> None:
    case = designs.case()
    table = tables.models_table(case, [fakes.shares(case), fakes.shares(case, "bench")])
    # a chance of 10 % is enough: this case leaves facts open that move the figure
    assert table.rows[-2][-1] == "+8.4" and table.rows[-2][-2] == "+2.0 L"
    assert tables.RIG_NOTE in table.notes


def test_contrast_is_that_of_the_published_definition() -> None:
    assert palette.contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    # WCAG 2.2, 1.4.3: grey #767676 on white is the usual example of 4.54 to 1
    assert palette.contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.005)
    for style in palette.VERDICT_STYLES.values():
        assert palette.contrast(style.colour, style.text_colour) >= 4.5
    assert palette.contrast(palette.MUTED, palette.PAPER) >= 4.5


# Machado, Oliveira and Fernandes (2009), IEEE Trans. Vis. Comput. Graph. 15(6), severity 1.0,
# on linear RGB; the rows sum to one, which guards the figures.
DEFICIENCIES = {
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216),
               (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413),
               (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602),
               (0.004733, 0.691367, 0.303900)),
}


def _lab(linear: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB, white D65."""
    matrix = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722],
                       [0.0193, 0.1192, 0.9505]])
    t = matrix @ np.clip(linear, 0, 1) / np.array([0.9505, 1.0, 1.089])
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("kind", list(DEFICIENCIES))
def test_verdict_hues_stay_apart_for_colour_deficient_eyes(kind: str) -> None:
    matrix = np.array(DEFICIENCIES[kind])
    assert matrix.sum(axis=1) == pytest.approx(1.0, abs=1e-5)

    def seen(colour: str) -> np.ndarray:
        channels = np.array([palette._linear(int(colour[i:i + 2], 16)) for i in (1, 3, 5)])
        return _lab(matrix @ channels)

    hues = [s.colour for s in palette.VERDICT_STYLES.values()]
    for one, other in itertools.combinations(hues, 2):
        # 10 is several times the just noticeable difference (about 2.3 in this space)
        assert np.linalg.norm(seen(one) - seen(other)) > 10.0


def test_hue_never_stands_alone() -> None:
    styles = list(palette.VERDICT_STYLES.values())
    assert len({s.letter for s in styles}) == len({s.hatch for s in styles}) == 5
    series = palette.SERIES_STYLES
    assert len({s.hatch for s in series}) == len({s.marker for s in series}) == len(series)
    assert len({s.line for s in series}) == len(series)
