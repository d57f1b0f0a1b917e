"""The one bridge from a case to the models: graph, bench, phased, wave, band."""

from __future__ import annotations
