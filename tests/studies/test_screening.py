"""Sensitivity against closed forms, a general-purpose library and a published screening."""

from __future__ import annotations

import numpy as np
import pytest

from distrib.errors import InputError
from distrib.studies.known import morris_function
from distrib.studies.plan import Dimension
from distrib.studies.screening import Paths, elementary_effects


def test_screening_of_a_straight_line_is_exact() -> None:
    plan = Paths((Dimension("a", bounds=(0.0, 2.0)), Dimension("b", bounds=(5.0, 6.0)),
                  Dimension("c", bounds=(-1.0, 1.0))), paths=5)
    points = np.concatenate(list(plan.blocks(7)))
    assert points.shape == (20, 3)
    assert (points[:, 1] >= 5.0).all() and (points[:, 1] <= 6.0).all()
    found = elementary_effects(plan, ["y"], points @ np.array([[3.0], [-4.0], [0.0]]))
    np.testing.assert_allclose(found.mean[:, 0], [6.0, -4.0, 0.0], atol=1e-12)
    np.testing.assert_allclose(found.size[:, 0], [6.0, 4.0, 0.0], atol=1e-12)
    np.testing.assert_allclose(found.scatter, 0.0, atol=1e-12)


def test_screening_sorts_the_published_function_as_published() -> None:
    plan = Paths(tuple(Dimension(f"x{i + 1}", bounds=(0.0, 1.0)) for i in range(20)), paths=20)
    values = morris_function(np.concatenate(list(plan.blocks(64))))
    found = elementary_effects(plan, ["y"], values)
    size, scatter = found.size[:, 0], found.scatter[:, 0]
    assert size[:10].min() > 3.0 * size[10:].max()  # ten inputs matter
    assert scatter[:7].min() > 3.0 * scatter[7:10].max()  # seven of them bent or jointly
    np.testing.assert_allclose(found.mean[7:10, 0], 40.0, rtol=0.15)  # 20 times w's range of 2


def test_screening_leaves_out_single_steps_only() -> None:
    plan = Paths((Dimension("a", bounds=(0.0, 1.0)), Dimension("b", bounds=(0.0, 1.0))), paths=4)
    values = np.concatenate(list(plan.blocks(12))) @ np.array([[3.0], [-4.0]])
    values[2] = np.nan  # last point of the first path: one step of one input is gone
    found = elementary_effects(plan, ["y"], values)
    assert sorted(found.used.tolist()) == [3, 4]
    np.testing.assert_allclose(found.mean[:, 0], [3.0, -4.0], atol=1e-12)
    with pytest.raises(InputError, match="screening of a: read 0 effects"):
        elementary_effects(plan, ["y"], np.full((12, 1), np.nan))
