"""The page of loss laws, generated from the registry."""

from __future__ import annotations

from distrib.losses.registry import Law, families, laws

PLOTS = {
    "friction": "friction", "entrance": "entrances", "diffuser": "diffusers", "bend": "bends",
    "mitre": "mitres", "throttle": "throttle", "branch": "branch", "run": "run",
    "takeoff": "takeoff", "jet-side": "jets", "expansion": "area_changes",
}
"""Which plot belongs to which family (file names without ending)."""


def law_page(plot_folder: str = "laws") -> str:
    """Markdown page: every law with equation, area, range, uncertainty and source.

    `plot_folder` is where the plots lie, relative to the page.
    """
    lines = ["# Loss laws", "",
             "Written by `distrib verify --laws` from the registry; do not edit. A value outside "
             "the stated range is still given and flagged as extrapolated; outside the hard limits "
             "it is refused. Nothing is moved into range. `auto` means the law marked as default. "
             "Weak laws rest on memory, on own estimates or on sources that disagree.", "",
             "Where sources differ by more than they state, sigma covers them all: rounded "
             "mouths (factor of four), branch losses away from equal areas, diffusers, tees of "
             "wide scatter. The branch laws differ together and not mouth by mouth: one draw for "
             "the whole manifold (`law.branch.family`) moves all mouths between them, beside the "
             "draws of each mouth's own.", ""]
    for family in families():
        lines += [f"## {family}", ""]
        if family in PLOTS:
            lines += [f"![{family}: laws and points]({plot_folder}/{PLOTS[family]}.png)", ""]
        lines += ["| law | equation | stands on | range | 1-sigma | source | notes |",
                  "|---|---|---|---|---|---|---|"]
        lines += [_row(entry) for entry in laws(family)]
        lines.append("")
    lines += _choices()
    return "\n".join(lines) + "\n"


def _row(entry: Law) -> str:
    marks = [mark for on, mark in ((entry.default, "default"), (entry.weak, "weak")) if on]
    name = f"`{entry.name}`" + (f" ({', '.join(marks)})" if marks else "")
    box = "; ".join(f"{n} {limits.words()}" for n, limits in entry.box.items())
    cells = (name, entry.equation, entry.basis, box, sigma_words(entry),
             f"{entry.source.text} [{entry.source.kind}]", entry.notes or "")
    return "| " + " | ".join(c.replace("|", "/") for c in cells) + " |"


def sigma_words(entry: Law) -> str:
    """Uncertainty of a law in words."""
    parts = [f"{100.0 * entry.sigma_relative:.3g} %"] if entry.sigma_relative else []
    parts += [f"{entry.sigma_absolute:g}"] if entry.sigma_absolute else []
    return "larger of " + " and ".join(parts) if len(parts) == 2 else "".join(parts)


def _choices() -> list[str]:
    """Why the defaults of the junctions and take-offs are what they are, with the numbers."""
    from distrib.verification.tees import rms_table

    return ["## Why these defaults", "", *rms_table(), ""]
