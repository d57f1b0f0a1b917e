"""Files a command is to write, checked before it works: no input is lost, all can be written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence


def check_targets(inputs: Sequence[str | None], outputs: Mapping[str, str | None]) -> None:
    """InputError for an output that is an input, another output, a folder, or cannot be written.

    `outputs` maps the option to its file; None and "-" (standard output) are passed over. Missing
    folders are no fault, they are made.
    """
    import os
    from pathlib import Path

    from distrib.errors import InputError, Problem

    problems = []
    read = {Path(name).resolve() for name in inputs if name is not None}
    taken: dict[Path, str] = {}
    for option, name in outputs.items():
        if name is None or name == "-":
            continue
        path = Path(name).resolve()
        if path in read or any(p.exists() and path.exists() and p.samefile(path) for p in read):
            problems.append(Problem(option, f'"{name}"', "a file that is not read",
                                    "what was read is never written over"))
        elif path in taken:
            problems.append(Problem(option, f'"{name}"',
                                    f"another file than that of {taken[path]}"))
        elif path.is_dir():
            problems.append(Problem(option, f'"{name}", a folder', "a file"))
        else:
            above = next(p for p in path.parents if p.exists())
            if not above.is_dir() or not os.access(above, os.W_OK):
                problems.append(Problem(option, f'"{name}"', "a file in a folder to write in"))
        taken.setdefault(path, option)
    if problems:
        raise InputError(problems)
