"""Operating points of the engine: speeds and charge states, broadcast against each other."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from distrib.case.schema import Case
from distrib.errors import InputError, Problem
from distrib.results import FloatArray


def operating_points(
    case: Case, rpm: ArrayLike | None, charge_pressure_pa: ArrayLike | None,
    charge_temperature_k: ArrayLike | None,
) -> dict[str, FloatArray]:
    """Broadcast conditions to (P,), defaults from the case. InputError for impossible values."""
    speed = np.asarray(case.conditions.rpm if rpm is None else rpm, dtype=float)
    pressure = np.asarray(case.conditions.charge_pressure_pa if charge_pressure_pa is None
                          else charge_pressure_pa, dtype=float)
    temperature = np.asarray(case.conditions.charge_temperature_k if charge_temperature_k is None
                             else charge_temperature_k, dtype=float)
    try:
        table = np.broadcast_arrays(np.atleast_1d(speed), pressure, temperature)
    except ValueError as error:
        raise InputError([Problem("conditions", str(error), "arrays that broadcast")]) from error
    names = ("rpm", "charge_pressure_pa", "charge_temperature_k")
    wrong = [Problem(n, f"{v}", "above zero") for n, v in zip(names, table, strict=True)
             if not np.all(v > 0.0)]
    if wrong:
        raise InputError(wrong)
    return {n: np.array(v, dtype=float) for n, v in zip(names, table, strict=True)}
