"""Remarks on standard error: one line each when piped, wrapped on a terminal."""

from __future__ import annotations


def remark(text: str) -> None:
    """Print a remark; a terminal gets it wrapped to its width, with a hanging indent."""
    from distrib.cli.output import note

    note(text)
