"""A process that solves the points of a study by itself, to see what the machine gives two of them.

FIRST LAST on the command line; says "ready" when loaded, waits for a line, works points
FIRST..LAST off one by one and says how many seconds that took.
"""

from __future__ import annotations

import sys
import time

from speed_study import chunks, study


def main() -> None:
    first, last = int(sys.argv[1]), int(sys.argv[2])
    made = study()
    own = chunks(made)[first:last]
    made.evaluate(own[0])
    print("ready", flush=True)
    sys.stdin.readline()
    begun = time.perf_counter()
    for chunk in own:
        made.evaluate(chunk)
    print(time.perf_counter() - begun, flush=True)


if __name__ == "__main__":
    main()
