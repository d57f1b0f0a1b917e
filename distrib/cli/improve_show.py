"""What `distrib improve` prints and writes: changes and the comparison with the present design."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from distrib.case.schema import Case
    from distrib.studies.compare import Comparison
    from distrib.studies.designsearch import Options, Proposal
    from distrib.studies.improve import Improvement

PRESENT = "present"


@dataclass(frozen=True)
class Found:
    """All there is to say of a search; `judged`: the present design and the proposals on the same
    draws of the engine figure, None without proposals."""

    search: Improvement
    proposals: Sequence[Proposal]
    files: Sequence[Path]
    judged: Comparison | None
    refused: Sequence[tuple[str, tuple[str, ...]]]

    def side(self, name: str) -> str:
        """Whether a design is surely "better" or "worse" than the present one, or "cannot tell"."""
        c = self.judged
        assert c is not None
        i, j = c.designs.index(name), c.designs.index(PRESENT)
        if not c.apart[i, j, -1]:
            return "cannot tell"
        return "better" if c.chance_overall[i, j] > 0.5 else "worse"

    def chance(self, name: str) -> float:
        """Chance that a design is more even than the present one."""
        c = self.judged
        assert c is not None
        return float(c.chance_overall[c.designs.index(name), c.designs.index(PRESENT)])

    def spread(self, name: str) -> float:
        """Median of the worst spread over the speeds, percent."""
        assert self.judged is not None
        return float(self.judged.overall_median[self.judged.designs.index(name)])

    def ranked(self) -> list[str]:
        """Labels of the proposals, the best first: better, not to be told, worse."""
        order = {"better": 0, "cannot tell": 1, "worse": 2}
        return sorted((p.label for p in self.proposals),
                      key=lambda n: (order[self.side(n)], self.spread(n)))

    def remarks(self) -> tuple[str, ...]:
        """Cautions of the search and what was not proposed after all."""
        said = list(self.search.cautions)
        said += [f"not proposed: {label}, review asks for a change: {why[0]}"
                 for label, why in self.refused]
        if self.judged is not None and not any(self.side(p.label) == "better"
                                               for p in self.proposals):
            said.append("no proposal can be told from the present design: the band is too wide")
        return tuple(said)


def show(found: Found) -> None:
    """Print the tables and remarks."""
    from distrib.cli.output import note, table

    table("The few changes that buy most",
          ["change", "before", "after", "spread after %", "air %", "part of the gain %"],
          [[c.dimension, c.before, c.after, c.spread_after_percent, -c.air_loss_after_percent,
            100.0 * c.share_of_gain] for c in found.search.changes])
    if found.judged is not None:
        _paired_table(found, found.judged)
    for text in found.remarks():
        note(text)
    note(f"{found.search.evaluations} designs tried. Estimates, not measured: verify before load.")


def _paired_table(found: Found, comparison: Comparison) -> None:
    from distrib.cli.output import table

    rows: list[list[Any]] = []
    for rank, names in comparison.ranking():
        for name in names:
            said = "-" if name == PRESENT else comparison.chance_words(found.chance(name))
            rows.append([rank, name, found.spread(name), said])
    table(f"Beside the present design, {comparison.samples} draws (equal rank: cannot be told "
          "apart)", ["rank", "design", "worst spread %", "chance to beat the present"], rows)


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

    search = found.search
    emit_json(target, {
        "case": present.title, "model": options.model, "evaluations": search.evaluations,
        "samples": options.samples, "seed": options.seed, "quantile": options.quantile,
        "present": {"spread_percent": search.start_spread_percent},
        "changes": list(search.changes),
        "front": [{"spread_percent": float(search.archive.spread[r]),
                   "air_loss_percent": float(search.archive.air_loss[r])} for r in search.front],
        "proposals": [
            {"label": item.label, "file": path, "spread_percent": item.spread_percent,
             "air_loss_percent": item.air_loss_percent,
             "against_present": {"chance": found.chance(item.label),
                                 "worst_spread_percent": found.spread(item.label),
                                 "verdict": found.side(item.label)},
             "changes": [{"name": n, "before": b, "after": a} for n, b, a in item.changes]}
            for item, path in zip(found.proposals, found.files, strict=True)],
        "ranking": found.ranked(),
        "refused_by_review": [{"label": label, "why": why} for label, why in found.refused],
        "comparison": found.judged,
        "cautions": list(found.remarks()),
    })
