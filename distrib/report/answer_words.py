"""The answer to a case in words and tables: first lines, worst speeds by cylinder, all speeds."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from distrib.report.grid import Column, Table
from distrib.report.numbers import millimetres, plain, signed
from distrib.report.palette import VERDICT_STYLES

if TYPE_CHECKING:
    from distrib.answer import Answer, Worst

VERDICT_WORDS: Final = {
    "lean": "LEAN   more air at equal fuel", "watch": "WATCH  could run lean", "even": "even",
    "rich": "RICH   less air at equal fuel", "backward": "BACK   air flows back, no mixture"}
CAUTION: Final = (
    "Caution: an estimate, not a measurement. Check every cylinder before load. An even prediction "
    "does not make it safe to lean out.")


def speed_words(rpm: float) -> str:
    """A speed to 50 rpm."""
    return f"{50.0 * round(rpm / 50.0):.0f} rpm"


def percent(value: float, sign: bool = False) -> str:
    """A percentage to 0.1; never 0 for something that is not zero."""
    if np.isfinite(value) and 0.0 < abs(value) < 0.05:
        return "under 0.1" if value > 0.0 else "above -0.1"
    return (signed if sign else plain)(value, 1)


def band_words(low: float, high: float) -> str:
    """`90 % band +2.0 to +5.1`, or that there is none."""
    if not (np.isfinite(low) and np.isfinite(high)):
        return "no band"
    return f"90 % band {percent(low, True)} to {percent(high, True)}"


def first_lines(found: Answer) -> list[str]:
    """The answer: the gravest cylinder, who else to watch, what was solved."""
    grave = sorted((w for w in found.worst if w.verdict in ("lean", "watch")),
                   key=lambda w: (w.verdict == "lean", w.deviation_percent), reverse=True)
    out = [_gravest(found, grave[0])] if grave else [_none_grave(found)]
    if len(grave) > 1:
        lean = [w for w in grave[1:] if w.verdict == "lean"]
        watch = [w for w in grave[1:] if w.verdict == "watch"]
        said = [f"{words} {_listed(items)}" for words, items in
                (("Also lean:", lean), ("Watch", watch)) if items]
        out.append(". ".join(said) + ".")
    outside = _outside(found)
    if outside:
        out.append(outside)
    if any(w.at_edge and w.verdict in ("lean", "watch") for w in found.worst):
        low, high = float(found.rpm.min()), float(found.rpm.max())
        out.append(f"The worst lies at the end of the speeds given ({low:.0f} to {high:.0f} rpm): "
                   "beyond may be worse. Give more speeds.")
    out.append(what_was_solved(found))
    return out


def _gravest(found: Answer, w: Worst) -> str:
    runs = "runs lean" if w.verdict == "lean" else "could run lean"
    text = (f"Cylinder {w.cylinder} {runs} near {speed_words(w.rpm)}: "
            f"{percent(w.deviation_percent, True)} % air "
            f"({band_words(w.low_percent, w.high_percent)}). ")
    if w.trim_percent is None:
        return text + "Measure it before load."
    if not np.isfinite(w.trim_percent):
        return text + "No trim: a need this large is a fault or a matter of the metal."
    return text + f"Start there with {signed(w.trim_percent, 1)} % fuel, then measure."


def _none_grave(found: Answer) -> str:
    top = max(found.worst, key=lambda w: w.deviation_percent)
    return (f"No cylinder stands out as lean: the most is cylinder {top.cylinder} near "
            f"{speed_words(top.rpm)}, {percent(top.deviation_percent, True)} % air "
            f"({band_words(top.low_percent, top.high_percent)}). Measure all the same.")


def _listed(items: list[Worst]) -> str:
    words = [f"cylinder {w.cylinder} near {speed_words(w.rpm)} "
             f"({percent(w.deviation_percent, True)} %)" for w in items]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _outside(found: Answer) -> str:
    """The leanest outside the wanted band, where that is more than inside."""
    inside, deviation = found.inside(), found.engine.deviation_percent
    out = ~inside & found.engine.converged
    if not out.any() or not (inside & found.engine.converged).any():
        return ""
    p, i = np.unravel_index(int(np.nanargmax(np.where(out[:, None], deviation, -np.inf))),
                            deviation.shape)
    top = float(np.nanmax(deviation[inside & found.engine.converged]))
    word = str(found.verdict[p, i])
    if word not in ("lean", "watch") or float(deviation[p, i]) <= top:
        return ""
    return (f"Outside the wanted band cylinder {found.engine.cylinders[i]} has more: "
            f"{percent(float(deviation[p, i]), True)} % near {speed_words(float(found.rpm[p]))}.")


def what_was_solved(found: Answer) -> str:
    """Design, charge, speeds and draws in one line."""
    case, con = found.case, found.case.conditions
    gauge = (con.charge_pressure_pa - con.ambient_pressure_pa) / 1e5
    charge = f"{gauge:.2f} bar gauge" if con.boosted else "no boost"
    band = found.engine.band
    drawn = f"{band.samples} draws" if band is not None else "no draws"
    kinds = ", ".join(f"{e.kind} entry" for e in case.entries)
    invented = " (invented)" if case.invented else ""
    return (f"{case.title}{invented}: {case.engine.layout}, {kinds}, {charge}, "
            f"{found.rpm.min():.0f} to {found.rpm.max():.0f} rpm, {drawn}.")


def worst_table(found: Answer) -> Table:
    """Every cylinder at its worst speed of the wanted band."""
    columns = (Column("cyl", align="right"), Column("from entry", "mm", "right", 2),
               Column("worst", "rpm", "right"), Column("air", "%", "right"),
               Column("90 % band", "%", "right"), Column("start trim", "%", "right"),
               Column("verdict"))
    rows = []
    for i, w in enumerate(found.worst):
        rows.append((
            str(w.cylinder), millimetres(float(found.engine.distance_from_entry_m[i])),
            f"{w.rpm:.0f}", percent(w.deviation_percent, True),
            f"{percent(w.low_percent, True)} to {percent(w.high_percent, True)}"
            if np.isfinite(w.low_percent) else "-",
            "-" if w.trim_percent is None else percent(w.trim_percent, True),
            VERDICT_WORDS[w.verdict]))
    wanted = found.case.conditions.wanted_rpm is not None and bool(found.inside().any())
    title = f"Each cylinder at its worst solved speed{' of the wanted band' if wanted else ''}"
    return Table(title, columns, tuple(rows))


def speed_table(found: Answer) -> Table:
    """Deviation of every cylinder, spread with its band and filling, at every speed."""
    engine = found.engine
    columns = [Column("speed", "rpm", "right")]
    columns += [Column(f"cyl {c}", "%", "right") for c in engine.cylinders]
    columns += [Column("spread", "%", "right"), Column("90 % band", "%", "right", 2),
                Column("filling", "", "right", 2)]
    rows = []
    for p, rpm in enumerate(found.rpm):
        if not engine.converged[p]:
            rows.append((f"{rpm:.0f}", *["-"] * len(engine.cylinders), "no solution", "-", "-"))
            continue
        cells = [f"{signed(float(engine.deviation_percent[p, i]), 1)} "
                 f"{VERDICT_STYLES[str(found.verdict[p, i])].letter}"  # type: ignore[index]
                 for i in range(len(engine.cylinders))]
        band, filling = engine.band, engine.volumetric_efficiency
        rows.append((f"{rpm:.0f}", *cells, percent(float(engine.spread_percent[p])),
                     "-" if band is None else f"{plain(float(band.spread_low_percent[p]), 1)} to "
                     f"{plain(float(band.spread_high_percent[p]), 1)}",
                     "-" if filling is None else plain(float(filling[p].mean()), 2)))
    return Table("Deviation over speed (L lean, W watch, R rich)", tuple(columns), tuple(rows))
