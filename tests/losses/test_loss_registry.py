"""The registry: every record complete, flags never silent, names helpful."""

from __future__ import annotations

import inspect

import numpy as np
import pytest

from distrib.errors import InputError
from distrib.losses import junctions
from distrib.losses.measured import series, series_names
from distrib.losses.registry import families, inputs_of, law, laws
from distrib.losses.sources import all_sources
from distrib.losses.validity import Flag, Range

ALL = laws()


@pytest.mark.parametrize("entry", ALL, ids=lambda e: e.name)
def test_record_is_complete(entry: object) -> None:
    assert entry.equation and entry.basis and entry.source.text  # type: ignore[attr-defined]
    assert entry.sigma_relative > 0.0 or entry.sigma_absolute > 0.0  # type: ignore[attr-defined]
    needed = set(inspect.signature(entry.function).parameters)  # type: ignore[attr-defined]
    optional = {n for n, p in inspect.signature(entry.function).parameters.items()  # type: ignore[attr-defined]
                if p.default is not inspect.Parameter.empty}
    assert set(entry.box) <= needed and needed - optional <= set(entry.box)  # type: ignore[attr-defined]
    if entry.source.kind in ("own estimate", "from memory"):  # type: ignore[attr-defined]
        assert entry.weak or entry.notes  # type: ignore[attr-defined]


@pytest.mark.parametrize("entry", ALL, ids=lambda e: e.name)
def test_middle_of_the_box_is_inside_and_finite(entry: object) -> None:
    middle = {}
    for name, limits in entry.box.items():  # type: ignore[attr-defined]
        positive = limits.low > 0.0
        middle[name] = (limits.low * limits.high) ** 0.5 if positive else (
            0.5 * (limits.low + limits.high))
    if entry.name == "branch.crane":  # type: ignore[attr-defined]
        middle |= {"beta2": 0.3}
    out = entry.evaluate(**middle)  # type: ignore[attr-defined]
    assert out.worst == Flag.INSIDE, out.note
    assert np.all(np.isfinite(out.value)) and np.all(out.sigma > 0.0)


def test_one_default_per_family_at_most() -> None:
    for family in families():
        assert sum(entry.default for entry in laws(family)) <= 1
    for family in ("friction", "branch", "run", "entrance", "bend", "diffuser", "expansion",
                   "contraction", "mitre", "takeoff", "throttle", "flange", "sheet"):
        assert law("auto", family).default


def test_outside_is_flagged_and_beyond_is_refused_not_clamped() -> None:
    out = law("entrance.idelchik").evaluate(radius_over_d=[0.1, 1.5, -0.1, np.nan])
    assert out.flag.tolist() == [Flag.INSIDE, Flag.EXTRAPOLATED, Flag.REFUSED, Flag.REFUSED]
    assert np.isfinite(out.value[:2]).all() and np.isnan(out.value[2:]).all()
    assert out.value[1] != law("entrance.idelchik").evaluate(radius_over_d=1.0).value
    assert "radius_over_d" in out.note


def test_joint_refusals() -> None:
    area = law("throttle.area").evaluate(plate_deg=[3.0, 30.0], closed_deg=5.0,
                                         shaft_over_bore=0.1)
    assert area.flag.tolist() == [Flag.REFUSED, Flag.INSIDE]
    tee = law("branch.crane").evaluate(q=0.3, beta2=[0.3, 0.6], theta_deg=90.0)
    assert tee.flag.tolist() == [Flag.INSIDE, Flag.REFUSED]


@pytest.mark.parametrize("name,nearest", [
    ("entrance.idelchick", "entrance.idelchik"), ("frictoin.haaland", "friction.haaland"),
    ("benddd.ito", "bend.ito")])
def test_unknown_name_names_the_nearest(name: str, nearest: str) -> None:
    with pytest.raises(InputError, match=nearest.replace(".", r"\.")):
        law(name)


def test_short_names() -> None:
    assert law("haaland").name == "friction.haaland"
    assert law("bassett", "run").name == "run.bassett"
    with pytest.raises(InputError, match="ambiguous"):
        law("rennels")
    with pytest.raises(InputError, match="branch"):
        law("auto", "brnch")


def test_wrong_inputs_are_named() -> None:
    with pytest.raises(InputError, match="radius_over_d"):
        law("entrance.idelchik").evaluate(radius_over_D=0.1)
    assert inputs_of(law("entrance.idelchik")) == ("radius_over_d",)


def test_range_limits_belong_to_the_range() -> None:
    limits = Range(0.0, 1.0, -1.0, 2.0)
    flags = limits.flags([-2.0, -1.0, 0.0, 1.0, 2.0, 2.1]).tolist()
    assert flags == [2, 1, 0, 0, 1, 2]


def test_sources_are_listed_once() -> None:
    keys = [s.key for s in all_sources()]
    assert len(keys) == len(set(keys))
    used = {entry.source.key for entry in ALL}
    assert used <= set(keys)


@pytest.mark.parametrize("name", series_names())
def test_measured_series_say_where_they_come_from(name: str) -> None:
    points = series(name)
    assert points.source and points.how and points.reading_error and points.title
    assert all(np.all(np.isfinite(v)) for v in points.columns.values())


def test_unknown_series_names_the_known() -> None:
    with pytest.raises(KeyError, match="tee_run_90"):
        series("tee_run")


@pytest.mark.parametrize("name", junctions.BRANCH_LAWS)
def test_branch_law_and_network_coefficients_are_one(name: str) -> None:
    q = np.linspace(0.0, 1.0, 7)
    by_law = law(name, "branch").evaluate(q=q, psi=2.0, theta_deg=90.0, radius_over_d=0.0)
    assert by_law.value == pytest.approx(
        junctions.branch_coefficients(name, 2.0, 90.0, 0.0).loss(q, 2.0))
