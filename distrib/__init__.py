"""Cylinder airflow distribution of intake manifolds: shares, lean risk and fuel trims."""

from __future__ import annotations

__version__ = "0.1.0"
