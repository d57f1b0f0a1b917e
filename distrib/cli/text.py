"""Tables on a terminal of any width, and the same as plain text when piped."""

from __future__ import annotations

import shutil
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from distrib.report.grid import Table

PIPE_WIDTH = 100
"""Width that piped tables are fitted to."""


def width() -> int:
    """Columns to fill: those of the terminal, or PIPE_WIDTH when piped."""
    if sys.stdout.isatty():
        return max(shutil.get_terminal_size().columns, 40)
    return PIPE_WIDTH


def print_table(table: Table) -> None:
    """Print a table fitted to the terminal; notes below it wrapped."""
    import textwrap

    from distrib.cli.output import table as show
    from distrib.report.grid import fit_columns, plain_text

    fitted = fit_columns(table, width() - (3 * len(table.columns) if sys.stdout.isatty() else 0))
    notes = fitted.notes
    if sys.stdout.isatty():
        show(fitted.title, [c.heading for c in fitted.columns], fitted.rows)
    else:
        from dataclasses import replace

        print(plain_text(replace(fitted, notes=())), end="")
    for text in notes:
        print("\n".join(textwrap.wrap(text, width(), subsequent_indent="  ")))
    print()


def print_wrapped(text: str, indent: str = "") -> None:
    """Print words wrapped to the width."""
    import textwrap

    print("\n".join(textwrap.wrap(text, width(), initial_indent=indent,
                                  subsequent_indent=indent + "  ")))
