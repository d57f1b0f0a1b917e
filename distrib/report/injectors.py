"""Injectors on a drawing: symbols whose tips stand where the case says, as far as it says so.

The case gives one distance from the tip to the valve, along the passage, what the spray hits, and
the length of the port in the head. Which side of the runner an injector sits on, how it leans and
how large it is follow a convention.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from distrib.report.numbers import both
from distrib.results import FloatArray

if TYPE_CHECKING:
    from distrib.case.schema import Case, Runner

NOZZLE_M: Final = (0.012, 0.0035)
BODY_M: Final = (0.026, 0.0075)
"""Length and radius of the two parts of the symbol; a symbol, not the size of any injector."""
SPRAY: Final = 0.3
"""Radius of the drawn spray where it ends, over its length."""
LEAN_DEG: Final[dict[str, float]] = {"valve": 25.0, "mouth": 25.0, "wall": 90.0}
"""Angle between injector and runner axis on the drawing, by what the spray hits."""
NOTE: Final = (
    "Injectors are symbols: only the place of the tip along the runner is meant. It is set back "
    "{back} from the valve, past a port of {port} in the head. They stand on the side away from "
    "the bend; lean and size are a convention.")
NOTE_HEAD: Final = (
    "Injectors are not drawn: {back} from the valve the tip lies in the port of the head, which is "
    "{port} long.")
NOTE_BEFORE: Final = (
    "Injectors are symbols before the mouths: {back} from the valve is more than runner and "
    "port ({port}) together. Lean and size are a convention.")


@dataclass(frozen=True)
class Symbol:
    """Points (6, 3) and radii (6,) of one injector from the end of its spray outwards, metres.

    `spray_m` of the line, from its start, is the spray; the tip follows.
    """

    points_m: FloatArray
    radii_m: FloatArray
    spray_m: float


def injector_symbol(
    case: Case, runner: Runner, line_m: FloatArray, turn: FloatArray,
) -> tuple[Symbol | None, tuple[str, ...]]:
    """The injector of one runner and the notes on it; nothing where the case gives no distance.

    line_m: centre line of the runner (n, 3) from mouth to flange; turn (3,): the way it bends.
    """
    drawing = case.drawing
    if drawing is None or drawing.injector_to_valve_m is None:
        return None, ()
    port = case.engine.port_length_m
    back = drawing.injector_to_valve_m
    words = {"back": both(back), "port": both(round(port, 4))}
    steps = np.linalg.norm(np.diff(line_m, axis=0), axis=1)
    run = np.concatenate([[0.0], np.cumsum(steps)])
    at = float(run[-1]) - (back - port)
    if at > float(run[-1]):
        return None, (NOTE_HEAD.format(**words),)
    if at < 0.0:
        return _before(line_m, -at), (NOTE_BEFORE.format(**words),)
    lean = LEAN_DEG[drawing.injector_aim or "valve"]
    return _on_runner(line_m, run, at, turn, runner, lean), (NOTE.format(**words),)


def _symbol(tip: FloatArray, outward: FloatArray, spray_m: float) -> Symbol:
    """Spray, nozzle and body along one line; `outward` points from the tip away from the stream."""
    nozzle, nozzle_radius = NOZZLE_M
    body, radius = BODY_M
    along = np.array([-spray_m, -1e-6, 0.0, nozzle, nozzle + 1e-4, nozzle + body])
    radii = np.array([SPRAY * spray_m, 0.0005, nozzle_radius, nozzle_radius, radius, radius])
    return Symbol(tip + along[:, None] * outward, radii, spray_m)


def _before(line_m: FloatArray, ahead_m: float) -> Symbol:
    """An injector in the plenum that sprays into the mouth, on the axis of the mouth."""
    first = line_m[1] - line_m[0]
    first = first / np.linalg.norm(first)
    return _symbol(line_m[0] - ahead_m * first, -first, max(ahead_m, 0.005))


def _on_runner(
    line_m: FloatArray, run: FloatArray, at: float, turn: FloatArray, runner: Runner,
    lean_deg: float,
) -> Symbol:
    """An injector in the wall of a runner, outside its bend, spraying the way the air goes."""
    place = np.array([np.interp(at, run, line_m[:, k]) for k in range(3)])
    index = min(int(np.searchsorted(run, at, side="right")), run.size - 1)
    heading = line_m[index] - line_m[index - 1]
    heading = heading / np.linalg.norm(heading)
    first = line_m[1] - line_m[0]
    across = np.cross(np.cross(first, turn), heading)
    outer = -across / np.linalg.norm(across)
    bore = runner.diameter_m + (runner.end_diameter_m - runner.diameter_m) * at / float(run[-1])
    lean = math.radians(lean_deg)
    outward = math.sin(lean) * outer - math.cos(lean) * heading
    room = (float(run[-1]) - at) / max(math.cos(lean), 1e-3)
    spray = max(min(0.5 * bore / math.sin(lean), room), 0.004)
    return _symbol(place + 0.5 * bore * outer, outward, spray)
