"""Names in [losses]: each acts on the shares or the flow, or is refused with the nearest names."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from bench_designs import CENTER, DUCTED, SIDE, design, entry

from distrib.build.bench import solve_bench
from distrib.build.choices import ALLOWED, chosen
from distrib.case.change import to_toml
from distrib.case.notes import LossChoice
from distrib.case.schema import Case
from distrib.cli.app import main
from distrib.errors import InputError
from distrib.losses.registry import law


def everything(losses: dict[str, str] | None = None) -> Case:
    """A design in which every key of [losses] has something to act on."""
    made = entry(**SIDE, bends=[{"angle": "60 deg", "radius": "100 mm"}],
                 throttle={"bore": "65 mm", "plate_angle": "90 deg"},
                 baffle={"open_fraction": 0.6},
                 diffuser={"length": "60 mm", "exit_diameter": "74 mm"})
    steps = {"length": "390 mm", "profile": "step",
             "sections": [{"at": "0 mm", "diameter": "90 mm"},
                          {"at": "200 mm", "diameter": "75 mm"}]}
    return design(entries=[made], plenum=steps, losses=losses,
                  bends=[{"angle": "50 deg", "radius": "90 mm"}])


ACTING = [(key, name) for key, names in ALLOWED.items() for name in names]
SAME_AS_AUTO = {("branch", "composite"), ("run", "rennels"), ("friction", "blended"),
                ("entrance", "rennels"), ("bend", "rennels"), ("expansion", "rennels"),
                ("contraction", "rennels"), ("baffle", "idelchik")}
"""The laws that `auto` takes: they act, and give the same numbers."""


@pytest.fixture(scope="module")
def auto() -> np.ndarray:
    return solve_bench(everything()).air_kg_s[0]


@pytest.mark.parametrize(("key", "name"), ACTING)
def test_a_name_acts(auto: np.ndarray, key: str, name: str) -> None:
    found = solve_bench(everything({key: name}))
    assert found.converged.all()
    change = np.abs(found.air_kg_s[0] / auto - 1.0).max()
    if (key, name) in SAME_AS_AUTO:
        assert change == pytest.approx(0.0, abs=1e-12)
    else:
        assert change > 1e-5, "the choice changed nothing"


@pytest.mark.parametrize("key", list(ALLOWED))
def test_an_unknown_name_is_refused(key: str) -> None:
    with pytest.raises(InputError) as error:
        solve_bench(design(losses={key: "nonsense"}))
    (problem,) = error.value.problems
    assert problem.where == f"losses.{key}"
    assert all(name in problem.allowed for name in ("auto", *ALLOWED[key]))


def test_near_names_are_named_and_all_problems_come_at_once() -> None:
    with pytest.raises(InputError) as error:
        chosen(LossChoice(branch="basett", run="renels", bend="itoh"), "some.toml")
    hints = {p.where: p.hint for p in error.value.problems}
    assert "bassett" in hints["losses.branch"]
    assert "rennels" in hints["losses.run"]
    assert "ito" in hints["losses.bend"]
    assert {p.file for p in error.value.problems} == {"some.toml"}
    assert error.value.exit_code == 2


def test_registry_laws_that_the_build_cannot_use_are_refused() -> None:
    for key, name in (("friction", "churchill"), ("branch", "crane"), ("run", "regain"),
                      ("contraction", "conical"), ("throttle", "area"), ("jet", "borda")):
        with pytest.raises(InputError):
            chosen(LossChoice(**{key: name}))


def test_full_names_are_taken() -> None:
    found = chosen(LossChoice(branch="branch.bassett", bend="bend.ito", expansion="diffuser.crane",
                              baffle="sheet.contraction"))
    assert (found.branch, found.bend, found.expansion, found.baffle) == (
        "bassett", "ito", "crane", "contraction")


@pytest.mark.parametrize(("key", "family", "name"), [
    ("branch", "branch", "bassett"), ("run", "run", "bassett"), ("bend", "bend", "ito"),
    ("entrance", "entrance", "swamee"), ("expansion", "diffuser", "crane"),
    ("contraction", "contraction", "crane"), ("baffle", "sheet", "contraction"),
    ("throttle", "throttle", "loss"),
])
def test_the_result_names_the_source_of_the_chosen_law(key: str, family: str, name: str) -> None:
    found = solve_bench(everything({key: name}))
    assert law(f"{family}.{name}").source.key in {s.key for s in found.sources}


def test_no_jets_is_said_and_leaves_no_jet() -> None:
    for kind in (SIDE, CENTER | {"aim": "0 deg"}, DUCTED):
        case = design(entries=[entry(**kind)], losses={"jet": "none"})
        found = solve_bench(case)
        assert any("jet is left out" in text for text in found.warnings)
        assert not {"own"} & {s.key for s in found.sources}


def test_the_command_refuses_with_exit_code_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "case.toml"
    path.write_text(to_toml(design(losses={"branch": "basett"})), encoding="utf-8")
    assert main(["shares", str(path), "--model", "bench"]) == 2
    said = capsys.readouterr().err
    assert "bassett" in said
    assert "Traceback" not in said
