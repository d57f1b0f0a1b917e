"""Lower layers never import higher ones, and each outside library stays behind its fence.

The layers are declared once, for import-linter in pyproject.toml; here they are walked again so
that a plain run of the tests shows a breach, with imports inside functions counted too.
"""

from __future__ import annotations

import tomllib

import pytest
from project_files import ROOT, dotted, files, imports, section

CONTRACTS = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))[
    "tool"]["importlinter"]["contracts"]
LAYERS = [[part.strip() for part in line.split("|")] for line in CONTRACTS[0]["layers"]]
HEIGHT = {part: len(LAYERS) - i for i, line in enumerate(LAYERS) for part in line}

FENCES = {
    "networkx": {"network", "build"},
    "numba": {"kernels", "vectors", "unsteady"},
    "llvmlite": {"vectors", "unsteady"},
    "typer": {"cli"},
    "rich": {"cli"},
    "tomllib": {"case", "calibration"},
    "pydantic": {"case"},
    "pint": {"units"},
    "matplotlib": {"report", "verification"},
    "jinja2": {"report"},
    "ezdxf": {"report"},
    "distributed": {"studies"},
    "dask": {"studies"},
    "pyarrow": {"studies"},
    "scipy.optimize": {"studies", "calibration"},
    "scipy.stats": {"studies", "calibration"},
}
"""Where an outside library may be imported; it keeps the rest free of its cost and its habits."""


def test_every_part_has_a_layer() -> None:
    assert {section(dotted(path)) for path in files()} - {""} == set(HEIGHT)


def test_no_import_goes_up_or_sideways() -> None:
    breaches = []
    for found in imports():
        if not found.module.startswith("distrib.") or found.for_types_only:
            continue
        own, other = section(found.file.replace("/", ".").removesuffix(".py")), section(
            found.module)
        if own in ("", "__init__") or other not in HEIGHT or own == other:
            continue
        if HEIGHT[own] <= HEIGHT[other]:
            breaches.append(str(found))
    assert breaches == []


@pytest.mark.parametrize("contract", CONTRACTS[1:], ids=lambda c: c["name"])
def test_forbidden_imports(contract: dict[str, list[str]]) -> None:
    sources, forbidden = contract["source_modules"], contract["forbidden_modules"]
    breaches = [
        str(found) for found in imports() if not found.for_types_only
        and any(dotted(ROOT / found.file).startswith(s) for s in sources)
        and any(found.module.startswith(f) for f in forbidden)]
    assert breaches == []


def test_libraries_stay_behind_their_fences() -> None:
    breaches = []
    for found in imports():
        for library, allowed in FENCES.items():
            inside = found.module == library or found.module.startswith(f"{library}.")
            part = section(dotted(ROOT / found.file))
            if inside and part not in allowed and not found.for_types_only:
                breaches.append(str(found))
    assert breaches == []


def test_the_reader_of_imports_sees_every_form() -> None:
    by_file = {(found.file, found.module): found for found in imports()}
    assert by_file["distrib/__init__.py", "distrib.losses"].for_types_only
    assert not by_file["distrib/kernels.py", "numba"].at_import
    assert by_file["distrib/errors.py", "dataclasses"].at_import
