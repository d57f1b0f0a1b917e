"""Importing the project changes no setting of the process, and costs next to nothing."""

from __future__ import annotations

import subprocess
import sys

import pytest
from project_files import dotted, files

from distrib.cli.app import COMMANDS

HEAVY = ("numpy", "scipy", "numba", "matplotlib", "pydantic", "pint", "networkx", "pandas",
         "jinja2", "rich", "ezdxf", "dask")

SETTINGS = """
import logging, os, random, signal, sys, warnings, locale, decimal
import numpy as np

def settings():
    return {
        "numpy errors": np.geterr(), "numpy printing": np.get_printoptions(),
        "numpy random": np.random.get_state()[1].tolist(), "random": random.getstate(),
        "warnings": list(warnings.filters), "level": logging.getLogger().level,
        "handlers": list(logging.getLogger().handlers), "disabled": logging.root.manager.disable,
        "environment": dict(os.environ), "hook": sys.excepthook, "recursion":
        sys.getrecursionlimit(), "interrupt": signal.getsignal(signal.SIGINT),
        "locale": locale.setlocale(locale.LC_ALL), "decimal": str(decimal.getcontext()),
        "folder": os.getcwd(),
    }
"""


def python(code: str, *options: str) -> str:
    done = subprocess.run([sys.executable, *options, "-c", code], check=True,
                          capture_output=True, text=True)
    return done.stdout.strip()


def test_import_changes_no_setting() -> None:
    """Every module of the project together, next to the libraries it uses."""
    libraries = "import numba, matplotlib, pint, pydantic, scipy.optimize, scipy.stats, networkx"
    modules = [m for m in map(dotted, files()) if m != "distrib.studies.cluster"]
    code = (f"{libraries}\nimport matplotlib.figure, ezdxf, jinja2, rich, typer\n{SETTINGS}\n"
            f"import importlib\nimportlib.import_module('distrib.kernels')\nbefore = settings()\n"
            f"cache, backend = numba.config.CACHE_DIR, matplotlib.rcParams.copy()\n"
            f"for name in {modules!r}:\n    importlib.import_module(name)\n"
            f"after = settings()\n"
            f"assert numba.config.CACHE_DIR == cache and matplotlib.rcParams.copy() == backend\n"
            f"print([name for name in before if before[name] != after[name]])")
    assert python(code) == "[]"


@pytest.mark.parametrize("module", ["distrib", "distrib.cli.app"])
def test_import_loads_nothing_heavy(module: str) -> None:
    code = (f"import sys, {module}\n"
            f"print([m for m in {HEAVY!r} if m in sys.modules])")
    assert python(code, "-W", "error") == "[]"


def test_the_help_of_no_command_loads_anything_heavy() -> None:
    """What a command needs is imported when it runs; typer may bring rich along."""
    modules = ", ".join(command.module for command in COMMANDS.values())
    heavy = [name for name in HEAVY if name != "rich"]
    code = f"import sys, {modules}\nprint([m for m in {heavy!r} if m in sys.modules])"
    assert python(code) == "[]"


def test_importing_the_command_line_prints_nothing() -> None:
    done = subprocess.run([sys.executable, "-W", "error", "-c", "import distrib, distrib.cli.app"],
                          check=True, capture_output=True, text=True)
    assert (done.stdout, done.stderr) == ("", "")
