"""`distrib mapping`: a mapping file for a log, to complete."""

from __future__ import annotations

from typing import Annotated

import typer


def mapping(
    log: Annotated[str, typer.Argument(help="Engine log (CSV).", metavar="LOG")],
    out: Annotated[
        str, typer.Option("--out", "-o", help="Mapping file to write (TOML); never an old one.")
    ],
) -> None:
    """Read the columns of a log and write a commented mapping to complete.

    Nothing is guessed: names that look like a channel stand beside it as candidates. The mapping
    goes to `distrib trims --log` and `distrib fit --log`.
    """
    from pathlib import Path

    from distrib.calibration.draft import draft_mapping, read_columns
    from distrib.cli.output import wrote
    from distrib.cli.targets import check_targets
    from distrib.errors import InputError, Problem
    from distrib.files import write_text_atomic

    check_targets((log,), {"--out": out})
    if Path(out).exists():
        raise InputError([Problem("--out", f'"{out}", which exists', "a new file",
                                  "a mapping that was completed is never written over")])
    found = read_columns(log)
    write_text_atomic(out, draft_mapping(found))
    wrote(out)
    print(f"{len(found.names)} columns from line {found.header_line}. Complete every \"?\", then "
          f"distrib trims CASE --log {log} --mapping {out}")
