"""The drawing is true to scale: measured on the drawn artists against the case."""

from __future__ import annotations

import io
import itertools
import math
from collections.abc import Callable
from xml.etree import ElementTree

import designs
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from distrib.case.schema import Bend, Case, Plenum
from distrib.errors import InputError
from distrib.report.drawing import KINDS, drawing_bytes, sheet_figure
from distrib.report.metal import metal_of
from distrib.report.save import house_style
from distrib.report.shapes import Label, Oval, Stroke, view
from distrib.report.sheet import (
    PAPERS_MM,
    SIDE_BY_SIDE,
    TALLER,
    drawing_sheet,
    report_sheets,
)

ALL: list[Callable[[], Case]] = [designs.case, designs.center_case, designs.v8_case,
                                 designs.two_plenum_case, designs.ducted_case,
                                 designs.detailed_case]
MM = 1000.0


def strokes(shapes: list[object], layer: str) -> list[Stroke]:
    return [s for s in shapes if isinstance(s, Stroke) and s.layer == layer]


def test_plan_shows_plenum_stations_and_lengths_in_true_size() -> None:
    case = designs.case(runners=tuple(
        designs.runner(n, 0.043 + 0.086 * (n - 1), bends=()) for n in range(1, 6)))
    plan = view(metal_of(case, "main"), "plan")
    body = strokes(plan, "PLENUM")[0].points
    assert np.ptp(body[:, 0]) == pytest.approx(case.plenums[0].length_m * MM, abs=1e-9)
    assert body[:, 1].max() == pytest.approx(92.0 / 2, abs=1e-9)
    assert body[body[:, 0] > 429, 1].max() == pytest.approx(70.0 / 2, abs=1e-9)
    for runner in case.runners:
        outline = next(s.points for s in strokes(plan, "RUNNER")
                       if s.cylinder == runner.cylinder and s.closed)
        wall = 1000 * (0.092 + (0.070 - 0.092) * runner.station_m / 0.43) / 2
        assert outline[:, 1].min() == pytest.approx(wall, abs=1e-6)
        assert outline[:, 1].max() == pytest.approx(wall + runner.length_m * MM, abs=1e-6)
        assert (outline[:, 0].max() + outline[:, 0].min()) / 2 == pytest.approx(
            runner.station_m * MM, abs=1e-6)
        flange = outline[outline[:, 1] > wall + 299.9]
        assert np.ptp(flange[:, 0]) == pytest.approx(runner.end_diameter_m * MM, abs=1e-6)
        mouth = outline[outline[:, 1] < wall + 1e-6]
        assert np.ptp(mouth[:, 0]) == pytest.approx(
            (runner.diameter_m + 2 * runner.mouth_radius_m) * MM, abs=1e-6)
    entry = strokes(plan, "ENTRY")[0].points
    assert entry[:, 0].max() == pytest.approx(0.0, abs=1e-9)
    assert entry[:, 0].min() == pytest.approx(-(220.0 + 80.0), abs=1e-9)
    assert np.ptp(entry[entry[:, 0] < -299][:, 1]) == pytest.approx(70.0, abs=1e-9)
    assert np.ptp(entry[entry[:, 0] > -1][:, 1]) == pytest.approx(84.0, abs=1e-9)


def test_far_entry_and_center_entry_stand_where_the_case_says() -> None:
    far = designs.case(entries=(designs.side_entry(end="far", at_m=0.43),))
    entry = strokes(view(metal_of(far, "main"), "plan"), "ENTRY")[0].points
    assert entry[:, 0].min() == pytest.approx(430.0)
    center = designs.center_case()
    side = strokes(view(metal_of(center, "main"), "side"), "ENTRY")[0].points
    assert (side[:, 0].min() + side[:, 0].max()) / 2 == pytest.approx(215.0)
    assert side[:, 1].min() == pytest.approx(40.0)
    assert np.ptp(side[:, 1]) == pytest.approx(160.0)
    plan = [s for s in view(metal_of(center, "main"), "plan")
            if isinstance(s, Oval) and s.layer == "ENTRY" and not s.dark]
    assert any(o.half_along == pytest.approx(35.0) and o.centre == pytest.approx((215.0, 0.0))
               for o in plan)


@pytest.mark.parametrize(("face", "aim", "way"), [
    ("top", 90.0, (0.0, -1.0)), ("back", 0.0, (1.0, 0.0)), ("floor", 90.0, (0.0, 1.0)),
    ("top", 60.0, (math.cos(math.radians(60)), -math.sin(math.radians(60))))])
def test_center_entry_points_the_way_it_aims(
    face: str, aim: float, way: tuple[float, float],
) -> None:
    case = designs.case(entries=(designs.center_entry(face=face, aim_deg=aim),))
    pipe = metal_of(case, "main").entries[0].points_m
    flow = (pipe[0] - pipe[-1]) / np.linalg.norm(pipe[0] - pipe[-1])
    assert flow == pytest.approx((0.0, *way), abs=1e-12)
    assert flow[1] == pytest.approx(math.cos(math.radians(aim)), abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.15, 0.6), st.floats(20, 160),
       st.lists(st.tuples(st.floats(5, 90), st.floats(0.03, 0.12)), max_size=3),
       st.sampled_from(["side", "floor", "back", "top"]))
