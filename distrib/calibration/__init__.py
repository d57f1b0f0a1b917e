"""Measured data in: bench sheets, engine logs, swap tests, fits, trim sheets, scores."""

from __future__ import annotations
