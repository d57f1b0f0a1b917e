"""Unsteady flow in ducts: exact tubes, nozzle and friction pipe, resonators, junctions, a rig."""

from __future__ import annotations

from functools import partial

from distrib.verification import unsteady_cases as cases
from distrib.verification.published import Published

CLOSED_FORM = "closed form, evaluated outside the project"
NACA = "NACA Report 1135 (1953)"
SHAPIRO = "Shapiro, Compressible Fluid Flow (1953)"
RIG = ("William-Louis et al., Proc IMechE C 212 (1998) 49, measured points")
RIG_WHERE = ("three-pipe rig, public second-hand digitisation (moose test problem william_louis), "
             "plateau means taken from the thinned traces")
RIG_WHY = "stated scatter of the digitised traces; no friction in ours, about 6 % over 2.6 m"
GRID = "discretisation, stated requirement"

CHECKS = (
    Published(
        "unsteady.sod", CLOSED_FORM, "exact Riemann problem, row rie.sod: p, u, rho left, rho "
        "right, shock speed", (0.30313, 0.927453, 0.426319, 0.265574, 1.75216),
        "400 cells, plateau read in its middle", cases.sod_plateaus, "unsteady", "closed form",
        rtol=0.004),
    Published(
        "unsteady.nozzle", NACA, "table I: M 0.30 at exit, M 0.60 where A/A* falls from 2.0351 to "
        "1.1882; p/p0 and M there", (0.7840, 0.60), GRID + " 0.5 %",
        lambda: cases.nozzle(0.9395, 1.1882 / 2.0351)[:2], "unsteady", "published", rtol=0.005),
    Published(
        "unsteady.friction_pipe", CLOSED_FORM, "isentropic entry and adiabatic pipe flow with "
        "friction, row fannopipe.1: M in, M out, kg/s", (0.36983, 0.378597, 0.175101),
        GRID + " 0.5 %", lambda: cases.friction_pipe(0.2, 90000.0), "unsteady", "closed form",
        rtol=0.005),
    Published(
        "unsteady.friction_long", SHAPIRO, "f L/D between M 0.2 (14.5333) and M 0.5 (1.06906), "
        "p/p* 5.45545 and 2.13809: M in, M out", (0.2, 0.5), GRID + " 0.5 %",
        lambda: cases.friction_pipe(14.5333 - 1.06906, 101325.0 * 0.972497 * 2.13809 / 5.45545,
                                    cells=160)[:2],
        "unsteady", "published", rtol=0.005),
    Published(
        "unsteady.choked_bore", CLOSED_FORM, "choked flow through a 20 mm bore at 101325 Pa, "
        "293.15 K, row orif.choke20, kg/s", (0.0751382,), "approach velocity at area ratio 100",
        cases.choked_bore, "unsteady", "closed form", rtol=0.002),
    Published(
        "unsteady.quarter.plain", CLOSED_FORM, "c/(4 L), row ac.qw.none, Hz", (245.143,),
        GRID + " 0.5 %", partial(cases.quarter_wave, 0.0), "unsteady", "closed form", rtol=0.005),
    Published(
        "unsteady.quarter.end", "Levine and Schwinger, Phys. Rev. 73 (1948) 383",
        "end correction 0.6133 a, row ac.qw.unfl, Hz", (236.843,), GRID + " 0.5 %",
        partial(cases.quarter_wave, 0.6133 * 0.02), "unsteady", "published", rtol=0.005),
    Published(
        "unsteady.helmholtz", CLOSED_FORM, "(c/2 pi) sqrt(A/(V L)), c 343.2, d 40 mm, L 0.1 m, V "
        "20 l (neck 0.6 % of the volume), Hz", (43.2970,), GRID + " 1 %; the limit itself 0.1 %",
        partial(cases.helmholtz, 0.02, 0.04, 0.1, 43.3), "unsteady", "closed form", rtol=0.01),
    Published(
        "unsteady.junction.3", CLOSED_FORM, "linear acoustics, three equal pipes: R, T",
        (-0.333333, 0.666667), GRID + " 1 %", partial(cases.junction, (1e-3,) * 3), "unsteady",
        "closed form", rtol=0.01),
    Published(
        "unsteady.junction.5", CLOSED_FORM, "linear acoustics, five equal pipes: R, T", (-0.6, 0.4),
        GRID + " 1 %", partial(cases.junction, (1e-3,) * 5), "unsteady", "closed form", rtol=0.01),
    Published(
        "unsteady.area.half", CLOSED_FORM, "linear acoustics, area step to one half: R, T",
        (0.333333, 1.33333), GRID + " 1 %", partial(cases.junction, (1e-3, 5e-4)), "unsteady",
        "closed form", rtol=0.01),
    Published(
        "unsteady.area.four", CLOSED_FORM, "linear acoustics, area step to four times: R, T",
        (-0.6, 0.4), GRID + " 1 %", partial(cases.junction, (1e-3, 4e-3)), "unsteady",
        "closed form", rtol=0.01),
    Published(
        "unsteady.rig.plateaus", RIG, RIG_WHERE + ": incident, side branch, straight, "
        "reflected, kPa",
        (6.74, 4.74, 4.79, -2.21), RIG_WHY, lambda: cases.rig_plateaus()[:4], "unsteady",
        "measured", rtol=0.10),
    Published(
        "unsteady.rig.arrival", RIG, RIG_WHERE + ": front at the transducer 2.62 m from the "
        "diaphragm, ms", (7.4,), "stated reading error of time", lambda: cases.rig_plateaus()[4],
        "unsteady", "measured", atol=0.3),
)

