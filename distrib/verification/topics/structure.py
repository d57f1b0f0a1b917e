"""Plates, shells, lids, bolts and stored energy of a pressure test."""

from __future__ import annotations

import math
from functools import partial
from typing import Final

from distrib.review import structure
from distrib.verification.published import Published

ROARK: Final = "Young & Budynas, Roark's Formulas for Stress and Strain, 7th ed."
TIMOSHENKO: Final = "Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells"
CARVILL: Final = "Carvill, Mechanical Engineer's Data Handbook, section 1.10.2"
PCC2: Final = "ASME PCC-2, Article 5.1, Mandatory Appendix II"
ISO898: Final = "ISO 898-1"

POISSON: Final = 0.3
PSI_PA: Final = 6894.757
CUBIC_FOOT_M3: Final = 0.0283168466
FOOT_POUND_J: Final = 1.3558179

HANDBOOK_SQUARE: Final[dict[structure.Edges, tuple[float, float]]] = {
    "clamped": (0.5 / 1.623, 0.0284 / 2.056),
    "supported": (0.75 / 2.61, 0.142 / 3.21),
}
PRINTED_SUPPORTED: Final = {
    1.0: (0.2874, 0.0444), 1.2: (0.3762, 0.0616), 1.4: (0.4530, 0.0770), 1.6: (0.5172, 0.0906),
    1.8: (0.5688, 0.1017), 2.0: (0.6102, 0.1110), 3.0: (0.7134, 0.1335), 4.0: (0.7410, 0.1400),
    5.0: (0.7476, 0.1417),
}  # fmt: skip
PRINTED_CLAMPED: Final = {
    1.0: (0.3078, 0.0138), 1.2: (0.3834, 0.0188), 1.4: (0.4356, 0.0226), 1.6: (0.4680, 0.0251),
    1.8: (0.4872, 0.0267), 2.0: (0.4974, 0.0277),
}  # fmt: skip
STRESS_AREA_MM2: Final = {
    5: 14.2, 6: 20.1, 8: 36.6, 10: 58.0, 12: 84.3, 16: 157.0, 20: 245.0,
}  # fmt: skip
PROOF_LOAD_88_N: Final = {5: 8230.0, 6: 11600.0, 8: 21200.0, 10: 33700.0}


def _square(edges: structure.Edges) -> tuple[float, float]:
    """Moment over q a^2 and deflection over q a^4/D of a square plate, from our coefficients."""
    beta, alpha = structure.plate_coefficients(1.0, edges)
    return beta / 6.0, alpha / (12.0 * (1.0 - POISSON**2))


def _pcc2_factor() -> float:
    """The constant of the customary form E = 360 p V (1 - (pa/p)^0.286), at 404.7 psi absolute."""
    pressure, ambient, volume = 404.7, 14.7, 53.44
    energy = structure.gas_energy_j(pressure * PSI_PA, ambient * PSI_PA, volume * CUBIC_FOOT_M3)
    return energy / FOOT_POUND_J / (pressure * volume * (1.0 - math.pow(ambient / pressure, 0.286)))


def _proof_load(size: int) -> float:
    return structure.thread_stress_area_m2(size * 1e-3) * 580e6


CHECKS: Final = (
    *(
        Published(
            f"structure.plate.supported.{aspect:g}", ROARK,
            f"Table 11.4, case 1a, a/b = {aspect:g}: stress and deflection coefficients",
            printed, "exact: transcription of the printed table",
            partial(structure.plate_coefficients, aspect, "supported"), "structure", "published",
        )
        for aspect, printed in PRINTED_SUPPORTED.items()
    ),
    *(
        Published(
            f"structure.plate.clamped.{aspect:g}", ROARK,
            f"Table 11.4, case 8a, a/b = {aspect:g}: stress and deflection coefficients "
            "(read in public transcriptions of the table)",
            printed, "exact: transcription of the printed table",
            partial(structure.plate_coefficients, aspect, "clamped"), "structure", "published",
        )
        for aspect, printed in PRINTED_CLAMPED.items()
    ),
    Published(
        "structure.plate.square-clamped", TIMOSHENKO,
        "Table 35, square: edge moment 0.0513 q a^2, deflection 0.00126 q a^4/D (quoted by a "
        "public benchmark list; the moment from memory)",
        (0.0513, 0.00126), "three printed digits on both sides",
        partial(_square, "clamped"), "structure", "published", rtol=5e-3,
    ),
    Published(
        "structure.plate.square-supported", TIMOSHENKO,
        "Table 8, square: centre moment 0.0479 q a^2, deflection 0.00406 q a^4/D (quoted by a "
        "public benchmark list)",
        (0.0479, 0.00406), "three printed digits on both sides",
        partial(_square, "supported"), "structure", "published", rtol=5e-3,
    ),
    *(
        Published(
            f"structure.plate.handbook.{edges}", CARVILL,
            "empirical formulas, square: stress and deflection coefficients", printed,
            "empirical fit, within 1 % at the square",
            partial(structure.plate_coefficients, 1.0, edges), "structure", "published", rtol=1e-2,
        )
        for edges, printed in HANDBOOK_SQUARE.items()
    ),
    Published(
        "structure.plate.strip", "closed form",
        "clamped strip as a beam with fixed ends: q b^2/12, q b^4/(384 D)",
        (0.5, 12.0 * (1.0 - POISSON**2) / 384.0), "table prints three digits",
        partial(structure.plate_coefficients, math.inf, "clamped"), "structure", "closed form",
        rtol=2e-3,
    ),
    Published(
        "structure.tube.lame", "closed form",
        "inside fibre of a thick tube (Lame), 2 bar, 100 mm inside, 3 mm wall",
        (2e5 * (0.053**2 + 0.050**2) / (0.053**2 - 0.050**2),),
        "mean-radius formula leaves out t^2/(4 r^2)",
        partial(structure.hoop_stress_pa, 2e5, 0.100, 0.003), "structure", "closed form", rtol=1e-3,
    ),
    Published(
        "structure.energy.customary", PCC2,
        "equation II-4: E = 360 p V (1 - (pa/p)^0.286) in ft-lb, psi absolute, cubic feet",
        (360.0,), "0.286 stands for 2/7 in the source", _pcc2_factor, "structure", "published",
        rtol=1e-3,
    ),
    *(
        Published(
            f"structure.bolt.area.M{size}", ISO898, f"nominal stress area of M{size} coarse, mm2",
            (area,), "three printed digits",
            lambda size=size: structure.thread_stress_area_m2(size * 1e-3) * 1e6,  # type: ignore[misc]
            "structure", "published", rtol=3e-3,
        )
        for size, area in STRESS_AREA_MM2.items()
    ),
    *(
        Published(
            f"structure.bolt.proof.M{size}", ISO898,
            f"proof load of M{size}, class 8.8 (580 MPa on the stress area), N",
            (load,), "printed rounded down to three digits", partial(_proof_load, size),
            "structure", "published", rtol=7e-3,
        )
        for size, load in PROOF_LOAD_88_N.items()
    ),
)  # fmt: skip
