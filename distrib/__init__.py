"""Cylinder airflow distribution of intake manifolds: shares, lean risk and fuel trims.

The public names below are loaded when they are first used; `import distrib` costs nothing.
Functions take scalars or arrays of conditions and return frozen results of arrays with the
cylinder as last axis.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from distrib import losses as losses
    from distrib.answer import answer as answer
    from distrib.build.bench import solve_bench as solve_bench
    from distrib.build.engine import solve_engine as solve_engine
    from distrib.calibration.service import fit as fit
    from distrib.calibration.service import trims as trims
    from distrib.case.read import read_case as read_case
    from distrib.review.run import review as review
    from distrib.studies.designs import compare_designs as compare
    from distrib.studies.designsearch import search_case as improve
    from distrib.studies.sweep import sweep as sweep
    from distrib.verification.run import verify as verify

__version__ = "0.1.0"

PUBLIC: Final[dict[str, str]] = {
    "read_case": "distrib.case.read:read_case",
    "answer": "distrib.answer",
    "solve_bench": "distrib.build.bench:solve_bench",
    "solve_engine": "distrib.build.engine:solve_engine",
    "compare": "distrib.studies.designs:compare_designs",
    "sweep": "distrib.studies.sweep:sweep",
    "trims": "distrib.calibration.service:trims",
    "review": "distrib.review",
    "fit": "distrib.calibration.service:fit",
    "improve": "distrib.studies.designsearch:search_case",
    "verify": "distrib.verification.run:verify",
    "losses": "distrib.losses",
}
"""Every public name and where it stands: "module:attribute", or a package."""

__all__ = [
    "answer",
    "compare",
    "fit",
    "improve",
    "losses",
    "read_case",
    "review",
    "solve_bench",
    "solve_engine",
    "sweep",
    "trims",
    "verify",
]


def __getattr__(name: str) -> Any:
    if name not in PUBLIC:
        raise AttributeError(f"module 'distrib' has no attribute {name!r}")
    import importlib

    module, _, attribute = PUBLIC[name].partition(":")
    found = importlib.import_module(module)
    value = getattr(found, attribute) if attribute else found
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *PUBLIC})
