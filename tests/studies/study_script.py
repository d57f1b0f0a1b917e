"""A study as its own process, to be killed by the tests: OUT JOBS SECONDS [--resume]."""

from __future__ import annotations

import sys
from pathlib import Path

from distrib.studies.evaluate import PerTask
from distrib.studies.known import SlowRow
from distrib.studies.plan import Dimension, Grid
from distrib.studies.runner import Study, run_study
from distrib.studies.table import Column


def main() -> None:
    out, jobs, seconds = Path(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3])
    scheduler = sys.argv[4] if len(sys.argv) > 4 and sys.argv[4] != "--resume" else None
    plan = Grid((Dimension("a", levels=tuple(float(i) for i in range(20))),
                 Dimension("b", levels=tuple(float(i) for i in range(15)))))
    study = Study(plan, PerTask(SlowRow(seconds, 17, f"{out}.calls"), 3),
                  (Column("number"), Column("sine"), Column("draw")), chunk=2)
    outcome = run_study(study, out, jobs=jobs, scheduler=scheduler, resume="--resume" in sys.argv)
    print(f"resumed {outcome.resumed} of {outcome.points}")


if __name__ == "__main__":
    main()
