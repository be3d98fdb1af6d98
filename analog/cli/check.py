"""`edgeproof check DESIGN…`: nominal and guaranteed extremes of every bench, judged."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analog.cli import exits, options

if TYPE_CHECKING:
    from analog.cli.baseline import Baseline
    from analog.cli.session import Job, Request
    from analog.engine import Engine
    from analog.results.records import Results


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to do with the outcome besides showing it."""

    junit: Path | None
    baseline: Baseline | None
    annotate: bool


@click.command()
@options.designs
@options.simulating
@options.fine
@options.junit
@options.baseline
@options.may_shrink
@options.annotate
def command(
    designs: tuple[str, ...],
    benches: tuple[str, ...],
    as_json: bool,
    jobs: int | None,
    seed: int,
    store: Path | None,
    fine: bool,
    junit: Path | None,
    baseline: Path | None,
    may_shrink: float,
    annotate: bool,
) -> int:
    """Judge designs at the worst their parts, supply and temperature may do."""
    from analog.cli.baseline import read_baseline
    from analog.cli.problems import report_error
    from analog.cli.session import Request
    from analog.errors import EdgeproofError

    try:
        wanted = Wanted(junit, read_baseline(baseline, designs, may_shrink), annotate)
        _writable(junit)
    except EdgeproofError as error:
        return report_error(error, "command line", as_json)
    return _run(designs, Request(benches, as_json, jobs, seed, store, fine), wanted)


def _run(designs: tuple[str, ...], request: Request, wanted: Wanted) -> int:
    from analog.cli.reports import write_junit
    from analog.cli.session import checked, for_each_design

    several: list[Results] = []

    def act(job: Job, engine: Engine) -> int:
        from analog.cli.baseline import held

        outcome = checked(job, engine, request)
        several.append(outcome.results)
        _show(outcome.results, request.as_json)
        if request.fine and not request.as_json:
            from analog.cli.verdicts import show_fine

            show_fine(outcome.fine)
        if wanted.annotate:
            _annotate(outcome.results, job)
        code = exits.of_verdict(outcome.results.verdict)
        return exits.gravest([code, held(wanted.baseline, outcome.results, job, request)])

    code = for_each_design(designs, request, act)
    return exits.gravest([code, write_junit(wanted.junit, several)])


def _show(results: Results, as_json: bool) -> None:
    if as_json:
        from analog.results import to_json

        click.echo(to_json(results))
    else:
        from analog.cli.verdicts import show_results

        show_results(results)


def _annotate(results: Results, job: Job) -> None:
    """Print workflow commands on standard error, which a runner reads as well."""
    from analog.render.annotations import commands

    for command in commands(results, job.design, job.path):
        click.echo(command, err=True)


def _writable(junit: Path | None) -> None:
    """Raise an InputError when the JUnit file cannot be written, before anything is simulated."""
    if junit is not None:
        from analog.cli.files import require_writable

        require_writable(junit.parent, junit)
