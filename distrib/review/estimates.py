"""Simple published or closed-form estimates that the rules use when no model has run.

Lengths in m, areas in m^2, pressures in Pa absolute, temperatures in K, mass flow in kg/s.
"""

from __future__ import annotations

import math
from typing import Final

from distrib.constants import GAMMA, R_DRY_AIR
from distrib.results import Source

MACH_INDEX_SOURCE: Final = Source(
    "mach-index",
    "Z = (B/Di)^2 Sp/(n Ci a); limit 0.5 as stated by the JSME mechanical engineering "
    "encyclopaedia, entry on the inlet Mach index; 0.6 in older work from memory",
    "published",
)
ISENTROPIC: Final = Source(
    "naca-1135", "isentropic flow relations, NACA Report 1135 (1953)", "published"
)
THUMB_TUNING: Final = Source(
    "tuning-thumb",
    "runner and mean cylinder volume as a Helmholtz resonator (form of Engelman, ASME "
    "73-WA/DGP-2, constant 2.1 from memory) and the quarter-wave pipe: rules of thumb",
    "from memory",
)
VOLUMETRIC_GUESS: Final = 1.0
"""Volumetric efficiency on charge density where no model has run: middle of 0.85 to 1.10."""
MEAN_VALVE_COEFFICIENT: Final = 0.45
"""Flow coefficient on valve head area, mean over the intake event (from memory, 0.45 to 0.5)."""
HELMHOLTZ_CONSTANT: Final = 2.1
"""Resonance frequency over crank frequency at the tuned speed (from memory, 2.0 to 2.5)."""
FLANGED_END: Final = 0.8216
"""End correction of a flanged open end over its radius, Norris & Sheng (1989), low frequency."""


def density_kg_m3(pressure_pa: float, temperature_k: float) -> float:
    """Density of dry air, ideal gas."""
    return pressure_pa / (R_DRY_AIR * temperature_k)


def mass_flow_kg_s(density: float, displacement: float, rpm: float, efficiency: float) -> float:
    """Air of a four-stroke engine: density x displacement x rpm/120 x volumetric efficiency."""
    return density * displacement * rpm / 120.0 * efficiency


def sound_speed_m_s(temperature_k: float) -> float:
    """Speed of sound of dry air, ideal gas."""
    return math.sqrt(GAMMA * R_DRY_AIR * temperature_k)


def mach_number(mass_flow: float, area_m2: float, total_pa: float, total_k: float) -> float:
    """Subsonic Mach number of a stream in a section, isentropic; infinity when it is choked.

    Solves m = A p0 sqrt(g/(R T0)) M (1 + (g-1)/2 M^2)^(-(g+1)/(2(g-1))) by bisection
    (NACA Report 1135). `mass_flow` may have either sign; the size is used.
    """
    group = abs(mass_flow) / (area_m2 * total_pa * math.sqrt(GAMMA / (R_DRY_AIR * total_k)))
    power = (GAMMA + 1.0) / (2.0 * (GAMMA - 1.0))

    def flow(mach: float) -> float:
        return float(mach * (1.0 + (GAMMA - 1.0) / 2.0 * mach**2) ** -power)

    if group > flow(1.0):
        return math.inf
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if flow(middle) < group:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def mach_text(mach: float) -> str:
    """`Mach 0.12`, or that the section is choked."""
    return "choked: more flow than the section passes" if math.isinf(mach) else f"Mach {mach:.2f}"


def open_fraction(bore_m: float, shaft_m: float, angle_deg: float, closed_deg: float) -> float:
    """Projected open share of a butterfly bore; angle 0 is square to the bore, 90 wide open.

    Elliptic plate that touches the bore at `closed_deg`, with a round shaft. Derived from the
    projected geometry; equal to the form attributed to Moskwa (1988).
    """
    a = shaft_m / bore_m
    k = math.cos(math.radians(angle_deg)) / math.cos(math.radians(closed_deg))
    shaft = a * math.sqrt(1.0 - a * a) + math.asin(a)
    if k <= a:
        return 1.0 - 2.0 / math.pi * shaft
    ratio = a / k
    plate = a * math.sqrt(1.0 - ratio**2) + k * math.asin(ratio)
    return max(0.0, 1.0 - k + 2.0 / math.pi * (plate - shaft))


def throttle_loss_pa(
    mass_flow: float, bore_m: float, fraction: float, density: float, coefficient: float | None
) -> float:
    """Total-pressure loss of a throttle plate, Pa, incompressible.

    The stream through the open area A f expands again to the bore (Borda):
    dp = rho/2 v^2 (1/(Cd f) - 1)^2, v on the bore; Cd 1 where the case gives none, so the shaft
    and plate blockage alone. Good while dp is small beside the pressure.
    """
    velocity = mass_flow / (density * math.pi / 4.0 * bore_m**2)
    passing = fraction * (1.0 if coefficient is None else coefficient)
    return 0.5 * density * velocity**2 * (1.0 / passing - 1.0) ** 2


def dump_loss_pa(
    mass_flow: float, upstream_m2: float, downstream_m2: float, density: float
) -> float:
    """Loss where a pipe opens suddenly into a larger section, Pa: (1 - A1/A2)^2 heads (Borda)."""
    velocity = mass_flow / (density * upstream_m2)
    return 0.5 * density * velocity**2 * (1.0 - upstream_m2 / downstream_m2) ** 2


def cone_angle_deg(small_m: float, large_m: float, length_m: float) -> float:
    """Included angle of a cone between two diameters over an axial length, degrees."""
    return 2.0 * math.degrees(math.atan2(abs(large_m - small_m) / 2.0, length_m))


def mach_index(
    bore_m: float, valve_m: float, valves: int, piston_speed: float, sound_speed: float
) -> float:
    """Inlet valve Mach index Z = (B/Di)^2 Sp/(n Ci a) with the mean flow coefficient 0.45."""
    return (bore_m / valve_m) ** 2 * piston_speed / (valves * MEAN_VALVE_COEFFICIENT * sound_speed)


def helmholtz_rpm(
    length_m: float, area_m2: float, swept_m3: float, compression_ratio: float, sound_speed: float
) -> float:
    """Speed (rpm) at which runner and mean cylinder volume resonate: 60 f/2.1. Rule of thumb.

    f = c/(2 pi) sqrt(A/(L V)), V = (Vd/2)(CR + 1)/(CR - 1) of one cylinder.
    """
    volume = swept_m3 / 2.0 * (compression_ratio + 1.0) / (compression_ratio - 1.0)
    frequency = sound_speed / (2.0 * math.pi) * math.sqrt(area_m2 / (length_m * volume))
    return 60.0 * frequency / HELMHOLTZ_CONSTANT


def quarter_wave_rpm(length_m: float, radius_m: float, sound_speed: float, order: float) -> float:
    """Speed (rpm) at which `order` quarter-wave periods fill one cycle: 120 f/order.

    f = c/(4 (L + 0.8216 a)), runner with a flanged end. Orders of 3.5 and 4.5 are said to help
    and whole orders to harm (from memory): a rule of thumb.
    """
    frequency = sound_speed / (4.0 * (length_m + FLANGED_END * radius_m))
    return 120.0 * frequency / order


def bench_spread_percent(area_ratio: float, regain: float, runner_loss: float) -> float:
    """Spread with all runners open on a rig: 50 r AR^2/K percent, small differences only."""
    return 50.0 * regain * area_ratio**2 / runner_loss


def pump_spread_percent(mach: float) -> float:
    """Spread if each cylinder were a slow pump: head over pressure, 100 g/2 M^2 percent."""
    return 100.0 * GAMMA / 2.0 * mach**2
