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
    needed_multiplier,
    port_fuel_factor,
    trim_of_stage,
)
from distrib.fuelling.limits import DEFAULT_LIMITS, Limits, limits
from distrib.fuelling.lock import Lock, Run, blank_run, removal_lock
from distrib.fuelling.rounds import Round, next_round
from distrib.fuelling.trims import (
    MEASURED_POLICIES,
    PREDICTED_POLICIES,
    Trims,
    check_injection,
    convert_percent,
    plan,
    sign_flips,
)
from distrib.fuelling.verdict import Verdict, side, verdicts, words

__all__ = [
    "DEFAULT_LIMITS", "MEASURED_POLICIES", "PREDICTED_POLICIES", "DutyCheck", "FuelProperties",
    "FuellingError", "InjectorSet", "Limits", "Lock", "Round", "Run", "Stage", "TrimError",
    "Trims", "Verdict", "afr_from_lambda", "air_following_share", "blank_run", "blend",
    "check_duty", "check_injection", "convert_percent", "dead_time", "duty", "flow_at_pressure",
    "fuel", "fuel_mass", "lambda_at_equal_fuel", "lambda_from_afr", "limits",
    "needed_multiplier", "next_round", "plan", "port_factors",
    "port_fuel_factor", "removal_lock", "side", "sign_flips", "trim_of_stage", "verdicts", "words",
]
