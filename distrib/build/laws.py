"""Evaluates registry laws for a case and keeps book of what was used and what was stretched."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from distrib.case.schema import LossChoice
from distrib.errors import InputError, Problem
from distrib.losses.registry import law
from distrib.losses.validity import Flag
from distrib.results import Source

FloatArray = NDArray[np.float64]


@dataclass
class LawBook:
    """Laws used so far (name -> source) and warnings about extrapolated or weak ones."""

    choice: LossChoice
    used: dict[str, Source] = field(default_factory=dict)
    warnings: dict[str, str] = field(default_factory=dict)

    def value(self, where: str, name: str, family: str | None = None,
              **inputs: float) -> tuple[float, float]:
        """Value and 1-sigma of a law at one point. A refused point raises InputError."""
        record = law(name, family)
        found = record.evaluate(**inputs)
        self.note(record.name, record.source, record.weak)
        if found.worst == Flag.REFUSED:
            raise InputError([Problem(where, found.note or f"{inputs}",
                                      f"the range of the law {record.name}", code="law")])
        if found.worst == Flag.EXTRAPOLATED:
            self.warnings[f"{where}:{record.name}"] = (
                f"{where}: law {record.name} used beyond its range ({found.note})")
        return float(found.value), float(found.sigma)

    def note(self, name: str, source: Source, weak: bool = False) -> None:
        """Record that a law was used."""
        self.used[name] = source
        if weak:
            self.warnings[name] = f"law {name} rests on thin evidence: {source.text}"

    def outside(self, where: str, name: str, text: str) -> None:
        """Record that a law answered outside its box."""
        self.warnings[f"{where}:{name}"] = f"{where}: law {name} used beyond its range ({text})"

    def sources(self) -> tuple[Source, ...]:
        """Sources of the laws used, each once."""
        unique = {s.key: s for s in self.used.values()}
        return tuple(unique[k] for k in sorted(unique))
