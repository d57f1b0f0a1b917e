"""Files stay short enough to be read: a hard stop, not an aim."""

from __future__ import annotations

import ast

from project_files import ROOT, files

HARD_STOP_LINES = 500
FUNCTION_LINES = 100
"""Hard stop for one function with its docstring; the aim is 60 for its body."""


def test_no_file_passes_the_hard_stop() -> None:
    lengths = {str(path.relative_to(ROOT)): len(path.read_text("utf-8").splitlines())
               for path in files()}
    assert lengths
    assert {name: n for name, n in lengths.items() if n > HARD_STOP_LINES} == {}


def test_no_function_passes_the_hard_stop() -> None:
    long = {}
    for path in files():
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                lines = (node.end_lineno or node.lineno) - node.lineno + 1
                if lines > FUNCTION_LINES:
                    long[f"{path.relative_to(ROOT)}: {node.name}"] = lines
    assert long == {}
