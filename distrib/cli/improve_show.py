"""What `distrib improve` prints and writes: changes, comparisons, what the models say together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from distrib.numerals import chance_in_words

if TYPE_CHECKING:
    from distrib.case.schema import Case
    from distrib.studies.compare import Comparison
    from distrib.studies.designsearch import Options, Proposal
    from distrib.studies.improve import Improvement

PRESENT = "present"


@dataclass(frozen=True)
class Judged:
    """The present design and the proposals on the same draws of one model."""

    model: str
    comparison: Comparison

    def side(self, name: str) -> str:
        """Whether a design is surely "better" or "worse" than the present one, or "cannot tell"."""
        c = self.comparison
        i, j = c.designs.index(name), c.designs.index(PRESENT)
        if not c.apart[i, j, -1]:
            return "cannot tell"
        return "better" if c.chance_overall[i, j] > 0.5 else "worse"

    def chance(self, name: str) -> float:
        """Chance that a design is more even than the present one."""
        c = self.comparison
        return float(c.chance_overall[c.designs.index(name), c.designs.index(PRESENT)])

    def spread(self, name: str) -> float:
        """Median spread over the speeds, percent."""
        return float(self.comparison.overall_median[self.comparison.designs.index(name)])


@dataclass(frozen=True)
class Found:
    """All there is to say of a search."""

    search: Improvement
    proposals: Sequence[Proposal]
    files: Sequence[Path]
    judged: Sequence[Judged]
    refused: Sequence[tuple[str, tuple[str, ...]]]

    def together(self) -> list[tuple[str, str]]:
        """Proposals with what the engine models say together (the bench only where there is none),
        the best first: better by all, by some, not to be told, disagreed about, worse."""
        engine = [j for j in self.judged if j.model != "bench"] or list(self.judged)
        order = {"better": 0, "cannot tell": 1, "worse": 2}
        rows = []
        for item in self.proposals if engine else ():
            sides = {j.model: j.side(item.label) for j in engine}
            values = set(sides.values())
            each = ", ".join(f"{side} by {model}" for model, side in sides.items())
            words = each if len(values) > 1 or len(sides) == 1 else f"{values.pop()} by all"
            if {"better", "worse"} <= set(sides.values()):
                words = f"MODELS DISAGREE: {each}"
            key = (sum(order[v] for v in sides.values()) + 3 * words.startswith("MODELS"),
                   sum(j.spread(item.label) for j in engine))
            rows.append((key, item.label, words))
        return [(label, words) for _, label, words in sorted(rows)]

    def remarks(self) -> tuple[str, ...]:
        """Cautions of the search, what was not proposed after all, and where models disagree."""
        said = list(self.search.cautions)
        said += [f"not proposed: {label}, review asks for a change: {why[0]}"
                 for label, why in self.refused]
        said += [f"{j.model}: no proposal can be told from the present design; the difference is "
                 "inside what the model does not know" for j in self.judged
                 if not any(j.side(p.label) == "better" for p in self.proposals)]
        return (*said, *disagreements(self.judged))


def disagreements(judged: Sequence[Judged]) -> list[str]:
    """Proposals that one model puts surely before the present design and another behind it."""
    said = []
    names = [n for n in judged[0].comparison.designs if n != PRESENT] if judged else []
    for name in names:
        sides = {j.model: j.chance(name) for j in judged if j.side(name) != "cannot tell"}
        if sides and min(sides.values()) < 0.5 < max(sides.values()):
            said.append(f"the models disagree about {name}: chance to beat the present design "
                        + ", ".join(f"{chance_in_words(v)} by {m}" for m, v in sides.items())
                        + "; do not build it on this alone")
    return said


def show(found: Found) -> None:
    """Print the tables and remarks."""
    from distrib.cli.output import note, table

    table("The few changes that buy most",
          ["change", "before", "after", "spread after %", "air %", "part of the gain %"],
          [[c.dimension, c.before, c.after, c.spread_after_percent, -c.air_loss_after_percent,
            100.0 * c.share_of_gain] for c in found.search.changes])
    for judged in found.judged:
        _paired_table(judged)
    if len(found.judged) > 1 and found.proposals:
        engine = [j for j in found.judged if j.model != "bench"]
        table("Taken together, against the present design, best first",
              ["design", *(f"{j.model} spread %" for j in engine), "models"],
              [[label, *(j.spread(label) for j in engine), words]
               for label, words in found.together()])
    for text in found.remarks():
        note(text)
    note(f"{found.search.evaluations} designs tried. Estimates, not measured: verify before load.")


def _paired_table(judged: Judged) -> None:
    from distrib.cli.output import table

    comparison = judged.comparison
    rows: list[list[Any]] = []
    for rank, names in comparison.ranking():
        for name in names:
            said = "-" if name == PRESENT else comparison.chance_words(judged.chance(name))
            rows.append([rank, name, judged.spread(name), said])
    table(f"Paired comparison, {judged.model} model, {comparison.samples} draws (equal rank: "
          "cannot be told apart)", ["rank", "design", "median spread %",
                                    "chance to beat the present"], rows)


def write(found: Found, picture: str | None, json: str | None, present: Case,
          options: Options) -> None:
    """Say what files there are, and write the picture and the JSON that were asked for."""
    from distrib.cli.output import wrote

    for path in found.files:
        wrote(path)
    if picture is not None:
        draw(found.search, picture)
    if json is not None:
        emit(json, present, options, found)


def draw(search: Improvement, path: str) -> None:
    """Draw evenness against air."""
    from distrib.cli.output import wrote
    from distrib.files import write_bytes_atomic
    from distrib.report.save import figure_bytes, house_style, new_figure
    from distrib.report.study_plots import file_kind, front_chart

    kind = file_kind(path)
    with house_style():
        figure = new_figure(6.4, 4.6)
        front_chart(figure.subplots(), search)
        wrote(write_bytes_atomic(path, figure_bytes(figure, kind)))


def emit(target: str, present: Case, options: Options, found: Found) -> None:
    """Write everything as JSON."""
    from distrib.cli.output import emit_json

    search, together = found.search, dict(found.together())
    emit_json(target, {
        "case": present.title, "model": options.model, "evaluations": search.evaluations,
        "samples": options.samples, "seed": options.seed, "quantile": options.quantile,
        "present": {"spread_percent": search.start_spread_percent},
        "changes": list(search.changes),
        "front": [{"spread_percent": float(search.archive.spread[r]),
                   "air_loss_percent": float(search.archive.air_loss[r])} for r in search.front],
        "proposals": [
            {"label": item.label, "file": path, "spread_percent": item.spread_percent,
             "air_loss_percent": item.air_loss_percent, "models": together.get(item.label),
             "against_present": {j.model: {"chance": j.chance(item.label),
                                           "median_spread_percent": j.spread(item.label),
                                           "verdict": j.side(item.label)} for j in found.judged},
             "changes": [{"name": n, "before": b, "after": a} for n, b, a in item.changes]}
            for item, path in zip(found.proposals, found.files, strict=True)],
        "ranking": [label for label, _ in found.together()],
        "refused_by_review": [{"label": label, "why": why} for label, why in found.refused],
        "comparisons": [{"model": j.model, "comparison": j.comparison} for j in found.judged],
        "cautions": list(found.remarks()),
    })
