"""Errors of the fuel arithmetic: bad input (exit code 2), also a ValueError for Python callers."""

from __future__ import annotations

from distrib.errors import DistribError


class FuellingError(DistribError, ValueError):
    """A fuel figure that cannot be computed from what was given; the message says why."""

    exit_code = 2


class TrimError(FuellingError):
    """A trim that would not be safe or could not work; the message says why."""
