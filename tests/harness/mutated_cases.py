"""Reads mutants and solves those that are accepted, as its own process: FIRST LAST, or `hostile`.

Prints one JSON line for each fault and, last, what was counted. Time is that of this process on
its processor, so that other load does not count; memory is what all files together have added.
"""

from __future__ import annotations

import json
import resource
import sys
import time
import traceback
from collections.abc import Iterable
from xml.etree import ElementTree

import numpy as np
from hostile import hostile_files
from mutate import mutant, sources

from distrib.build.bench import solve_bench
from distrib.case.change import case_hash, to_toml
from distrib.case.read import read_text
from distrib.case.schema import Case
from distrib.cli.check import sizes
from distrib.errors import DistribError, InputError
from distrib.report.drawing import drawing_bytes
from distrib.review import review

SECONDS = 2.0
MEGABYTES = 500
"""What one mutant may take beyond the program itself."""
LONGEST_MESSAGE = 20_000
"""Characters of all messages of one file together: about four pages."""


def main(wanted: list[str]) -> None:
    texts = sources()
    first = read_text(texts[0])
    solve_bench(first)  # kernels and libraries are loaded before anything is measured
    use(first)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    counts = {"accepted": 0, "refused": 0, "no solution": 0, "faults": 0}
    slowest = 0.0
    if wanted == ["hostile"]:
        todo: Iterable[tuple[str, str]] = hostile_files().items()
    else:
        todo = ((str(n), mutant(texts, n)) for n in range(int(wanted[0]), int(wanted[1])))
    for number, (name, text) in enumerate(todo):
        start = time.process_time()
        try:
            verdict = consider(text, thorough=number % 20 == 0)
        except Exception:
            verdict = "faults"
            lines = traceback.format_exc().strip().splitlines()
            report(name, " | ".join([*lines[-5:]]))
        spent = time.process_time() - start
        slowest = max(slowest, spent)
        if wanted == ["hostile"] and verdict != "refused":
            report(name, f"{verdict}, not refused")
            counts["faults"] += verdict != "faults"
        if spent > SECONDS:
            report(name, f"took {spent:.2f} s")
            counts["faults"] += verdict != "faults"
        counts[verdict] += 1
    used = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    if used > MEGABYTES:
        report("all", f"{used:.0f} MB more than before")
        counts["faults"] += 1
    print(json.dumps({**counts, "slowest_s": slowest, "most_mb": used}))


def consider(text: str, thorough: bool = False) -> str:
    """Read one text and solve it; anything but these three verdicts is a fault."""
    try:
        case = read_text(text)
    except InputError as error:
        _check_message(str(error))
        return "refused"
    assert sorted(r.cylinder for r in case.runners) == [*range(1, case.engine.cylinders + 1)]
    assert case.plenums and case.entries
    assert case_hash(read_text(to_toml(case))) == case_hash(case), "the case does not read back"
    sizes(case)
    if thorough:
        use(case)
    try:
        found = solve_bench(case)
    except DistribError as error:
        _check_message(str(error))
        return "no solution"
    for point, good in enumerate(found.converged):
        if not good:
            assert found.reason[point]
            return "no solution"
    assert np.isfinite(found.air_kg_s).all()
    return "accepted"


def _check_message(said: str) -> None:
    assert said and len(said) < LONGEST_MESSAGE, f"a message of {len(said)} characters"
    assert all(line.isprintable() for line in said.split("\n")), f"unprintable: {said[:300]!r}"


def use(case: Case) -> None:
    """What other commands do with a case that was accepted: review it, draw it, print it."""
    review(case)
    for kind in ("svg", "dxf"):
        drawn = drawing_bytes(case, kind)
        if kind == "svg":
            ElementTree.fromstring(drawn)


def report(name: str, what: str) -> None:
    print(json.dumps({"file": name, "fault": what}), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
