"""The public names: few, fixed, loaded when first used, and never hidden by a package."""

from __future__ import annotations

import ast
import inspect
import subprocess
import sys
from pathlib import Path

import pytest
from project_files import PACKAGE

import distrib

NAMES = {"read_case", "answer", "solve_bench", "solve_engine", "compare", "sweep", "trims",
         "review", "fit", "improve", "verify", "losses"}
CALLABLE_PACKAGES = {"answer", "review"}


def in_a_new_process(code: str) -> str:
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    return done.stdout.strip()


def test_the_list_is_fixed() -> None:
    assert set(distrib.__all__) == set(distrib.PUBLIC) == NAMES
    assert set(dir(distrib)) >= NAMES


@pytest.mark.parametrize("name", sorted(NAMES))
def test_every_name_is_there_and_documented(name: str) -> None:
    value = getattr(distrib, name)
    assert callable(value) or name == "losses"
    assert inspect.getdoc(value)
    assert getattr(distrib, name) is value


@pytest.mark.parametrize("name", sorted(NAMES - {"losses"} - CALLABLE_PACKAGES))
def test_signatures_are_typed(name: str) -> None:
    signature = inspect.signature(getattr(distrib, name))
    assert signature.return_annotation is not inspect.Signature.empty
    untyped = [p for p in signature.parameters.values() if p.annotation is p.empty]
    assert untyped == []


def test_types_and_table_name_the_same_objects() -> None:
    """What a type checker is told equals what is loaded."""
    block = next(node for node in ast.parse((PACKAGE / "__init__.py").read_text("utf-8")).body
                 if isinstance(node, ast.If))
    told = {}
    for node in block.body:
        assert isinstance(node, ast.ImportFrom)
        for name in node.names:
            told[name.asname] = (f"distrib.{name.name}" if node.module == "distrib"
                                 else f"{node.module}:{name.name}")
    told |= {name: f"distrib.{name}" for name in CALLABLE_PACKAGES}
    assert told == distrib.PUBLIC


def test_an_unknown_name_is_refused() -> None:
    with pytest.raises(AttributeError, match="no attribute 'solve_everything'"):
        distrib.solve_everything  # noqa: B018


@pytest.mark.parametrize("name", sorted(CALLABLE_PACKAGES))
def test_a_package_of_a_public_name_stays_callable_whoever_loads_it_first(name: str) -> None:
    code = (f"import distrib.{name}.run, distrib\n"
            f"print(callable(distrib.{name}), callable(distrib.{name}.run.{name}))")
    assert in_a_new_process(code) == "True True"


@pytest.mark.parametrize("name", sorted(CALLABLE_PACKAGES))
def test_a_package_of_a_public_name_is_called_as_its_function(name: str) -> None:
    package = getattr(distrib, name)
    function = getattr(package.run, name)
    signature = inspect.signature(function)
    assert signature.return_annotation is not inspect.Signature.empty
    assert all(p.annotation is not p.empty for p in signature.parameters.values())
    with pytest.raises(TypeError, match=f"{name}\\(\\)"):
        package()


def test_laws_are_reached_by_name() -> None:
    entry = distrib.losses.law(distrib.losses.laws()[0].name)
    assert entry.source.text


def test_the_demo_case_goes_through_the_public_names(demo_case: object, demo_path: Path) -> None:
    assert distrib.read_case(demo_path) == demo_case
    assert distrib.solve_bench(demo_case).converged.all()  # type: ignore[arg-type]
