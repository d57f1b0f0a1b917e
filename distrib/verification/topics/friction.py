"""Wall friction against fluids 1.3.1 and closed forms."""

from __future__ import annotations

from functools import partial

from distrib.losses import friction
from distrib.verification.published import Published

LIBRARY = "fluids 1.3.1, {} formula"
POINTS = {  # (Re, e/D): Colebrook, Haaland, Churchill 1977, Swamee-Jain
    (4e3, 0.0): (0.039907, 0.0404228, 0.0405897, 0.0405514),
    (1e4, 0.0): (0.030883, 0.0308862, 0.0310021, 0.030972),
    (1e4, 1e-3): (0.0323818, 0.0321749, 0.0326902, 0.0326653),
    (1e5, 0.0): (0.0179898, 0.0178249, 0.0178748, 0.0178626),
    (1e5, 1e-4): (0.0185139, 0.0182651, 0.0184626, 0.0184524),
    (3e5, 1e-4): (0.0154306, 0.0152299, 0.0154418, 0.0154368),
    (1e6, 1e-5): (0.0118695, 0.0117669, 0.0118582, 0.0118531),
    (1e5, 1e-2): (0.0385035, 0.0385385, 0.0387336, 0.0387509),
}
LAWS = (("Colebrook", friction.darcy_Colebrook), ("Haaland", friction.darcy_Haaland),
        ("Churchill", friction.darcy_Churchill), ("Swamee-Jain", friction.darcy_SwameeJain))


def _scalar(re: float, rough: float) -> float:
    return friction.darcy_scalar(re, rough)[0]


CHECKS = (
    *(Published(f"friction.{name.lower()}.{re:g}.{e:g}", LIBRARY.format(name),
                f"Darcy f at Re {re:g}, e/D {e:g}", (values[i],), "six digits kept",
                lambda law=law, re=re, e=e: float(law(re, e)),  # type: ignore[misc]
                "friction", "computed outside", rtol=5e-6)
      for (re, e), values in POINTS.items() for i, (name, law) in enumerate(LAWS)),
    *(Published(f"friction.network-law.{re:g}.{e:g}", LIBRARY.format("Colebrook"),
                f"the law of the networks against Colebrook at Re {re:g}, e/D {e:g}", (values[0],),
                "Haaland's fit of Colebrook is good to 1.5 %", partial(_scalar, re, e), "friction",
                "computed outside", rtol=0.015) for (re, e), values in POINTS.items()),
    Published("friction.laminar", "Hagen-Poiseuille, closed form", "64/Re at Re 100 and 1500",
              (0.64, 64.0 / 1500.0), "exact in exact arithmetic; rounding only",
              lambda: (_scalar(100.0, 0.01), _scalar(1500.0, 0.01)), "friction", "closed form",
              rtol=1e-12),
    *(Published(f"friction.rectangle.{a:g}", "Shah and London (1978)",
                f"laminar f Re of a rectangle, aspect {a:g} (polynomial from memory)",
                (value,), "polynomial within 0.05 % of the series; six digits",
                lambda a=a: float(friction.poiseuille_rectangle_ShahLondon(a)),  # type: ignore[misc]
                "friction", "published", rtol=5e-6)
      for a, value in {1.0: 56.9184, 0.5: 62.2293, 0.0: 96.0}.items()),
)
