"""`distrib draw`: the design to scale, as SVG, PNG, PDF or DXF."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from distrib.fuelling.verdict import Verdict


def draw(
    case: Annotated[str, typer.Argument(help="Case file (TOML).", metavar="CASE")],
    output: Annotated[
        str, typer.Option("-o", "--output", help="File to write: .svg, .png, .pdf or .dxf.")
    ],
    shares: Annotated[
        str | None,
        typer.Option("--shares", help="Colour the runners by a result of `shares --json`.",
                     metavar="JSON"),
    ] = None,
    paper: Annotated[
        str, typer.Option("--paper", help="Sheet: A3, A4, Letter or Tabloid, landscape.")
    ] = "A3",
    json: Annotated[
        str | None, typer.Option("--json", help="Write what was drawn as JSON to a file, or - .")
    ] = None,
) -> None:
    """Draw plan, side and end view to scale, with sections and dimensions in mm and in."""
    from distrib.case.read import read_case
    from distrib.cli.output import emit_json, wrote
    from distrib.errors import InputError, Problem
    from distrib.files import write_bytes_atomic
    from distrib.report.drawing import KINDS, drawing_bytes
    from distrib.report.sheet import PAPERS_MM, drawing_sheet

    kind = Path(output).suffix.removeprefix(".").lower()
    problems = []
    if kind not in KINDS:
        problems.append(Problem("--output", f'"{output}"', "a name that ends in "
                                + ", ".join(f".{k}" for k in KINDS)))
    if paper not in PAPERS_MM:
        problems.append(Problem("--paper", f'"{paper}"', ", ".join(PAPERS_MM)))
    if problems:
        raise InputError(problems)
    design = read_case(case)
    verdicts = None if shares is None else read_verdicts(
        shares, [runner.cylinder for runner in design.runners])
    write_bytes_atomic(output, drawing_bytes(design, kind, verdicts, paper))
    wrote(output)
    if json is not None:
        sheet = drawing_sheet(design, verdicts, paper)
        emit_json(json, {
            "case": case, "title": design.title, "file": output, "kind": kind, "paper": paper,
            "scale": sheet.scale, "views": ["plan", "side", "end"],
            "cylinders": [runner.cylinder for runner in design.runners], "notes": sheet.notes})


def read_verdicts(path: str, cylinders: list[int]) -> dict[int, Verdict]:
    """Verdicts by cylinder from a file that `shares --json` wrote.

    Raises InputError when the file is no such result or lacks one of the cylinders.
    """
    from typing import cast

    from distrib.errors import InputError, Problem
    from distrib.files import read_json
    from distrib.fuelling.verdict import WORDS

    try:
        data = read_json(path)
        found = {int(row["cylinder"]): str(row["verdict"]) for row in data["cylinders"]}
    except (ValueError, KeyError, TypeError) as error:
        raise InputError([Problem("--shares", f"{path} ({type(error).__name__})",
                                  "a result written by `distrib shares --json`")]) from None
    wrong = [n for n in cylinders if found.get(n) not in WORDS]
    if wrong:
        names = ", ".join(str(n) for n in wrong)
        raise InputError([Problem("--shares", f"{path}: no verdict for cylinder {names}",
                                  "a result of the same case that converged")])
    return {n: cast("Verdict", found[n]) for n in cylinders}
