"""Everything uncertain and every dimension of a case together, against closed forms."""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from distrib.build.draws import Draws
from distrib.case.read import read_case
from distrib.case.schema import Case
from distrib.report.document import Bullets
from distrib.report.influences import effect_picture, index_picture, influence_words
from distrib.report.save import house_style, new_figure
from distrib.report.sections import _influences
from distrib.results import FloatArray
from distrib.studies.influences import Influences, influences
from distrib.studies.sampled import Sampled

CASES = Path(__file__).resolve().parents[2] / "cases"
KNOWN = "test_influences:known_sampler"


def known_sampler(case: Case, rpm: FloatArray | None, draws: Draws, threads: int = 1) -> Sampled:
    """Spread 100 q, lambda of the leanest cylinder target (1 + q/2), with
    q = 0.2 + 2 (W - 0.08) + (L - 0.43) + 0.02 a + 0.01 b: W, L the plenum's width and length in m,
    a a law, b a tolerance."""
    plenum = case.plenums[0]
    width = plenum.sections[0].width_m
    assert width is not None
    a, b = (np.atleast_1d(np.asarray(draws.z(n))) for n in ("law.run", "made.port.2"))
    q = 0.2 + 2.0 * (width - 0.08) + (plenum.length_m - 0.43) + 0.02 * a + 0.01 * b
    air = np.ones((q.size, 1, 4))
    air[:, 0, 0] += q / 2.0
    air[:, 0, 3] -= q / 2.0
    return Sampled(np.arange(1, 5), air)


@pytest.fixture(scope="module")
def case() -> Case:
    case = read_case(CASES / "inline4_side.toml")
    keep = tuple(r for r in case.search if r.parameter in ("plenum.length", "plenum.width"))
    return case.model_copy(update={"search": keep})


@pytest.fixture(scope="module")
def found(case: Case) -> Influences:
    return influences(case, KNOWN, base=128, paths=4)


def test_parts_of_the_variance_are_those_of_the_sum(found: Influences) -> None:
    """a has four times the variance of b, and nothing acts jointly: 0.8 and 0.2 of both figures."""
    assert found.uncertain.inputs == ("law.run", "made.port.2")
    for k in (0, 1):
        np.testing.assert_allclose(found.uncertain.total[:, k], [0.8, 0.2], atol=0.02)
        np.testing.assert_allclose(found.uncertain.first[:, k], [0.8, 0.2], atol=0.05)


def test_effect_of_a_straight_dimension_is_its_slope_times_its_range(
        found: Influences, case: Case) -> None:
    effects = found.dimensions
    assert effects is not None and effects.inputs == ("plenum.length", "plenum.width")
    width, length = 0.1 - 0.064, 0.48 - 0.38
    np.testing.assert_allclose(effects.size[:, 0], [100.0 * length, 200.0 * width], rtol=1e-2)
    lean = case.fuel.lambda_target / 2.0
    np.testing.assert_allclose(effects.size[:, 1], [lean * length, 2.0 * lean * width], rtol=1e-2)
    assert found.ranges == ("380 to 480 mm", "64 to 100 mm")


def test_usual_dimensions_stand_in_where_none_are_marked(case: Case) -> None:
    bare = case.model_copy(update={"search": ()})
    found = influences(bare, KNOWN, base=16, paths=3)
    assert found.dimensions is not None and "plenum.width" in found.dimensions.inputs
    at = found.dimensions.inputs.index("plenum.width")
    now = case.plenums[0].sections[0].width_m
    assert now is not None
    assert found.dimensions.size[at, 0] == pytest.approx(200.0 * 0.2 * now, rel=1e-2)
    assert found.ranges[at].startswith("-10 / +10 %")


def test_ranges_without_designs_are_said(case: Case) -> None:
    narrow = tuple(r.model_copy(update={"low": 0.01, "low_text": "10 mm", "high": 0.012,
                                        "high_text": "12 mm"})
                   if r.parameter == "plenum.width" else r for r in case.search)
    found = influences(case.model_copy(update={"search": narrow}), KNOWN, base=16, paths=3)
    assert found.dimensions is None and "plenum.width" in found.why_none
    assert any("not screened" in text for text in influence_words(found))


def test_words_and_bars_say_the_figures(found: Influences) -> None:
    words = influence_words(found)
    assert "512 draws" in words[0]
    said = r"Pressure regained past each mouth accounts for (79|8[012]) % of the"
    assert re.match(said, words[1])
    assert any("Plenum length (380 to 480 mm) moves the spread by 10.0 points" in t
               for t in words)
    picture = index_picture(found, "i")
    assert re.match(r"pressure regained past each mouth (79|8[012]) % of the", picture.words)
    assert found.dimensions is not None
    other = effect_picture(found.dimensions, found.ranges, "e")
    with house_style():
        figure = new_figure(picture.width_in, picture.height_in)
        picture.draw(figure)
        figure.draw_without_rendering()
        spread, leanest = figure.axes
        assert max(p.get_width() for p in spread.patches) == pytest.approx(80.0, abs=2.0)
        assert max(p.get_width() for p in leanest.patches) == pytest.approx(80.0, abs=2.0)
        figure = new_figure(other.width_in, other.height_in)
        other.draw(figure)
        assert max(p.get_width() for p in figure.axes[0].patches) == pytest.approx(10.0, rel=1e-2)


def test_report_shows_them(found: Influences) -> None:
    blocks = _influences(found, 0)
    assert isinstance(blocks[0], Bullets) and len(blocks) == 3
    none = SimpleNamespace(**{**vars(found), "dimensions": None})
    assert len(_influences(none, 0)) == 2  # type: ignore[arg-type]
