"""Charts: units on every axis, nothing hidden, one scale for what is compared."""

from __future__ import annotations

import itertools
import re
from typing import Any

import designs
import fakes
import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.figure import Figure

from distrib.answer.facts import limits_of
from distrib.report import figures
from distrib.report.charts import bar_series, limit_lines
from distrib.report.data import ReportData
from distrib.report.document import Picture
from distrib.report.palette import VERDICT_STYLES
from distrib.report.save import figure_bytes, house_style, new_figure
from distrib.report.sections import build_document

UNIT = re.compile(r"\((mm|%|% points|-|Pa|m/s|rev/min)\)|%")


def data() -> ReportData:
    return fakes.report(designs.case())


def pictures() -> list[Picture]:
    document = build_document([data(), fakes.report(designs.center_case())])
    return [b for s in document.sections for b in s.blocks if isinstance(b, Picture)]


@pytest.mark.parametrize("picture", pictures(), ids=lambda p: p.name)
def test_every_axis_has_a_label_with_its_unit(picture: Picture) -> None:
    with house_style():
        figure = new_figure(picture.width_in, picture.height_in)
        if picture.own_layout:
            figure.set_layout_engine("none")
        picture.draw(figure)
        figure.draw_without_rendering()
    assert picture.title and len(picture.words) > 20
    if picture.own_layout:
        return
    for ax in figure.axes:
        shares_x = ax.get_shared_x_axes().get_siblings(ax)
        below = min(shares_x, key=lambda a: a.get_position().y0)
        assert UNIT.search(below.get_xlabel()) or below.get_xlabel() == "cylinder"
        labelled = all(t.get_text() for t in ax.get_yticklabels()) and not ax.get_ylabel()
        assert labelled or UNIT.search(ax.get_ylabel()), picture.name


@pytest.mark.parametrize("picture", pictures(), ids=lambda p: p.name)
def test_no_text_is_clipped_or_covers_another(picture: Picture) -> None:
    with house_style():
        figure = new_figure(picture.width_in, picture.height_in)
        if picture.own_layout:
            figure.set_layout_engine("none")
        picture.draw(figure)
        figure.draw_without_rendering()
        boxes = drawn_text(figure)
    assert len(boxes) > 5
    width, height = figure.get_size_inches() * figure.dpi
    for text, box in boxes:
        assert box.x0 > -1 and box.y0 > -1 and box.x1 < width + 1 and box.y1 < height + 1, text
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        wide = min(a.x1, b.x1) - max(a.x0, b.x0)
        high = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert wide < 2 or high < 0.3 * min(a.height, b.height), f"{one!r} covers {other!r}"


def drawn_text(figure: Figure) -> list[tuple[str, Any]]:
    """Every text that is really drawn, with its box in pixels."""
    renderer = figure.canvas.get_renderer()
    texts = []
    for ax in figure.axes:
        texts += [*ax.texts, ax.xaxis.label, ax.yaxis.label, ax.title]
        if ax.get_legend() is not None:
            texts += ax.get_legend().get_texts()
        for axis in (ax.xaxis, ax.yaxis):
            low, high = sorted(axis.get_view_interval())
            texts += [t.label1 for t in axis.get_major_ticks()
                      if low <= t.get_loc() <= high and t.label1.get_visible()]
    return [(t.get_text(), t.get_window_extent(renderer)) for t in texts
            if t.get_visible() and t.get_text().strip()]


def test_bars_show_value_band_limit_and_letter() -> None:
    case = designs.case()
    shares = fakes.shares(case, "bench")
    series = bar_series(case, shares, 0, "bench")
    assert series is not None
    with house_style():
        ax = figures.deviation_bars(new_figure(7, 4).subplots(), [series], limit_lines(case))
    heights = [bar.get_height() for bar in ax.patches if bar.get_width() < 1]
    assert heights == pytest.approx(list(shares.deviation_percent[0]))
    letters = [t.get_text() for t in ax.texts if t.get_text() in "LWER"]
    assert letters == ["R", "R", "E", "L", "L"]
    levels = {round(float(line.get_ydata()[0]), 6) for line in ax.lines}
    # facts that the case leaves open bring the watch limit forward
    assert {3.0, limits_of(case).watch_percent, -3.0, 0.0} <= levels
    low, high = ax.get_ylim()
    assert shares.band is not None
    assert low < shares.band.low_percent.min() and high > shares.band.high_percent.max()
    faces = {to_hex(bar.get_facecolor()).upper() for bar in ax.patches if bar.get_width() < 1}
    assert faces == {VERDICT_STYLES[v].colour for v in ("rich", "even", "lean")}


