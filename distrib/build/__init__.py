"""The one bridge from a case to the models: graph, bench, engine, bands."""

from __future__ import annotations
