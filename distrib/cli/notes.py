"""Remarks on standard error: one line each when piped, wrapped on a terminal."""

from __future__ import annotations


def remark(text: str) -> None:
    """Print a remark; a terminal gets it wrapped to its width, with a hanging indent."""
    import shutil
    import sys
    import textwrap

    from distrib.cli.output import note

    if sys.stderr.isatty():
        columns = max(shutil.get_terminal_size().columns, 40)
        text = "\n".join(textwrap.wrap(text, columns, subsequent_indent="  ",
                                       break_on_hyphens=False)) or text
    note(text)
