"""Evaluates registry laws for a case and keeps book of what was used and what was stretched."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from distrib.build.choices import Chosen
from distrib.errors import InputError, Problem
from distrib.losses.registry import law
from distrib.losses.validity import Flag
from distrib.results import Source

FloatArray = NDArray[np.float64]


@dataclass
class LawBook:
    """Laws used so far (name -> source), and what there is to doubt about them."""

    choice: Chosen
    used: dict[str, Source] = field(default_factory=dict)
    weak: dict[str, str] = field(default_factory=dict)
    stretched: dict[tuple[str, str, str], list[tuple[str, float]]] = field(default_factory=dict)
    remarks: dict[str, list[str]] = field(default_factory=dict)

    def value(self, where: str, name: str, family: str | None = None,
              **inputs: float) -> tuple[float, float]:
        """Value and 1-sigma of a law at one point. A refused point raises InputError."""
        record = law(name, family)
        found = record.evaluate(**inputs)
        self.note(record.name, record.source, record.weak)
        if found.worst == Flag.REFUSED:
            raise InputError([Problem(where, found.note or f"{inputs}",
                                      f"the range of the law {record.name}", code="law")])
        for key, limits in record.box.items():
            if limits.flags(inputs[key]) == Flag.EXTRAPOLATED:
                row = self.stretched.setdefault((record.name, key, limits.words()), [])
                row.append((where, float(inputs[key])))
        return float(found.value), float(found.sigma)

    def note(self, name: str, source: Source, weak: bool = False) -> None:
        """Record that a law was used."""
        self.used[name] = source
        if weak:
            self.weak[name] = source.kind

    def remark(self, where: str, text: str) -> None:
        """Record a doubt about one place; equal texts of several places become one line."""
        places = self.remarks.setdefault(text, [])
        if where not in places:
            places.append(where)

    def outside(self, where: str, name: str, text: str) -> None:
        """Record that a law answered outside its box."""
        self.remark(where, f"{name} used beyond its range ({text})")

    def warnings(self) -> tuple[str, ...]:
        """Every doubt once, in short words: stretched laws, remarks, laws of thin evidence."""
        lines = []
        for (name, key, words), row in self.stretched.items():
            values = [value for _, value in row]
            low, high = f"{min(values):.3g}", f"{max(values):.3g}"
            span = low if low == high else f"{low} to {high}"
            lines.append(f"{places_words(w for w, _ in row)}: {name} used beyond its range "
                         f"({_input_words(key)} {span}, holds {words})")
        lines += [f"{places_words(where)}: {text}" for text, where in self.remarks.items()]
        for kind in dict.fromkeys(self.weak.values()):
            names = sorted(name for name, own in self.weak.items() if own == kind)
            lines.append(f"thin evidence ({kind}): {', '.join(names)}")
        return tuple(lines)

    def sources(self) -> tuple[Source, ...]:
        """Sources of the laws used, each once."""
        unique = {s.key: s for s in self.used.values()}
        return tuple(unique[k] for k in sorted(unique))


def _input_words(key: str) -> str:
    return key.replace("_over_d", "/D").removesuffix("_deg").replace("_", " ")


_NUMBERED = re.compile(r"^(runner) (\d+)(.*)$")


def places_words(places: Iterable[str]) -> str:
    """Places in words, numbered ones together: "runners 1 to 5 mouth, entry throttle"."""
    plain: dict[str, None] = {}
    numbered: dict[tuple[str, str], set[int]] = {}
    for place in places:
        found = _NUMBERED.match(place)
        if found is None:
            plain[place] = None
        else:
            numbered.setdefault((found[1], found[3]), set()).add(int(found[2]))
    groups = [f"{what}{'s' if len(numbers) > 1 else ''} {_count_words(sorted(numbers))}{rest}"
              for (what, rest), numbers in numbered.items()]
    return ", ".join([*groups, *plain])


def _count_words(numbers: list[int]) -> str:
    if len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"{numbers[0]} to {numbers[-1]}"
    return " and ".join(filter(None, [", ".join(map(str, numbers[:-1])), str(numbers[-1])]))
