"""`distrib new`: write a commented starter case, the reference page or the JSON Schema."""

from __future__ import annotations

from typing import Annotated

import typer


def new(
    layout: Annotated[
        str | None,
        typer.Argument(help="inline-3 to inline-6, v6, v8, flat-4, flat-6.", show_default=False),
    ] = None,
    entry: Annotated[str | None, typer.Argument(help="side or center.", show_default=False)] = None,
    out: Annotated[
        str | None, typer.Option("--out", "-o", help="File to write, or - ; LAYOUT-ENTRY.toml.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace a file that exists.")] = False,
    reference: Annotated[
        bool, typer.Option("--reference", help="Write the page of the format instead.")
    ] = False,
    schema: Annotated[
        bool, typer.Option("--schema", help="Write the JSON Schema of the format instead.")
    ] = False,
) -> None:
    """Write a starter case with every field explained, realistic in every dimension."""
    if reference or schema:
        _write(_page(schema), out or "-", force)
        return
    from distrib.case.template import starter

    name = f"{layout or ''}-{entry or ''}.toml"
    _write(starter(layout or "", entry or ""), out or name, force)


def _page(schema: bool) -> str:
    if schema:
        from distrib.case.jsonschema import schema_text

        return schema_text()
    from distrib.case.reference import reference_page

    return reference_page()


def _write(text: str, out: str, force: bool) -> None:
    import sys
    from pathlib import Path

    from distrib.cli.output import note, wrote
    from distrib.errors import InputError, Problem
    from distrib.files import write_text_atomic

    if out == "-":
        sys.stdout.write(text)
        return
    if Path(out).exists() and not force:
        raise InputError(
            [Problem("out", "a file that exists", "a new file", "or give --force", file=out)]
        )
    write_text_atomic(out, text)
    wrote(out)
    if out.endswith(".toml"):
        note(f"next: distrib check {out}; then distrib shares {out}")
