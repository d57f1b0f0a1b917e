"""The study whose speed is measured: a real sweep of a demo case on the rig, with bands."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from distrib.case.read import read_case
from distrib.studies.evaluate import Chunk
from distrib.studies.runner import Study
from distrib.studies.sweep import SweepOptions, sweep_study

CASE = Path(__file__).resolve().parents[2] / "cases" / "inline4_side.toml"
DESIGNS = 24
BAND_SAMPLES = 2000


def study() -> Study:
    """So many designs, each with a band of so many draws that a solve outweighs its handing out."""
    return sweep_study(read_case(CASE), [f"plenum.length=360:{360 + DESIGNS - 1}:1 mm"],
                       SweepOptions(model="bench", band_samples=BAND_SAMPLES, chunk=1))


def chunks(made: Study) -> list[Chunk]:
    """The study's chunks, as a backend gets them."""
    out = []
    for number, points in enumerate(made.plan.blocks(made.chunk)):
        indices = np.arange(number * made.chunk, number * made.chunk + points.shape[0])
        out.append(Chunk(number, indices, points, np.zeros(indices.size, dtype=np.uint64)))
    return out