def test_centre_line_keeps_its_length_and_its_turning(
    length: float, angle: float, bends: list[tuple[float, float]], face: str,
) -> None:
    made = tuple(Bend(angle_deg=a, radius_m=r) for a, r in bends)
    case = designs.case(runners=tuple(
        designs.runner(n, 0.08 * n, length_m=length, angle_deg=angle, face=face, bends=made)
        for n in range(1, 6)))
    points = metal_of(case, "main").runners[0].points_m
    steps = np.diff(points, axis=0)
    run = float(np.linalg.norm(steps, axis=1).sum())
    assert run == pytest.approx(length, rel=2e-3)
    unit = steps / np.linalg.norm(steps, axis=1)[:, None]
    turns = np.degrees(np.arccos(np.clip((unit[1:] * unit[:-1]).sum(axis=1), -1, 1)))
    fits = sum(math.radians(a) * r for a, r in bends) <= length
    wanted = sum(a for a, _ in bends) if fits else 0.0
    assert turns.sum() == pytest.approx(wanted, abs=0.2 + 8 * len(bends))
    assert unit[0][0] == pytest.approx(math.cos(math.radians(angle)), abs=1e-9)


def test_bell_stands_inside_by_its_clearance() -> None:
    case = designs.ducted_case()
    tube = metal_of(case, "main").runners[0]
    height = 0.09
    assert tube.points_m[0][2] == pytest.approx(height / 2 - 0.06)
    assert tube.inside_m * math.sin(math.radians(75)) == pytest.approx(height - 0.06)


def test_step_profile_has_its_step_where_the_case_says() -> None:
    body = strokes(view(metal_of(designs.two_plenum_case(), "front"), "plan"), "PLENUM")[0].points
    at_step = body[np.isclose(body[:, 0], 150.0)]
    assert sorted(np.round(np.abs(at_step[:, 1]), 6)) == [35.0, 35.0, 42.5, 42.5]


@pytest.mark.parametrize("make", ALL)
def test_sheet_has_every_cylinder_in_plan_and_its_notes(make: Callable[[], Case]) -> None:
    case = make()
    sheet = drawing_sheet(case)
    marked = {s.cylinder for s in sheet.shapes if isinstance(s, Label)} - {None}
    assert marked == {r.cylinder for r in case.runners}
    text = " ".join(s.text for s in sheet.shapes if isinstance(s, Label))
    for word in (f"at the {case.cylinder_1_end}", case.view.split(",")[0], case.title,
                 "mm above the line", "100 mm", "4 in", "PLAN", "SIDE", "END", "SECTIONS"):
        assert word in text
    assert "entry" in text.lower()


@pytest.mark.parametrize("make", ALL)
@pytest.mark.parametrize("paper", list(PAPERS_MM))
def test_figure_has_the_scale_it_states(make: Callable[[], Case], paper: str) -> None:
    if paper == "Letter" and make is designs.two_plenum_case:
        with pytest.raises(InputError, match="Letter"):
            drawing_sheet(make(), paper=paper)
        return
    sheet = drawing_sheet(make(), paper=paper)
    with house_style():
        figure = sheet_figure(sheet)
        figure.draw_without_rendering()
    ax = figure.axes[0]
    start, end = ax.transData.transform([(0.0, 0.0), (100.0, 0.0)]) / figure.dpi * 25.4
    assert end[0] - start[0] == pytest.approx(100.0 / sheet.scale, rel=1e-9)
    up = ax.transData.transform([(0.0, 0.0), (0.0, 100.0)]) / figure.dpi * 25.4
    assert up[1][1] - up[0][1] == pytest.approx(100.0 / sheet.scale, rel=1e-9)
    assert tuple(figure.get_size_inches() * 25.4) == pytest.approx(PAPERS_MM[paper])
    bar = [p for p in ax.patches if np.isclose(np.ptp(p.get_path().vertices[:, 0]), 20.0)
           and p.get_path().vertices.shape[0] == 5]
    assert len(bar) >= 5


@pytest.mark.parametrize("make", ALL)
def test_no_label_leaves_the_sheet_or_covers_another(make: Callable[[], Case]) -> None:
    for sheet in (drawing_sheet(make()), *report_sheets(make())):
        with house_style():
            figure = sheet_figure(sheet)
            figure.draw_without_rendering()
            renderer = figure.canvas.get_renderer()
            boxes = [(t.get_text(), t.get_window_extent(renderer)) for t in figure.axes[0].texts]
        width, height = figure.get_size_inches() * figure.dpi
        for text, box in boxes:
            assert box.x0 >= 0 and box.y0 >= 0 and box.x1 <= width and box.y1 <= height, text
        for i, (one, a) in enumerate(boxes):
            for other, b in boxes[i + 1:]:
                wide = min(a.x1, b.x1) - max(a.x0, b.x0)
                high = min(a.y1, b.y1) - max(a.y0, b.y0)
                small = 0.25 * min(a.height, b.height)
                assert wide <= 1.0 or high <= small, f"{one!r} covers {other!r}"


