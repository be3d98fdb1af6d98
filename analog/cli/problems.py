"""Errors as people and programs read them: ``FILE:LINE:COLUMN: …`` or one JSON object."""

from __future__ import annotations

import json
from collections.abc import Iterable

import click

from analog.cli import exits
from analog.errors import EdgeproofError, InputError, MachineError, Problem

ERRORS_SCHEMA = "edgeproof-errors-1"


def report_problems(problems: Iterable[Problem], as_json: bool) -> None:
    """Say what is wrong with the input: JSON on standard output, else lines on standard error."""
    found = tuple(problems)
    if as_json:
        errors = [problem.as_dict() for problem in found]
        click.echo(json.dumps({"schema": ERRORS_SCHEMA, "errors": errors}, ensure_ascii=False))
    for problem in () if as_json else found:
        _say(problem)


def report_error(error: EdgeproofError, file: str, as_json: bool) -> int:
    """Say what stopped the work on `file` and return the exit code it means."""
    if isinstance(error, InputError):
        report_problems(error.problems, as_json)
    elif error.exit_code == exits.BAD_INPUT:
        report_problems((problem_of(error, file),), as_json)
    else:
        _say(problem_of(error, file))
    return error.exit_code


def _say(problem: Problem) -> None:
    from analog.cli.display import note

    note(str(problem))


def problem_of(error: EdgeproofError, file: str) -> Problem:
    """Return an error that carries no place of its own as a problem of `file` as a whole."""
    if isinstance(error, MachineError):
        return whole_file(file, f"cannot be judged here: {error.what}", error.remedy)
    remedy = getattr(error, "remedy", "")
    rule = str(error).removesuffix(f". {remedy}").rstrip(".")
    return whole_file(file, rule, remedy or "Another part, maker or value may do")


def bad_file(file: str, rule: str, remedy: str) -> InputError:
    """Return the error of a file, folder or command line that is wrong as a whole."""
    return InputError((whole_file(file, rule, remedy),))


def whole_file(file: str, rule: str, remedy: str) -> Problem:
    """Return a problem of the file as a whole; its name is kept on one line."""
    from analog.design.findings import one_line

    return Problem(one_line(file), 1, 1, "", "", rule, remedy)
