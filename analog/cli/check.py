"""`edgeproof check DESIGN…`: nominal and guaranteed extremes of every bench, judged."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from analog.cli import exits, options

if TYPE_CHECKING:
    from analog.cli.session import Job, Request
    from analog.engine import Engine
    from analog.results.records import Results


@click.command()
@options.designs
@options.simulating
@options.fine
@options.junit
@options.baseline
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
) -> int:
    """Judge designs at the worst their parts, supply and temperature may do."""
    from analog.cli.problems import report_error
    from analog.cli.session import Request
    from analog.errors import EdgeproofError

    try:
        accepted = _accepted(baseline, designs)
        _writable(junit)
    except EdgeproofError as error:
        return report_error(error, "command line", as_json)
    return _run(designs, Request(benches, as_json, jobs, seed, store, fine), junit, accepted)


def _run(
    designs: tuple[str, ...], request: Request, junit: Path | None, accepted: Results | None
) -> int:
    from analog.cli.session import checked, for_each_design

    several: list[Results] = []

    def act(job: Job, engine: Engine) -> int:
        outcome = checked(job, engine, request)
        several.append(outcome.results)
        _show(outcome.results, request.as_json)
        if request.fine and not request.as_json:
            from analog.cli.verdicts import show_fine

            show_fine(outcome.fine)
        code = exits.of_verdict(outcome.results.verdict)
        return exits.gravest([code, _held(accepted, outcome.results, job.path)])

    code = for_each_design(designs, request, act)
    return exits.gravest([code, _write_junit(junit, several)])


def _show(results: Results, as_json: bool) -> None:
    if as_json:
        from analog.results import to_json

        click.echo(to_json(results))
    else:
        from analog.cli.verdicts import show_results

        show_results(results)


def _accepted(baseline: Path | None, designs: tuple[str, ...]) -> Results | None:
    """Read the baseline; an InputError when it is none, or goes with several designs."""
    from analog.cli.problems import bad_file
    from analog.results import ResultsError, read_results

    if baseline is None:
        return None
    if len(designs) > 1:
        raise bad_file(str(baseline), "a baseline belongs to one design", "Check one design")
    try:
        return read_results(baseline)
    except ResultsError as error:
        remedy = "Name a results.json that Edgeproof wrote"
        raise bad_file(str(baseline), error.reason, remedy) from None


def _held(accepted: Results | None, results: Results, path: str) -> int:
    """Compare with the baseline: a graver verdict or a smaller margin is a breach."""
    from analog.cli.display import note
    from analog.results.compare import breaches

    if accepted is None:
        return exits.PASSED
    if accepted.design.name != results.design.name:
        from analog.cli.problems import bad_file

        rule = f"the baseline is of another design, {accepted.design.name}"
        raise bad_file(path, rule, "Name the baseline of this design")
    found = breaches(accepted, results)
    for change in found:
        what = f"{change.bench}.{change.measure} {change.field}"
        note(f"{path}:1:1: worse than the baseline: {what} from {change.before} to {change.after}")
    return exits.FAILED if found else exits.PASSED


def _writable(junit: Path | None) -> None:
    """Raise an InputError when the JUnit file cannot be written, before anything is simulated."""
    if junit is not None:
        from analog.cli.files import require_writable

        require_writable(junit.parent, junit)


def _write_junit(junit: Path | None, several: list[Results]) -> int:
    from analog.cli.files import write_whole
    from analog.cli.problems import report_error
    from analog.errors import MachineError
    from analog.render import junit as junit_text

    if junit is None:
        return exits.PASSED
    try:
        write_whole(junit, junit_text(several))
    except MachineError as error:
        return report_error(error, str(junit), as_json=False)
    return exits.PASSED
