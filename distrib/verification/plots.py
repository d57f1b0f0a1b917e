"""One small plot per family of laws against measured points or other sources.

Matplotlib's object interface only: no global state, nothing shown on a screen.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from distrib.files import write_bytes_atomic
from distrib.losses import area_change, bends, entrances, friction, jets, junctions, throttle
from distrib.losses.measured import Series, series
from distrib.losses.registry import law
from distrib.verification import tees

INK = ("#0b4f6c", "#c1440e", "#5b8c5a", "#8e5572", "#7a6a00", "#444444")
MARKS = ("o", "s", "^", "D", "v", "P")
DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)))


def draw_all(folder: str | Path) -> tuple[Path, ...]:
    """Draw every family into `folder` as PNG and return the paths written."""
    written = []
    for name, draw in PLOTS.items():
        figure = _figure(2 if name in ("branch", "jets", "area_changes") else 1)
        draw(figure)
        buffer = io.BytesIO()
        figure.savefig(buffer, format="png", dpi=110, metadata={"Software": None})
        written.append(write_bytes_atomic(Path(folder) / f"{name}.png", buffer.getvalue()))
    return tuple(written)


def _figure(width: int) -> Any:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6.4 if width == 1 else 9.6, 4.2), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def _axes(figure: Any, title: str, x: str, y: str,
          position: tuple[int, int, int] = (1, 1, 1)) -> Any:
    axes = figure.add_subplot(*position)
    axes.set_title(title, fontsize=10, loc="left")
    axes.set_xlabel(x, fontsize=9)
    axes.set_ylabel(y, fontsize=9)
    axes.tick_params(labelsize=8)
    axes.grid(True, color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return axes


def _legend(axes: Any, **options: Any) -> None:
    axes.legend(fontsize=7.5, frameon=True, framealpha=0.9, edgecolor="none", **options)


def _points(axes: Any, x: Any, y: Any, label: str, index: int) -> None:
    axes.plot(x, y, MARKS[index % 6], color=INK[index % 6], markersize=5, markerfacecolor="white",
              markeredgewidth=1.3, linestyle="none", label=label)


def _line(axes: Any, x: Any, y: Any, label: str, index: int, bold: bool = False) -> None:
    axes.plot(x, y, color=INK[index % 6], linestyle=DASHES[index % 5] if not bold else "-",
              linewidth=2.2 if bold else 1.3, label=label)


def _band(axes: Any, x: Any, value: Any, name: str) -> None:
    sigma = law(name).sigma_of(value)
    axes.fill_between(x, value - sigma, value + sigma, color=INK[0], alpha=0.13, linewidth=0,
                      label="one sigma of the default")


def _methods(axes: Any, table: Series, skip: int, only: slice = slice(None)) -> None:
    """Every column after the first `skip` as its own set of points."""
    for i, (name, values) in enumerate(list(table.columns.items())[skip:]):
        _points(axes, list(table.columns.values())[skip - 1][only], values[only], name, i + 1)


def _friction(figure: Any) -> None:
    axes = _axes(figure, "Wall friction", "Reynolds number", "Darcy friction factor f")
    re = np.logspace(2.7, 8, 500)
    for i, rough in enumerate((0.0, 1e-4, 1e-3, 1e-2, 0.05)):
        axes.plot(re, friction.darcy(re, rough), color=INK[0], linewidth=1.4,
                  label="law of the networks (laminar, blend, Haaland)" if i == 0 else None)
        turbulent = np.logspace(np.log10(4e3), 8, 23)
        axes.plot(turbulent, friction.darcy_Colebrook(turbulent, rough), "o", color=INK[1],
                  markersize=3.2, markerfacecolor="white", label="Colebrook" if i == 0 else None)
        axes.annotate(f"e/D {rough:g}", (1e8, float(friction.darcy(1e8, rough))), fontsize=7.5,
                      xytext=(-4, 4 if rough else -14), textcoords="offset points", ha="right")
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.axvspan(2e3, 4e3, color="#000000", alpha=0.06, linewidth=0)
    axes.text(2.83e3, 0.1, "blend", fontsize=7.5, ha="center")
    _legend(axes, loc="upper right")


def _entrances(figure: Any) -> None:
    axes = _axes(figure, "Rounded flush mouth: law and handbook methods (fluids 1.3.1)",
                 "mouth radius / diameter", "K on the pipe head")
    radius = np.linspace(0.0, 0.25, 200)
    default = entrances.entrance_rounded_Idelchik(radius)
    _band(axes, radius, default, "entrance.idelchik")
    _line(axes, radius, default, "default (Idelchik, closed fit)", 0, bold=True)
    _methods(axes, series("entrance_rounded_methods"), 1)
    axes.set_ylim(0.0, 0.75)
    _legend(axes, ncols=2)


def _diffusers(figure: Any) -> None:
    axes = _axes(figure, "Conical diffuser: law with one sigma, four other methods (fluids 1.3.1)",
                 "full cone angle, degrees", "K on the inlet head")
    angle = np.linspace(3.0, 60.0, 300)
    table = series("diffuser_methods")
    ratios = table.columns["area_ratio_out_over_in"]
    for i, ratio in enumerate((2.0, 3.0, 4.0)):
        value = area_change.diffuser_Rennels(1.0 / ratio, angle, 0.015)
        sigma = law("diffuser.rennels").sigma_of(value)
        axes.plot(angle, value, color=INK[i], linewidth=1.8, label=f"law, area ratio {ratio:g}")
        axes.fill_between(angle, value - sigma, value + sigma, color=INK[i], alpha=0.08,
                          linewidth=0)
        rows = ratios == ratio
        for j, method in enumerate(("crane", "idelchik", "miller", "hooper")):
            axes.plot(table.columns["angle_deg"][rows], table.columns[method][rows], MARKS[j],
                      color=INK[i], markerfacecolor="white", markersize=5.5, markeredgewidth=1.3,
                      linestyle="none", label=method if i == 0 else None)
    axes.set_ylim(0.0, 1.0)
    handles, names = axes.get_legend_handles_labels()
    order = sorted(range(len(names)), key=lambda k: not names[k].startswith("law"))
    axes.legend([handles[k] for k in order], [names[k] for k in order], fontsize=7.5, ncols=2,
                loc="upper left", framealpha=0.9, edgecolor="none")


def _bends(figure: Any) -> None:
    axes = _axes(figure, "Smooth 90 degree bend, f 0.018, Re 1e5", "bend radius / diameter",
                 "K on the pipe head")
    radius = np.linspace(0.6, 4.0, 200)
    default = bends.bend_Rennels(90.0, radius, 0.018)
    _band(axes, radius, default, "bend.rennels")
    _line(axes, radius, default, "default (Rennels and Hudson)", 0, bold=True)
    table = series("bend_methods")
    for i, name in enumerate(("miller", "ito")):
        _points(axes, table.x, table.columns[name], f"{name} (fluids 1.3.1)", i + 1)
    axes.set_ylim(0.0, 0.8)
    _legend(axes)


def _mitres(figure: Any) -> None:
    axes = _axes(figure, "Single mitre", "angle, degrees", "K on the pipe head")
    angle = np.linspace(0.0, 100.0, 200)
    default = bends.mitre_Rennels(angle)
    _band(axes, angle, default, "mitre.rennels")
    _line(axes, angle, default, "default (Rennels and Hudson)", 0, bold=True)
    table = series("mitre_methods")
    for i, name in enumerate(("miller", "crane", "blevins")):
        _points(axes, table.x, table.columns[name], f"{name} (fluids 1.3.1)", i + 1)
    _legend(axes)


def _throttle(figure: Any) -> None:
    axes = _axes(figure, "Butterfly in a pipe: loss behind the plate",
                 "angle from open, degrees", "K on the bore head")
    angle = np.linspace(2.0, 75.0, 200)
    for i, (shaft, words) in enumerate(((0.0, "no shaft"), (0.13, "shaft 0.13 of the bore"))):
        value = throttle.loss_Borda(throttle.open_fraction(90.0 - angle, 0.0, shaft))
        if i == 0:
            axes.fill_between(angle, 0.8 * value, 1.3 * value, color=INK[0], alpha=0.13,
                              linewidth=0, label="-20/+30 %")
        _line(axes, angle, value, f"law, {words}", i, bold=i == 0)
    points = series("throttle_weisbach")
    _points(axes, points.x, points.y, "Weisbach's set", 1)
    axes.set_yscale("log")
    _legend(axes)


def _branch(figure: Any) -> None:
    for i, (name, theta) in enumerate(tees.BRANCH_SERIES.items()):
        axes = _axes(figure, f"{theta:g} degrees", "branch share q",
                     "branch loss on the header head" if i == 0 else "", (1, 3, i + 1))
        q = np.linspace(0.0, 1.0, 100)
        shown = junctions.BRANCH_LAWS if theta == 90.0 else ("composite", "bassett", "idelchik")
        for j, lawname in enumerate(shown):
            value = junctions.branch_coefficients(lawname, 1.0, theta, 0.0).loss(q, 1.0)
            rms = tees.branch_rms(lawname, name)
            _line(axes, q, value, f"{lawname} (rms {rms:.3f})", j, bold=j == 0)
        points = series(name)
        axes.plot(points.x, points.y, "o", color="black", markersize=4.5, markerfacecolor="white",
                  linestyle="none", label="measured (Bassett et al. 2001)")
        axes.set_ylim(0.0, {120.0: 2.9, 90.0: 2.2}.get(theta, 1.75))
        _legend(axes, loc="upper left" if theta > 100.0 else "upper right")


def _run(figure: Any) -> None:
    axes = _axes(figure, "Loss along the run of a dividing tee", "branch share q",
                 "run loss on the header head")
    q = np.linspace(0.0, 1.0, 200)
    lower, upper = series("tee_run_envelope_lower"), series("tee_run_envelope_upper")
    grid = np.linspace(0.0, 0.98, 100)
    axes.fill_between(grid, np.interp(grid, lower.x, lower.y), np.interp(grid, upper.x, upper.y),
                      color="#000000", alpha=0.09, linewidth=0,
                      label="envelope of all data (Hager 1984)")
    for i, name in enumerate(tees.RUN_NAMES):
        value = junctions.run_coefficients(name).loss(1.0 - q)
        _line(axes, q, value, name, i, bold=i == 0)
    for i, name in enumerate(("tee_run_90", "tee_run_45")):
        points = series(name)
        _points(axes, 1.0 - points.x, points.y, f"measured {name[-2:]} deg (Bassett et al.)", i + 4)
    _legend(axes, loc="upper left")


def _takeoff(figure: Any) -> None:
    axes = _axes(figure, "Hole in a duct wall with cross-flow (Rohde et al. 1969)",
                 "duct speed / ideal jet speed U1/Vi", "Cd on the static basis")
    x = np.linspace(0.01, 1.5, 300)
    for i, (name, (radius, length)) in enumerate(tees.TAKEOFF_SERIES.items()):
        for kind, style in (("reattached", "-"), ("mcgreehan", ":")):
            value = tees.TAKEOFF_LAWS[kind](tees.TAKEOFF_RE, radius, length, x)
            axes.plot(x, value, color=INK[i], linestyle=style,
                      linewidth=1.8 if style == "-" else 1.2, label=kind if i == 0 else None)
        crossflow, cd = tees.takeoff_points(name)
        _points(axes, crossflow, cd, f"measured r/d {radius:g}, t/d {length:g}", i)
    axes.set_ylim(0.2, 1.1)
    _legend(axes, ncols=2, loc="lower left")


def _jets(figure: Any) -> None:
    axes = _axes(figure, "Side entry: static pressure missing behind the step",
                 "distance / plenum diameter", "c on the entry head", (1, 2, 1))
    x = np.linspace(0.0, 5.0, 200)
    for i, beta in enumerate((0.1, 0.25, 0.5, 0.8)):
        area = np.pi / 4.0
        jet = jets.side_entry(x, beta * area, area)
        _line(axes, x, jet.c, f"entry / plenum area {beta:g}", i)
        axes.fill_between(x, jet.c - jet.sigma, jet.c + jet.sigma, color=INK[i], alpha=0.1,
                          linewidth=0)
    _legend(axes)
    axes = _axes(figure, "Centre entry: head over the mouth below", "distance / jet diameter",
                 "share of the entry head", (1, 2, 2))
    distance = np.linspace(0.1, 15.0, 200)
    for i, mouth in enumerate((0.0, 0.5, 1.0)):
        value = jets.jet_head_over_mouth(distance, 0.0, 1.0, mouth)
        _line(axes, distance, value, f"mouth {mouth:g} jet diameters", i)
    far = np.arange(8.0, 15.1, 1.0)
    axes.errorbar(far, (6.11 / far) ** 2, yerr=2 * 6.11 * 0.4 / far**2, fmt="o", color="black",
                  markersize=4, markerfacecolor="white", linewidth=1,
                  label="measured axis decay (Abdel-Rahman 1996)")
    axes.set_ylim(0.0, 1.25)
    _legend(axes)


def _area_changes(figure: Any) -> None:
    axes = _axes(figure, "Sudden changes of area", "small over large area",
                 "K on the head of the small end", (1, 2, 1))
    s = np.linspace(0.0, 1.0, 100)
    _line(axes, s, area_change.expansion_Borda(s), "expansion (Borda-Carnot)", 0, bold=True)
    _line(axes, s, area_change.contraction_Rennels(s), "contraction (Rennels)", 1)
    _line(axes, s, area_change.contraction_Crane(s), "contraction (Crane)", 2)
    _points(axes, [0.2, 0.4, 0.7], [0.516058, 0.413824, 0.180174], "fluids 1.3.1, Rennels", 1)
    _legend(axes)
    axes = _axes(figure, "Flange step and offset", "step or offset / runner diameter",
                 "K on the runner head", (1, 2, 2))
    step = np.linspace(-0.12, 0.08, 200)
    from distrib.losses.flange import flange_offset, flange_step

    _line(axes, step, flange_step(step), "ring step (+ faces the flow)", 0, bold=True)
    offset = np.linspace(0.0, 0.08, 50)
    _line(axes, offset, flange_offset(offset), "bores off line (own estimate)", 1)
    _legend(axes)


PLOTS: Mapping[str, Callable[[Any], None]] = {
    "friction": _friction, "entrances": _entrances, "area_changes": _area_changes,
    "diffusers": _diffusers, "bends": _bends, "mitres": _mitres, "throttle": _throttle,
    "branch": _branch, "run": _run, "takeoff": _takeoff, "jets": _jets,
}