def test_bars_of_two_designs_stand_on_one_scale_and_differ_without_colour() -> None:
    case, other = designs.case(), designs.center_case()
    pair = [bar_series(case, fakes.shares(case), 0, "A"),
            bar_series(other, fakes.shares(other, "bench"), 0, "B")]
    found = [s for s in pair if s is not None]
    with house_style():
        ax = figures.deviation_bars(new_figure(7, 4).subplots(), found, limit_lines(case))
    ticks = [t.get_text() for t in ax.get_xticklabels()]
    assert ticks[0] == "1\n43 / 172"
    assert len({bar.get_hatch() for bar in ax.patches if bar.get_width() < 1}) == 2
    assert [t.get_text() for t in ax.get_legend().get_texts()] == ["A", "B"]


def test_bars_refuse_nothing_and_what_cannot_be_compared() -> None:
    case, v8 = designs.case(), designs.v8_case()
    one, other = (bar_series(c, fakes.shares(c), 0, "x") for c in (case, v8))
    assert one is not None and other is not None
    with house_style():
        ax = new_figure(7, 4).subplots()
        with pytest.raises(ValueError, match="at least one"):
            figures.deviation_bars(ax, [], limit_lines(case))
        with pytest.raises(ValueError, match="same cylinder numbers"):
            figures.deviation_bars(ax, [one, other], limit_lines(case))


def test_along_the_plenum_keeps_places_and_takes_off_the_mean() -> None:
    line = figures.PlenumLine("m", np.array([0.0, 100.0, 200.0]), np.array([1e5, 1e5 + 30, 1e5]),
                              np.array([30.0, 15.0, 0.0]))
    with house_style():
        upper, lower = new_figure(7, 4).subplots(2, 1, sharex=True)
        figures.along_plenum(upper, lower, [line], {1: 50.0, 2: 150.0}, {"entry": 0.0})
    assert upper.lines[0].get_ydata().mean() == pytest.approx(0.0, abs=1e-9)
    assert np.ptp(upper.lines[0].get_ydata()) == pytest.approx(30.0)
    assert list(lower.lines[0].get_xdata()) == [0.0, 100.0, 200.0]
    places = {t.get_text(): t.xy[0] for t in upper.texts}
    assert places == {"1": 50.0, "2": 150.0, "entry": 0.0}


def test_house_style_leaves_the_users_settings_alone() -> None:
    import matplotlib

    before = dict(matplotlib.rcParams)
    with house_style():
        assert matplotlib.rcParams["svg.hashsalt"] == "distrib"
    assert dict(matplotlib.rcParams) == before


def test_a_users_settings_do_not_change_our_pictures() -> None:
    import matplotlib

    def made() -> bytes:
        case = designs.case()
        series = bar_series(case, fakes.shares(case), 0, "m")
        assert series is not None
        with house_style():
            figure = new_figure(7, 4)
            figures.deviation_bars(figure.subplots(), [series], limit_lines(case))
            return figure_bytes(figure, "svg")

    plain = made()
    with matplotlib.rc_context({"font.size": 20.0, "axes.grid": True, "savefig.dpi": 30.0}):
        assert made() == plain


def test_a_rig_figure_has_no_verdict_letters_and_no_limits() -> None:
    own = data()
    bench = next(s for s in own.shares if s.model == "bench")
    one = bar_series(own.case, bench, 0, "bench", judged=False)
    assert one is not None
    with house_style():
        bare, held = (new_figure(5, 3).subplots() for _ in range(2))
        figures.deviation_bars(bare, [one], None)
        figures.deviation_bars(held, [one], limit_lines(own.case))
    assert [t.get_text() for t in bare.texts] == []
    assert {"lean", "watch", "rich"} <= {t.get_text().split()[0] for t in held.texts}
    low, high = bare.get_ylim()
    ends = [*one.deviation, *(one.low or ()), *(one.high or ())]
    assert low < min(ends) and high > max(ends)
