"""The bench model as a forward model of a sheet: which coefficients are unknown, what they predict.

Unknown are the loss of each runner, the static regain of each plenum, the loss of each entry pipe
and the strength of each entry's jet. Their priors come from the laws that the case would use
otherwise. All of them have a place in the case file.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from distrib.build.bench import solve_bench
from distrib.build.draws import Draws
from distrib.build.entry_jets import law_sigma
from distrib.build.graph import build_graph, runner_order
from distrib.calibration.bench import BenchSheet, BenchTest
from distrib.calibration.fit import Fit, Parameter
from distrib.case.change import with_changes
from distrib.case.schema import Case, Entry, Plenum
from distrib.engine.rig import mass_flux
from distrib.errors import InputError, Problem
from distrib.losses.friction import darcy
from distrib.losses.junctions import run_coefficients
from distrib.results import FloatArray

RUNNER_SIGMA: Final = 0.20
"""Relative prior of a runner's loss: bends 15 to 20 %, friction 10 %, mouth edge 5 %."""
ENTRY_SIGMA: Final = 0.25
"""Relative prior of an entry pipe's loss: scatter of handbook fittings."""
NOMINAL_RE: Final = 1e5


@dataclass(frozen=True)
class ValueDraws(Draws):
    """Draws with chosen values: z by name for B parameter sets, 0 for every other name."""

    values: Mapping[str, FloatArray] = field(default_factory=dict)

    def z(self, name: str) -> FloatArray | float:
        """The chosen deviation of one quantity in its standard deviations."""
        return np.tile(self.values[name], self.repeat) if name in self.values else 0.0


@dataclass(frozen=True)
class Unknown:
    """A parameter of the fit and the uncertain quantity of the build it stands for.

    z = (value - centre)/spread. `place` is the dotted name in the case file.
    """

    parameter: Parameter
    draw: str
    centre: float
    spread: float
    place: str


@dataclass(frozen=True)
class BenchForward:
    """Forward model of one sheet: `predict` gives ln of the effective area of every used test."""

    case: Case
    unknowns: tuple[Unknown, ...]
    tests: tuple[BenchTest, ...]

    @property
    def parameters(self) -> tuple[Parameter, ...]:
        """Parameters in the order of `predict`."""
        return tuple(u.parameter for u in self.unknowns)

    @property
    def observed(self) -> FloatArray:
        """ln of the measured effective areas, (M,)."""
        return np.log([t.effective_area_m2 for t in self.tests])

    @property
    def sigma(self) -> FloatArray:
        """Standard errors of `observed`, (M,)."""
        return np.array([t.relative_sigma for t in self.tests])

    def predict(self, values: FloatArray) -> FloatArray:
        """(B, K) parameter values to (B, M) ln effective areas; NaN where the network fails."""
        sets = np.atleast_2d(values)
        draws = ValueDraws(samples=len(sets), values={
            u.draw: (sets[:, k] - u.centre) / u.spread for k, u in enumerate(self.unknowns)
        })
        out = np.full((len(sets), len(self.tests)), np.nan)
        for key, columns in self._groups().items():
            opened, depression, lift = key
            area = self._areas(opened, depression, lift, draws)
            for m in columns:
                cylinder = runner_order(self.case).index(self.tests[m].runner)
                out[:, m] = np.log(area[:, cylinder])
        return out

    def _groups(self) -> dict[tuple[tuple[int, ...], float, float | None], list[int]]:
        """Tests that one solve serves: open runners, depression, lift."""
        every = tuple(runner_order(self.case))
        groups: dict[tuple[tuple[int, ...], float, float | None], list[int]] = {}
        for m, test in enumerate(self.tests):
            opened = every if test.configuration == "all-open" else (test.runner,)
            groups.setdefault((opened, test.depression_pa, test.lift_m), []).append(m)
        return groups

    def _areas(
        self, opened: tuple[int, ...], depression_pa: float, lift_m: float | None, draws: Draws
    ) -> FloatArray:
        case = self.case
        if lift_m is not None and case.bench.head == "fitted":
            case = case.model_copy(
                update={"bench": case.bench.model_copy(update={"valve_lift_m": lift_m})})
        found = solve_bench(case, depression_pa=depression_pa, open_runners=opened, draws=draws)
        flux = mass_flux(case.conditions.ambient_pressure_pa,
                         case.conditions.ambient_temperature_k, depression_pa)
        air = np.broadcast_to(found.air_kg_s, (draws.samples, found.air_kg_s.shape[1]))
        return np.asarray(np.where(air > 0.0, air, np.nan) / flux)


def bench_forward(
    case: Case, sheet: BenchSheet, jet: bool | Collection[str] = True
) -> BenchForward:
    """Forward model of a sheet with its unknowns and their priors; InputError without usable rows.

    `jet`: whether the strength of the jets is unknown too, or the names of the entries whose is.
    Rows taken with the other runners open to the room are not used.
    """
    tests = tuple(t for t in sheet.tests if t.configuration != "one-open")
    if not tests:
        raise InputError([Problem("bench sheet", "only rows with the others open to the room",
                                  "runners blocked, or all open", "", str(sheet.path))])
    together = any(t.configuration == "all-open" for t in tests)
    changes: dict[str, Any] = {}
    unknowns: list[Unknown] = []
    losses = _nominal_losses(case)
    tested = {t.runner for t in tests}
    for runner in sorted(case.runners, key=lambda r: r.cylinder):
        c = runner.cylinder
        if c not in tested and not together:
            continue
        value, sigma = _given(runner.loss) or (
            losses[f"runner {c}"], RUNNER_SIGMA * losses[f"runner {c}"])
        if sigma <= 0.0:
            continue  # given as certain
        changes[f"runner.{c}.loss"] = {"value": value, "sigma": sigma}
        unknowns.append(_loss(f"runner.{c}.loss", f"given.runner.{c}.loss", value, sigma,
                              "laws of bends, friction and taper"))
    if together:
        unknowns += _header_unknowns(case, losses, changes, jet)
    return BenchForward(with_changes(case, changes), tuple(unknowns), tests)


