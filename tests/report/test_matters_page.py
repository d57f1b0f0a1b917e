"""What matters most in words, bars and a table."""

from __future__ import annotations

from distrib.report.data import Sensitivity, SensitivityTable
from distrib.report.matters import (
    groups_of,
    sensitivity_picture,
    sensitivity_table,
    sensitivity_words,
)
from distrib.report.save import house_style, new_figure

SIGMAS = "-2 / +2 standard deviations"
ROWS = (
    Sensitivity("loss of widenings", SIGMAS, 9.9, 10.1, "loss laws", 0.858, 0.862),
    Sensitivity("cross-flow loss at the mouths", SIGMAS, 7.0, 14.5, "loss laws", 0.84, 0.89),
    Sensitivity("bore of runner 5 as made", SIGMAS, 9.8, 10.3, "tolerances", 0.858, 0.863),
    Sensitivity("edge of mouth 1 as made", SIGMAS, 9.9, 10.0, "tolerances", 0.859, 0.86),
    Sensitivity("plenum diameter", "76 mm / 110 mm", 15.0, 15.5, "dimensions", 0.88, 0.882))
TABLE = SensitivityTable("bench", 10.0, ROWS, 0.86, "one at a time")


def test_widest_of_each_group_stands_first_and_is_said() -> None:
    assert [name for name, _ in groups_of(TABLE)] == ["loss laws", "tolerances", "dimensions"]
    how, laws, made, dims = sensitivity_words(TABLE)
    assert how == "One at a time."
    assert laws.startswith("Loss laws: most by cross-flow loss at the mouths (-2 / +2 standard")
    assert "spread 7.0 % low, 14.5 % high, now 10.0 %" in laws
    assert "lambda of the leanest cylinder 0.840 low, 0.890 high, now 0.860" in laws
    assert "widenings" not in laws, "2 % of the spread is no weight"
    # 0.5 of 10 is just 5 %: counted; the other of 0.1 is not
    assert "bore of runner 5" in made and "edge" not in made
    assert "plenum diameter (76 mm / 110 mm)" in dims


def test_group_without_weight_says_so() -> None:
    table = SensitivityTable("bench", 10.0, ROWS[:1], 0.86)
    assert sensitivity_words(table) == (
        "Loss laws: none moves the spread by more than 0.2 % of 10.0 %.",)


def test_table_has_kind_change_and_both_figures() -> None:
    table = sensitivity_table(TABLE)
    assert table.rows[0][0] == "cross-flow loss at the mouths"
    assert table.rows[0][1:] == ("loss laws", SIGMAS, "7.0", "14.5", "0.840", "0.890")
    assert "0.860" in table.notes[0]
    plain = sensitivity_table(SensitivityTable("engine", 4.0, (
        Sensitivity("regain", "0.6 / 0.9", 2.4, 5.2),)))
    assert plain.rows == (("regain", "0.6 / 0.9", "2.4", "5.2"),)


def test_bars_reach_from_the_design_to_each_end_in_both_panels() -> None:
    picture = sensitivity_picture(TABLE, "x")
    with house_style():
        figure = new_figure(picture.width_in, picture.height_in)
        picture.draw(figure)
        figure.draw_without_rendering()
        spread, leanest = figure.axes
        ends = {round(b.get_x() + b.get_width(), 6) for b in spread.patches}
        starts = {round(b.get_x(), 6) for b in spread.patches}
        assert starts == {10.0}
        assert ends == {v for r in ROWS for v in (r.spread_low_percent, r.spread_high_percent)}
        assert {round(b.get_x() + b.get_width(), 6) for b in leanest.patches} == {
            v for r in ROWS for v in (r.lambda_low, r.lambda_high)}
        assert {b.get_hatch() for b in spread.patches} != {None}
        assert "(%)" in spread.get_xlabel() and "lambda" in leanest.get_xlabel()
        width, height = figure.get_size_inches() * figure.dpi
        renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
        texts = [*spread.get_yticklabels(), *spread.texts, spread.xaxis.label,
                 leanest.xaxis.label]
        boxes = [t.get_window_extent(renderer) for t in texts]
    assert min(b.x0 for b in boxes) >= 0.0 and max(b.x1 for b in boxes) <= width
    assert min(b.y0 for b in boxes) >= 0.0 and max(b.y1 for b in boxes) <= height


def test_without_lambda_there_is_one_panel() -> None:
    picture = sensitivity_picture(SensitivityTable("engine", 4.0, (
        Sensitivity("regain", "0.6 / 0.9", 2.4, 5.2),)), "x")
    with house_style():
        figure = new_figure(picture.width_in, picture.height_in)
        picture.draw(figure)
    assert len(figure.axes) == 1
    assert picture.words == "regain (0.6 / 0.9) spread 2.4 to 5.2 %."
