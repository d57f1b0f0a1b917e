"""Entry point of `distrib`: finds the command, loads only its module, maps errors to exit codes.

Exit codes: 0 done, 2 bad input, 3 no solution, 4 a check or review failed. Nothing heavy is
imported here; the plain `distrib --help` does not even import typer.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Final, NamedTuple

if TYPE_CHECKING:
    import typer


class Command(NamedTuple):
    """One command: where its function is, and what it does in one line."""

    module: str
    function: str
    summary: str


COMMANDS: Final[dict[str, Command]] = {
    "new": Command("distrib.cli.new", "new", "write a commented starter case"),
    "check": Command("distrib.cli.check", "check", "check case files only: every problem at once"),
    "shares": Command("distrib.cli.shares", "shares", "shares, lean risk and trims of one case"),
    "compare": Command("distrib.cli.compare", "compare", "designs on the same assumptions"),
    "sweep": Command("distrib.cli.sweep", "sweep", "over rpm, boost or any parameter"),
    "trims": Command("distrib.cli.trims", "trims", "the tuner's sheet"),
    "review": Command("distrib.cli.review", "review", "the reviewer's checklist against a design"),
    "draw": Command("distrib.cli.draw", "draw", "the design to scale"),
    "fit": Command("distrib.cli.fit", "fit", "measured data into the model"),
    "mapping": Command("distrib.cli.mapping", "mapping", "a mapping for a log, to complete"),
    "improve": Command("distrib.cli.improve", "improve", "search for a better design"),
    "report": Command("distrib.cli.report", "report", "one self-contained page"),
    "verify": Command("distrib.cli.verify", "verify", "the published checks, one by one"),
}

INTRO: Final = (
    "How the air of an intake manifold divides over the cylinders, and the trims that follow."
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    from distrib.cli.outlet import outlets

    with outlets() as out:
        code = _main(list(sys.argv[1:] if argv is None else argv))
        out.flush()
        if out.fault is not None:
            print(f"standard output: {out.fault.strerror}", file=sys.stderr)
    return code or (2 if out.fault is not None else 0)


def _main(args: list[str]) -> int:
    if not args or args[0] in ("--help", "-h"):
        print(help_text())
        return 0
    if args[0] == "--version":
        from distrib import __version__

        print(f"distrib {__version__}")
        return 0
    name = args[0]
    if name not in COMMANDS:
        return _unknown(name)
    return _call(name, args)


def help_text() -> str:
    """The text of `distrib --help`, made from the table of commands."""
    lines = ["Usage: distrib COMMAND [ARGUMENTS]", "", INTRO, "", "Commands:"]
    lines += [f"  {name:<9}{command.summary}" for name, command in COMMANDS.items()]
    lines += [
        "",
        "Options:",
        "  --help     this text; distrib COMMAND --help for one command",
        "  --version  version of the program",
        "",
        "Exit codes: 0 done, 2 bad input, 3 no solution, 4 a check or review failed.",
        "First steps: distrib new inline-5 side, then distrib check, then distrib shares.",
    ]
    return "\n".join(lines)


def build_app(names: Sequence[str]) -> typer.Typer:
    """A typer application with the named commands; raises ImportError for a missing module."""
    import importlib

    import typer

    app = typer.Typer(
        help=INTRO,
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        no_args_is_help=True,
    )

    @app.callback()
    def _root() -> None:
        """Group of commands; gives every command its name even when it is alone."""

    for name in names:
        command = COMMANDS[name]
        function = getattr(importlib.import_module(command.module), command.function)
        app.command(name)(run(function, name))
    return app


def run(function: Callable[..., Any], name: str) -> Callable[..., Any]:
    """Wrap a command: its outputs are checked before it works, and errors of the project become
    a message on stderr and an exit code."""
    import functools

    import typer

    from distrib.cli.output import note
    from distrib.cli.targets import guard
    from distrib.errors import DistribError, printable

    @functools.wraps(function)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        try:
            guard(name, kwargs)
            return function(*args, **kwargs)
        except DistribError as error:
            for line in str(error).splitlines():
                note(line)
            raise typer.Exit(error.exit_code) from None
        except OSError as error:
            place = f"{printable(str(error.filename))}: " if error.filename else ""
            note(f"{place}{error.strerror or error}")
            raise typer.Exit(2) from None

    return wrapped


def _call(name: str, args: list[str]) -> int:
    import importlib.util

    if importlib.util.find_spec(COMMANDS[name].module) is None:
        print(f"the command {name} is not part of this installation", file=sys.stderr)
        return 2
    try:
        build_app([name])(args=args, prog_name="distrib")
    except SystemExit as done:
        return done.code if isinstance(done.code, int) else int(done.code is not None)
    return 0


def _unknown(name: str) -> int:
    import difflib

    near = difflib.get_close_matches(name, list(COMMANDS), n=1, cutoff=0.5)
    hint = f"; nearest: {near[0]}" if near else ""
    from distrib.errors import printable

    print(f'read "{printable(name, 60)}"; allowed: {", ".join(COMMANDS)}{hint}', file=sys.stderr)
    return 2


if __name__ == "__main__":
    sys.exit(main())
