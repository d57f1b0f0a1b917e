"""Designs side by side in words and tables: which is more even, by how much, with what chance."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from distrib.numerals import chance_in_words
from distrib.report.answer_words import percent, speed_words
from distrib.report.grid import Column, Table
from distrib.report.numbers import signed
from distrib.studies.compare import solved_by_all

if TYPE_CHECKING:
    from distrib.answer import Answer
    from distrib.studies.compare import Comparison

SMALL_FILLING_PERCENT = 1.0
"""Difference in filling that nobody measures (common practice)."""


def letters(count: int) -> tuple[str, ...]:
    """A, B, C, ... for designs."""
    return tuple(chr(ord("A") + i) for i in range(count))


def worst_spread(found: Answer) -> tuple[float, float]:
    """Largest spread in the wanted band and its speed."""
    p = found.widest()
    return float(found.engine.spread_percent[p]), float(found.rpm[p])


def more_even(comparison: Comparison, a: int, b: int, point: int | None = None) -> int | None:
    """Number of the more even of two designs, overall or at a point; None: cannot be told."""
    at = -1 if point is None else point
    if not comparison.apart[a, b, at]:
        return None
    return a if chance_of(comparison, a, b, point) > 0.5 else b


def chance_of(comparison: Comparison, a: int, b: int, point: int | None = None) -> float:
    """Chance that design a is more even than b."""
    return float(comparison.chance_overall[a, b] if point is None
                 else comparison.chance[a, b, point])


def pair_sentence(found: Sequence[Answer], comparison: Comparison, a: int, b: int) -> str:
    """The answer on two designs."""
    name = letters(len(found))
    worst = [worst_spread(f)[0] for f in found]
    best = more_even(comparison, a, b)
    if best is None:
        chance = chance_of(comparison, a, b)
        ahead, chance = (a, chance) if chance >= 0.5 else (b, 1.0 - chance)
        return (f"Cannot tell {name[a]} and {name[b]} apart: worst spread {percent(worst[a])} % "
                f"against {percent(worst[b])} % ({name[ahead]} more even with chance "
                f"{chance_in_words(chance)}). Decide by packaging, or measure.")
    other = b if best == a else a
    chance = chance_of(comparison, best, other)
    return (f"{name[best]} is more even than {name[other]}: worst spread {percent(worst[best])} % "
            f"against {percent(worst[other])} % (chance {chance_in_words(chance)}).")


def pair_sentences(found: Sequence[Answer], comparison: Comparison) -> list[str]:
    """The answer on every pair of designs."""
    return [pair_sentence(found, comparison, a, b)
            for a in range(len(found)) for b in range(a + 1, len(found))]


def design_lines(found: Sequence[Answer]) -> list[str]:
    """Letter, title, worst spread with its speed, and the leanest cylinder of each design."""
    out = []
    for name, one in zip(letters(len(found)), found, strict=True):
        spread, rpm = worst_spread(one)
        lean = max(one.worst, key=lambda w: w.deviation_percent)
        out.append(f"{name}  {one.case.title}: worst {percent(spread)} % at {speed_words(rpm)}; "
                   f"cylinder {lean.cylinder} leans most, "
                   f"{percent(lean.deviation_percent, True)} % near {speed_words(lean.rpm)}")
    return out


def filling_line(found: Sequence[Answer]) -> str:
    """How the second design fills against the first, on average over the wanted band."""
    filling = [f.engine.volumetric_efficiency for f in found]
    if len(found) != 2 or any(v is None for v in filling):
        return ""
    inside = found[0].inside()
    a, b = (float(np.nanmean(np.asarray(v)[inside])) for v in filling)
    more = 100.0 * (b / a - 1.0)
    text = f"B fills {percent(abs(more))} % {'more' if more > 0.0 else 'less'} on average"
    return text + (": too little to measure." if abs(more) < SMALL_FILLING_PERCENT else ".")


def differences(found: Sequence[Answer]) -> str:
    """What differs between engines and charge, so that not manifolds alone are compared."""
    first = found[0].case
    names = []
    for other in (f.case for f in found[1:]):
        mine, theirs = first.engine.model_dump(), other.engine.model_dump()
        names += [f"engine.{k.removesuffix('_m').removesuffix('_deg').removesuffix('_pa')}"
                  for k in mine if mine[k] != theirs[k]]
        if (first.conditions.charge_pressure_pa, first.conditions.charge_temperature_k) != (
                other.conditions.charge_pressure_pa, other.conditions.charge_temperature_k):
            names.append("charge")
    if not names:
        return ""
    return (f"The engines differ ({', '.join(dict.fromkeys(names))}): this compares engines with "
            "their manifolds, not manifolds.")


def by_speed_table(found: Sequence[Answer], comparison: Comparison) -> Table:
    """Spread of every design at every speed, and which is more even there (two designs).

    `comparison` is over the speeds that all designs solve.
    """
    name = letters(len(found))
    columns = [Column("speed", "rpm", "right")]
    columns += [Column(f"spread {n}", "%", "right") for n in name]
    columns += [Column(f"leanest {n}", "cyl, %", "right", 2) for n in name]
    if len(found) == 2:
        columns.append(Column("more even"))
    rows = []
    points = compared_points(found)
    for p, rpm in enumerate(found[0].rpm):
        cells = [f"{rpm:.0f}"]
        cells += [percent(float(f.engine.spread_percent[p])) for f in found]
        cells += [f"{int(f.engine.leanest_cylinder[p])} "
                  f"{signed(float(np.max(f.engine.deviation_percent[p])), 1)}"
                  if f.engine.converged[p] else "-" for f in found]
        if len(found) == 2:
            cells.append(_more_even_cell(comparison, points[p], name))
        rows.append(tuple(cells))
    return Table("", tuple(columns), tuple(rows))


def _more_even_cell(comparison: Comparison, point: int | None, name: Sequence[str]) -> str:
    if point is None:
        return "no solution"
    best = more_even(comparison, 0, 1, point)
    if best is None:
        return "cannot tell"
    return f"{name[best]}  {chance_in_words(chance_of(comparison, best, 1 - best, point))}"


def compared_points(found: Sequence[Answer]) -> list[int | None]:
    """Place of every speed in a comparison over all speeds; None where a design has none."""
    solved = solved_by_all([f.drawn_spread_percent for f in found])
    return [int(solved[:p].sum()) if good else None for p, good in enumerate(solved)]
