"""Strength estimates for a hand-made plenum under boost: plates, shells, lids, stored energy.

A caution and never a certificate. Every formula is linear and elastic: no fatigue, no notch,
no residual stress, no dynamic load of a backfire. Lengths in m, pressures and stresses in Pa,
forces in N, energies in J. Pressures called gauge are differences to the ambient air.

Sources
-------
Plates: Young & Budynas, *Roark's Formulas for Stress and Strain*, 7th ed., Table 11.4, case 1a
(all edges simply supported) and case 8a (all edges fixed), coefficients for Poisson's ratio 0.3;
the book takes them from Timoshenko & Woinowsky-Krieger, *Theory of Plates and Shells*.
Stored energy of a gas: ASME PCC-2, Article 5.1, Mandatory Appendix II, equation II-1.
Bolts: ISO 898-1, nominal stress area (pi/4) ((d2 + d3)/2)^2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from distrib.constants import GAMMA
from distrib.results import Source

Edges = Literal["clamped", "supported"]

ROARK: Final = Source(
    "roark-11.4",
    "Young & Budynas, Roark's Formulas for Stress and Strain, 7th ed., Table 11.4, cases 1a and 8a",
    "published",
)
PCC2: Final = Source(
    "asme-pcc2-5.1-II", "ASME PCC-2, Article 5.1, Mandatory Appendix II, equation II-1", "published"
)
ISO898: Final = Source(
    "iso-898-1", "ISO 898-1, nominal stress area of a metric thread", "published"
)
THIN_SHELL: Final = Source(
    "thin-shell", "equilibrium of a thin tube: stress = pressure x radius / wall", "computed"
)
PRESSURE_AREA: Final = Source("pressure-area", "pressure difference x area", "computed")

ASPECT_SUPPORTED: Final = (1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 3.0, 4.0, 5.0, math.inf)
STRESS_SUPPORTED: Final = (
    0.2874,
    0.3762,
    0.4530,
    0.5172,
    0.5688,
    0.6102,
    0.7134,
    0.7410,
    0.7476,
    0.7500,
)
DEFLECTION_SUPPORTED: Final = (
    0.0444,
    0.0616,
    0.0770,
    0.0906,
    0.1017,
    0.1110,
    0.1335,
    0.1400,
    0.1417,
    0.1421,
)
ASPECT_CLAMPED: Final = (1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 3.0, math.inf)
STRESS_CLAMPED: Final = (0.3078, 0.3834, 0.4356, 0.4680, 0.4872, 0.4974, 0.5000, 0.5000)
DEFLECTION_CLAMPED: Final = (0.0138, 0.0188, 0.0226, 0.0251, 0.0267, 0.0277, 0.0284, 0.0284)
"""Printed up to 2 and for the strip; the row at 3 repeats the strip, which the plate reaches there
within 1 % (finite differences in the tests)."""

COARSE_PITCH_MM: Final[dict[int, float]] = {
    3: 0.5,
    4: 0.7,
    5: 0.8,
    6: 1.0,
    8: 1.25,
    10: 1.5,
    12: 1.75,
    14: 2.0,
    16: 2.0,
    20: 2.5,
}
"""Pitch of the metric coarse threads, ISO 261, by nominal diameter in mm."""

WATER_BULK_MODULUS_PA: Final = 2.18e9
"""Isothermal bulk modulus of water near 20 degC and ambient pressure, Pa (handbook value)."""

ADVICE: Final = (
    "caution, not a certificate: have a licensed engineer check the strength, and follow the "
    "local codes for pressure tests and road use"
)


@dataclass(frozen=True)
class Plate:
    """Largest bending stress (Pa) and deflection (m) of one flat panel, with its validity."""

    stress_pa: float
    deflection_m: float
    stress_coefficient: float
    deflection_coefficient: float
    where: str
    cautions: tuple[str, ...]


def plate_coefficients(aspect: float, edges: Edges) -> tuple[float, float]:
    """Stress and deflection coefficients of a rectangular plate under uniform pressure.

    `aspect` is long side over short side (at least 1, infinity for a strip). Between the printed
    aspects the value is linear in short side over long side, so that a strip is reached at 0.
    Poisson's ratio 0.3. Raises ValueError for an aspect below 1 or an unknown edge condition.
    Source: Roark's Table 11.4, cases 1a and 8a (module docstring).
    """
    if not aspect >= 1.0:
        raise ValueError(f"aspect is long side over short side, at least 1; got {aspect}")
    table: tuple[tuple[float, ...], ...]
    if edges == "clamped":
        table = (ASPECT_CLAMPED, STRESS_CLAMPED, DEFLECTION_CLAMPED)
    elif edges == "supported":
        table = (ASPECT_SUPPORTED, STRESS_SUPPORTED, DEFLECTION_SUPPORTED)
    else:
        raise ValueError(f"edges are clamped or supported; got {edges!r}")
    slenderness = np.array([1.0 / a for a in table[0]])[::-1]
    at = 1.0 / aspect
    stress = float(np.interp(at, slenderness, np.array(table[1])[::-1]))
    deflection = float(np.interp(at, slenderness, np.array(table[2])[::-1]))
    return stress, deflection


def plate(
    pressure_pa: float,
    side_a_m: float,
    side_b_m: float,
    thickness_m: float,
    youngs_modulus_pa: float,
    edges: Edges,
) -> Plate:
    """Flat rectangular panel under a uniform pressure difference (Pa).

    stress = beta p b^2 / t^2 and deflection = alpha p b^4 / (E t^3), b the shorter side. The
    stress of a clamped panel is at the middle of the long edges (where the weld is), that of a
    supported panel in the centre. Valid while the panel is thin (t up to b/4) and bends little
    (deflection up to t/2); beyond that membrane action carries part of the load, the figures are
    too high and a caution is returned, nothing is clipped. Source: Roark's Table 11.4.
    """
    short, long = sorted((side_a_m, side_b_m))
    beta, alpha = plate_coefficients(long / short, edges)
    stress = beta * pressure_pa * (short / thickness_m) ** 2
    deflection = alpha * pressure_pa * short**4 / (youngs_modulus_pa * thickness_m**3)
    cautions = []
    if thickness_m > short / 4.0:
        cautions.append("thicker than a quarter of its width: plate theory does not hold")
    if deflection > thickness_m / 2.0:
        cautions.append(
            "deflection above half the thickness: linear figures are too high, but the panel "
            "breathes and its edge welds work"
        )
    where = "middle of the long edges" if edges == "clamped" else "centre"
    return Plate(stress, deflection, beta, alpha, where, tuple(cautions))


def hoop_stress_pa(pressure_pa: float, inside_diameter_m: float, thickness_m: float) -> float:
    """Hoop stress (Pa) of a round tube: p r / t with the mean radius.

    Closed form from equilibrium. The mean radius makes it the stress of the inside fibre (the
    largest) of a thick tube (Lame) but for t^2/(4 r^2) of it: 0.25 % at t = r/10.
    """
    return pressure_pa * (inside_diameter_m + thickness_m) / (2.0 * thickness_m)


def lid_force_n(pressure_pa: float, length_m: float, width_m: float) -> float:
    """Force (N) that opens a lid of the given inside length and width: pressure x area."""
    return pressure_pa * length_m * width_m


def thread_stress_area_m2(diameter_m: float) -> float:
    """Nominal stress area (m^2) of a metric coarse thread of nominal diameter (m).

    (pi/4) (d - 0.9382 P)^2, ISO 898-1, pitch of ISO 261. Raises ValueError for a diameter that
    is no common metric coarse size (the pitch would be a guess).
    """
    size = diameter_m * 1e3
    pitch = COARSE_PITCH_MM.get(round(size))
    if pitch is None or abs(size - round(size)) > 1e-6:
        raise ValueError(
            f"no coarse thread of {size:g} mm; known: "
            + ", ".join(f"M{d}" for d in COARSE_PITCH_MM)
        )
    return math.pi / 4.0 * math.pow((size - 0.9382 * pitch) * 1e-3, 2)


def bolt_stress_pa(force_n: float, bolts: int, diameter_m: float) -> float:
    """Mean tensile stress (Pa) per bolt from the lid force alone.

    Preload for the gasket and prying come on top; both can exceed this figure.
    """
    return force_n / bolts / thread_stress_area_m2(diameter_m)


def gas_energy_j(pressure_abs_pa: float, ambient_pa: float, volume_m3: float) -> float:
    """Energy (J) that a compressed gas gives up when it expands without heat to ambient.

    E = p V / (k - 1) (1 - (pa/p)^((k-1)/k)), absolute pressures, k of air. ASME PCC-2 5.1 II-1.
    """
    exponent = (GAMMA - 1.0) / GAMMA
    ratio = ambient_pa / pressure_abs_pa
    return pressure_abs_pa * volume_m3 / (GAMMA - 1.0) * (1.0 - math.pow(ratio, exponent))


def water_energy_j(gauge_pa: float, volume_m3: float) -> float:
    """Energy (J) stored in water brought to a gauge pressure: p^2 V / (2 K). Walls left out."""
    return gauge_pa**2 * volume_m3 / (2.0 * WATER_BULK_MODULUS_PA)


def allowable_pa(yield_pa: float, weld_factor: float, allowable_factor: float) -> float:
    """Stress (Pa) to stay below: parent yield x share left at the weld x share allowed."""
    return yield_pa * weld_factor * allowable_factor
