"""`jet` of an entry: a factor on the jet law. Limits, linearity, draws, reading.

Exact by construction of the field (0 no jet, 1 the law); no number of the law itself is tested.
"""

from __future__ import annotations

from typing import Any

import jsonschema
import numpy as np
import pytest
from bench_designs import CENTER, DUCTED, SIDE, design, entry, shares

from distrib.build.draws import NOMINAL, Draws
from distrib.build.entry_jets import law_sigma, mouth_jets
from distrib.build.graph import build_graph
from distrib.case.change import to_toml
from distrib.case.jsonschema import json_schema
from distrib.case.read import read_text
from distrib.case.schema import Case, Given
from distrib.errors import InputError
from distrib.losses.jets import SIGMA_CENTER, SIGMA_SIDE
from distrib.studies.sampled import GivenDraws

PART: dict[str, Any] = {"bore": "65 mm", "plate_angle": "40 deg", "shaft": "across"}
ENTRIES: dict[str, dict[str, Any]] = {
    "side": entry(**SIDE), "center": entry(**CENTER | {"at": "170 mm", "aim": "0 deg"}),
    "ducted": entry(**DUCTED), "part-open": entry(**CENTER, throttle=PART | {"throws": "far"}),
}
KEYS = ("side", "center", "ducted", "part-open")


def coefficients(case: Case, draws: Draws = NOMINAL) -> np.ndarray:
    """Jet coefficients of the graph as built, one row for every mouth that has one."""
    graph = build_graph(case, draws).graph
    found = [c for _, _, c, _ in graph.graph["jets"]]
    assert found
    return np.array([np.broadcast_to(c, max(draws.samples, 1)) for c in found])


@pytest.mark.parametrize("kind", KEYS)
def test_no_strength_is_no_jet(kind: str) -> None:
    none = shares(design(entries=[ENTRIES[kind]], losses={"jet": "none"}))
    law = shares(design(entries=[ENTRIES[kind]]))
    off = shares(design(entries=[ENTRIES[kind] | {"jet": 0}]))
    assert off == pytest.approx(none, abs=1e-12)
    assert np.abs(law - none).max() > 1e-5  # or the comparison above would say nothing


@pytest.mark.parametrize("kind", KEYS)
def test_strength_one_is_the_law(kind: str) -> None:
    law = shares(design(entries=[ENTRIES[kind]]))
    one = shares(design(entries=[ENTRIES[kind] | {"jet": 1.0}]))
    assert np.array_equal(law, one)


@pytest.mark.parametrize("kind", KEYS)
def test_coefficients_are_proportional_to_the_strength(kind: str) -> None:
    law = coefficients(design(entries=[ENTRIES[kind]]))
    strong = coefficients(design(entries=[ENTRIES[kind] | {"jet": 1.7}]))
    assert strong == pytest.approx(1.7 * law, rel=1e-12)


def test_given_sigma_replaces_the_law_s() -> None:
    case = design(entries=[ENTRIES["side"] | {"jet": {"value": 0.8, "sigma": 0.1}}])
    law = coefficients(design(entries=[ENTRIES["side"]]))
    draws = GivenDraws(samples=2, given={
        "given.entry.entry.jet": np.array([0.0, 1.5]), "law.jet.side": np.array([3.0, 3.0])})
    assert coefficients(case, draws) == pytest.approx(law * np.array([0.8, 0.95]), rel=1e-12)
    plain = design(entries=[ENTRIES["side"] | {"jet": 0.8}])  # a tenth, as other given values
    assert coefficients(plain, draws) == pytest.approx(law * np.array([0.8, 0.92]), rel=1e-12)


def test_sign_of_the_throw_stays_open() -> None:
    """Which way a part-open plate throws the stream is not what the strength says."""
    case = design(entries=[entry(**CENTER, throttle=PART, jet={"value": 0.5, "sigma": 0.0})])
    thrown = mouth_jets(case.entries[0], case.plenums[0], list(case.runners)).thrown
    draws = GivenDraws(samples=2, given={"law.throw.entry": np.array([1.0, -1.0])})
    both = coefficients(case, draws)
    assert both[:, 0] - both[:, 1] == pytest.approx(thrown, rel=1e-9, abs=1e-15)


def test_law_sigma_is_that_of_the_law() -> None:
    for kind, sigma in (("side", SIGMA_SIDE), ("center", SIGMA_CENTER)):
        case = design(entries=[ENTRIES[kind]])
        assert law_sigma(case.entries[0], case.plenums[0], list(case.runners)) == pytest.approx(
            sigma, rel=1e-12)
    as_wide = design(entries=[entry(**SIDE) | {"diameter": "80 mm"}])
    assert law_sigma(as_wide.entries[0], as_wide.plenums[0], list(as_wide.runners)) == 0.0


@pytest.mark.parametrize(("raw", "expected"), [
    (1.2, Given(value=1.2)), ({"value": 0.7, "sigma": 0.2}, Given(value=0.7, sigma=0.2)),
    (0, Given(value=0.0)),
])
def test_read_and_written(raw: Any, expected: Given) -> None:
    case = design(entries=[entry(**SIDE, jet=raw)])
    assert case.entries[0].jet == expected
    assert read_text(to_toml(case), "again.toml").entries[0].jet == expected
    jsonschema.validate(raw, _jet_schema(json_schema()))


@pytest.mark.parametrize(("raw", "message"), [
    (-0.1, "0 to 5"), (5.1, "0 to 5"), ("strong", "a number, 0 to 5"), (True, "a number, 0 to 5"),
    ({"sigma": 0.1}, "no value"), ({"value": 1.0, "sigma": -0.1}, "0 or more"),
    ({"value": 1.0, "sgma": 0.1}, "sigma"),
])
def test_refused(raw: Any, message: str) -> None:
    with pytest.raises(InputError, match="jet") as caught:
        design(entries=[entry(**SIDE, jet=raw)])
    assert message in str(caught.value)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(raw, _jet_schema(json_schema()))


def _jet_schema(schema: dict[str, Any]) -> dict[str, Any]:
    """The schema of the field, wherever it stands first."""
    stack: list[Any] = [schema]
    while stack:
        node = stack.pop()
        if isinstance(node, dict):
            found = node.get("properties", {}).get("jet")
            if isinstance(found, dict) and "factor on the jet law" in str(found):
                return found
            stack += node.values()
        elif isinstance(node, list):
            stack += node
    raise AssertionError("no jet in the schema")
