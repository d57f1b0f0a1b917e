"""All loss laws by name, each with basis area, source, range and uncertainty.

`law("entrance.idelchik")` gives a record; `record.evaluate(radius_over_d=0.1)` gives the value with
a flag. A short name is enough where only one family has it or with `family=`.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from distrib.errors import InputError, Problem
from distrib.losses.nearest import nearest_names
from distrib.losses.validity import Flag, FlagArray, Range, box_flags, outside_words
from distrib.results import Source

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Evaluated:
    """Values of a law with their flags (same shape) and 1-sigma (absolute, same shape).

    Refused values are NaN. `note` names the inputs that left the box, empty when none did.
    """

    law: str
    value: FloatArray
    flag: FlagArray
    sigma: FloatArray
    note: str = ""

    @property
    def worst(self) -> Flag:
        """The worst flag of all values."""
        return Flag(int(np.max(self.flag, initial=0)))


@dataclass(frozen=True)
class Law:
    """One loss law.

    name: family.short. equation: in words and symbols. basis: area or head the value stands on.
    box: supported and hard range of every input (= the keyword arguments of `function`).
    sigma_relative, sigma_absolute: 1-sigma is the larger of the two. weak: evidence is thin (from
    memory, own estimate, or sources that disagree more than they admit). default: used for "auto".
    refuse: joint condition of several inputs, true where the law has no answer.
    """

    name: str
    function: Callable[..., FloatArray]
    equation: str
    basis: str
    source: Source
    box: Mapping[str, Range]
    sigma_relative: float = 0.0
    sigma_absolute: float = 0.0
    weak: bool = False
    default: bool = False
    notes: str = ""
    refuse: Callable[..., NDArray[np.bool_]] | None = None

    @property
    def family(self) -> str:
        """The part of the name before the dot."""
        return self.name.split(".")[0]

    @property
    def short(self) -> str:
        """The part of the name after the dot."""
        return self.name.split(".")[1]

    def sigma_of(self, value: ArrayLike) -> FloatArray:
        """One standard deviation of a value of this law, absolute."""
        size = self.sigma_relative * np.abs(np.asarray(value, dtype=np.float64))
        return np.asarray(np.maximum(size, self.sigma_absolute))

    def evaluate(self, **inputs: ArrayLike) -> Evaluated:
        """Value, flag and sigma; refused points are NaN, nothing is moved into range.

        Raises InputError when inputs are missing or unknown, with the nearest names.
        """
        self._check_names(inputs)
        flags = box_flags(self.box, inputs)
        arrays = dict(zip(self.box, np.broadcast_arrays(
            *(np.asarray(inputs[n], dtype=np.float64) for n in self.box)), strict=True))
        if self.refuse is not None:
            flags = np.where(self.refuse(**arrays), Flag.REFUSED, flags).astype(np.int8)
        good = flags != Flag.REFUSED
        value = np.full(flags.shape, np.nan)
        if np.any(good):
            value[good] = self.function(**{n: x[good] for n, x in arrays.items()})
        return Evaluated(self.name, value, flags, self.sigma_of(value),
                         outside_words(self.box, inputs))

    def _check_names(self, inputs: Mapping[str, ArrayLike]) -> None:
        allowed = ", ".join(self.box)
        problems = [Problem(self.name, f"input {n!r}", allowed,
                            ", ".join(nearest_names(n, self.box))) for n in inputs
                    if n not in self.box]
        problems += [Problem(self.name, f"no input {n!r}", allowed) for n in self.box
                     if n not in inputs]
        if problems:
            raise InputError(problems)


@cache
def _table() -> Mapping[str, Law]:
    from distrib.losses.catalogue_duct import duct_laws
    from distrib.losses.catalogue_mouth import mouth_laws

    return {entry.name: entry for entry in (*duct_laws(), *mouth_laws())}


def laws(family: str | None = None) -> tuple[Law, ...]:
    """All laws, or those of one family, in the order of the catalogue."""
    return tuple(entry for entry in _table().values() if family in (None, entry.family))


def families() -> tuple[str, ...]:
    """Names of the families, in the order of the catalogue."""
    return tuple(dict.fromkeys(entry.family for entry in _table().values()))


def law(name: str, family: str | None = None) -> Law:
    """The law of a name: full ("run.rennels"), short with a family, or "auto" with a family.

    A short name alone will do when it is unique. Unknown or ambiguous: InputError with the nearest
    names.
    """
    table = _table()
    if family is not None and family not in families():
        raise InputError([Problem("loss family", repr(family), ", ".join(families()),
                                  ", ".join(nearest_names(family, families())))])
    if family is not None and name == "auto":
        return next(entry for entry in laws(family) if entry.default)
    if name in table and family in (None, table[name].family):
        return table[name]
    found = [entry for entry in laws(family) if entry.short == name]
    if len(found) == 1:
        return found[0]
    pool = [entry.name for entry in (found or laws(family))]
    short = {entry.short: entry.name for entry in laws(family)}
    near = [*nearest_names(name, pool), *(short[s] for s in nearest_names(name, short))]
    what = "ambiguous" if found else "unknown"
    hint = f"{what} law; nearest: {', '.join(dict.fromkeys(near))}" if near else f"{what} law"
    allowed = ", ".join(pool) if found or family else f"a name of {', '.join(families())}"
    raise InputError([Problem("loss law", repr(name), allowed, hint)])


def inputs_of(entry: Law) -> tuple[str, ...]:
    """Names of the inputs that the function of a law takes."""
    return tuple(inspect.signature(entry.function).parameters)
