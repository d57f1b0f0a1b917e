"""A sweep over any parameters of a case: a grid, or a sample.

    sweep(case, ["plenum.length=350:450:25 mm", "conditions.rpm=2000:7000:500"], "out.csv")
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from distrib.errors import InputError, Problem
from distrib.results import ModelName
from distrib.studies.caseeval import RPM, SOLVERS, CaseEvaluate, figure_columns, solver
from distrib.studies.plan import Dimension, Grid, Plan, Repeated, parse_vary
from distrib.studies.runner import Outcome, Study, run_study
from distrib.studies.sampling import Method, Sample

if TYPE_CHECKING:
    from distrib.case.schema import Case

CHUNK_ROWS = 64
"""Rows of a bench in one chunk: few enough to lose, many enough that a worker need not wait for
more."""
SIDE_BY_SIDE = 8
"""Most speeds of one design in one chunk."""


@dataclass(frozen=True)
class SweepOptions:
    """How the points are chosen and solved.

    sample: number of points drawn over the dimensions instead of a grid, 0 for the grid.
    band_samples: draws for the band of the spread at each point, 0 for no band.
    model: engine or bench; solver: another "module:function" in its place. options: more
    arguments for the solver, such as (("boost_pa", 5e4),).
    """

    model: ModelName = "engine"
    sample: int = 0
    method: Method = "sobol"
    seed: int = 1
    solver: str = ""
    options: tuple[tuple[str, Any], ...] = ()
    chunk: int = 0
    band_samples: int = 0
    sampler: str = ""


def sweep_study(case: Case, vary: Sequence[str | Dimension],
                options: SweepOptions = SweepOptions()) -> Study:
    """The study of a sweep; the case is read again with the first values to find mistakes early.

    Speeds run fastest: those of `conditions.rpm` when it is varied, else the case's own (a bench
    has none). A varied `conditions.charge_pressure` takes `engine.exhaust_pressure` along at the
    case's ratio unless that is varied too (what drives the turbine rises with the boost). Raises
    InputError with every mistake in the names and values.
    """
    from distrib.case.change import case_hash, to_toml

    dimensions = [parse_vary(v) if isinstance(v, str) else v for v in vary]
    _check_names(dimensions)
    solve_by = options.solver or SOLVERS[options.model]
    solver(solve_by)
    plan = _plan(case, dimensions, options)
    _try_values(case, plan.dimensions)
    cylinders = tuple(sorted(r.cylinder for r in case.runners))
    evaluate = CaseEvaluate(to_toml(case), case.path, plan.dimensions, options.model, cylinders,
                            solve_by, options.options, options.band_samples, options.seed,
                            options.sampler)
    chunk = options.chunk or (CHUNK_ROWS if options.model == "bench" else _together(plan))
    identity = {"what": "sweep", "case": case_hash(case), "title": case.title,
                "model": options.model, "solver": evaluate.solver,
                "options": [[k, repr(v)] for k, v in options.options],
                "band_samples": options.band_samples}
    columns = figure_columns(cylinders, options.band_samples > 0)
    return Study(plan, evaluate, columns, identity, options.seed, chunk)


def _together(plan: Plan) -> int:
    """Rows of an engine model in one chunk: speeds of one design share the lanes of a solve, and
    finish together; over speed alone every point is kept as it finishes."""
    return min(plan.inner.count, SIDE_BY_SIDE) if isinstance(plan, Repeated) else 1


def _check_names(dimensions: Sequence[Dimension]) -> None:
    names = [d.name for d in dimensions]
    problems = [Problem(n, "varied twice", "each name once") for n in sorted(set(names))
                if names.count(n) > 1]
    if not names:
        problems.append(Problem("--vary", "nothing", "at least one name=values"))
    if problems:
        raise InputError(problems)


def _plan(case: Case, dimensions: Sequence[Dimension], options: SweepOptions) -> Plan:
    """The points, speeds running fastest."""
    others = tuple(d for d in dimensions if d.name != RPM)
    speed = next((d for d in dimensions if d.name == RPM), None)
    if options.model == "bench":
        if speed is not None:
            raise InputError([Problem(RPM, "varied", "no speeds: a bench has none",
                                      "leave it out, or take --model engine")])
        return _outer(others, options)
    if speed is not None and speed.bounds is not None:
        return _outer((*others, speed), options)
    if speed is None:
        speed = Dimension(RPM, levels=tuple(float(r) for r in case.conditions.rpm))
    if speed.choices:
        raise InputError([Problem(RPM, ", ".join(speed.choices), "numbers")])
    if not others:
        return Grid((speed,))
    return Repeated(_outer(others, options), speed)


def _outer(dimensions: tuple[Dimension, ...], options: SweepOptions) -> Plan:
    if options.sample > 0:
        return Sample(dimensions, options.sample, options.seed, options.method)
    return Grid(dimensions)


def _try_values(case: Case, dimensions: Sequence[Dimension]) -> None:
    """Try each dimension alone at its ends, so that mistakes are told before anything runs.

    A wrong name, unit or choice is an error, and so is a dimension of which the case takes no
    value at all. Values that clash only with others become rows without figures.
    """
    from distrib.case.change import with_changes
    from distrib.case.parameters import parameter
    from distrib.case.readers import read_value
    from distrib.case.values import BadValueError, Context

    problems: list[Problem] = []
    for d in dimensions:
        if d.name == RPM:
            continue
        values = [d.value(end) for end in _ends(d)]
        try:
            found = parameter(d.name)
            context = Context(case.conditions.ambient_pressure_pa, found.choices)
            for value in values:
                read_value(found.spec, value, context)
        except BadValueError as bad:
            problems.append(Problem(f"--vary {d.name}", bad.read, bad.allowed, bad.hint))
            continue
        refused: list[Problem] = []
        for value in values:
            try:
                with_changes(case, {d.name: value})
            except InputError as error:
                refused += error.problems
            else:
                break
        else:
            problems += refused
    if problems:
        raise InputError(problems)


def _ends(dimension: Dimension) -> tuple[float, ...]:
    """Coordinates to try: the ends of numbers, every choice."""
    if dimension.bounds is not None:
        return dimension.bounds
    numbers = range(dimension.count) if dimension.choices else sorted({0, dimension.count - 1})
    return tuple(dimension.coordinate(i) for i in numbers)


def sweep(case: Case, vary: Sequence[str | Dimension], out: str | Path, *,
          options: SweepOptions = SweepOptions(), jobs: int = 1,
          scheduler: str | None = None, resume: bool = False, progress: bool = False,
          how_to_resume: str = "the same call with resume=True") -> Outcome:
    """Run a sweep and write its table (CSV or Parquet by the ending); see `runner.run_study`."""
    return run_study(sweep_study(case, vary, options), Path(out), jobs=jobs, scheduler=scheduler,
                     resume=resume, progress=progress, how_to_resume=how_to_resume)
