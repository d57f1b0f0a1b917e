"""Charts of studies show what the tables say."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from distrib.errors import InputError
from distrib.report.save import figure_bytes, house_style
from distrib.report.study_plots import (
    parameters_of,
    plot_table,
    readable,
    table_figure,
)
from distrib.studies.table import Column, write_csv


def sweep_table(**columns: Any) -> dict[str, Any]:
    rows = len(next(iter(columns.values())))
    out: dict[str, Any] = {"point": np.arange(float(rows))}
    for name, values in columns.items():
        out[name] = (np.array(values, dtype=object) if isinstance(values[0], str)
                     else np.array(values, dtype=np.float64))
    x = np.arange(float(rows))
    return out | {"spread_percent": 1.0 + x, "deviation_percent_1": x, "deviation_percent_2": -x}


def xdata(line: Any) -> list[float]:
    return list(np.asarray(line.get_xdata()).tolist())


def test_one_parameter_draws_spread_and_cylinders() -> None:
    table = sweep_table(rpm=[3000, 1000, 2000])
    table["spread_percent"][1] = np.nan
    with house_style():
        figure = table_figure(table)
    upper, lower = figure.axes
    assert xdata(upper.lines[0]) == [1000, 2000, 3000]
    drawn = np.asarray(upper.lines[0].get_ydata())
    assert np.isnan(drawn[0]) and drawn[1:].tolist() == [3.0, 1.0]
    assert {t.get_text() for t in lower.texts} == {"1", "2"}
    assert upper.get_ylim()[0] == 0.0


def test_two_parameters_become_a_map_with_the_figures_in_it() -> None:
    table = sweep_table(**{"a.b_mm": [1, 1, 2, 2], "rpm": [10, 20, 10, 20]})
    table["spread_percent"][3] = np.nan
    with house_style():
        figure = table_figure(table)
        assert figure_bytes(figure, "png").startswith(b"\x89PNG")
    ax = figure.axes[0]
    assert [t.get_text() for t in ax.texts] == ["1.0", "2.0", "3.0"]
    assert len(ax.patches) == 1  # the point without a figure is hatched
    assert ax.get_ylabel() == "a b (mm)" and ax.get_xlabel() == "rpm"


def test_text_becomes_lines_and_a_sample_a_scatter() -> None:
    with house_style():
        lines = table_figure(sweep_table(mouth=["bell", "bell", "sharp", "sharp"],
                                         rpm=[1, 2, 1, 2])).axes[0]
        cloud = table_figure(sweep_table(a=[0.1, 0.4, 0.2], b=[5, 7, 9], c=["x", "y", "x"]))
    assert lines.get_legend() is not None and len(lines.lines) == 2
    assert len(cloud.axes) == 3
    assert xdata(cloud.axes[2].lines[0]) == [0.0, 1.0, 0.0]


def test_plot_file(tmp_path: Path) -> None:
    columns = (Column("point", "int"), Column("plenum.length_mm"), Column("spread_percent"))
    write_csv(tmp_path / "t.csv", columns, [[[0, 400.0, 1.0], [1, 420.0, 2.0]]])
    path = plot_table(tmp_path / "t.csv", tmp_path / "t.svg", ["plenum.length"])
    again = plot_table(tmp_path / "t.csv", tmp_path / "u.svg")
    assert path.read_bytes() == again.read_bytes() and b"<svg" in path.read_bytes()
    with pytest.raises(InputError, match=r"\.svg, \.png or \.pdf"):
        plot_table(tmp_path / "t.csv", tmp_path / "t.gif")
    with pytest.raises(InputError, match=r"runners\.length"):
        plot_table(tmp_path / "t.csv", tmp_path / "t.svg", ["runners.length"])
    with pytest.raises(InputError, match="a table that `distrib sweep` wrote"):
        parameters_of({"x": np.zeros(2)})


def test_labels() -> None:
    assert readable("plenum.length_mm") == "plenum length (mm)"
    assert readable("conditions.rpm") == "engine speed (rev/min)"
    assert readable("runners.mouth_radius_mm") == "mouth radius of the runners (mm)"
    assert readable("conditions.charge_pressure_bar_gauge") == (
        "charge pressure (bar gauge)")
    assert readable("mass_residual") == "mass residual"
