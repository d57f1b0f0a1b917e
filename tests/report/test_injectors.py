"""Injectors and walls on the drawing stand where the case says, and nowhere when it is silent."""

from __future__ import annotations

from typing import Any

import designs
import numpy as np
import pytest

from distrib.case.drawing import Drawing, Structure
from distrib.case.schema import Case
from distrib.report.drawing import drawing_bytes
from distrib.report.metal import Tube, metal_of
from distrib.report.shapes import Oval, Stroke, view
from distrib.report.sheet import drawing_sheet

PORT = designs.engine("inline-5", (1, 2, 4, 5, 3)).port_length_m


def fitted(back_m: float, aim: Any = "valve", bends: Any = None, **more: Any) -> Case:
    own = {} if bends is None else {"bends": bends}
    return designs.case(
        drawing=Drawing(injector_to_valve_m=back_m, injector_aim=aim),
        runners=tuple(designs.runner(n, 0.043 + 0.086 * (n - 1), **own) for n in range(1, 6)),
        **more)


def tip_of(tube: Tube) -> np.ndarray:
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(tube.points_m, axis=0),
                                                          axis=1))])
    return np.array([np.interp(tube.inside_m, run, tube.points_m[:, k]) for k in range(3)])


def strokes(shapes: list[Any], layer: str) -> list[Stroke]:
    return [s for s in shapes if isinstance(s, Stroke) and s.layer == layer]


def test_tip_stands_its_distance_from_the_valve_less_the_port_before_the_flange() -> None:
    metal = metal_of(fitted(0.150, bends=()), "main")
    assert len(metal.injectors) == 5
    for runner, injector in zip(metal.runners, metal.injectors, strict=True):
        tip, flange = tip_of(injector), runner.points_m[-1]
        assert flange[1] - tip[1] == pytest.approx(0.150 - PORT, abs=1e-9)
        assert tip[0] == pytest.approx(runner.points_m[0][0], abs=1e-9)
        bore = 0.042 + (0.040 - 0.042) * (tip[1] - runner.points_m[0][1]) / 0.30
        assert tip[2] == pytest.approx(bore / 2, abs=1e-9), "in the wall, on the upper side"
    note = next(n for n in metal.notes if n.startswith("Injectors"))
    assert "150 mm" in note and "95 mm" in note


@pytest.mark.parametrize(("aim", "cosine"), [("valve", np.cos(np.radians(25))), ("wall", 0.0)])
def test_injector_leans_by_what_its_spray_hits(aim: str, cosine: float) -> None:
    injector = metal_of(fitted(0.150, aim, bends=()), "main").injectors[0]
    spray = injector.points_m[0] - injector.points_m[-1]
    assert spray[1] / np.linalg.norm(spray) == pytest.approx(cosine, abs=1e-9)
    assert spray[2] < 0.0


def test_injector_sits_outside_the_bend() -> None:
    metal = metal_of(fitted(0.120), "main")
    line, injector = metal.runners[0].points_m, metal.injectors[0]
    heading = (line[-1] - line[-2]) / np.linalg.norm(line[-1] - line[-2])
    inner = np.array([0.0, heading[2], -heading[1]])  # from +y the runner turns down
    place = line[-1] - (0.120 - PORT) * heading
    bore = 0.042 + (0.040 - 0.042) * (0.30 - (0.120 - PORT)) / 0.30
    assert tip_of(injector) - place == pytest.approx(-0.5 * bore * inner, abs=1e-4)


def test_silent_case_shows_no_injector_and_no_wall() -> None:
    case = designs.case()
    metal = metal_of(case, "main")
    assert metal.injectors == () and metal.body.wall_m == 0.0
    assert not [n for n in metal.notes if "njector" in n or "wall" in n]
    layers = {getattr(s, "layer", "") for s in drawing_sheet(case).shapes}
    assert not layers & {"INJECTOR", "WALL"}


def test_tip_in_the_head_is_said_and_not_drawn() -> None:
    metal = metal_of(fitted(0.060), "main")
    assert metal.injectors == ()
    assert any("not drawn" in n and "60 mm" in n for n in metal.notes)


def test_tip_before_the_mouth_stands_on_its_axis_and_sprays_into_it() -> None:
    metal = metal_of(fitted(0.30 + PORT + 0.02, "mouth"), "main")
    for runner, injector in zip(metal.runners, metal.injectors, strict=True):
        wanted = runner.points_m[0] - np.array([0, 0.02, 0])
        assert tip_of(injector) == pytest.approx(wanted, abs=1e-4), "bends are polylines"
        assert injector.points_m[0] == pytest.approx(runner.points_m[0])


def test_injector_on_top_is_whole_in_plan_and_dashed_where_its_runner_hides_it() -> None:
    metal = metal_of(fitted(0.120), "main")
    plan, side, end = (view(metal, s) for s in ("plan", "side", "end"))
    for number in range(1, 6):
        runner = max(i for i, s in enumerate(plan) if getattr(s, "layer", "") == "RUNNER"
                     and getattr(s, "cylinder", None) == number)
        seen = [i for i, s in enumerate(plan) if getattr(s, "layer", "") == "INJECTOR"
                and getattr(s, "cylinder", None) == number]
        assert seen and min(seen) > runner
    assert any(isinstance(s, Stroke | Oval) and s.layer == "INJECTOR" for s in end)
    dashed = strokes(side, "HIDDEN")
    bodies = [s for s in dashed if np.ptp(s.points[:, 0]) == pytest.approx(15.0, abs=1e-6)]
    assert len(bodies) == 5


def test_near_row_covers_the_injectors_of_the_far_row() -> None:
    case = designs.v8_case().model_copy(
        update={"drawing": Drawing(injector_to_valve_m=0.14, injector_aim="valve")})
    side = view(metal_of(case, "main"), "side")

    def places(layer: str, cylinder: int) -> list[int]:
        return [i for i, s in enumerate(side) if getattr(s, "layer", "") == layer
                and getattr(s, "cylinder", None) == cylinder]

    assert max(places("INJECTOR", 2)) < min(places("RUNNER", 1))


def test_wall_is_a_second_line_one_thickness_outside() -> None:
    case = designs.case(structure=Structure(wall_thickness_m=0.004))
    metal = metal_of(case, "main")
    outer = strokes(view(metal, "plan"), "WALL")[0].points
    assert outer[:, 0].min() == pytest.approx(-4.0) and outer[:, 0].max() == pytest.approx(434.0)
    assert outer[:, 1].max() == pytest.approx(46.0 + 4.0)
    ends = [s for s in view(metal, "end") if isinstance(s, Oval) and s.layer == "WALL"]
    assert [o.half_along for o in ends] == [pytest.approx(50.0)]
    assert any("4 mm (0.16 in)" in note for note in metal.notes)


def test_plate_stands_where_the_case_places_it() -> None:
    from distrib.case.schema import Throttle

    case = designs.case(entries=(designs.side_entry(
        throttle=Throttle(bore_m=0.07, plate_angle_deg=90.0, to_plenum_m=0.06)),))
    metal = metal_of(case, "main")
    assert metal.plates[0].centre_m[0] == pytest.approx(-(0.08 + 0.06))
    assert not any("plate" in note for note in metal.notes)


def test_dxf_keeps_injectors_and_wall_on_layers_of_their_own() -> None:
    import io

    import ezdxf

    case = fitted(0.150, structure=Structure(wall_thickness_m=0.004))
    space = ezdxf.read(io.StringIO(drawing_bytes(case, "dxf").decode())).modelspace()
    assert {"INJECTOR", "WALL"} <= {e.dxf.layer for e in space}
