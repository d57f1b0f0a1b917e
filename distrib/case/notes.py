"""Parts of a case beside metal and engine: limits, choice of laws, band, search."""

from __future__ import annotations

from typing import Annotated

from distrib.case.fields import Part, Spec


class Limits(Part):
    """Limits of verdicts and trims; defaults are common practice. `reasons` holds (name, why)."""

    lean_percent: Annotated[
        float,
        Spec("lean_percent", "number", "deviation from which a cylinder is lean", "3", 0.1, 20),
    ] = 3.0
    watch_percent: Annotated[
        float, Spec("watch_percent", "number", "deviation from which it is watched", "1.5", 0.1, 20)
    ] = 1.5
    rich_percent: Annotated[
        float, Spec("rich_percent", "number", "deviation below which it is rich", "-3", -20, -0.1)
    ] = -3.0
    richen_cap_percent: Annotated[
        float,
        Spec("richen_cap_percent", "number", "greatest predicted trim that adds fuel", "5", 0, 15),
    ] = 5.0
    prediction_cap_percent: Annotated[
        float,
        Spec(
            "prediction_cap_percent", "number", "predicted trim from which to measure first", "3",
            0, 15,
        ),
    ] = 3.0
    measured_cap_percent: Annotated[
        float, Spec("measured_cap_percent", "number", "greatest trim from measurement", "5", 0, 15)
    ] = 5.0
    warn_percent: Annotated[
        float, Spec("warn_percent", "number", "trim that is warned of", "8", 0, 20)
    ] = 8.0
    refuse_percent: Annotated[
        float,
        Spec("refuse_percent", "number", "trim that is refused: fault or rework", "10", 0, 25),
    ] = 10.0
    duty_max: Annotated[
        float, Spec("duty_max", "fraction", "greatest injector duty", "0.85", 0.3, 1)
    ] = 0.85
    reasons: tuple[tuple[str, str], ...] = ()


class LossChoice(Part):
    """Names of laws in the losses registry; `auto` lets the build choose and say which."""

    branch: Annotated[str, Spec("branch", "text", "dividing take-off", "auto")] = "auto"
    run: Annotated[str, Spec("run", "text", "straight run past a take-off", "auto")] = "auto"
    friction: Annotated[str, Spec("friction", "text", "wall friction", "auto")] = "auto"
    entrance: Annotated[str, Spec("entrance", "text", "runner mouth", "auto")] = "auto"
    bend: Annotated[str, Spec("bend", "text", "bends", "auto")] = "auto"
    expansion: Annotated[str, Spec("expansion", "text", "widening", "auto")] = "auto"
    contraction: Annotated[str, Spec("contraction", "text", "narrowing", "auto")] = "auto"
    throttle: Annotated[str, Spec("throttle", "text", "throttle plate", "auto")] = "auto"
    baffle: Annotated[str, Spec("baffle", "text", "perforated plate", "auto")] = "auto"
    jet: Annotated[str, Spec("jet", "text", "jet of the entry", "auto")] = "auto"


class Uncertainty(Part):
    """How the band is sampled."""

    samples: Annotated[
        int, Spec("samples", "integer", "samples of the band", "1000", 100, 200000)
    ] = 1000
    seed: Annotated[int, Spec("seed", "integer", "seed of the sampler", "1", 0, 2**31 - 1)] = 1
    tolerance_m: Annotated[
        float,
        Spec("tolerance", "length", "standard deviation of made dimensions", "0.1 mm", 0, 0.005),
    ] = 0.1e-3
    charge_pressure_percent: Annotated[
        float,
        Spec("charge_pressure_percent", "number", "standard deviation of the charge pressure", "2",
             0, 20),
    ] = 2.0
    charge_temperature_kelvin: Annotated[
        float,
        Spec("charge_temperature_kelvin", "number",
             "standard deviation of the charge temperature", "5", 0, 50),
    ] = 5.0


class SearchRange(Part):
    """One parameter that `improve` may change: a range (SI and as typed) or a list of choices."""

    parameter: str
    kind: str
    low: float | None = None
    high: float | None = None
    low_text: str = ""
    high_text: str = ""
    choices: tuple[str, ...] = ()
