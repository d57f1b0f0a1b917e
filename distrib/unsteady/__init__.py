"""Engine model: unsteady one-dimensional compressible flow through the whole intake.

Map of the package, lowest first:
setup      what the solver is told: ducts, ends, volumes, cylinders (plain frozen dataclasses)
tables     the flat tables of the kernels and the names of their rows; lanes
flat       access to rows that becomes vector code; roots, cosine, logarithm that do too
cells      inner loops: MUSCL-Hancock faces, HLLC flux, update, wall terms
nozzle     one duct end against a space at rest, through a restriction; throttle between two ends
joint      junctions of any number of ends     mouths   ends that open sideways into a duct
ends       boundary fluxes of all ends, ghost cells
tanks      volumes and cylinders over a step
march      the compiled time loop of all lanes
layout     from a setup to the tables of one run
group      tables of several runs side by side   state   the end of a run, to start others from
cycles     one run through its cycles: repetition, audit, reasons
run        until a time, or until the cycle repeats; many side by side
reduce     from traces to results            result  the frozen results
cylinders  cylinders from engine data        grid    cell length from accuracy, grid estimate
"""
