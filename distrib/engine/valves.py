"""Poppet valves: lift over crank angle, geometric flow area, discharge, port bench flow.

Angles are crank degrees after the firing top dead centre of the cylinder, 0 to 720.
Gas exchange lies around 360: with events given the usual way the intake opens at
360 - (degrees before TDC) and closes at 540 + (degrees after BDC).

Sources: curtain, frustum and throat areas are closed forms of the seat geometry (check
valve.curtain); the discharge range is handbook practice, from memory (check valve.cd).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from distrib.results import FloatArray

CYCLE_DEG: Final = 720.0

DEFAULT_DISCHARGE: Final[tuple[tuple[float, float], ...]] = (
    (0.00, 0.68), (0.05, 0.67), (0.10, 0.65), (0.15, 0.63),
    (0.20, 0.61), (0.25, 0.59), (0.30, 0.58), (0.40, 0.57),
)
"""Discharge coefficient over lift/diameter on `reference_area`: from memory, unverified; 0.6 to
0.7 on the curtain at low and medium lift, falling with lift. Uncertain by 15 %."""

DEFAULT_STEM_FRACTION: Final = 0.2
"""Stem diameter over valve diameter where none is given: common practice, no source."""


def intake_events(opens_deg: float, closes_deg: float) -> tuple[float, float]:
    """Opening and closing angle from degrees before TDC and degrees after BDC."""
    return 360.0 - opens_deg, 540.0 + closes_deg


def exhaust_events(opens_deg: float, closes_deg: float) -> tuple[float, float]:
    """Opening and closing angle from degrees before BDC and degrees after TDC."""
    return 180.0 - opens_deg, 360.0 + closes_deg


def lift_profile(
    theta_deg: Any,
    open_deg: float,
    close_deg: float,
    max_lift_m: float,
    table: tuple[tuple[float, float], ...] | None = None,
) -> FloatArray:
    """Valve lift, m, at crank angles of any shape (taken modulo 720).

    Without a table: `L = Lmax (1 - u^2)^2` with u from -1 at opening to +1 at closing; lift and
    velocity vanish at both ends and the mean lift is 8/15 of the largest (own choice of shape;
    a sin^2 event has 1/2, measured cams with steep flanks somewhat more). With a table of
    (degrees after opening, lift in m): monotone cubic interpolation, zero outside the table;
    its angles must increase; `close_deg` and `max_lift_m` are then not used. Raises ValueError
    for an event that is not between 0 and 720 degrees long.
    """
    duration = close_deg - open_deg
    if not 0.0 < duration < CYCLE_DEG:
        raise ValueError(f"valve event lasts {duration:g} deg; allowed: 0 to 720")
    after = np.mod(np.asarray(theta_deg, dtype=np.float64) - open_deg, CYCLE_DEG)
    if table is None:
        u = 2.0 * after / duration - 1.0
        return np.where(after < duration, max_lift_m * (1.0 - u * u) ** 2, 0.0)
    from scipy.interpolate import PchipInterpolator

    points = np.asarray(table, dtype=np.float64)
    if len(points) < 2 or np.any(np.diff(points[:, 0]) <= 0.0):
        raise ValueError("lift table: needs at least two points with increasing angle")
    curve = PchipInterpolator(points[:, 0], points[:, 1], extrapolate=False)
    lift = np.nan_to_num(np.asarray(curve(after), dtype=np.float64), nan=0.0)
    return np.asarray(lift, dtype=np.float64)


def curtain_area(lift_m: Any, diameter_m: float) -> Any:
    """Cylinder pi D L between valve head and seat, m^2 (check valve.curtain)."""
    return np.pi * diameter_m * lift_m


def throat_area(diameter_m: float, stem_diameter_m: float) -> float:
    """Port section below the head minus the stem, m^2: pi/4 (D^2 - d^2)."""
    return 0.25 * np.pi * (diameter_m * diameter_m - stem_diameter_m * stem_diameter_m)


def minimum_area(
    lift_m: Any,
    diameter_m: float,
    stem_diameter_m: float,
    seat_angle_deg: float,
    seat_width_m: float,
) -> FloatArray:
    """Smallest geometric section of one valve, m^2: frustum, then inclined curtain, then throat.

    With seat angle b and projected seat width w: up to `L = w/(sin b cos b)` the frustum normal
    to the seat, `pi L cos b (D - 2 w + L sin b cos b)`; beyond it `pi (D - w) sqrt((L - w tan
    b)^2 + w^2)`; never more than `throat_area`. Continuous at both joints. b is measured from
    the valve's flat face: 45 is usual.
    """
    lift = np.asarray(lift_m, dtype=np.float64)
    b = np.deg2rad(seat_angle_deg)
    sc = np.sin(b) * np.cos(b)
    w = seat_width_m
    low = np.pi * lift * np.cos(b) * (diameter_m - 2.0 * w + lift * sc)
    mid = np.pi * (diameter_m - w) * np.hypot(lift - w * np.tan(b), w)
    area = np.where(lift * sc <= w, low, mid)
    smallest = np.minimum(area, throat_area(diameter_m, stem_diameter_m))
    return np.asarray(smallest, dtype=np.float64)


def reference_area(lift_m: Any, diameter_m: float, stem_diameter_m: float) -> FloatArray:
    """Area the discharge coefficients of this project refer to, m^2, one valve.

    Curtain up to the lift at which it equals the throat (about a quarter of the diameter), the
    throat beyond. The seat's frustum is left to the coefficient, as is usual for coefficients
    measured on the curtain.
    """
    lift = np.asarray(lift_m, dtype=np.float64)
    throat = throat_area(diameter_m, stem_diameter_m)
    return np.asarray(np.minimum(curtain_area(lift, diameter_m), throat), dtype=np.float64)


def discharge_coefficient(
    lift_over_diameter: Any, table: tuple[tuple[float, float], ...] | float
) -> FloatArray:
    """Cd at lift/diameter from one number or a table, linear between its points.

    Beyond the last point the last value holds, before the first the first (stated here since it
    is an extrapolation; the valve is shut or wide open there).
    """
    ratio = np.asarray(lift_over_diameter, dtype=np.float64)
    if isinstance(table, int | float):
        return np.full_like(ratio, float(table))
    points = np.asarray(table, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2 or np.any(np.diff(points[:, 0]) <= 0.0):
        raise ValueError("discharge table: needs pairs with increasing lift/diameter")
    return np.asarray(np.interp(ratio, points[:, 0], points[:, 1]), dtype=np.float64)


@dataclass(frozen=True)
class ValveFlow:
    """One set of equal valves of a cylinder, ready to give its effective area.

    `discharge` is one number or pairs (lift/diameter, Cd) on `reference_area`; `scale` multiplies
    it (from `discharge_scale_from_bench`, or 1).
    """

    count: int
    diameter_m: float
    stem_diameter_m: float
    open_deg: float
    close_deg: float
    max_lift_m: float
    lift_table: tuple[tuple[float, float], ...] | None = None
    discharge: tuple[tuple[float, float], ...] | float = DEFAULT_DISCHARGE
    scale: float = 1.0

    def lift_m(self, theta_deg: Any) -> FloatArray:
        """Lift at crank angles after firing TDC, m."""
        return lift_profile(
            theta_deg, self.open_deg, self.close_deg, self.max_lift_m, self.lift_table
        )

    def effective_area_at_lift_m2(self, lift_m: Any) -> FloatArray:
        """count x scale x Cd(L/D) x reference area, m^2."""
        lift = np.asarray(lift_m, dtype=np.float64)
        cd = discharge_coefficient(lift / self.diameter_m, self.discharge)
        area = reference_area(lift, self.diameter_m, self.stem_diameter_m)
        return np.asarray(self.count * self.scale * cd * area, dtype=np.float64)

    def effective_area_m2(self, theta_deg: Any) -> FloatArray:
        """Effective area of the set at crank angles after firing TDC, m^2."""
        return self.effective_area_at_lift_m2(self.lift_m(theta_deg))

    def area_table(self, points_per_cycle: int) -> FloatArray:
        """Effective area at 0, 720/n, ... degrees (n values), for `compiled.cyclic_lookup`."""
        theta = np.arange(points_per_cycle) * (CYCLE_DEG / points_per_cycle)
        return self.effective_area_m2(theta)

    def mean_coefficient(self, points: int = 2000) -> float:
        """Effective area averaged over the event, over the head area: the C of the Mach index."""
        theta = np.linspace(self.open_deg, self.close_deg, points)
        head = self.count * 0.25 * np.pi * self.diameter_m**2
        return float(np.mean(self.effective_area_m2(theta)) / head)


def bench_effective_area(
    flow_m3_s: float, depression_pa: float, density_kg_m3: float, pressure_pa: float
) -> float:
    """Effective area, m^2, that passes a bench flow measured at the upstream state.

    `flow_m3_s` is actual volume flow at upstream density. Isentropic nozzle to
    `pressure_pa - depression_pa`, ratio of specific heats 7/5: exact at any subsonic ratio,
    `Q/sqrt(2 dp/rho)` in the limit of small depression. ValueError beyond the critical ratio.
    """
    g = 1.4
    pr = 1.0 - depression_pa / pressure_pa
    if not (2.0 / (g + 1.0)) ** (g / (g - 1.0)) < pr < 1.0:
        raise ValueError(f"depression {depression_pa:g} Pa: pressure ratio {pr:g} is not subsonic")
    flux = np.sqrt(
        2.0 * g / (g - 1.0) * pressure_pa * density_kg_m3
        * (pr ** (2.0 / g) - pr ** ((g + 1.0) / g))
    )
    return float(flow_m3_s * density_kg_m3 / flux)


def discharge_scale_from_bench(
    valve: ValveFlow,
    flow_m3_s: float,
    depression_pa: float,
    lift_m: float,
    density_kg_m3: float,
    pressure_pa: float,
) -> float:
    """Factor on the discharge coefficients so that the set passes the head's bench flow.

    Port and valve together are taken as one nozzle at the stated lift; the shape of Cd over lift
    is kept. Returns measured over computed effective area (for `ValveFlow.scale`).
    """
    measured = bench_effective_area(flow_m3_s, depression_pa, density_kg_m3, pressure_pa)
    computed = float(valve.effective_area_at_lift_m2(lift_m)) / valve.scale
    if computed <= 0.0:
        raise ValueError("bench lift must be above zero")
    return measured / computed


