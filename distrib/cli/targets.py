"""What every command reads and writes, checked before it works: no input is lost.

`FILES` is the one list. A new option that names a file has to be entered here; a test asks for it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

Values = Mapping[str, Any]


def _nothing(values: Values) -> dict[str, str]:
    return {}


@dataclass(frozen=True)
class Files:
    """Parameters of one command: files read, files written, folders written into.

    `folders` maps a parameter to patterns of the names that are written there. `more` gives
    what else is written, by option, from the values of all parameters.
    """

    reads: tuple[str, ...] = ()
    writes: Mapping[str, str] = field(default_factory=dict)
    folders: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    more: Callable[[Values], dict[str, str]] = _nothing


def _sweep(values: Values) -> dict[str, str]:
    from pathlib import Path

    out = Path(values["out"])
    partial = out.with_name(f"{out.stem}.partial{out.suffix}") if out.name else out
    return {"log of --out": f"{out}.log", "record of --out": f"{out}.json",
            "rows of a stopped --out": str(partial)}


def _fit(values: Values) -> dict[str, str]:
    from pathlib import Path

    if values["bench"] is None or values["out"] is not None:
        return {}
    case = Path(values["case"])
    return {"--out": str(case.with_name(f"{case.stem}.calibrated.toml")) if case.name else ""}


def _improve(values: Values) -> dict[str, str]:
    from pathlib import Path

    return {"log of --out": str(Path(values["out"]) / f"{Path(values['case']).stem}.search.log")}


def _report(values: Values) -> dict[str, str]:
    return {} if values["output"] else {"--output": "report.html"}


def _verify(values: Values) -> dict[str, str]:
    from distrib.cli.verify import REPORT_PATH

    return {"--report": REPORT_PATH} if values["report"] else {}


JSON: Final = {"json": "--json"}
PICTURES: Final = ("*.png", "*.svg")
FILES: Final[dict[str, Files]] = {
    "new": Files(writes={"out": "--out"}),
    "check": Files(("cases",), JSON),
    "shares": Files(("case",), JSON, {"plot": PICTURES}),
    "compare": Files(("cases",), JSON, {"plot": PICTURES}),
    "sweep": Files(("case",), {"out": "--out", "plot": "--plot", **JSON}, more=_sweep),
    "trims": Files(("case", "filled", "log", "mapping", "fit", "targets"),
                   {"csv": "--csv", "page": "--page", "plot": "--plot", **JSON},
                   {"tables": ("*.csv",)}),
    "mapping": Files(("log",), {"out": "--out"}),
    "review": Files(("case",), JSON),
    "draw": Files(("case", "shares"), {"output": "--output", **JSON}),
    "fit": Files(("case", "bench", "log", "swap", "mapping"),
                 {"out": "--out", "plot": "--plot", **JSON}, more=_fit),
    "improve": Files(("case",), {"plot": "--plot", **JSON}, {"out": ("{case}_*.toml",)},
                     more=_improve),
    "report": Files(("cases",), {"output": "--output", **JSON},
                    more=_report),
    "verify": Files((), {"write": "--write", "laws": "--laws", **JSON}, {"plots": ("*.png",)},
                    more=_verify),
}


def guard(command: str, values: Values) -> None:
    """InputError when the command would write over what it reads, or cannot write: see `check`.

    `values` are those of all parameters, by name.
    """
    declared = FILES[command]
    inputs = [name for key in declared.reads for name in _each(values.get(key))]
    outputs = [(option, name) for key, option in declared.writes.items()
               for name in _each(values.get(key))]
    outputs += declared.more(values).items()
    folders = [(f"--{key}", name, [p.replace("{case}", _stem(values)) for p in patterns])
               for key, patterns in declared.folders.items() for name in _each(values.get(key))]
    check(inputs, outputs, folders)


def _each(value: str | Sequence[str] | None) -> list[str]:
    if value is None:
        return []
    return [value] if isinstance(value, str) else list(value)


def _stem(values: Values) -> str:
    import glob
    from pathlib import Path

    return glob.escape(Path(values["case"]).stem) if "case" in values else ""


def check(inputs: Sequence[str], outputs: Sequence[tuple[str, str]],
          folders: Sequence[tuple[str, str, Sequence[str]]] = ()) -> None:
    """InputError with every output that is an input, another output, or cannot be written.

    outputs: option and file; "-" (standard output) is passed over. folders: option, folder and
    patterns of the files written there. A file counts as the same by any link or spelling.
    Missing folders are no fault, they are made.
    """
    import os
    import sys

    from distrib.errors import InputError, Problem

    read = {key for name in inputs for key in _keys(name)}
    taken: dict[str, str] = {}
    problems = []
    for option, name in outputs:
        if name == "-":
            if getattr(sys.stdout, "closed_from_start", False):
                problems.append(Problem(option, '"-", and standard output is closed', "a file"))
            continue
        keys = _keys(name)
        if read & {*keys}:
            problems.append(Problem(option, f'"{name}"', "a file that is not read",
                                    "what was read is never written over"))
        elif other := next((taken[k] for k in keys if k in taken), None):
            problems.append(Problem(option, f'"{name}"', f"another file than that of {other}"))
        elif fault := _fault(name):
            problems.append(Problem(option, f'"{name}"{fault[0]}', fault[1]))
        taken |= {k: option for k in keys if k not in taken}
    for option, name, patterns in folders:
        if os.path.exists(name) and not os.path.isdir(name):
            problems.append(Problem(option, f'"{name}", a file', "a folder"))
        elif not os.path.isdir(name) and _no_room(name):
            problems.append(Problem(option, f'"{name}"', "a folder in a folder to write in"))
        elif os.path.isdir(name) and not os.access(name, os.W_OK):
            problems.append(Problem(option, f'"{name}"', "a folder to write in"))
        problems += [Problem(option, f'"{path}"', "a file that is not read",
                             "what was read is never written over")
                     for path in _in_folder(name, patterns) if read & {*_keys(path)}]
    if problems:
        raise InputError(problems)


def check_targets(inputs: Sequence[str | None], outputs: Mapping[str, str | None]) -> None:
    """`check` for what a command learns only while it works; None is passed over."""
    check([name for name in inputs if name is not None],
          [(option, name) for option, name in outputs.items() if name is not None])


def _keys(name: str) -> list[str]:
    """What makes two names the same file: the real path, and where it exists device and number."""
    import os

    keys = [os.path.normcase(os.path.realpath(name))]
    try:
        found = os.stat(name)
    except (OSError, ValueError):
        return keys
    return [*keys, f"{found.st_dev}:{found.st_ino}"]


def _in_folder(folder: str, patterns: Sequence[str]) -> Iterator[str]:
    from pathlib import Path

    for pattern in patterns:
        yield from map(str, sorted(Path(folder).glob(pattern)))


def _fault(name: str) -> tuple[str, str] | None:
    """Why a file cannot be written: what it is, and what is allowed; None where it can."""
    import os

    if not name:
        return "", "the name of a file, or - for standard output"
    if os.path.isdir(name):
        return ", a folder", "a file"
    if os.path.exists(name) and not os.path.isfile(name):
        return ", a pipe or a device", "a regular file, or - for standard output"
    if os.path.isfile(name) and not os.access(name, os.W_OK):
        return ", write-protected", "a file that may be replaced"
    if _no_room(name):
        return "", "a file in a folder to write in"
    return None


def _no_room(name: str) -> bool:
    """Whether the nearest folder that exists above `name` cannot be written in."""
    import os
    from pathlib import Path

    above = next(p for p in Path(os.path.abspath(name)).parents if p.exists())
    return not above.is_dir() or not os.access(above, os.W_OK)
