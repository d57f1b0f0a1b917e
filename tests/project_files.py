"""The project's own files, and what they import: for the tests of its structure."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "distrib"


@dataclass(frozen=True)
class Import:
    """One import statement: where it stands, what it means, and when it runs."""

    file: str
    line: int
    module: str
    at_import: bool
    for_types_only: bool

    def __str__(self) -> str:
        return f"{self.file}:{self.line} imports {self.module}"


def files() -> list[Path]:
    """All Python files of the package."""
    return sorted(PACKAGE.rglob("*.py"))


def dotted(path: Path) -> str:
    """Module name of a file of the package."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def section(module: str) -> str:
    """The part of the package that a module belongs to: `distrib.case.read` -> `case`."""
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else ""


@cache
def imports() -> tuple[Import, ...]:
    """Every import of every file, with `from a import b` read as `a.b` where that is a module."""
    return tuple(found for path in files()
                 for found in _walk(ast.parse(path.read_text("utf-8")), path, True, False))


def _walk(node: ast.AST, path: Path, at_import: bool, types_only: bool) -> Iterator[Import]:
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Import | ast.ImportFrom):
            for module in _modules(child):
                yield Import(str(path.relative_to(ROOT)), child.lineno, module,
                             at_import and not types_only, types_only)
        elif isinstance(child, ast.If) and "TYPE_CHECKING" in ast.dump(child.test):
            for inner in child.body:
                yield from _walk(ast.Module([inner], []), path, at_import, True)
            for inner in child.orelse:
                yield from _walk(ast.Module([inner], []), path, at_import, types_only)
        else:
            inside = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
            yield from _walk(child, path, at_import and not inside, types_only)


def _modules(node: ast.Import | ast.ImportFrom) -> list[str]:
    if isinstance(node, ast.Import):
        return [name.name for name in node.names]
    assert node.level == 0, "imports of the project are absolute"
    parent = str(node.module)
    folder = ROOT.joinpath(*parent.split("."))
    return sorted({f"{parent}.{name.name}" if (folder / f"{name.name}.py").is_file()
                   or (folder / name.name / "__init__.py").is_file() else parent
                   for name in node.names})