@pytest.mark.parametrize("kind", KINDS)
def test_same_case_gives_the_same_bytes(kind: str) -> None:
    assert drawing_bytes(designs.case(), kind) == drawing_bytes(designs.case(), kind)


def test_verdicts_reach_the_drawing_by_hue_hatch_and_letter() -> None:
    case = designs.case()
    verdicts = {1: "rich", 2: "even", 3: "even", 4: "watch", 5: "lean"}
    sheet = drawing_sheet(case, verdicts)
    letters = {s.text for s in sheet.shapes if isinstance(s, Label) and s.cylinder}
    assert letters == {"1R", "2E", "3E", "4W", "5L"}
    with house_style():
        patches = sheet_figure(sheet, verdicts).axes[0].patches
    hatches = {p.get_hatch() for p in patches} - {None, ""}
    assert len(hatches) == 3


@pytest.mark.parametrize("make", ALL)
def test_no_cylinder_number_covers_another(make: Callable[[], Case]) -> None:
    case = make()
    verdicts = dict.fromkeys((r.cylinder for r in case.runners), "watch")
    for sheet in (drawing_sheet(case, verdicts), *report_sheets(case, verdicts)):
        ovals = [s for s in sheet.shapes if isinstance(s, Oval) and s.layer == "TEXT"]
        assert len(ovals) >= len(case.runners) / len(case.plenums)
        for one, other in itertools.combinations(ovals, 2):
            wide = abs(one.centre[0] - other.centre[0]) - one.half_along - other.half_along
            high = abs(one.centre[1] - other.centre[1]) - one.half_across - other.half_across
            assert max(wide, high) > -0.2 * sheet.scale, (one.centre, other.centre)


def test_page_of_a_long_two_row_plenum_is_drawn_large_enough_to_read() -> None:
    # its 470 mm are then a third of the width of the page or more
    (sheet,) = report_sheets(designs.v8_case())
    assert sheet.scale <= 8.0
    assert sheet.size_mm[1] <= TALLER * 215.0


def test_two_plenums_and_two_rows_say_how_they_are_seen() -> None:
    two, rows, single = designs.two_plenum_case(), designs.v8_case(), designs.case()
    captions = {case.title: {s.text for s in drawing_sheet(case).shapes if isinstance(s, Label)}
                for case in (two, rows, single)}
    assert "SIDE, from the left row" in captions[rows.title]
    assert "SIDE, from the back" in captions[single.title]
    assert SIDE_BY_SIDE in drawing_sheet(two).notes
    assert all(SIDE_BY_SIDE in sheet.notes for sheet in report_sheets(two))
    assert SIDE_BY_SIDE not in drawing_sheet(rows).notes


def test_svg_is_well_formed_and_a_hostile_title_is_text() -> None:
    title = "<script>alert(1)</script> & $x^2$ \\frac"
    text = drawing_bytes(designs.case(title=title), "svg")
    root = ElementTree.fromstring(text)
    assert not [e for e in root.iter() if e.tag.endswith("script")]
    sheet = drawing_sheet(designs.case(title=title))
    assert any(isinstance(s, Label) and s.text == title for s in sheet.shapes)


def test_dxf_reads_back_with_layers_and_true_sizes() -> None:
    import ezdxf

    case = designs.v8_case()
    text = drawing_bytes(case, "dxf").decode("utf-8")
    document = ezdxf.read(io.StringIO(text))
    assert document.audit().errors == []
    assert document.units == 4
    space = document.modelspace()
    layers = {e.dxf.layer for e in space}
    assert {"PLENUM", "RUNNER", "ENTRY", "PLATE", "CENTRE", "HIDDEN", "DIMENSION",
            "TEXT"} <= layers
    bodies = [np.array(e.get_points("xy")) for e in space.query("LWPOLYLINE[layer=='PLENUM']")]
    assert any(np.ptp(b[:, 0]) == pytest.approx(470.0) and np.ptp(b[:, 1]) == pytest.approx(200.0)
               for b in bodies)
    mouths = [e for e in space.query("CIRCLE[layer=='HIDDEN']")
              if e.dxf.radius == pytest.approx(31.0)]
    assert len(mouths) == 8
    words = " ".join(e.dxf.text for e in space.query("TEXT"))
    assert case.title in words


def test_unknown_kind_and_a_case_too_big_are_refused() -> None:
    with pytest.raises(ValueError, match="gif"):
        drawing_bytes(designs.case(), "gif")
    huge = Plenum(length_m=5.0, shape="round", sections=(designs.round_section(0.0, 3.9),))
    case = designs.case(plenums=(huge,), runners=tuple(
        designs.runner(n, 0.8 * n, length_m=2.0) for n in range(1, 6)))
    with pytest.raises(InputError, match="A4"):
        drawing_sheet(case, paper="A4")
