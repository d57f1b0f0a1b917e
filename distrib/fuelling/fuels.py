"""Fuels: stoichiometric air-fuel ratio from composition, ethanol blends by volume, AFR and lambda.

lambda is AFR over the stoichiometric AFR *of the fuel burned*. An AFR means nothing without its
fuel, so every conversion here asks for one; a reading on a gasoline scale while another fuel
burns goes through `lambda_from_afr` with the scale's own ratio.

Source of the ratio: atom balance with dry air of 20.946 % oxygen by volume and 28.9647 kg/kmol
(check rows afr.*). Textbook air (4.76, 28.85) would give 0.6 % less.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

from distrib.fuelling.errors import FuellingError

MOLAR_MASS_C: Final = 12.011
MOLAR_MASS_H: Final = 1.008
MOLAR_MASS_O: Final = 15.999
"""kg/kmol: standard atomic weights, abridged."""
MOLAR_MASS_AIR: Final = 28.9647
OXYGEN_IN_AIR: Final = 0.20946
"""Molar mass (kg/kmol) and oxygen mole fraction of dry air: US standard atmosphere composition."""


@dataclass(frozen=True)
class Composition:
    """A fuel CxHyOz per molecule or per carbon atom, its density and lower heating value.

    Densities (kg/m^3, near 20 degC) and heating values (J/kg) are handbook magnitudes, from
    memory unless a check row states them (gasoline 745 and ethanol 789.3: row afr.E85).
    """

    name: str
    carbon: float
    hydrogen: float
    oxygen: float
    density_kg_m3: float
    heating_value_j_kg: float

    @property
    def molar_mass(self) -> float:
        """kg/kmol of the stated formula."""
        return (
            self.carbon * MOLAR_MASS_C + self.hydrogen * MOLAR_MASS_H + self.oxygen * MOLAR_MASS_O
        )

    @property
    def stoichiometric_afr(self) -> float:
        """Mass of dry air that just burns unit mass of fuel: (x + y/4 - z/2) O2."""
        oxygen = self.carbon + 0.25 * self.hydrogen - 0.5 * self.oxygen
        return oxygen / OXYGEN_IN_AIR * MOLAR_MASS_AIR / self.molar_mass


@dataclass(frozen=True)
class FuelProperties:
    """What the fuelling arithmetic needs of one fuel or blend."""

    name: str
    stoichiometric_afr: float
    density_kg_m3: float
    heating_value_j_kg: float
    ethanol_mass_fraction: float = 0.0


GASOLINE: Final = Composition("gasoline", 1.0, 1.85, 0.0, 745.0, 43.5e6)
ETHANOL: Final = Composition("ethanol", 2.0, 6.0, 1.0, 789.3, 26.8e6)
METHANOL: Final = Composition("methanol", 1.0, 4.0, 1.0, 791.4, 19.9e6)

PURE: Final[Mapping[str, Composition]] = MappingProxyType(
    {c.name: c for c in (GASOLINE, ETHANOL, METHANOL)}
)


def pure(fuel: Composition) -> FuelProperties:
    """Properties of an unblended fuel."""
    share = 1.0 if fuel is ETHANOL else 0.0
    return FuelProperties(
        fuel.name, fuel.stoichiometric_afr, fuel.density_kg_m3, fuel.heating_value_j_kg, share
    )


def blend(volume_fraction: float, base: Composition = GASOLINE, added: Composition = ETHANOL
          ) -> FuelProperties:
    """Blend of two fuels by volume of the added one (E85: 0.85), without volume change on mixing.

    Mass fraction w = v rho2/(v rho2 + (1 - v) rho1); stoichiometric AFR and heating value are
    mass-weighted, which is exact for the ratio. FuellingError outside 0 to 1. Check row afr.E85.
    """
    if not 0.0 <= volume_fraction <= 1.0:
        raise FuellingError(f"volume fraction {volume_fraction:g}; allowed: 0 to 1")
    density = volume_fraction * added.density_kg_m3 + (1.0 - volume_fraction) * base.density_kg_m3
    w = volume_fraction * added.density_kg_m3 / density
    return FuelProperties(
        name=f"{base.name} with {volume_fraction * 100:g} % {added.name} by volume",
        stoichiometric_afr=w * added.stoichiometric_afr + (1.0 - w) * base.stoichiometric_afr,
        density_kg_m3=density,
        heating_value_j_kg=w * added.heating_value_j_kg + (1.0 - w) * base.heating_value_j_kg,
        ethanol_mass_fraction=w if added is ETHANOL else 0.0,
    )


def fuel(kind: str, ethanol_volume_fraction: float = 0.0) -> FuelProperties:
    """Fuel by the names of a case: gasoline, ethanol-blend, ethanol, methanol. KeyError else."""
    if kind == "ethanol-blend":
        return blend(ethanol_volume_fraction)
    return pure(PURE[kind])


def lambda_from_afr(afr: Any, scale: FuelProperties | float) -> Any:
    """lambda from an AFR reading; `scale` is the fuel (or the ratio) the reading is scaled for.

    An instrument that shows AFR measures lambda and multiplies by the ratio it is set to: a
    gasoline-scale reading of any fuel is divided by the gasoline ratio of that instrument.
    """
    ratio = scale.stoichiometric_afr if isinstance(scale, FuelProperties) else float(scale)
    return afr / ratio


def afr_from_lambda(lambda_: Any, burned: FuelProperties) -> Any:
    """True air-fuel mass ratio of a lambda with the fuel that is burned."""
    return lambda_ * burned.stoichiometric_afr


def fuel_mass(air_kg: Any, lambda_: Any, burned: FuelProperties) -> Any:
    """Fuel for a mass (or flow) of dry air at a lambda, same unit as the air."""
    return air_kg / (lambda_ * burned.stoichiometric_afr)
