"""Fuel side: mixtures, injectors, trims, verdicts. Arrays only; knows no case file."""

from __future__ import annotations

from distrib.fuelling.errors import FuellingError, TrimError
from distrib.fuelling.fuels import (
    FuelProperties,
    afr_from_lambda,
    blend,
    fuel,
    fuel_mass,
    lambda_from_afr,
)
from distrib.fuelling.injectors import (
    DutyCheck,
    InjectorSet,
    check_duty,
    dead_time,
    duty,
    flow_at_pressure,
    port_factors,
)
from distrib.fuelling.lambda_ import (
    Stage,
    air_following_share,
    lambda_at_equal_fuel,
    multiplier_from_lambda,
    needed_multiplier,
    trim_of_stage,
)
from distrib.fuelling.limits import DEFAULT_LIMITS, Limits, limits
from distrib.fuelling.trims import (
    POLICIES,
    Trims,
    check_injection,
    convert_percent,
    from_lambda,
    plan,
    sign_flips,
)
from distrib.fuelling.verdict import Verdict, side, verdicts, words

__all__ = [
    "DEFAULT_LIMITS", "POLICIES", "DutyCheck", "FuelProperties", "FuellingError", "InjectorSet",
    "Limits", "Stage", "TrimError", "Trims", "Verdict", "afr_from_lambda", "air_following_share",
    "blend", "check_duty", "check_injection", "convert_percent", "dead_time", "duty",
    "flow_at_pressure", "from_lambda", "fuel", "fuel_mass", "lambda_at_equal_fuel",
    "lambda_from_afr", "limits", "multiplier_from_lambda", "needed_multiplier",
    "plan", "port_factors", "side", "sign_flips", "trim_of_stage", "verdicts", "words",
]
