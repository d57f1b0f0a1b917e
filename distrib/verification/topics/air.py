"""Air: density, sound, viscosity, the standard atmosphere, humidity."""

from __future__ import annotations

from functools import partial

from distrib.constants import R_DRY_AIR
from distrib.gas import properties as air
from distrib.verification.published import Published

COOLPROP = "CoolProp 8.0.0"
ATMOSPHERE = "ISO 2533 standard atmosphere"
CIPM = "CIPM-2007 (Picard et al., Metrologia 45 (2008) 149)"
SUTHERLAND = "US Standard Atmosphere 1976"

REAL = {273.15: (331.441, 1.29307), 288.15: (340.41, 1.22554), 293.15: (343.344, 1.20458),
        333.15: (365.898, 1.05963)}
VISCOSITY = {273.15: 1.72184e-5, 288.15: 1.79615e-5, 293.15: 1.82057e-5, 333.15: 2.00991e-5}
SUTHERLAND_SET = {273.15: 1.71608e-5, 288.15: 1.78938e-5, 293.15: 1.81341e-5, 333.15: 1.99882e-5}
ALTITUDE = {0: (101325.0, 288.15, 1.225), 500: (95460.8, 284.9, 1.16727),
            1000: (89874.6, 281.65, 1.11164), 2000: (79495.2, 275.15, 1.00649)}
HUMID = {(101325, 20, 0.5): (1.19931, 1.19936), (101325, 25, 0.5): (1.17732, 1.17736),
         (99000, 25, 0.3): (1.15292, 1.15297)}


def _sound_density(t: float) -> tuple[float, float]:
    return float(air.speed_of_sound(t)), float(air.density(101325.0, t))


def _standard(h: float) -> tuple[float, ...]:
    return tuple(float(v) for v in air.standard_atmosphere(h))


def _humid(p: float, celsius: float, rh: float) -> float:
    t = celsius + 273.15
    return float(air.density(p, t, air.gas_constant(p, t, rh)))


CHECKS = (
    *(Published(f"air.sound-density.{t:g}", COOLPROP, f"speed of sound and density of dry air, "
                f"101325 Pa, {t:g} K", printed, "real gas against ideal gas: gamma 1.4000 to "
                "1.4027, compressibility 0.9996", partial(_sound_density, t), "air",
                "computed outside", rtol=1e-3) for t, printed in REAL.items()),
    *(Published(f"air.viscosity.{t:g}", COOLPROP, f"viscosity of dry air at {t:g} K", (value,),
                "Sutherland's formula lies up to 0.6 % below the library's reference equation",
                lambda t=t: float(air.viscosity_Sutherland(t)),  # type: ignore[misc]
                "air", "computed outside", rtol=6e-3) for t, value in VISCOSITY.items()),
    *(Published(f"air.sutherland.{t:g}", SUTHERLAND, f"eq. 51 at {t:g} K, evaluated outside the "
                "project", (value,), "six digits printed",
                lambda t=t: float(air.viscosity_Sutherland(t)),  # type: ignore[misc]
                "air", "computed outside", rtol=1e-5) for t, value in SUTHERLAND_SET.items()),
    *(Published(f"air.standard.{h}", ATMOSPHERE, f"pressure, temperature, density at {h} m "
                "(geopotential)", printed, "six digits printed", partial(_standard, h), "air",
                "published", rtol=1e-5) for h, printed in ALTITUDE.items()),
    *(Published(f"air.humid.cipm.{p}.{t}.{rh}", CIPM, f"density at {p} Pa, {t} C, humidity {rh} "
                "(constants from memory)", (pair[0],),
                "the equation has compressibility 0.9996 and argon and CO2 in the molar mass; ours "
                "is an ideal gas", partial(_humid, p, t, rh), "air", "computed outside",
                rtol=6e-4) for (p, t, rh), pair in HUMID.items()),
    *(Published(f"air.humid.coolprop.{p}.{t}.{rh}", COOLPROP, f"humid air density at {p} Pa, {t} C"
                f", humidity {rh}", (pair[1],), "compressibility 0.9996 against ideal gas",
                partial(_humid, p, t, rh), "air", "computed outside", rtol=6e-4)
      for (p, t, rh), pair in HUMID.items()),
    Published("air.gas-constant.iso", ATMOSPHERE, "gas constant of dry air (digits from memory)",
              (287.053,), "six digits", lambda: R_DRY_AIR, "air", "from memory", rtol=2e-6),
    Published("air.gas-constant.coolprop", COOLPROP, "gas constant of dry air", (287.047,),
              "molar mass of the mixture differs in the fifth digit", lambda: R_DRY_AIR, "air",
              "computed outside", rtol=4e-5),
    Published("air.sound-20", "closed form, evaluated outside the project",
              "ideal-gas speed of sound at 20 C", (343.234,), "six digits",
              lambda: float(air.speed_of_sound(293.15)), "air", "closed form", rtol=2e-6),
    Published("air.reference-density", "ISO 1585 reference conditions",
              "dry density at 99000 Pa, 298.15 K (conditions from memory)", (1.15675,),
              "six digits", lambda: float(air.density(99000.0, 298.15)), "air", "from memory",
              rtol=1e-5),
)
