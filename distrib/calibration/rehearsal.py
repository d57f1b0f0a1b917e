"""What a planned swap test would find: faults put into invented readings of its own runs.

The runs of the plan say which injector and sensor sit where; every reading scatters by the stated
repeatability. A fault is found when its part, and nothing else, is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from distrib.calibration.blame import stands_out
from distrib.calibration.swap import REPEATABILITY, SwapResult, SwapRun, solve_swap

Part = Literal["injector", "sensor", "cylinder"]
TRIES: Final = 60
SIZES_PERCENT: Final = (1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0)
OFTEN: Final = 0.9
"""Share of the tries from which a fault counts as found."""
WORDS: Final[dict[Part, str]] = {
    "injector": "an injector that gives less fuel",
    "sensor": "a sensor that reads lean",
    "cylinder": "a leak into one runner, or more air there",
}


@dataclass(frozen=True)
class Rehearsed:
    """One kind of fault: its sizes in percent, and the shares of tries in which it alone was named,
    in which something else was named, and in which nothing was."""

    part: Part
    sizes_percent: tuple[float, ...]
    found: tuple[float, ...]
    misled: tuple[float, ...]
    silent: tuple[float, ...]

    @property
    def smallest_percent(self) -> float:
        """Smallest size that is found nine times of ten, and every larger one; NaN for none."""
        good = np.array(self.found) >= OFTEN
        last_bad = np.flatnonzero(~good)
        first = int(last_bad[-1]) + 1 if len(last_bad) else 0
        return self.sizes_percent[first] if first < len(good) else float("nan")

    def __str__(self) -> str:
        if np.isfinite(self.smallest_percent):
            return (f"{WORDS[self.part]}: found nine times of ten from {self.smallest_percent:g} % "
                    "on")
        worst = max(self.misled)
        if worst >= 0.5:
            return (f"{WORDS[self.part]}: never told apart; up to {100 * worst:.0f} % of the tries "
                    "name something else. Move the sensors as well in a further run")
        return f"{WORDS[self.part]}: not found up to {self.sizes_percent[-1]:g} %"


def rehearse(
    runs: Sequence[SwapRun], sigma: float = REPEATABILITY, tries: int = TRIES, seed: int = 1,
    sizes_percent: Sequence[float] = SIZES_PERCENT,
) -> tuple[Rehearsed, ...]:
    """Rehearse the runs of a plan; their readings are not used.

    InputError from `solve_swap` where the plan leaves parts unlinked. Which part is at fault goes
    round from try to try.
    """
    rng = np.random.default_rng(seed)
    n = len(runs[0].lambda_)
    parts: tuple[Part, ...] = ("injector", "sensor", "cylinder")
    out = []
    for part in parts:
        counts = np.zeros((3, len(sizes_percent)))
        for k, size in enumerate(sizes_percent):
            for t in range(tries):
                made = [_reading(run, part, t % n, size / 100.0, rng.normal(0.0, sigma, n))
                        for run in runs]
                named = _named(solve_swap(made, sigma))
                counts[0 if named == {(part, t % n)} else 1 if named else 2, k] += 1
        found, misled, silent = counts / tries
        out.append(Rehearsed(part, tuple(sizes_percent), tuple(found), tuple(misled),
                             tuple(silent)))
    return tuple(out)


def _reading(
    run: SwapRun, part: Part, which: int, size: float, noise: np.ndarray[tuple[int], np.dtype[
        np.float64]]
) -> SwapRun:
    """Readings of one run with the fault in it."""
    where = {"injector": run.injector, "sensor": run.sensor,
             "cylinder": np.arange(len(run.lambda_))}[part]
    lean = np.where(where == which, np.log1p(size), 0.0)
    return replace(run, lambda_=0.85 * np.exp(lean + noise) / (1.0 + run.trim_percent / 100.0))


def _named(found: SwapResult) -> set[tuple[Part, int]]:
    """Parts that the statements of a swap test name."""
    out: set[tuple[Part, int]] = set()
    groups: tuple[tuple[Part, object, object], ...] = (
        ("cylinder", found.air, found.air_sigma), ("injector", found.injector,
                                                    found.injector_sigma),
        ("sensor", found.sensor, found.sensor_sigma))
    judged = len(found.air) * (2 if found.sensor is None else 3)
    for part, values, sigma in groups:
        if values is not None:
            _, named = stands_out(np.log(np.asarray(values)), np.asarray(sigma), judged)
            out |= {(part, int(k)) for k in np.flatnonzero(named)}
    return out
