"""Values of the starter cases: one engine per layout, invented but realistic in every dimension."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Starter:
    """Values of one layout as the file holds them.

    `rows` gives each cylinder its row when the plenum has two; `split` puts the rows on two
    plenums with a balance tube; stations are in millimetres from the cylinder-1 end.
    """

    name: str
    layout: str
    bore_mm: float
    stroke_mm: float
    rod_mm: float
    ratio: float
    firing_order: tuple[int, ...]
    length_mm: float
    stations_mm: tuple[float, ...]
    section: tuple[tuple[str, str], ...]
    runner_mm: float
    runner_length_mm: float
    throttle_mm: float
    intake_valve_mm: float
    exhaust_valve_mm: float
    port_flow_cfm: int
    boost_bar: float | None
    rpm: tuple[int, ...]
    rows: tuple[str, ...] = ()
    split: bool = False

    @property
    def center_mm(self) -> float:
        """Middle of the row of mouths."""
        return (min(self.stations_mm) + max(self.stations_mm)) / 2


STARTERS: Final[dict[str, Starter]] = {
    starter.layout: starter
    for starter in (
        Starter(
            "inline three", "inline-3", 82.0, 84.0, 138.0, 9.5, (1, 3, 2),
            300.0, (62.0, 150.0, 238.0), (("diameter", "72 mm"),), 40.0, 280.0, 56.0,
            32.0, 27.5, 200, 1.0, (2500, 3500, 4500, 5500, 6500),
        ),
        Starter(
            "inline four", "inline-4", 84.0, 90.0, 144.0, 9.3, (1, 3, 4, 2),
            385.0, (53.0, 146.0, 239.0, 332.0), (("width", "76 mm"), ("height", "78 mm")),
            43.0, 270.0, 65.0, 33.5, 29.0, 225, 1.1, (2500, 3500, 4500, 5500, 6500),
        ),
        Starter(
            "inline five", "inline-5", 81.0, 92.0, 144.0, 9.3, (1, 2, 4, 5, 3),
            460.0, (54.0, 142.0, 230.0, 318.0, 406.0), (("diameter", "86 mm"),),
            42.0, 300.0, 68.0, 33.0, 28.5, 215, 1.2, (2500, 3500, 4500, 5500, 6500),
        ),
        Starter(
            "inline six", "inline-6", 86.0, 86.0, 142.0, 9.0, (1, 5, 3, 6, 2, 4),
            610.0, (65.0, 161.0, 257.0, 353.0, 449.0, 545.0), (("diameter", "92 mm"),),
            43.0, 320.0, 76.0, 34.0, 29.5, 230, 1.3, (2500, 3500, 4500, 5500, 6500, 7000),
        ),
        Starter(
            "V six", "v6", 92.0, 84.0, 150.0, 10.5, (1, 2, 3, 4, 5, 6),
            380.0, (70.0, 90.0, 178.0, 198.0, 286.0, 306.0),
            (("width", "120 mm"), ("height", "85 mm")),
            44.0, 240.0, 75.0, 36.0, 31.0, 245, None, (2500, 3500, 4500, 5500, 6500),
            rows=("left", "right", "left", "right", "left", "right"),
        ),
        Starter(
            "V eight", "v8", 100.0, 89.0, 154.0, 10.4, (1, 8, 4, 3, 6, 5, 7, 2),
            480.0, (62.0, 86.0, 172.0, 196.0, 282.0, 306.0, 392.0, 416.0),
            (("width", "130 mm"), ("height", "90 mm")),
            46.0, 230.0, 85.0, 38.0, 32.0, 265, None, (2000, 3000, 4000, 5000, 6000, 6500),
            rows=("left", "right") * 4,
        ),
        Starter(
            "flat four", "flat-4", 92.0, 79.0, 131.0, 9.0, (1, 3, 2, 4),
            230.0, (60.0, 84.0, 152.0, 176.0), (("diameter", "70 mm"),),
            43.0, 300.0, 52.0, 36.0, 31.0, 235, 1.0, (2500, 3500, 4500, 5500, 6500),
            rows=("right", "left", "right", "left"), split=True,
        ),
        Starter(
            "flat six", "flat-6", 95.0, 77.0, 130.0, 10.6, (1, 6, 2, 4, 3, 5),
            350.0, (57.0, 175.0, 293.0, 57.0, 175.0, 293.0), (("diameter", "76 mm"),),
            45.0, 290.0, 60.0, 37.0, 32.0, 250, None, (2500, 3500, 4500, 5500, 6500, 7500),
            rows=("left", "left", "left", "right", "right", "right"), split=True,
        ),
    )
}  # fmt: skip
"""Layout -> values. Figures are our own invention, within what is common for such engines."""
