"""The group of commands: lazy imports, and the one place where errors become exit codes."""

from __future__ import annotations

import importlib
import io
import os
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

import click

from analog import __version__
from analog.cli import exits
from analog.errors import EdgeproofError

_COMMANDS = {
    "accept": "analog.cli.accept",
    "check": "analog.cli.check",
    "compare": "analog.cli.compare",
    "demo": "analog.cli.demo",
    "doctor": "analog.cli.doctor",
    "netlist": "analog.cli.netlist",
    "new": "analog.cli.new",
    "parts": "analog.cli.parts",
    "report": "analog.cli.report",
    "suggest": "analog.cli.suggest",
    "sweep": "analog.cli.sweep",
}


class EdgeproofGroup(click.Group):
    """All commands; each is the object `command` of its module."""

    def __init__(self, **keywords: Any) -> None:
        super().__init__(**keywords)
        click.version_option(__version__, prog_name="edgeproof")(self)

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 (click's signature)
        return sorted(_COMMANDS)

    def get_command(
        self,
        ctx: click.Context,  # noqa: ARG002 (click's signature)
        cmd_name: str,
    ) -> click.Command | None:
        module = _COMMANDS.get(cmd_name)
        if module is None:
            return None
        command: click.Command = importlib.import_module(module).command
        return command

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; a reader of our output that goes away (``| head``) ends it quietly."""
        try:
            code = super().invoke(ctx)
            sys.stdout.flush()
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            return exits.PIPE_CLOSED
        return code

    def main(  # type: ignore[override]
        self, args: Sequence[str] | None = None, prog_name: str | None = None, **extra: Any
    ) -> NoReturn:
        """Run a command line and leave with its exit code."""
        arguments = list(sys.argv[1:] if args is None else args)
        extra["standalone_mode"] = False
        sys.exit(self._run(arguments, prog_name or "edgeproof", extra))

    def _run(self, arguments: list[str], prog_name: str, extra: dict[str, Any]) -> int:
        _never_stumble_over_a_letter()
        try:
            code = super().main(arguments, prog_name=prog_name, **extra)
        except click.UsageError as error:
            return _usage(error, "--json" in arguments)
        except EdgeproofError as error:
            from analog.cli.problems import report_error

            return report_error(error, "command line", "--json" in arguments)
        except (click.Abort, KeyboardInterrupt) as stop:
            click.echo(f"edgeproof: interrupted{_what_is_done(stop)}", err=True)
            return exits.INTERRUPTED
        return code if isinstance(code, int) else exits.PASSED


def _what_is_done(stop: BaseException) -> str:
    """Return what the engine noted on the interruption, which click may have wrapped."""
    notes = [*getattr(stop, "__notes__", ()), *getattr(stop.__cause__, "__notes__", ())]
    return f": {notes[0]}" if notes else ""


def _never_stumble_over_a_letter() -> None:
    """Let a terminal that knows no Ω show an escape instead of ending the program."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _usage(error: click.UsageError, as_json: bool) -> int:
    from analog.cli.problems import report_problems
    from analog.errors import Problem

    hint = error.ctx.command_path if error.ctx is not None else "edgeproof"
    remedy = f"Try '{hint} --help'"
    problem = Problem("command line", 1, 1, "", "", error.format_message().rstrip("."), remedy)
    report_problems((problem,), as_json)
    return exits.BAD_INPUT
