"""Engine model: unsteady one-dimensional compressible flow through the whole intake.

Map of the package, lowest first:
setup      what the solver is told: ducts, ends, volumes, cylinders (plain frozen dataclasses)
tables     the flat arrays of the kernels and the names of their rows and fields
cells      inner loops: MUSCL-Hancock faces, HLLC flux, update, wall terms
nozzle     one duct end against a space at rest, through a restriction; throttle between two ends
joint      junction of any number of ends
ends       boundary fluxes of all ends, ghost cells, take-offs
tanks      volumes and cylinders over a step
march      the compiled time loop
layout     from a setup to the tables
run        until a time, or until the cycle repeats; several side by side; audit
reduce     from traces to results            result  the frozen results
cylinders  cylinders from engine data        grid    cell length from accuracy, grid estimate
"""
