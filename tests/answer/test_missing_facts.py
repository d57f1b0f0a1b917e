"""Less data never gives more confidence: every optional fact of a case is left out in turn."""

from __future__ import annotations

import contextlib
import copy
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from distrib.answer import answer
from distrib.answer.facts import METAL, limits_of, missing_facts
from distrib.case.read import read_case, read_tree
from distrib.case.schema import Case
from distrib.errors import InputError
from distrib.fuelling.verdict import RANK

CASES = Path(__file__).resolve().parents[2] / "cases"
PARTS = ("bends", "throttle", "diffuser", "baffle", "name", "balance_tube")
"""Parts of the metal: without them the file describes another manifold, which lacks nothing. The
name of a part is no fact."""
SPEEDS = [4500.0, 5500.0, 6500.0, 7000.0]
DRAWS = 64


def optional_facts(case: Case) -> dict[str, Case]:
    """The case without each of its optional keys and tables of metal, engine and charge."""
    out: dict[str, Case] = {}

    def walk(path: tuple[str, ...], table: dict[str, Any]) -> None:
        for key, value in table.items():
            if key in PARTS or (isinstance(value, list) and value and isinstance(value[0], dict)):
                continue
            less = copy.deepcopy(dict(case.tree))
            inner: Any = less
            for step in path:
                inner = inner[step]
            del inner[key]
            with contextlib.suppress(InputError):  # raised where the key is not optional
                out[".".join((*path, key))] = read_tree(less, "less")
            if isinstance(value, dict):
                walk((*path, key), value)

    for name in METAL:
        if isinstance(case.tree.get(name), dict):
            walk((name,), case.tree[name])
    return out


def same_air(a: Case, b: Case) -> bool:
    """Whether two cases are read as the same metal, engine and charge."""
    wanted = {"wanted_rpm": None}
    return all(x == y for x, y in (
        (a.engine, b.engine), (a.plenums, b.plenums), (a.entries, b.entries),
        (a.runners, b.runners),
        (a.conditions.model_copy(update=wanted), b.conditions.model_copy(update=wanted))))


def gravest(found: Any) -> np.ndarray:
    """Rank of the gravest verdict of every cylinder over the speeds."""
    rank = np.vectorize(RANK.__getitem__)(found.verdict)
    return np.asarray(np.where(rank >= RANK["watch"], rank, 0).max(axis=0))


def test_what_is_left_out_is_listed_and_judged_sooner():
    case = read_case(CASES / "inline4_side.toml")
    assert missing_facts(case) == ()
    whole = limits_of(case)
    less = optional_facts(case)
    assert len(less) > 15
    for name, one in less.items():
        if same_air(case, one):
            continue
        assert missing_facts(one), name
        found = limits_of(one)
        assert found.lean_chance < whole.lean_chance
        assert found.watch_chance < whole.watch_chance
        assert found.watch_percent < whole.watch_percent
        assert found.lean_percent == whole.lean_percent


@pytest.mark.slow
@pytest.mark.parametrize("name", ["inline4_side", "inline5_center"])
def test_leaving_a_fact_out_never_narrows_a_band_and_never_softens_a_verdict(name):
    """Mean width of all bands, and the gravest verdict of every cylinder over the speeds."""
    case = read_case(CASES / f"{name}.toml")
    whole = answer(case, rpm=SPEEDS, draws=DRAWS)
    width = float(np.ptp(whole.band_percent, axis=-1).mean())
    wrong = []
    for fact, less in optional_facts(case).items():
        if same_air(case, less):
            continue
        found = answer(less, rpm=SPEEDS, draws=DRAWS)
        wider = float(np.ptp(found.band_percent, axis=-1).mean())
        softer = gravest(found) < gravest(whole)
        print(f"{fact}: width {width:.2f} -> {wider:.2f}, softer {softer.tolist()}")
        if wider < width or softer.any():
            wrong.append((fact, width, wider, softer.tolist()))
    assert wrong == []
