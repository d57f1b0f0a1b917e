"""What the rules look at: a case, the shares of a model where one has run, plain estimates."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from distrib.case import geometry
from distrib.case.schema import Case, Entry, Plenum, Runner
from distrib.results import ModelName, Shares
from distrib.review import estimates


def circle_m2(diameter_m: float) -> float:
    """Area of a circle."""
    return math.pi / 4.0 * diameter_m**2


@dataclass(frozen=True)
class Subject:
    """One case under review; `shares` may be empty, then plain estimates stand in.

    Estimates use the highest speed of the case, charge pressure and temperature before the
    throttle, and say so in `flow_basis`.
    """

    case: Case
    shares: tuple[Shares, ...] = ()

    @cached_property
    def rpm(self) -> float:
        """Highest engine speed of the case."""
        return max(self.case.conditions.rpm)

    @cached_property
    def density(self) -> float:
        """Density of the charge before the throttle, kg/m^3."""
        c = self.case.conditions
        return estimates.density_kg_m3(c.charge_pressure_pa, c.charge_temperature_k)

    @cached_property
    def displacement_m3(self) -> float:
        """Swept volume of the engine."""
        return geometry.displacement_m3(self.case)

    @cached_property
    def engine_shares(self) -> Shares | None:
        """The engine figure to judge by; None when it has not run."""
        return self.model("engine")

    def model(self, name: ModelName) -> Shares | None:
        """The result of one model, or None."""
        for shares in self.shares:
            if shares.model == name:
                return shares
        return None

    @cached_property
    def _flow(self) -> tuple[float, str]:
        shares = self.engine_shares
        if shares is not None and bool(shares.converged.any()):
            total = shares.air_kg_s.sum(axis=-1)
            return float(np.nanmax(total)), f"{shares.model} model"
        flow = estimates.mass_flow_kg_s(
            self.density, self.displacement_m3, self.rpm, estimates.VOLUMETRIC_GUESS
        )
        return flow, f"estimate at {self.rpm:.0f} rpm, volumetric efficiency 1 on charge density"

    @property
    def mass_flow(self) -> float:
        """Air of the whole engine at the highest flow, kg/s."""
        return self._flow[0]

    @property
    def flow_basis(self) -> str:
        """Where `mass_flow` comes from, in words."""
        return self._flow[1]

    @cached_property
    def drawing_cylinders(self) -> float:
        """Mean number of cylinders that draw at once: N x intake duration/720."""
        valve = self.case.engine.intake_valve
        duration = 250.0 if valve is None else 180.0 + valve.opens_deg + valve.closes_deg
        return self.case.engine.cylinders * duration / 720.0

    def runners_of(self, plenum: Plenum) -> tuple[Runner, ...]:
        """Runners of a plenum, by station."""
        return geometry.stations(self.case, plenum.name)

    def entries_of(self, plenum: Plenum) -> tuple[Entry, ...]:
        """Entries of a plenum, by position."""
        chosen = [e for e in self.case.entries if e.plenum == plenum.name]
        return tuple(sorted(chosen, key=lambda e: e.at_m))

    def inlets_of(self, plenum: Plenum) -> tuple[float, ...]:
        """Positions where air comes into a plenum: entries, else balance tubes."""
        return geometry.inlet_positions_m(self.case, plenum.name)

    def plenum_flow(self, plenum: Plenum) -> float:
        """Air that the runners of one plenum take at the highest flow, kg/s, even shares."""
        return self.mass_flow * len(self.runners_of(plenum)) / len(self.case.runners)

    def entry_flow(self, entry: Entry) -> float:
        """Air through one entry, kg/s.

        Entries of one plenum count alike; where a plenum lives on a balance tube, all entries
        of the engine count alike.
        """
        if any(self.runners_of(p) and not self.entries_of(p) for p in self.case.plenums):
            return self.mass_flow / len(self.case.entries)
        plenum = self.case.plenum(entry.plenum)
        return self.plenum_flow(plenum) / len(self.entries_of(plenum))

    def axial_flow(self, plenum: Plenum) -> tuple[tuple[float, float], ...]:
        """(position, largest axial flow there in kg/s) where the flow changes along a plenum.

        Even shares, inlets counted alike; what a balance tube carries away is left out. Positive
        and negative directions both count by size.
        """
        runners, inlets = self.runners_of(plenum), self.inlets_of(plenum)
        if not runners or not inlets:
            return ()
        total = self.plenum_flow(plenum)
        taken, given = total / len(runners), total / len(inlets)
        points = sorted({*inlets, *(r.station_m for r in runners)})
        out, running = [], 0.0
        for at in points:
            before = running
            running += given * sum(x == at for x in inlets)
            running -= taken * sum(r.station_m == at for r in runners)
            out.append((at, max(abs(before), abs(running))))
        return tuple(out)

    def streams_of(self, plenum: Plenum) -> int:
        """Streams that share the mouths of a plenum: 2 when an inlet lies between mouths."""
        runners, inlets = self.runners_of(plenum), self.inlets_of(plenum)
        inside = [x for x in inlets if runners[0].station_m < x < runners[-1].station_m]
        return 2 if inside or len(inlets) > 1 else 1

    def last_runners(self, plenum: Plenum) -> tuple[Runner, ...]:
        """Runners at the dead ends: no inlet beyond them, to either side."""
        runners, inlets = self.runners_of(plenum), self.inlets_of(plenum)
        if not runners or not inlets:
            return ()
        last = []
        if all(x > runners[0].station_m for x in inlets):
            last.append(runners[0])
        if all(x < runners[-1].station_m for x in inlets):
            last.append(runners[-1])
        return tuple(last)

    def given(self, cylinder: int, key: str) -> bool:
        """Whether the case file itself gives a runner's field (TOML key), shared or own."""
        shared = self.case.tree.get("runners", {})
        if key in shared:
            return True
        own = [r for r in self.case.tree.get("runner", ()) if r.get("cylinder") == cylinder]
        return any(key in item for item in own)

    @cached_property
    def gauge_pa(self) -> float:
        """Working pressure over ambient, Pa; 0 for an engine without boost."""
        c = self.case.conditions
        return max(c.charge_pressure_pa - c.ambient_pressure_pa, 0.0)


def names(items: Sequence[Plenum] | Sequence[Entry]) -> str:
    """Names of parts, comma separated."""
    return ", ".join(item.name for item in items)