def _given(value: Any) -> tuple[float, float] | None:
    """A coefficient already given in the case, with its sigma (10 % when it has none).

    A sigma of 0 says that the coefficient is certain: it is then no unknown."""
    if value is None:
        return None
    return value.value, value.sigma if value.sigma is not None else 0.1 * abs(value.value)


def _loss(
    name: str, draw: str, value: float, sigma: float, basis: str, place: str = ""
) -> Unknown:
    if value > 1e-3:
        parameter = Parameter(name, value, sigma / value, "log", 1e-4, 50.0, "-", basis)
    else:  # a loss near nothing has no relative scale
        parameter = Parameter(name, value, sigma, "linear", 0.0, 50.0, "-", basis)
    return Unknown(parameter, draw, value, sigma, place or name)


def _header_unknowns(
    case: Case, losses: Mapping[str, float], changes: dict[str, Any], jet: bool | Collection[str]
) -> list[Unknown]:
    """Regain of each plenum, loss of each entry, strength of each entry's jet."""
    out: list[Unknown] = []
    for number, plenum in enumerate(case.plenums, start=1):
        if sum(r.plenum == plenum.name for r in case.runners) < 2:
            continue
        value, sigma = _given(plenum.regain) or _nominal_regain(case, plenum)
        if sigma <= 0.0:
            continue
        name, place = f"plenum.{plenum.name}.regain", f"plenum.{number}.regain"
        changes[place] = {"value": value, "sigma": sigma}
        prior = Parameter(name, value, sigma, "linear", -1.0, 2.0, "-", "law of the run loss")
        out.append(Unknown(prior, f"given.plenum.{plenum.name}.regain", value, sigma, place))
    for number, entry in enumerate(case.entries, start=1):
        if entry.throttle is not None and entry.throttle.plate_angle_deg < 89.0:
            continue  # a part-open plate can choke, which one loss coefficient cannot say
        key = f"entry {entry.name} pipe"
        value, sigma = _given(entry.loss) or (losses[key], ENTRY_SIGMA * losses[key])
        if sigma <= 0.0:
            continue
        name, place = f"entry.{entry.name}.loss", f"entry.{number}.loss"
        changes[place] = {"value": value, "sigma": sigma}
        out.append(_loss(name, f"given.entry.{entry.name}.loss", value, sigma,
                         "laws of plate, bends and friction", place))
    for number, entry in enumerate(case.entries, start=1):
        if jet is not True and (not jet or entry.name not in jet):
            continue
        value, sigma = _jet_prior(case, entry)
        if sigma <= 0.0:
            continue
        name, place = f"entry.{entry.name}.jet", f"entry.{number}.jet"
        changes[place] = {"value": value, "sigma": sigma}
        prior = Parameter(name, value, sigma, "linear", 0.0, 5.0, "-", "law of the entry jet")
        out.append(Unknown(prior, f"given.entry.{entry.name}.jet", value, sigma, place))
    return out


def _jet_prior(case: Case, entry: Entry) -> tuple[float, float]:
    """Strength of an entry's jet and its sigma; sigma 0 where there is none to fit."""
    if case.losses.jet == "none":
        return 0.0, 0.0
    fed = [r for r in case.runners if r.plenum == entry.plenum]
    width = law_sigma(entry, case.plenum(entry.plenum), fed)
    if width <= 0.0:
        return 0.0, 0.0  # reaches no mouth
    return _given(entry.jet) or (1.0, width)


def _nominal_losses(case: Case) -> dict[str, float]:
    """Loss of each runner and entry pipe by the laws, on the head at its outlet (side v)."""
    out: dict[str, float] = {}
    for _, _, name, edge in build_graph(case).graph.edges(keys=True, data=True):
        if edge.get("kind") != "duct":
            continue
        ratio = (edge["area_v_m2"] / edge["area_u_m2"]) ** 2
        f = float(darcy(NOMINAL_RE, edge["rel_rough"]))
        out[name] = float(edge["k_v_forward"] + f * edge["friction_v"]
                          + ratio * (edge["k_u_forward"] + f * edge["friction_u"]))
    return out


def _nominal_regain(case: Case, plenum: Plenum) -> tuple[float, float]:
    """Regain whose run loss (1 - r)(1 - q^2) lies nearest to the law's over the plenum's splits."""
    n = sum(r.plenum == plenum.name for r in case.runners)
    q = (n - np.arange(1, n)) / (n - np.arange(0, n - 1))
    law = run_coefficients(case.losses.run)
    shape = 1.0 - q**2
    one_minus = float(np.sum(law.loss(q) * shape) / np.sum(shape**2))
    return 1.0 - one_minus, law.sigma


def calibrated_changes(forward: BenchForward, fit: Fit) -> dict[str, Any]:
    """What the fit puts into the case file: dotted name to {value, sigma}."""
    out: dict[str, Any] = {}
    for unknown, value, sigma in zip(forward.unknowns, fit.value, fit.sigma, strict=True):
        width = sigma * value if unknown.parameter.scale == "log" else sigma
        out[unknown.place] = {"value": float(f"{value:.6g}"), "sigma": float(f"{width:.4g}")}
    return out


def labels(tests: Sequence[BenchTest]) -> tuple[str, ...]:
    """One short name per test, for tables and plots."""
    words = {"all-open": "all open", "one-blocked": "alone", "one-open": "others open"}
    return tuple(f"runner {t.runner} {words[t.configuration]}" for t in tests)
